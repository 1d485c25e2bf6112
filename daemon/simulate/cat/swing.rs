//! The third family of invented cats: it swings. The logarithm of blood glucose is a level, a few damped oscillators
//! that chance keeps going, and the answers to the doses of the last day, each a gamma-shaped pulse of its own size.
//!
//! It exists for how differently a movement goes on: in one cat a fall that has begun runs its course, in another it
//! turns at any moment, and only what a cat has shown before tells which it is. Comes in: doses by the minute. Goes
//! out: blood glucose by the minute, mg/dL. Every number is chosen by us.

use super::Temper;
use super::dice::{Dice, Wander};

/// One damped oscillator kept going by chance (a second-order linear stochastic differential equation), stepped by the
/// minute.
#[derive(Clone, Debug)]
struct Oscillator {
    at: f64,
    speed: f64,
    /// Square of the angular frequency, and friction, each per minute.
    pull: f64,
    friction: f64,
    kick: f64,
}

impl Oscillator {
    /// With this standard deviation in the long run, this period, and this share of critical damping.
    fn new(sd: f64, period_minutes: f64, damping: f64, dice: &mut Dice) -> Self {
        let turn = std::f64::consts::TAU / period_minutes;
        let (pull, friction) = (turn * turn, 2.0 * damping * turn);
        // Driven by white noise of intensity q, the variance in the long run is q / (2 friction pull).
        let kick = sd * (2.0 * friction * pull).sqrt();
        Self { at: sd * dice.normal(), speed: sd * turn * dice.normal(), pull, friction, kick }
    }

    fn minute(&mut self, dice: &mut Dice) -> f64 {
        self.speed += -self.pull * self.at - self.friction * self.speed + self.kick * dice.normal();
        self.at += self.speed;
        self.at
    }
}

/// The answer to one dose.
#[derive(Clone, Copy, Debug)]
struct Answer {
    age: f64,
    depth: f64,
    peaks_at: f64,
    shape: f64,
}

impl Answer {
    /// Share of the logarithm by which it lowers glucose now: a gamma density scaled to one at its peak.
    fn now(&self) -> f64 {
        let x = (self.age / self.peaks_at).max(0.0);
        self.depth * (x * (1.0 - x).exp()).powf(self.shape)
    }
}

/// One swinging cat.
#[derive(Clone, Debug)]
pub(super) struct Swing {
    dice: Dice,
    log_level: f64,
    depth: f64,
    depth_spread: f64,
    peaks_at: f64,
    peaks_spread: f64,
    shape: f64,
    oscillators: Vec<Oscillator>,
    days: Wander,
    answers: Vec<Answer>,
    /// Under this the cat pushes back, mg/dL, and so far it can go at most.
    floor: f64,
    depth_under: f64,
}

impl Swing {
    /// The cat with this seed.
    pub(super) fn new(seed: u64, temper: Temper) -> Self {
        let mut dice = Dice::new(seed, 8);
        let (level, depth, spread, quick) = match temper {
            Temper::Tight => ((90.0, 112.0), (0.00, 0.20), 0.5, (0.06, 0.14)),
            Temper::Typical => ((185.0, 265.0), (0.35, 0.80), 0.3, (0.08, 0.18)),
            Temper::Brittle => ((230.0, 330.0), (0.60, 1.10), 0.4, (0.14, 0.28)),
            Temper::High => ((310.0, 420.0), (0.05, 0.40), 0.4, (0.06, 0.14)),
        };
        let sd = dice.between(quick.0, quick.1);
        let oscillators = [(150.0, 420.0, 0.75), (400.0, 1000.0, 0.65)]
            .map(|(short, long, share): (f64, f64, f64)| {
                let period = dice.between(short, long);
                // From a pendulum that runs for hours to one that hardly swings.
                let damping = 0.12 * (12.0_f64).powf(dice.between(0.0, 1.0));
                Oscillator::new(sd * share, period, damping, &mut dice)
            })
            .into();
        Self {
            log_level: dice.between(level.0, level.1).ln(),
            depth: dice.between(depth.0, depth.1),
            depth_spread: spread * dice.between(0.6, 1.3),
            peaks_at: dice.between(150.0, 420.0),
            peaks_spread: dice.between(0.08, 0.35),
            shape: dice.between(1.5, 6.0),
            oscillators,
            days: Wander::new(0.09, 2.0 * 1440.0, &mut dice),
            answers: Vec::new(),
            floor: dice.between(54.0, 66.0),
            depth_under: dice.between(16.0, 34.0),
            dice,
        }
    }

    /// A dose was given.
    pub(super) fn dose(&mut self) {
        self.answers.retain(|answer| answer.age < 1440.0);
        self.answers.push(Answer {
            age: 0.0,
            depth: (self.depth * self.dice.factor(self.depth_spread)).min(1.6),
            peaks_at: self.peaks_at * self.dice.factor(self.peaks_spread).clamp(0.5, 2.0),
            shape: self.shape,
        });
    }

    /// One minute on; gives blood glucose, mg/dL.
    pub(super) fn minute(&mut self) -> f64 {
        let swing: f64 = self.oscillators.iter_mut().map(|part| part.minute(&mut self.dice)).sum();
        let days = self.days.minute(&mut self.dice);
        let answers: f64 = self
            .answers
            .iter_mut()
            .map(|answer| {
                answer.age += 1.0;
                answer.now()
            })
            .sum();
        let free = (self.log_level + days + swing - answers).exp();
        let under = self.floor - free;
        let held = if under > 0.0 {
            self.floor - self.depth_under * (under / self.depth_under).tanh()
        } else {
            free
        };
        held.clamp(22.0, 640.0)
    }
}
