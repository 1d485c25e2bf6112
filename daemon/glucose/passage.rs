//! The chance that blood goes under a limit at any time on the way, not only at the end.
//!
//! Walks ahead in short steps with the belief about (blood, rate) that has *not yet* been under the limit: at
//! each step the part under the limit is counted and cut off, and the rest, cut again to a normal shape with its
//! exact mean and covariance, walks on. No chance enters, so the same input gives the same output.

use nalgebra::RowSVector;

use super::kalman::{Belief, Side, Sight, Step};

/// First passage, step by step.
#[derive(Clone, Debug, PartialEq)]
pub struct Passage {
    /// Minutes from the start at which the chance was looked at, rising from 0.
    pub minutes: Vec<f64>,
    /// Chance of having been under the limit by then; never falls.
    pub chance: Vec<f64>,
}

impl Passage {
    /// The chance over the whole span.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.chance.last().copied().unwrap_or(0.0)
    }

    /// Minutes until the chance first reaches `wanted`, linear between the steps; `None` if it does not.
    #[must_use]
    pub fn reaches(&self, wanted: f64) -> Option<f64> {
        let at = self.chance.iter().position(|chance| *chance >= wanted)?;
        let Some(before) = at.checked_sub(1) else { return self.minutes.first().copied() };
        let share = (wanted - self.chance[before]) / (self.chance[at] - self.chance[before]).max(1e-12);
        Some(self.minutes[before] + share * (self.minutes[at] - self.minutes[before]))
    }
}

/// Walks `count` steps of `step_minutes` from `start`, whose part `place` is watched against `limit`. `step` gives
/// the step from a belief; `jitter` is the spread per square root of a minute with which the watched part itself
/// (not its rate) moves by chance, for the crossings that happen and end between two looks.
#[must_use]
pub fn passage<const N: usize>(
    start: &Belief<N>,
    place: usize,
    limit: f64,
    (count, step_minutes): (usize, f64),
    jitter: f64,
    step: impl Fn(usize, &Belief<N>) -> Step<N>,
) -> Passage {
    let mut row = RowSVector::<f64, N>::zeros();
    row[place] = 1.0;
    // Broadie, Glasserman, Kou, Mathematical Finance 1997;7:325-349: looking only every so often misses crossings
    // as if the limit lay 0.5826 of a step's spread further away.
    let shifted = limit + 0.5826 * jitter * step_minutes.sqrt();
    let mut belief = *start;
    let mut free = 1.0;
    let mut out = Passage { minutes: Vec::with_capacity(count + 1), chance: Vec::with_capacity(count + 1) };
    for k in 0..=count {
        let bound = if k == 0 { limit } else { shifted };
        if k > 0 {
            belief = belief.after(&step(k - 1, &belief));
        }
        let sight = Sight { row, expected: belief.mean[place], noise: 1e-9, learns: [1.0; N] };
        let learned = belief.bounded(&sight, bound, Side::Over);
        free *= learned.log_likelihood.exp();
        belief = learned.belief;
        out.minutes.push(k as f64 * step_minutes);
        out.chance.push(1.0 - free);
        if free < 1e-6 {
            break;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use nalgebra::{Matrix1, SMatrix, Vector1, Vector2};

    use super::*;
    use crate::glucose::dynamics::{BLOOD, Nature, SIZE};

    /// Brownian motion with drift: P = Phi((b - mT)/(s sqrt T)) + exp(2 m b/s^2) Phi((b + mT)/(s sqrt T)), b = a - x0
    /// (first passage law of E. Schroedinger, Phys. Z. 1915;16:289; Karatzas and Shreve, Brownian Motion and
    /// Stochastic Calculus, ch. 3). Values agree with quadrature of the density and with scipy `invgauss`. Brownian motion,
    /// which turns at every instant, is the hardest case for the walk; blood, which has a rate, is gentler.
    #[test]
    fn the_walk_agrees_with_the_first_passage_law() {
        for (start, limit, drift, spread, span, chance, at_end) in [
            (100.0, 70.0, -1.0, 5.0, 15.0, 0.330274495077, 0.219289013040),
            (100.0, 70.0, -1.0, 5.0, 30.0, 0.656858349888, 0.5),
            (100.0, 70.0, 0.0, 5.0, 30.0, 0.273321678292, 0.136660839146),
            (100.0, 70.0, 1.0, 5.0, 30.0, 0.059588845103, 0.014229868458),
            (150.0, 70.0, -2.0, 6.0, 30.0, 0.345494441952, 0.271401226879),
            (90.0, 63.0, -0.5, 4.0, 60.0, 0.716469166079, 0.538567149638),
            (80.0, 60.0, -1.0, 3.0, 15.0, 0.443860020472, 0.333477264346),
            (72.0, 70.0, 0.5, 2.0, 10.0, 0.548070263210, 0.134190813646),
        ] {
            let belief = Belief { mean: Vector1::new(start), covariance: Matrix1::new(1e-9) };
            let minutes = if start - limit < 5.0 { 0.5 } else { 2.5 };
            let step = Step {
                transition: Matrix1::new(1.0),
                offset: Vector1::new(drift * minutes),
                noise: Matrix1::new(spread * spread * minutes),
            };
            let count = (span / minutes) as usize;
            let found = passage(&belief, 0, limit, (count, minutes), spread, |_, _| step).total();
            assert!((found - chance).abs() < 0.035, "{start} {limit} {drift}: {found} is not {chance}");
            assert!(found > at_end, "the end point alone would say {at_end}");
        }
    }

    /// Share of simulated paths of (blood, rate) that are under the limit at any minute within the hour: the outside check
    /// of the walk as the outlook uses it, whose looks are five minutes apart and whose rest is cut to a normal shape.
    fn simulated(start: &Belief<2>, limit: f64, minute: &Step<2>) -> f64 {
        const PATHS: usize = 6000;
        let mut throws = oorandom::Rand64::new(7);
        // Box and Muller, Ann Math Stat 1958;29:610.
        let mut normal = || {
            let (radius, turn) = (1.0 - throws.rand_float(), throws.rand_float());
            (-2.0 * radius.ln()).sqrt() * (std::f64::consts::TAU * turn).cos()
        };
        let root = |covariance: SMatrix<f64, 2, 2>| covariance.cholesky().unwrap().l();
        let (begins, moves) = (root(start.covariance), root(minute.noise));
        let under = (0..PATHS).filter(|_| {
            let mut at = start.mean + begins * Vector2::new(normal(), normal());
            (0..=60).any(|_| {
                let under = at[0] < limit;
                at = minute.transition * at + minute.offset + moves * Vector2::new(normal(), normal());
                under
            })
        });
        under.count() as f64 / PATHS as f64
    }

    #[test]
    fn the_walk_of_blood_and_rate_agrees_with_simulated_paths() {
        let nature = Nature::usual(10.0);
        for (blood, rate) in
            [(120.0, -1.5), (100.0, -0.8), (140.0, -2.0), (90.0, 0.0), (75.0, 0.3), (160.0, -0.5)]
        {
            let over = |span: f64| {
                let whole = nature.step(span, [blood, rate], 0.0);
                let part = |m: &SMatrix<f64, SIZE, SIZE>| m.fixed_view::<2, 2>(BLOOD, BLOOD).into_owned();
                Step {
                    transition: part(&whole.transition),
                    offset: whole.offset.fixed_rows::<2>(BLOOD).into_owned(),
                    noise: part(&whole.noise),
                }
            };
            let covariance = SMatrix::<f64, 2, 2>::new(49.0, 1.0, 1.0, 0.09);
            let start = Belief { mean: Vector2::new(blood, rate), covariance };
            let (expected, step) = (simulated(&start, 70.0, &over(1.0)), over(5.0));
            let found = passage(&start, 0, 70.0, (12, 5.0), 0.0, |_, _| step).total();
            assert!((found - expected).abs() < 0.07, "{blood} {rate}: {found}, simulated {expected}");
        }
    }

    #[test]
    fn the_time_of_crossing_lies_between_two_looks() {
        let way = Passage { minutes: vec![0.0, 5.0, 10.0], chance: vec![0.1, 0.3, 0.7] };
        assert_eq!(way.reaches(0.05), Some(0.0));
        assert!((way.reaches(0.5).unwrap() - 7.5).abs() < 1e-9);
        assert_eq!(way.reaches(0.8), None);
    }
}
