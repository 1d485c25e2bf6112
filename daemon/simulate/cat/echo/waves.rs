//! Chance in an invented cat, as bumps that begin, swell and end.
//!
//! Comes in: minutes and dice. Goes out: the sum of all bumps that are under way ([`Bumps`]), and one that never rests
//! ([`Waves`]): bumps of every length from half an hour to two days come at random, so that it has no memory of its own
//! length. All numbers are chosen by us.

use crate::simulate::cat::dice::Dice;

/// Bumps under way, each `height sin^2(pi age/length)`: its area is `height length / 2`.
#[derive(Clone, Debug, Default)]
pub(super) struct Bumps {
    under_way: Vec<Bump>,
}

#[derive(Clone, Copy, Debug)]
struct Bump {
    age: f64,
    length: f64,
    height: f64,
}

impl Bumps {
    /// One begins now.
    pub(super) fn add(&mut self, length_minutes: f64, height: f64) {
        self.under_way.push(Bump { age: 0.0, length: length_minutes, height });
    }

    /// Their sum, one minute on.
    pub(super) fn minute(&mut self) -> f64 {
        self.under_way.retain_mut(|bump| {
            bump.age += 1.0;
            bump.age < bump.length
        });
        self.under_way
            .iter()
            .map(|bump| bump.height * (std::f64::consts::PI * bump.age / bump.length).sin().powi(2))
            .sum()
    }
}

/// Bumps up and down without end.
#[derive(Clone, Debug)]
pub(super) struct Waves {
    bumps: Bumps,
    height_sd: f64,
}

impl Waves {
    /// With about this standard deviation in the long run.
    pub(super) fn new(sd: f64) -> Self {
        // The mean square of sin^2 is 3/8.
        Self { bumps: Bumps::default(), height_sd: sd / (0.375 * AT_ONCE).sqrt() }
    }

    /// Its value, one minute on.
    pub(super) fn minute(&mut self, dice: &mut Dice) -> f64 {
        if dice.chance(AT_ONCE / MEAN_LENGTH) {
            let length = SHORTEST * (1.0 - dice.between(0.0, 1.0)).powf(-1.0 / TAIL);
            self.bumps.add(length.min(LONGEST), self.height_sd * dice.normal());
        }
        self.bumps.minute()
    }
}

/// Bumps under way at once, on average.
const AT_ONCE: f64 = 5.0;
/// Lengths are Pareto, minutes, cut off at the longest.
const SHORTEST: f64 = 25.0;
const LONGEST: f64 = 3000.0;
const TAIL: f64 = 1.2;
/// `s + s/(t-1) (1 - (s/l)^(t-1))` of the three above.
const MEAN_LENGTH: f64 = 102.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_waves_have_the_spread_asked_for_and_long_swings() {
        let (mut waves, mut dice) = (Waves::new(0.2), Dice::new(5, 11));
        let levels: Vec<f64> = (0..2_000_000).map(|_| waves.minute(&mut dice)).collect();
        let count = levels.len() as f64;
        let mean = levels.iter().sum::<f64>() / count;
        let variance = levels.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / count;
        assert!(mean.abs() < 0.02 && (variance.sqrt() - 0.2).abs() < 0.02, "{mean} {}", variance.sqrt());
        let after = |gap: usize| {
            let pairs = levels.iter().zip(&levels[gap..]);
            pairs.map(|(a, b)| (a - mean) * (b - mean)).sum::<f64>() / count / variance
        };
        // An exponential memory that has 0.8 left after 1 h would have a hundredth of that left after 20 h.
        assert!(after(60) < 0.9 && after(1200) > 0.05, "{} {}", after(60), after(1200));
    }

    #[test]
    fn a_bump_brings_its_area_and_ends() {
        let mut bumps = Bumps::default();
        bumps.add(40.0, 2.0);
        let area: f64 = (0..100).map(|_| bumps.minute()).sum();
        assert!((area - 40.0).abs() < 1e-9 && bumps.under_way.is_empty(), "{area}");
    }
}
