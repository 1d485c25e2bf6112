//! The simulator's only source of chance: a seeded generator and the few distributions the cats need.
//! Every part of an invented cat has dice of its own, so that changing one part leaves the others alone.

use oorandom::Rand64;

/// Seeded dice. The same seed and stream give the same throws on every machine.
#[derive(Clone, Debug)]
pub(in crate::simulate) struct Dice {
    throws: Rand64,
    spare_normal: Option<f64>,
}

impl Dice {
    /// Dice for one part (`stream`) of the cat with this seed.
    pub(in crate::simulate) fn new(seed: u64, stream: u64) -> Self {
        let mut throws = Rand64::new_inc(u128::from(seed) << 8 | u128::from(stream), u128::from(stream));
        throws.rand_u64();
        Self { throws, spare_normal: None }
    }

    /// Uniform between `low` and `high`.
    pub(in crate::simulate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.throws.rand_float()
    }

    /// True with this chance.
    pub(in crate::simulate) fn chance(&mut self, chance: f64) -> bool {
        self.throws.rand_float() < chance
    }

    /// A standard normal throw (Marsaglia & Bray, SIAM Review 1964;6:260, the polar method).
    pub(in crate::simulate) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare_normal.take() {
            return spare;
        }
        loop {
            let (x, y) = (self.between(-1.0, 1.0), self.between(-1.0, 1.0));
            let square = x * x + y * y;
            if square > 0.0 && square < 1.0 {
                let scale = (-2.0 * square.ln() / square).sqrt();
                self.spare_normal = Some(y * scale);
                return x * scale;
            }
        }
    }

    /// A factor around one: `exp(sd * normal)`.
    pub(in crate::simulate) fn factor(&mut self, log_sd: f64) -> f64 {
        (log_sd * self.normal()).exp()
    }

    /// Time to the next of events that come by themselves, `mean` apart on average.
    pub(in crate::simulate) fn wait(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.throws.rand_float()).ln()
    }
}

/// A quantity that wanders and is pulled back to zero (Ornstein-Uhlenbeck), stepped exactly once a minute.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wander {
    value: f64,
    keep: f64,
    kick: f64,
}

impl Wander {
    /// With this standard deviation in the long run and this memory (minutes until 1/e is left).
    pub(super) fn new(sd: f64, memory_minutes: f64, dice: &mut Dice) -> Self {
        let keep = (-1.0 / memory_minutes).exp();
        Self { value: sd * dice.normal(), keep, kick: sd * (1.0 - keep * keep).sqrt() }
    }

    /// One minute on.
    pub(super) fn minute(&mut self, dice: &mut Dice) -> f64 {
        self.value = self.value * self.keep + self.kick * dice.normal();
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_normal_throws_are_standard_normal() {
        let mut dice = Dice::new(7, 1);
        let throws: Vec<f64> = (0..200_000).map(|_| dice.normal()).collect();
        let count = throws.len() as f64;
        let mean = throws.iter().sum::<f64>() / count;
        let variance = throws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / count;
        let under = throws.iter().filter(|x| **x < -1.0).count() as f64 / count;
        assert!(mean.abs() < 0.01 && (variance - 1.0).abs() < 0.02, "{mean} {variance}");
        // Phi(-1), Abramowitz & Stegun table 26.1.
        assert!((under - 0.158_655).abs() < 0.004, "{under}");
    }

    #[test]
    fn two_streams_of_one_seed_differ() {
        let (mut one, mut two) = (Dice::new(3, 1), Dice::new(3, 2));
        assert!((0..8).any(|_| (one.between(0.0, 1.0) - two.between(0.0, 1.0)).abs() > 0.05));
    }
}
