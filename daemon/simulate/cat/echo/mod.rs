//! Invented cats, the family that judges: one loop of regulation that answers late and within limits.
//!
//! Comes in: doses and meals at their minutes. Goes out: blood glucose, one value a minute. It does not know the
//! sensor. Glucose `G` (mg/dL) follows one delay-differential equation, stepped by the minute:
//!
//! ```text
//! dG/dt = S r(t) w(t) 2 / (1 + (G(t-a)/R)^m) / (1 + 0.15 D)      the liver, late, held down by the drug
//!         + guard(G(t-b)) + rebound(G over the last hours)        defence against lows, now and long after
//!         + food(t) + fright(t)                                   bumps with an end
//!         - c U(G) (1 + own(G(t-d)) + D) p(t)                     uptake: by itself, own insulin, drug; play
//!         - k max(0, G - 270)                                     kidneys
//! ```
//!
//! `R` is the level without drug, `S` what holds it there, `U(G) = G^2/(G+15)/(1+G/450)`. The drug `D` is a potency times a
//! saturating sum of the doses ([`dose`]). Chance is bumps of all lengths ([`waves`]), no wandering with one memory.
//! Numbers are chosen by us unless a source stands beside them; none was fitted to a cat or to a method.

mod dose;
#[cfg(test)]
mod likeness;
mod nature;
mod past;
mod waves;

use super::Temper;
use super::dice::Dice;
use dose::Dose;
use nature::Nature;
use past::Past;
use waves::{Bumps, Waves};

/// One cat of this family.
#[derive(Clone, Debug)]
pub(super) struct Echo {
    dice: Dice,
    nature: Nature,
    past: Past,
    doses: Vec<Dose>,
    /// Logarithm of the liver's factor.
    liver: Waves,
    /// Logarithm of the factor on uptake.
    need: Waves,
    food: Bumps,
    fright: Bumps,
    play: Bumps,
    /// Logarithm of how well the drug works these days.
    season: f64,
    minute: i64,
}

impl Echo {
    /// The cat with this seed.
    pub(super) fn new(seed: u64, temper: Temper) -> Self {
        let mut dice = Dice::new(seed, 11);
        let nature = Nature::draw(temper, &mut dice);
        Self {
            past: Past::new(nature.rest, nature.guard_limit),
            liver: Waves::new(nature.unrest),
            need: Waves::new(0.7 * nature.unrest),
            nature,
            doses: Vec::new(),
            food: Bumps::default(),
            fright: Bumps::default(),
            play: Bumps::default(),
            season: 0.0,
            minute: 0,
            dice,
        }
    }

    /// A dose is given now.
    pub(super) fn dose(&mut self) {
        let strength = (self.season.exp() * self.dice.factor(self.nature.dose_spread)).min(2.2);
        Dose::give(&self.nature, strength, &mut self.dice, &mut self.doses);
    }

    /// Food is put down now: eaten bit by bit, and slow to be seen. Cats show little or no rise after meals of few
    /// carbohydrates; 5 to 30 mg/dL over hours is chosen by us.
    pub(super) fn meal(&mut self) {
        let appetite = if self.dice.chance(0.08) { 0.2 } else { self.dice.between(0.6, 1.2) };
        let lasts = self.dice.between(240.0, 480.0);
        self.food.add(lasts, 2.0 * self.nature.food * appetite / lasts);
    }

    /// Lives through the next minute; blood glucose in mg/dL.
    pub(super) fn minute(&mut self) -> f64 {
        let of_day = self.minute.rem_euclid(1440) as f64;
        if of_day == 0.0 {
            self.turn_season();
        }
        self.frighten(of_day);
        self.play(of_day);
        let drug = self.drug();
        let change = self.supply(of_day, drug) - self.uptake(drug);
        self.past.push((self.past.ago(0) + change).clamp(LEAST, MOST));
        self.minute += 1;
        self.past.ago(0)
    }

    /// How many times its own share the drug adds to uptake. Doses that overlap add less than their sum.
    fn drug(&mut self) -> f64 {
        self.doses.retain_mut(Dose::minute);
        let given: f64 = self.doses.iter().map(Dose::works).sum();
        self.nature.potency * 1.35 * given / (1.0 + 0.35 * given)
    }

    /// What enters the blood, mg/dL a minute.
    fn supply(&mut self, of_day: f64, drug: f64) -> f64 {
        let nature = &self.nature;
        let rhythm =
            1.0 + nature.rhythm * ((of_day - nature.rhythm_peak) * std::f64::consts::TAU / 1440.0).cos();
        let late = (self.past.ago(nature.liver_delay) / nature.rest).powf(nature.liver_firmness);
        let liver = nature.supply() * rhythm * self.liver.minute(&mut self.dice).exp() * 2.0 / (1.0 + late);
        let guard = nature.guard * saturated(self.past.want(nature.guard_delay));
        let rebound = nature.rebound * saturated(self.past.long_want());
        liver / (1.0 + DRUG_ON_LIVER * drug) + guard + rebound + self.food.minute() + self.fright.minute()
    }

    /// What leaves it, mg/dL a minute.
    fn uptake(&mut self, drug: f64) -> f64 {
        let now = self.past.ago(0);
        let own = self.nature.own(self.past.ago(self.nature.own_delay));
        let busy = (1.0 + self.play.minute()) * self.need.minute(&mut self.dice).exp();
        self.nature.uptake(now, own + drug) * busy + self.nature.kidneys(now)
    }

    /// Fright by day, seldom by night: the liver pours for half an hour or an hour, the level comes back within one or
    /// two more. Stress alone can take a cat above 300 mg/dL (guidelines 2025/2026, second-hand): hence the long tail.
    fn frighten(&mut self, of_day: f64) {
        let by_day = if (450.0..1350.0).contains(&of_day) { 1.5 } else { 0.15 };
        if self.dice.chance(by_day * self.nature.frights_per_day / 1440.0) {
            let rise = (self.nature.fright * self.dice.factor(0.6)).min(220.0);
            let lasts = self.dice.between(25.0, 70.0);
            self.fright.add(lasts, 2.0 * rise / lasts);
        }
    }

    /// Play and roaming, most at dawn and dusk.
    fn play(&mut self, of_day: f64) {
        let twilight = [360.0, 1200.0].iter().any(|peak: &f64| (of_day - peak).abs() < 110.0);
        let a_day = if twilight { 9.0 } else { 2.0 };
        if self.dice.chance(a_day / 1440.0) {
            let hard = self.dice.between(0.1, self.nature.play);
            self.play.add(self.dice.between(12.0, 55.0), hard);
        }
    }

    /// How well the drug works changes from day to day: by steps between two walls, at times by a jump (an illness that
    /// begins or ends, a new vial).
    fn turn_season(&mut self) {
        let wall = self.nature.season;
        let next = self.season + 0.25 * wall * self.dice.normal();
        let jumps = self.dice.chance(0.04);
        self.season = if jumps { self.dice.between(-wall, wall) } else { next.clamp(-wall, wall) };
    }
}

/// From nothing at 0 to one: half at 1.
fn saturated(x: f64) -> f64 {
    x * x / (1.0 + x * x)
}

/// How much of the drug's effect holds the liver down.
const DRUG_ON_LIVER: f64 = 0.15;
/// Bounds of blood glucose, mg/dL.
const LEAST: f64 = 22.0;
const MOST: f64 = 650.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_drug_food_and_chance_it_stays_where_it_rests() {
        let mut cat = Echo::new(1, Temper::Typical);
        cat.nature.rhythm = 0.0;
        cat.nature.frights_per_day = 0.0;
        cat.nature.play = 0.1;
        cat.play = Bumps::default();
        (cat.liver, cat.need) = (Waves::new(0.0), Waves::new(0.0));
        let rest = cat.nature.rest;
        let levels: Vec<f64> = (0..1440).map(|_| cat.minute()).collect();
        // Bouts of play of a tenth are all that is left.
        assert!(levels.iter().all(|level| (level / rest - 1.0).abs() < 0.06), "{rest}");
    }

    #[test]
    fn a_low_is_answered_late_and_long() {
        let mut cat = Echo::new(1, Temper::Typical);
        for _ in 0..60 {
            cat.past.push(45.0);
        }
        let nature = cat.nature.clone();
        assert!(cat.past.want(nature.guard_delay) > 0.3);
        let rebound = |cat: &Echo| saturated(cat.past.long_want());
        let at_once = rebound(&cat);
        for _ in 0..60 {
            cat.past.push(150.0);
        }
        assert!(cat.past.want(nature.guard_delay) == 0.0 && rebound(&cat) > at_once);
        for _ in 0..240 {
            cat.past.push(150.0);
        }
        assert!(rebound(&cat) < 1e-9);
    }

    #[test]
    fn a_cat_that_rebounds_rises_higher_after_a_low_than_the_same_cat_that_does_not() {
        let peak = |rebound: f64| {
            let mut cat = Echo::new(1, Temper::Typical);
            cat.nature.rebound = rebound;
            for _ in 0..60 {
                cat.past.push(45.0);
            }
            (0..360).map(|_| cat.minute()).fold(0.0, f64::max)
        };
        assert!(peak(1.5) > peak(0.0) + 15.0, "{} {}", peak(1.5), peak(0.0));
    }
}
