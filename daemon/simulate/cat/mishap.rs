//! A low out of nothing: on one day of its life an invented cat falls under the limit, whatever it did before and will
//! do after, as after a dose given twice or a meal not eaten.
//!
//! Comes in: blood glucose as the cat would have had it. Goes out: as it has it. What was learned on cats that are low
//! again and again must not take a cat that never was for one that never will be.

use super::dice::Dice;

/// One fall: down along a smooth step, a stay, and back.
#[derive(Clone, Debug)]
pub(super) struct Mishap {
    begins: i64,
    /// Level at the bottom, mg/dL.
    lowest: f64,
    down: f64,
    stay: f64,
    back: f64,
    /// Logarithm of the share that is left at the bottom, once it has begun.
    depth: Option<f64>,
}

impl Mishap {
    /// At some hour of the day with this number.
    pub(super) fn new(seed: u64, day: u32) -> Self {
        let mut dice = Dice::new(seed, 7);
        Self {
            begins: i64::from(day) * 1440 + dice.between(0.0, 1440.0) as i64,
            lowest: dice.between(44.0, 65.0),
            down: dice.between(90.0, 240.0),
            stay: dice.between(10.0, 70.0),
            back: dice.between(50.0, 150.0),
            depth: None,
        }
    }

    /// Blood glucose this minute, mg/dL.
    pub(super) fn minute(&mut self, minute: i64, blood: f64) -> f64 {
        let since = (minute - self.begins) as f64;
        if since < 0.0 {
            return blood;
        }
        let depth = *self.depth.get_or_insert((self.lowest / blood).ln().min(0.0));
        let share = if since < self.down {
            let x = since / self.down;
            x * x * (3.0 - 2.0 * x)
        } else if since < self.down + self.stay {
            1.0
        } else {
            (-(since - self.down - self.stay) / self.back).exp()
        };
        (blood * (depth * share).exp()).max(20.0)
    }
}
