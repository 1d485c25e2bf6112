//! The household of an invented cat: when doses are given or forgotten, when food is put down, when the
//! sensor is scanned. Comes in: the day. Goes out: that day's plan, in minutes after midnight.

use super::dice::Dice;

/// One day in the house, minutes after midnight.
#[derive(Clone, Debug, Default)]
pub(super) struct Day {
    /// Doses given, and whether each is written down.
    pub(super) doses: Vec<(i64, bool)>,
    /// Meals put down.
    pub(super) meals: Vec<i64>,
    /// Scans.
    pub(super) scans: Vec<i64>,
}

/// A household and its habits.
#[derive(Clone, Debug)]
pub(super) struct Owner {
    dice: Dice,
    jitter_minutes: f64,
    skips: f64,
    forgets_to_note: f64,
    scans_kept: f64,
}

impl Owner {
    /// The household of the cat with this seed.
    pub(super) fn new(seed: u64) -> Self {
        let mut dice = Dice::new(seed, 1);
        Self {
            jitter_minutes: dice.between(5.0, 20.0),
            skips: dice.between(0.0, 0.04),
            forgets_to_note: dice.between(0.0, 0.08),
            scans_kept: dice.between(0.75, 0.98),
            dice,
        }
    }

    /// The next day. Injections every 12 hours and meals with them are common practice, no published source.
    pub(super) fn day(&mut self) -> Day {
        let mut day = Day::default();
        for due in [7 * 60, 19 * 60] {
            let at = due + (self.jitter_minutes * self.dice.normal()).clamp(-60.0, 90.0) as i64;
            if !self.dice.chance(self.skips) {
                let noted = !self.dice.chance(self.forgets_to_note);
                day.doses.push((at, noted));
            }
            day.meals.push(at + self.dice.between(-25.0, 10.0) as i64);
        }
        for (usual, spread) in [(410, 20.0), (745, 70.0), (1000, 60.0), (1135, 25.0), (1350, 35.0)] {
            let at = f64::from(usual) + spread * self.dice.normal().clamp(-2.5, 2.5);
            if self.dice.chance(self.scans_kept) {
                day.scans.push(at as i64);
            }
        }
        day.scans.sort_unstable();
        day
    }
}
