//! The fourth family of invented cats: no body and no curve, but a cat that rests, falls, stays down and rises again.
//! Each stretch draws its own length, speed and end; a dose only makes it likelier that the next fall begins.
//!
//! Nothing is ever fitted on it: it judges what was learned on the first three (`depot`, `curve`, `swing`). Comes in: doses by
//! the minute. Goes out: blood glucose by the minute, mg/dL. Every number is chosen by us.

use super::Temper;
use super::dice::Dice;

/// What the cat does at present.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stretch {
    Rests,
    Falls,
    StaysDown,
    Rises,
}

/// One cat of stretches.
#[derive(Clone, Debug)]
pub(super) struct Regime {
    dice: Dice,
    /// Level at which it rests, mg/dL.
    home: f64,
    /// Share by which a fall goes under that level: least, and how much more at most.
    depth: (f64, f64),
    /// The larger, the rarer are deep falls.
    shallow: f64,
    /// Usual speed of a fall, share of what is still to fall a minute.
    speed: f64,
    /// Chance a minute that a fall begins, long after a dose.
    restless: f64,
    /// How many times likelier it is when the dose works.
    follows: f64,
    /// When the dose works most, minutes after it.
    works_at: f64,
    // What changes.
    blood: f64,
    rate: f64,
    inertia: f64,
    stretch: Stretch,
    wanted: f64,
    pace: f64,
    until_level: f64,
    left: f64,
    since_dose: f64,
    days: f64,
}

impl Regime {
    /// The cat with this seed.
    pub(super) fn new(seed: u64, temper: Temper) -> Self {
        let mut dice = Dice::new(seed, 6);
        let (home, depth, shallow) = match temper {
            Temper::Tight => ((88.0, 114.0), (0.02, 0.42), 2.0),
            Temper::Typical => ((170.0, 240.0), (0.20, 0.50), 1.5),
            Temper::Brittle => ((220.0, 320.0), (0.35, 0.47), 1.4),
            Temper::High => ((300.0, 400.0), (0.05, 0.38), 1.2),
        };
        let home = dice.between(home.0, home.1);
        Self {
            home,
            depth,
            shallow: shallow * dice.between(0.8, 1.3),
            speed: dice.between(0.007, 0.016),
            restless: dice.between(0.0006, 0.0020),
            follows: if dice.chance(0.7) { dice.between(3.0, 9.0) } else { 1.0 },
            works_at: dice.between(100.0, 320.0),
            blood: home,
            rate: 0.0,
            inertia: 8.0,
            stretch: Stretch::Rests,
            wanted: 0.0,
            pace: 0.0,
            until_level: home,
            left: 60.0,
            since_dose: 0.0,
            days: 1.0,
            dice,
        }
    }

    /// A dose was given.
    pub(super) fn dose(&mut self) {
        self.since_dose = 0.0;
        // From dose to dose the level of rest differs.
        self.days = 1.0 + 0.75 * (self.days - 1.0) + 0.06 * self.dice.normal();
    }

    /// One minute on; gives blood glucose, mg/dL.
    pub(super) fn minute(&mut self) -> f64 {
        self.since_dose += 1.0;
        self.left -= 1.0;
        let there = match self.stretch {
            Stretch::Falls => self.blood <= self.until_level,
            Stretch::Rises => self.blood >= self.until_level,
            Stretch::Rests => self.falls_now(),
            Stretch::StaysDown => false,
        };
        if there || self.left < 0.0 {
            self.next();
        }
        if self.stretch == Stretch::Falls {
            // It slows down as it nears its end, and does not come to a stop before.
            self.wanted = -self.pace * (self.blood - self.until_level + 0.08 * self.until_level);
        }
        // What lies far under the range pushes back, all at once and not for long.
        let push = if self.blood < 56.0 { 0.05 * (56.0 - self.blood) } else { 0.0 };
        self.rate += (self.wanted + push - self.rate) / self.inertia;
        self.blood = (self.blood + self.rate + 0.15 * self.dice.normal()).clamp(22.0, 640.0);
        self.blood
    }

    /// Whether a rest ends in a fall this minute.
    fn falls_now(&mut self) -> bool {
        let away = (self.since_dose - self.works_at) / 90.0;
        let likelier = 1.0 + (self.follows - 1.0) * (-away * away).exp();
        self.dice.chance(self.restless * likelier)
    }

    fn next(&mut self) {
        let rest = self.home * self.days.clamp(0.75, 1.3);
        self.inertia = self.dice.between(4.0, 16.0);
        self.stretch = match self.stretch {
            Stretch::Rests if self.left >= 0.0 => Stretch::Falls,
            Stretch::Rests => Stretch::Rests,
            Stretch::Falls => Stretch::StaysDown,
            Stretch::StaysDown => Stretch::Rises,
            Stretch::Rises => Stretch::Rests,
        };
        match self.stretch {
            Stretch::Rests => {
                self.left = 45.0 * self.dice.factor(0.6);
                self.wanted =
                    ((rest - self.blood) / 240.0).clamp(-0.8, 0.8) + 0.0012 * rest * self.dice.normal();
            }
            Stretch::Falls => {
                let deep = self.depth.0 + self.depth.1 * self.dice.between(0.0, 1.0).powf(self.shallow);
                self.until_level = self.blood * (1.0 - deep);
                self.pace = self.speed * self.dice.factor(0.35);
                self.left = 360.0;
            }
            Stretch::StaysDown => {
                self.left = 50.0 * self.dice.factor(0.7);
                self.wanted = 0.0015 * self.blood * self.dice.normal();
            }
            Stretch::Rises => {
                let beyond = if self.dice.chance(0.15) { 1.5 } else { 1.1 };
                self.until_level = rest * self.dice.between(0.85, beyond);
                self.wanted = 0.006 * rest * self.dice.factor(0.4);
                self.left = 300.0;
            }
        }
    }
}
