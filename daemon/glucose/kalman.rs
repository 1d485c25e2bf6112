//! Normal beliefs about a state of any size: predict, learn from a measurement or from a bound, smooth.
//!
//! Knows nothing about glucose. Formulas: R. E. Kalman, J. Basic Eng. 1960;82:35 (filter; covariance in
//! Joseph's form, which stays symmetric and positive); H. E. Rauch, F. Tung, C. T. Striebel, AIAA J.
//! 1965;3:1445 (smoother). The tests run this very code on published series.

use nalgebra::{Cholesky, Const, DimMin, RowSVector, SMatrix, SVector};
use serde::{Deserialize, Serialize};

use super::normal;

/// What is believed about a state: a normal distribution.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Belief<const N: usize> {
    /// Expected state.
    pub mean: SVector<f64, N>,
    /// Covariance of the state.
    pub covariance: SMatrix<f64, N, N>,
}

/// How a state moves from one time to the next: x' = `transition` x + `offset` + noise of covariance `noise`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step<const N: usize> {
    /// Linear part.
    pub transition: SMatrix<f64, N, N>,
    /// Known push.
    pub offset: SVector<f64, N>,
    /// Covariance of what comes in by chance.
    pub noise: SMatrix<f64, N, N>,
}

impl<const N: usize> Step<N> {
    /// The step that forgets everything before and arrives at `belief`.
    #[must_use]
    pub fn to(belief: &Belief<N>) -> Self {
        Self { transition: SMatrix::zeros(), offset: belief.mean, noise: belief.covariance }
    }
}

/// Which side of a bound a value is known to lie on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// At or under the bound.
    Under,
    /// At or over the bound.
    Over,
}

/// How a measurement shows a state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight<const N: usize> {
    /// By how much the measurement rises with each part of the state.
    pub row: RowSVector<f64, N>,
    /// The measurement expected now.
    pub expected: f64,
    /// Variance of the measurement's own noise.
    pub noise: f64,
    /// What share of the best step each part learns from it, 0 to 1. A part that learns nothing is only reckoned with,
    /// its doubt kept in full (S. F. Schmidt, Advances in Control Systems 1966;3:293).
    pub learns: [f64; N],
}

/// A belief after news, and how surprising the news was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Learned<const N: usize> {
    /// What is believed now.
    pub belief: Belief<N>,
    /// Measured minus expected; for a bound, the shift of the expected measurement.
    pub innovation: f64,
    /// Variance of the innovation before it was seen.
    pub variance: f64,
    /// Natural logarithm of the density (or, for a bound, probability) of what was seen.
    pub log_likelihood: f64,
}

impl<const N: usize> Belief<N> {
    /// The belief one step later.
    #[must_use]
    pub fn after(&self, step: &Step<N>) -> Self {
        let covariance = step.transition * self.covariance * step.transition.transpose() + step.noise;
        Self {
            mean: step.transition * self.mean + step.offset,
            covariance: (covariance + covariance.transpose()) * 0.5,
        }
    }

    /// The belief after measuring `value` = `row` x + noise of variance `variance`.
    #[must_use]
    pub fn measured(&self, row: &RowSVector<f64, N>, value: f64, variance: f64) -> Learned<N> {
        let sight = Sight { row: *row, expected: (row * self.mean).x, noise: variance, learns: [1.0; N] };
        self.seen(&sight, value)
    }

    /// The belief after a measurement seen as `sight` says gave `value`.
    #[must_use]
    pub fn seen(&self, sight: &Sight<N>, value: f64) -> Learned<N> {
        let spread = self.covariance * sight.row.transpose();
        let variance = (sight.row * spread).x + sight.noise;
        let innovation = value - sight.expected;
        let gain = (spread / variance).component_mul(&SVector::from(sight.learns));
        let keep = SMatrix::<f64, N, N>::identity() - gain * sight.row;
        let covariance = keep * self.covariance * keep.transpose() + gain * gain.transpose() * sight.noise;
        Learned {
            belief: Self {
                mean: self.mean + gain * innovation,
                covariance: (covariance + covariance.transpose()) * 0.5,
            },
            innovation,
            variance,
            log_likelihood: -0.5
                * ((2.0 * std::f64::consts::PI).ln() + variance.ln() + innovation * innovation / variance),
        }
    }

    /// The belief after learning only that a measurement seen as `sight` says lies on one side of `bound`: the
    /// normal distribution with the exact mean and covariance of the cut one.
    ///
    /// With s = sqrt(h P h' + R), a = (bound - expected) / s and l = density(a) / cumulative(a): the mean moves
    /// by -(P h'/s) l, the covariance loses (P h')(P h')'/s^2 l (l + a); mirrored for the other side (moments of the
    /// truncated normal distribution; Johnson, Kotz, Balakrishnan, Continuous Univariate Distributions 1, 13.10).
    #[must_use]
    pub fn bounded(&self, sight: &Sight<N>, bound: f64, side: Side) -> Learned<N> {
        let spread = self.covariance * sight.row.transpose();
        let variance = (sight.row * spread).x + sight.noise;
        let deviation = variance.sqrt();
        let sign = if side == Side::Under { 1.0 } else { -1.0 };
        let reach = sign * (bound - sight.expected) / deviation;
        let pull = normal::pull(reach);
        let learns = SVector::from(sight.learns);
        let moved = spread.component_mul(&learns) * (-sign * pull / deviation);
        let share = pull * (pull + reach) / variance;
        let covariance = SMatrix::<f64, N, N>::from_fn(|i, j| {
            // As in `seen`: what is lost between two parts of which each takes a share of the best step.
            let taken = learns[i] + learns[j] - learns[i] * learns[j];
            self.covariance[(i, j)] - taken * spread[i] * spread[j] * share
        });
        Learned {
            belief: Self { mean: self.mean + moved, covariance },
            innovation: -sign * pull * deviation,
            variance,
            log_likelihood: normal::ln_cumulative(reach),
        }
    }
}

/// Smooths beliefs backwards. `filtered[k]` is the belief at k after its own measurement, `steps[k]` leads
/// from k to k+1, so there is one step fewer than beliefs. Oldest first; empty in, empty out.
#[must_use]
pub fn smoothed<const N: usize>(filtered: &[Belief<N>], steps: &[Step<N>]) -> Vec<Belief<N>>
where
    Const<N>: DimMin<Const<N>, Output = Const<N>>,
{
    let mut out = filtered.to_vec();
    for k in (0..steps.len().min(filtered.len().saturating_sub(1))).rev() {
        let ahead = filtered[k].after(&steps[k]);
        // Where a covariance has no inverse to speak of there is nothing to learn backwards: keep the filtered one.
        let Some(inverse) = Cholesky::new(ahead.covariance).map(|c| c.inverse()) else { continue };
        let back = filtered[k].covariance * steps[k].transition.transpose() * inverse;
        let covariance =
            filtered[k].covariance + back * (out[k + 1].covariance - ahead.covariance) * back.transpose();
        out[k] = Belief {
            mean: filtered[k].mean + back * (out[k + 1].mean - ahead.mean),
            covariance: (covariance + covariance.transpose()) * 0.5,
        };
    }
    out
}

#[cfg(test)]
mod tests {
    use nalgebra::{Matrix1, RowVector1, Vector1};

    use super::*;

    /// Yearly flow of the Nile at Aswan, 1871 to 1970, 10^8 m^3 (sum 91935): the running example of J. Durbin and
    /// S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed., Oxford 2012, section 2.2.5, with their
    /// variances 15099 (noise) and 1469.1 (level). Expected numbers by statsmodels 0.15 UnobservedComponents.
    const NILE: [f64; 100] = [
        1120.0, 1160.0, 963.0, 1210.0, 1160.0, 1160.0, 813.0, 1230.0, 1370.0, 1140.0, 995.0, 935.0, 1110.0,
        994.0, 1020.0, 960.0, 1180.0, 799.0, 958.0, 1140.0, 1100.0, 1210.0, 1150.0, 1250.0, 1260.0, 1220.0,
        1030.0, 1100.0, 774.0, 840.0, 874.0, 694.0, 940.0, 833.0, 701.0, 916.0, 692.0, 1020.0, 1050.0, 969.0,
        831.0, 726.0, 456.0, 824.0, 702.0, 1120.0, 1100.0, 832.0, 764.0, 821.0, 768.0, 845.0, 864.0, 862.0,
        698.0, 845.0, 744.0, 796.0, 1040.0, 759.0, 781.0, 865.0, 845.0, 944.0, 984.0, 897.0, 822.0, 1010.0,
        771.0, 676.0, 649.0, 846.0, 812.0, 742.0, 801.0, 1040.0, 860.0, 874.0, 848.0, 890.0, 744.0, 749.0,
        838.0, 1050.0, 918.0, 986.0, 797.0, 923.0, 975.0, 815.0, 1020.0, 906.0, 901.0, 1170.0, 912.0, 746.0,
        919.0, 718.0, 714.0, 740.0,
    ];

    struct Run {
        filtered: Vec<Belief<1>>,
        learned: Vec<Option<Learned<1>>>,
    }

    fn level_step() -> Step<1> {
        Step { transition: Matrix1::new(1.0), offset: Vector1::new(0.0), noise: Matrix1::new(1469.1) }
    }

    fn run(missing: impl Fn(usize) -> bool) -> Run {
        let mut belief = Belief { mean: Vector1::new(0.0), covariance: Matrix1::new(1e7) };
        let mut out = Run { filtered: Vec::new(), learned: Vec::new() };
        for (k, flow) in NILE.iter().enumerate() {
            if k > 0 {
                belief = belief.after(&level_step());
            }
            let learned = (!missing(k + 1)).then(|| belief.measured(&RowVector1::new(1.0), *flow, 15099.0));
            belief = learned.map_or(belief, |learned| learned.belief);
            out.filtered.push(belief);
            out.learned.push(learned);
        }
        out
    }

    fn near(value: f64, expected: f64) {
        assert!((value - expected).abs() < 5e-9 * expected.abs().max(1.0), "{value} is not {expected}");
    }

    #[test]
    fn the_filter_agrees_with_the_nile_example() {
        let run = run(|_| false);
        for (year, innovation, variance, mean, left) in [
            (1, 1120.0, 10015099.0, 1118.311462, 15076.23639),
            (2, 41.68853848, 31644.33639, 1140.108439, 7894.557531),
            (3, -177.1084392, 24462.65753, 1072.316018, 5779.497378),
            (5, 43.02523227, 21465.56481, 1129.735808, 4478.277788),
            (100, -79.6372663, 20600.25794, 798.3702926, 4032.157942),
        ] {
            let learned = run.learned[year - 1].unwrap();
            near(learned.innovation, innovation);
            near(learned.variance, variance);
            near(run.filtered[year - 1].mean.x, mean);
            near(run.filtered[year - 1].covariance.x, left);
        }
        let all: f64 = run.learned.iter().map(|l| l.unwrap().log_likelihood).sum();
        near(all, -641.5855784594);
        near(all - run.learned[0].unwrap().log_likelihood, -632.5442122783);
    }

    #[test]
    fn the_smoother_agrees_with_the_nile_example() {
        let run = run(|_| false);
        let smooth = smoothed(&run.filtered, &[level_step(); 99]);
        for (year, mean, variance) in [
            (1, 1111.220258, 4030.532767),
            (2, 1110.529257, 3242.056999),
            (3, 1105.02486, 2818.473138),
            (50, 834.763259, 2326.75687),
            (99, 804.0495957, 3242.930073),
            (100, 798.3702926, 4032.157942),
        ] {
            near(smooth[year - 1].mean.x, mean);
            near(smooth[year - 1].covariance.x, variance);
        }
    }

    #[test]
    fn gaps_are_walked_over() {
        let run = run(|year| (21..=40).contains(&year) || (61..=80).contains(&year));
        near(run.filtered[19].mean.x, 1026.139434);
        near(run.filtered[39].covariance.x, 33414.19612);
        near(run.filtered[40].mean.x, 889.9490789);
        near(run.filtered[99].mean.x, 798.3151146);
        let all: f64 = run.learned.iter().skip(1).flatten().map(|l| l.log_likelihood).sum();
        near(all, -380.5856113444);
        let smooth = smoothed(&run.filtered, &[level_step(); 99]);
        for (year, mean, variance) in
            [(30, 903.4200027, 9715.005893), (40, 807.1292221, 4723.597452), (70, 837.1773232, 9715.005549)]
        {
            near(smooth[year - 1].mean.x, mean);
            near(smooth[year - 1].covariance.x, variance);
        }
    }

    /// Values by the formula of the truncated normal distribution and by adaptive quadrature (scipy 1.17), which
    /// agree to 1e-11.
    #[test]
    fn a_bound_teaches_what_it_should() {
        for (mean, variance, noise, bound, side, after, left, chance) in [
            (55.0, 100.0, 25.0, 40.0, Side::Under, 38.854862505189, 33.076185211386, 0.089856247439),
            (45.0, 100.0, 25.0, 40.0, Side::Under, 35.137217908778, 42.176657785966, 0.327360423009),
            (38.0, 100.0, 25.0, 40.0, Side::Under, 31.849920111222, 52.336389539604, 0.570986171506),
            (80.0, 225.0, 64.0, 40.0, Side::Under, 44.407000531799, 66.570898247004, 0.009312790144),
            (420.0, 900.0, 225.0, 400.0, Side::Over, 432.368741606497, 549.114365367772, 0.724507506207),
            (380.0, 900.0, 225.0, 400.0, Side::Over, 412.528095458729, 362.372533167477, 0.275492493793),
        ] {
            let belief = Belief { mean: Vector1::new(mean), covariance: Matrix1::new(variance) };
            let sight = Sight { row: RowVector1::new(1.0), expected: mean, noise, learns: [1.0] };
            let learned = belief.bounded(&sight, bound, side);
            assert!((learned.belief.mean.x - after).abs() < 1e-9, "{mean} {bound}");
            assert!((learned.belief.covariance.x - left).abs() < 1e-8, "{mean} {bound}");
            assert!((learned.log_likelihood.exp() - chance).abs() < 1e-11, "{mean} {bound}");
        }
        let far = Belief { mean: Vector1::new(1e4), covariance: Matrix1::new(1.0) };
        let sight = Sight { row: RowVector1::new(1.0), expected: 1e4, noise: 1.0, learns: [1.0] };
        let learned = far.bounded(&sight, 40.0, Side::Under);
        assert!(learned.belief.mean.x.is_finite() && learned.belief.covariance.x > 0.0);
    }
}
