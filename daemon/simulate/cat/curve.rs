//! The second family of invented cats: no body at all, only curves. The logarithm of blood glucose is a
//! curve through random knots over the cycle, stretched and shifted each time, plus wandering on three time
//! scales and sudden falls with shapes of their own.
//!
//! It exists so that whatever was fitted on the first family (`depot`) can be tried on one it never saw.
//! Comes in: doses by the minute. Goes out: blood glucose by the minute, mg/dL.

use super::Temper;
use super::dice::{Dice, Wander};

const KNOTS: usize = 7;
const CYCLE_MINUTES: f64 = 720.0;

/// A sudden fall: down along a smooth step, a stay, and a slow way back.
#[derive(Clone, Copy, Debug)]
struct Plunge {
    age: f64,
    depth: f64,
    down: f64,
    stay: f64,
    back: f64,
}

impl Plunge {
    fn now(&self) -> f64 {
        let t = self.age;
        if t < 0.0 {
            0.0
        } else if t < self.down {
            let x = t / self.down;
            self.depth * x * x * (3.0 - 2.0 * x)
        } else if t < self.down + self.stay {
            self.depth
        } else {
            self.depth * (-(t - self.down - self.stay) / self.back).exp()
        }
    }
}

/// One cat of curves.
#[derive(Clone, Debug)]
pub(super) struct Curve {
    dice: Dice,
    log_level: f64,
    knots: [f64; KNOTS],
    depth: f64,
    depth_spread: f64,
    follows_doses: bool,
    plunges_per_cycle: f64,
    plunge_depth: (f64, f64),
    // What changes.
    since_dose: f64,
    stretch: f64,
    scale: f64,
    shape: f64,
    plunge: Option<Plunge>,
    speed: Wander,
    swing: f64,
    hours: Wander,
    days: Wander,
}

impl Curve {
    /// The cat with this seed.
    pub(super) fn new(seed: u64, temper: Temper) -> Self {
        let mut dice = Dice::new(seed, 3);
        let (level, depth, spread, plunges, plunge_depth, quick, hours, days) = match temper {
            Temper::Tight => ((96.0, 118.0), (0.05, 0.25), 0.25, 0.10, (0.15, 0.40), 0.004, 0.07, 0.06),
            Temper::Typical => ((200.0, 280.0), (0.35, 0.75), 0.25, 0.08, (0.25, 0.60), 0.006, 0.11, 0.10),
            Temper::Brittle => ((230.0, 330.0), (0.65, 1.10), 0.35, 0.14, (0.30, 0.75), 0.008, 0.15, 0.14),
            Temper::High => ((300.0, 420.0), (0.20, 0.60), 0.30, 0.04, (0.20, 0.60), 0.006, 0.11, 0.12),
        };
        let mut knots = [0.0; KNOTS];
        let lowest = dice.between(2.0, 4.6);
        for (place, knot) in knots.iter_mut().enumerate().skip(1).take(KNOTS - 2) {
            let away = (place as f64 - lowest).abs() / 2.6;
            *knot = (1.0 - away * away).max(0.0) * dice.between(0.7, 1.1) + dice.between(-0.12, 0.12);
        }
        Self {
            log_level: dice.between(level.0, level.1).ln(),
            knots,
            depth: dice.between(depth.0, depth.1),
            depth_spread: spread * dice.between(0.6, 1.3),
            follows_doses: dice.chance(0.75),
            plunges_per_cycle: plunges * dice.between(0.3, 2.0),
            plunge_depth,
            since_dose: 0.0,
            stretch: 1.0,
            scale: 1.0,
            shape: 0.0,
            plunge: None,
            speed: Wander::new(quick * 0.6, 22.0, &mut dice),
            swing: 0.0,
            hours: Wander::new(hours, 260.0, &mut dice),
            days: Wander::new(days, 2200.0, &mut dice),
            dice,
        }
    }

    /// A dose starts a new cycle. A cat that does not follow its doses starts them when it likes.
    pub(super) fn dose(&mut self) {
        if self.follows_doses {
            self.new_cycle();
        }
    }

    /// One minute on; gives blood glucose, mg/dL.
    pub(super) fn minute(&mut self) -> f64 {
        self.since_dose += 1.0;
        if !self.follows_doses && self.since_dose > CYCLE_MINUTES * self.stretch {
            self.new_cycle();
        }
        let target = -self.depth * self.scale * self.along(self.since_dose / (CYCLE_MINUTES * self.stretch));
        self.shape += (target - self.shape) / 18.0;
        self.swing += self.speed.minute(&mut self.dice) - self.swing / 120.0;
        let slow = self.hours.minute(&mut self.dice) + self.days.minute(&mut self.dice);
        let fall = self.plunge.as_mut().map_or(0.0, |plunge| {
            plunge.age += 1.0;
            plunge.now()
        });
        let free = (self.log_level + self.shape + self.swing + slow - fall).exp();
        // No cat goes on falling for ever: under 58 the curve bends and flattens towards 26.
        let bent = if free < 58.0 { 26.0 + 32.0 * ((free - 58.0) / 32.0).exp() } else { free };
        bent.min(650.0)
    }

    fn new_cycle(&mut self) {
        self.since_dose = 0.0;
        self.stretch = self.dice.factor(0.12).clamp(0.7, 1.5);
        self.scale = self.dice.factor(self.depth_spread).min(2.2);
        if self.dice.chance(self.plunges_per_cycle.min(0.9)) {
            let (low, high) = self.plunge_depth;
            self.plunge = Some(Plunge {
                age: -self.dice.between(20.0, 600.0),
                depth: self.dice.between(low, high),
                down: self.dice.between(40.0, 150.0),
                stay: self.dice.between(5.0, 80.0),
                back: self.dice.between(40.0, 140.0),
            });
        }
    }

    /// Smooth curve through the knots (Catmull & Rom 1974); zero after the last one.
    fn along(&self, share: f64) -> f64 {
        let place = (share * (KNOTS - 1) as f64).max(0.0);
        let first = place as usize;
        if first >= KNOTS - 1 {
            return 0.0;
        }
        let at = |knot: usize| self.knots[knot.min(KNOTS - 1)];
        let (a, b, c, d) = (at(first.saturating_sub(1)), at(first), at(first + 1), at(first + 2));
        let x = place - first as f64;
        0.5 * (2.0 * b
            + (c - a) * x
            + (2.0 * a - 5.0 * b + 4.0 * c - d) * x * x
            + (3.0 * b - a - 3.0 * c + d) * x * x * x)
    }
}
