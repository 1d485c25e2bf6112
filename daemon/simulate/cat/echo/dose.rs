//! One injection of an invented cat: how much of it works, minute by minute.
//!
//! Comes in: the cat's nature and dice. Goes out: a number without unit, about 1 at its best for a usual dose. It
//! comes on and goes off along two log-logistic curves, `1/(1+(on/t)^sudden)` and `1/(1+(t/off)^steep)`: no depot, no gamma
//! shape. What can go wrong with a shot (into the fur, into muscle, part of it late) and how often is chosen by us.

use super::nature::Nature;
use crate::simulate::cat::dice::Dice;

/// A dose under way.
#[derive(Clone, Copy, Debug)]
pub(super) struct Dose {
    age: f64,
    strength: f64,
    on: f64,
    off: f64,
    sudden: f64,
    steep: f64,
}

impl Dose {
    /// Adds what comes of one shot to the doses under way.
    pub(super) fn give(nature: &Nature, strength: f64, dice: &mut Dice, doses: &mut Vec<Self>) {
        let on = nature.onset * dice.factor(nature.time_spread);
        let off = nature.duration * dice.factor(nature.time_spread);
        let usual = Self {
            age: 0.0,
            strength,
            on,
            off: off.max(1.6 * on),
            sudden: nature.sudden,
            steep: nature.steep,
        };
        match dice.between(0.0, 1.0) {
            luck if luck < 0.02 => doses.push(Self { strength: 0.2 * strength, ..usual }),
            luck if luck < 0.06 => doses.push(Self { strength: 1.4 * strength, on: 0.4 * on, ..usual }),
            luck if luck < 0.06 + nature.late_share => {
                let later = dice.between(120.0, 420.0);
                doses.push(Self { strength: 0.6 * strength, ..usual });
                doses.push(Self { age: -later, strength: 0.6 * strength, ..usual });
            }
            _ => doses.push(usual),
        }
    }

    /// One minute on; whether anything is left of it.
    pub(super) fn minute(&mut self) -> bool {
        self.age += 1.0;
        self.age < 4.0 * self.off
    }

    /// How much of it works now.
    pub(super) fn works(&self) -> f64 {
        if self.age <= 0.0 {
            return 0.0;
        }
        self.strength
            / (1.0 + (self.on / self.age).powf(self.sudden))
            / (1.0 + (self.age / self.off).powf(self.steep))
    }
}
