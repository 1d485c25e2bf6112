//! The first family of invented cats: a body with an insulin depot, food, a liver and a defence against lows.
//!
//! Comes in: doses and meals by the minute. Goes out: blood glucose by the minute, mg/dL. The parts are those
//! of textbook minimal models (two-compartment depot, remote insulin action, two-compartment gut: Hovorka et
//! al., Physiol Meas 2004;25:905); the numbers are chosen by us so that the curves look like what owners
//! report. No cat was measured for this, and it does not describe any insulin.

use super::Temper;
use super::dice::{Dice, Wander};

/// One body.
#[derive(Clone, Debug)]
pub(super) struct Depot {
    dice: Dice,
    /// Untreated liver output, mg/dL per minute.
    liver: f64,
    /// Uptake without insulin, per minute.
    effectiveness: f64,
    /// Insulin action that a steady stream of average doses would give, per minute.
    action_mean: f64,
    action_speed: f64,
    fast: f64,
    slow: f64,
    day_spread: f64,
    meal_mg_dl: f64,
    gut_speed: f64,
    own_insulin: f64,
    defence: f64,
    defence_from: f64,
    stress_per_day: f64,
    // What changes.
    blood: f64,
    depot: [f64; 2],
    absorb: f64,
    action: f64,
    own: f64,
    gut: [f64; 2],
    alarmed: f64,
    stress: f64,
    stress_push: f64,
    stress_left: f64,
    next_stress: f64,
    next_nibble: f64,
    liver_wander: Wander,
    sensitivity: Wander,
}

/// What a temper means for this body: mean level aimed at, half-lives of the depot (h), spreads.
struct Build {
    level: (f64, f64),
    half_lives_hours: (f64, f64),
    day_spread: (f64, f64),
    liver_spread: (f64, f64),
    sensitivity_sd: f64,
    own_insulin: (f64, f64),
}

const fn build(temper: Temper) -> Build {
    let (level, half_lives_hours, day_spread, liver_spread, sensitivity_sd, own_insulin) = match temper {
        Temper::Tight => ((88.0, 116.0), (2.4, 4.5), (0.08, 0.18), (0.06, 0.12), 0.10, (0.004, 0.012)),
        Temper::Typical => ((115.0, 200.0), (1.3, 2.8), (0.12, 0.26), (0.08, 0.15), 0.16, (0.0, 0.003)),
        Temper::Brittle => ((125.0, 190.0), (1.1, 2.1), (0.18, 0.34), (0.12, 0.20), 0.18, (0.0, 0.0)),
        Temper::High => ((190.0, 320.0), (0.9, 2.2), (0.12, 0.30), (0.08, 0.15), 0.20, (0.0, 0.0)),
    };
    Build { level, half_lives_hours, day_spread, liver_spread, sensitivity_sd, own_insulin }
}

impl Depot {
    /// The body of the cat with this seed.
    pub(super) fn new(seed: u64, temper: Temper) -> Self {
        let build = build(temper);
        let mut dice = Dice::new(seed, 2);
        let effectiveness = dice.between(0.0045, 0.009);
        let liver = effectiveness * dice.between(360.0, 480.0);
        let level = dice.between(build.level.0, build.level.1);
        let half_life = dice.between(build.half_lives_hours.0, build.half_lives_hours.1) * 60.0;
        let liver_sd = dice.between(build.liver_spread.0, build.liver_spread.1);
        let liver_memory = dice.between(50.0, 140.0);
        let liver_wander = Wander::new(liver_sd, liver_memory, &mut dice);
        let sensitivity_memory = dice.between(1.0, 4.0) * 1440.0;
        let sensitivity = Wander::new(build.sensitivity_sd, sensitivity_memory, &mut dice);
        Self {
            liver,
            effectiveness,
            action_mean: (liver / level - effectiveness).max(0.0005),
            action_speed: 1.0 / dice.between(25.0, 60.0),
            fast: std::f64::consts::LN_2 / half_life,
            slow: std::f64::consts::LN_2 / (half_life * dice.between(0.45, 0.9)),
            day_spread: dice.between(build.day_spread.0, build.day_spread.1),
            meal_mg_dl: dice.between(15.0, 110.0),
            gut_speed: 1.0 / dice.between(35.0, 75.0),
            own_insulin: dice.between(build.own_insulin.0, build.own_insulin.1),
            defence: dice.between(0.012, 0.05),
            defence_from: dice.between(58.0, 80.0),
            stress_per_day: dice.between(0.05, 0.5),
            blood: level,
            depot: [0.4, 0.4],
            absorb: 1.0,
            action: 0.0,
            own: 0.0,
            gut: [0.0; 2],
            alarmed: 0.0,
            stress: 0.0,
            stress_push: 0.0,
            stress_left: 0.0,
            next_stress: dice.wait(2000.0),
            next_nibble: dice.wait(300.0),
            liver_wander,
            sensitivity,
            dice,
        }
    }

    /// A dose goes in: how much of it works, and how fast, differs from day to day.
    pub(super) fn dose(&mut self) {
        let odd = if self.dice.chance(0.04) { self.dice.between(1.2, 1.6) } else { 1.0 };
        self.depot[0] += self.dice.factor(self.day_spread) * odd;
        self.absorb = self.dice.factor(self.day_spread * 0.8).clamp(0.5, 2.0);
    }

    /// A meal is put down; some are left standing.
    pub(super) fn meal(&mut self) {
        let appetite = if self.dice.chance(0.05) { 0.1 } else { self.dice.factor(0.3).min(2.5) };
        self.gut[0] += self.meal_mg_dl * appetite;
    }

    /// One minute on; gives blood glucose, mg/dL.
    pub(super) fn minute(&mut self) -> f64 {
        self.nibble();
        let push = self.stress();
        let out = self.fast * self.absorb * self.depot[0];
        let into_blood = self.slow * self.absorb * self.depot[1];
        self.depot[0] -= out;
        self.depot[1] += out - into_blood;
        let sensitive = self.sensitivity.minute(&mut self.dice).exp();
        // Two average doses a day give `action_mean`.
        let wanted = self.action_mean * 720.0 * into_blood * sensitive;
        self.action += self.action_speed * (wanted - self.action);
        let wanted_own = self.own_insulin * ((self.blood - 88.0) / 60.0).clamp(0.0, 2.0);
        self.own += (wanted_own - self.own) / 15.0;
        let eaten = self.gut_speed * self.gut[1];
        let passed_on = self.gut_speed * self.gut[0];
        self.gut[0] -= passed_on;
        self.gut[1] += passed_on - eaten;
        // The defence wakes within half an hour and takes longer to calm down.
        let threat = self.defence * (self.defence_from - self.blood).max(0.0);
        self.alarmed += (threat - self.alarmed) / if threat > self.alarmed { 22.0 } else { 75.0 };
        let liver = self.liver * (1.0 + self.liver_wander.minute(&mut self.dice)).max(0.2);
        let spilled = 0.008 * (self.blood - 280.0).max(0.0);
        let used = (self.effectiveness + self.action + self.own) * self.blood;
        self.blood += liver + eaten + self.alarmed + push - used - spilled;
        self.blood = self.blood.clamp(18.0, 650.0);
        self.blood
    }

    fn nibble(&mut self) {
        self.next_nibble -= 1.0;
        if self.next_nibble < 0.0 {
            self.gut[0] += self.meal_mg_dl * self.dice.between(0.03, 0.25);
            self.next_nibble = self.dice.wait(300.0);
        }
    }

    /// A fright, a visitor, a fight: the liver pushes for an hour or two.
    fn stress(&mut self) -> f64 {
        self.next_stress -= 1.0;
        if self.next_stress < 0.0 {
            self.stress_push = self.dice.between(0.4, 1.8);
            self.stress_left = self.dice.between(25.0, 130.0);
            self.next_stress = self.dice.wait(1440.0 / self.stress_per_day);
        }
        self.stress_left -= 1.0;
        let wanted = if self.stress_left > 0.0 { self.stress_push } else { 0.0 };
        self.stress += (wanted - self.stress) / 12.0;
        self.stress
    }
}
