//! Lows on top of an invented cat's own: the cats of `cat` fall under the plan's danger about once in twelve worlds of
//! three days, too seldom to try what matters most. Comes in: dice, a trace. Goes out: the same trace with falls in it.
//! It is made for trying the house, not for scoring the estimate: the trial's cats are left as they are.

use super::cat::Trace;
use super::cat::dice::Dice;
use crate::words::{Moment, Reading, Value, minutes};

/// One fall: down along a smooth step, a stay, and up again. Minutes.
#[derive(Clone, Copy, Debug)]
struct Plunge {
    begins: Moment,
    down: f64,
    stay: f64,
    back: f64,
    /// Natural logarithm of the share that blood glucose is brought down to.
    depth: f64,
}

impl Plunge {
    /// From 0 (nothing) to 1 (the bottom).
    fn strength(&self, at: Moment) -> f64 {
        let smooth = |x: f64| x * x * (3.0 - 2.0 * x);
        let t = at.minutes_since(self.begins);
        let after = t - self.down - self.stay;
        if t < 0.0 || after > self.back {
            0.0
        } else if t < self.down {
            smooth(t / self.down)
        } else if after < 0.0 {
            1.0
        } else {
            1.0 - smooth(after / self.back)
        }
    }
}

/// Puts falls into a trace, so many a day. Gives how many.
pub(super) fn plunge(dice: &mut Dice, trace: &mut Trace, a_day: f64) -> u64 {
    let ends = trace.start + minutes(trace.blood.len() as f64);
    let mut at = trace.start;
    let mut count = 0;
    loop {
        at = at + minutes(dice.wait(1440.0 / a_day));
        if at >= ends {
            return count;
        }
        let (down, stay, back) =
            (dice.between(35.0, 150.0), dice.between(5.0, 90.0), dice.between(30.0, 140.0));
        let bottom = at + minutes(down);
        let depth = trace.blood_at(bottom).map_or(0.0, |blood| libm::log(blood / dice.between(28.0, 64.0)));
        let fall = Plunge { begins: at, down, stay, back, depth: depth.max(0.0) };
        lower(trace, &fall);
        count += 1;
        at = bottom + minutes(stay + back);
    }
}

fn lower(trace: &mut Trace, fall: &Plunge) {
    let start = trace.start;
    for (minute, blood) in trace.blood.iter_mut().enumerate() {
        let strength = fall.strength(start + minutes(minute as f64));
        *blood *= libm::exp(-fall.depth * strength) as f32;
    }
    for reading in &mut trace.readings {
        shown(reading, fall);
    }
    for spot in trace.scans.iter_mut().filter_map(|scan| scan.spot.as_mut()) {
        shown(spot, fall);
    }
}

/// The sensor shows the fall some minutes late, and nothing under its range.
fn shown(reading: &mut Reading, fall: &Plunge) {
    let strength = fall.strength(reading.measured_at - minutes(LAG_MINUTES));
    if strength == 0.0 {
        return;
    }
    if let Value::Level(level) = reading.value {
        let lowered = (level * libm::exp(-fall.depth * strength)).round();
        reading.value = if lowered < FLOOR { Value::Below } else { Value::Level(lowered) };
    }
}

/// As the sensors of `cat` lag on average.
const LAG_MINUTES: f64 = 9.0;
/// The sensors' range begins here, mg/dL.
const FLOOR: f64 = 40.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::cat::{Options, simulate};

    #[test]
    fn falls_reach_under_the_danger_and_end_again() {
        let mut under = 0;
        for seed in 0..6 {
            let before = simulate(seed, 4, &Options::default());
            let mut trace = before.clone();
            let count = plunge(&mut Dice::new(seed, 9), &mut trace, 2.0);
            assert!(count > 0 && trace.readings.len() == before.readings.len());
            under += trace.readings.iter().filter(|reading| reading.value.under(50.0)).count();
            let same = trace.blood.iter().zip(&before.blood).filter(|(a, b)| a == b).count();
            assert!(
                same > trace.blood.len() / 4 && trace.blood.iter().zip(&before.blood).all(|(a, b)| a <= b)
            );
        }
        assert!(under > 60, "{under}");
    }
}
