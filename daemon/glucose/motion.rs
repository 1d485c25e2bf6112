//! The motion of fluid, blood and rate over any span, in closed form.
//!
//! In: the two time constants, a span, and how loud the rate's noise is. Out: transition and covariance. What the
//! state holds beside, and where the numbers come from, is in `dynamics`.

use nalgebra::SMatrix;

/// The motion of fluid, blood and rate, without drift.
#[derive(Clone, Copy, Debug)]
pub(super) struct Motion {
    pub(super) lag_minutes: f64,
    pub(super) rate_minutes: f64,
}

impl Motion {
    pub(super) fn new(lag_minutes: f64, rate_minutes: f64) -> Self {
        // The closed form divides by the difference of the two time constants; a thousandth apart is far enough.
        let apart = (rate_minutes - lag_minutes).abs() < 1e-3 * rate_minutes;
        Self { lag_minutes, rate_minutes: if apart { rate_minutes * 1.001 } else { rate_minutes } }
    }

    /// Transition and noise covariance over a span, for noise of the given intensity on the rate.
    ///
    /// Each part of the state answers a push of the rate with a sum of three exponentials (slopes 0, 1/T and
    /// 1/tau), so the integral in Q = int Phi(s) G G' Phi(s)' ds is a sum of nine. Same as C. F. Van Loan, IEEE
    /// Trans. Automatic Control 1978;23:395-404, without a matrix exponential; the tests compare the two.
    pub(super) fn over(&self, span: f64, intensity: f64) -> (SMatrix<f64, 3, 3>, SMatrix<f64, 3, 3>) {
        let (tau, long) = (self.lag_minutes, self.rate_minutes);
        let share = long / (long - tau);
        let answers = [[long, -long * share, long * (share - 1.0)], [long, -long, 0.0], [0.0, 1.0, 0.0]];
        let slopes = [0.0, 1.0 / long, 1.0 / tau];
        let decays = slopes.map(|slope| (-slope * span).exp());
        let at_end = answers.map(|a| a[0] + a[1] * decays[1] + a[2] * decays[2]);
        let fluid = decays[2];
        let moves = SMatrix::<f64, 3, 3>::new(
            fluid,
            1.0 - fluid,
            at_end[0],
            0.0,
            1.0,
            at_end[1],
            0.0,
            0.0,
            at_end[2],
        );
        let mut areas = [[span; 3]; 3];
        for (i, row) in areas.iter_mut().enumerate() {
            for (j, area) in row.iter_mut().enumerate() {
                let slope = slopes[i] + slopes[j];
                if slope > 0.0 {
                    *area = -(-slope * span).exp_m1() / slope;
                }
            }
        }
        let noise = SMatrix::<f64, 3, 3>::from_fn(|row, column| {
            let sum: f64 = (0..3)
                .flat_map(|i| (0..3).map(move |j| (i, j)))
                .map(|(i, j)| answers[row][i] * answers[column][j] * areas[i][j])
                .sum();
            intensity * sum
        });
        (moves, noise)
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::{RowVector3, SMatrix, Vector3};

    use super::*;
    use crate::glucose::kalman::{Belief, Step};

    fn near(value: f64, expected: f64) {
        assert!((value - expected).abs() < 1e-10 * expected.abs().max(1.0), "{value} is not {expected}");
    }

    /// C. F. Van Loan, IEEE Trans. Automatic Control 1978;23:395-404: with C = [[-F, G W G'], [0, F']] t the exponential
    /// holds F' transposed below right, and the covariance is that block transposed times the one above right.
    fn van_loan(motion: Motion, span: f64, intensity: f64) -> (SMatrix<f64, 3, 3>, SMatrix<f64, 3, 3>) {
        let (tau, long) = (motion.lag_minutes, motion.rate_minutes);
        let f = SMatrix::<f64, 3, 3>::new(-1.0 / tau, 1.0 / tau, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, -1.0 / long);
        let mut big = SMatrix::<f64, 6, 6>::zeros();
        big.fixed_view_mut::<3, 3>(0, 0).copy_from(&(-f * span));
        big.fixed_view_mut::<3, 3>(3, 3).copy_from(&(f.transpose() * span));
        big[(2, 5)] = intensity * span;
        let exponential = big.exp();
        let moves: SMatrix<f64, 3, 3> = exponential.fixed_view::<3, 3>(3, 3).transpose();
        (moves, moves * exponential.fixed_view::<3, 3>(0, 3))
    }

    #[test]
    fn the_closed_form_is_the_matrix_exponential() {
        for (lag, long, span) in
            [(8.0, 60.0, 15.0), (5.0, 45.0, 1.0), (20.0, 20.0, 7.5), (12.0, 90.0, 240.0), (8.0, 60.0, 0.5)]
        {
            let motion = Motion::new(lag, long);
            let (moves, noise) = motion.over(span, 0.02);
            let (expected, covariance) = van_loan(motion, span, 0.02);
            assert!((moves - expected).amax() < 1e-9, "{lag} {long} {span}");
            let off = (noise - covariance).amax() / covariance.amax();
            assert!(off < 1e-6, "{lag} {long} {span}: {off}");
        }
    }

    /// Matrices by scipy 1.17 `expm` for lag 8, rate time constant 60, intensity 0.02, 15 minutes.
    #[test]
    fn one_step_agrees_with_scipy() {
        let (moves, noise) = Motion::new(8.0, 60.0).over(15.0, 0.02);
        for (place, expected) in [
            ((0, 0), 0.1533549668449),
            ((0, 1), 0.8466450331551),
            ((0, 2), 7.498607019779),
            ((1, 2), 13.27195301572),
            ((2, 2), 0.7788007830714),
        ] {
            near(moves[place], expected);
        }
        for (place, expected) in [
            ((0, 0), 4.148897197643),
            ((0, 1), 8.647225776609),
            ((2, 0), 0.729758828366),
            ((1, 1), 18.73254075765),
            ((1, 2), 1.761447368514),
            ((2, 2), 0.236081604172),
        ] {
            assert!((noise[place] - expected).abs() < 1e-10, "{place:?}");
        }
    }

    /// Three readings worked through with numpy 2.4: start (120, 120, 0), variances 100, 100, 1, noise 64.
    #[test]
    fn three_readings_agree_with_numpy() {
        let (transition, noise) = Motion::new(8.0, 60.0).over(15.0, 0.02);
        let step = Step { transition, offset: Vector3::zeros(), noise };
        let mut belief = Belief {
            mean: Vector3::new(120.0, 120.0, 0.0),
            covariance: SMatrix::from_diagonal(&Vector3::new(100.0, 100.0, 1.0)),
        };
        for (reading, variance, mean, diagonal) in [
            (
                118.0,
                198.4105602369,
                [118.6451269521, 118.0562235305, -0.0662230865],
                [43.3559375312, 107.4652613815, 0.6250800255],
            ),
            (
                100.0,
                274.9093899502,
                [104.1089795056, 99.0258429448, -0.5908791871],
                [49.1005453079, 97.1844253683, 0.3585444314],
            ),
            (
                85.0,
                231.9206284943,
                [87.8629370813, 81.5106350882, -0.7158839608],
                [46.3387853569, 84.5000549395, 0.3126593718],
            ),
        ] {
            let learned = belief.after(&step).measured(&RowVector3::new(1.0, 0.0, 0.0), reading, 64.0);
            assert!((learned.variance - variance).abs() < 1e-8);
            belief = learned.belief;
            for k in 0..3 {
                assert!((belief.mean[k] - mean[k]).abs() < 1e-8, "{reading} {k}");
                assert!((belief.covariance[(k, k)] - diagonal[k]).abs() < 1e-8, "{reading} {k}");
            }
        }
    }
}
