//! The errors of the sensor that the judging family wears: fluid, electrode and their ageing, by the minute.
//!
//! Comes in: blood glucose, once a minute; a new wear; how old that is and how long it will last. Goes out: what it would
//! show. It does not know when it is put on, falls silent or sticks. Of another kind than the other sensors:
//! - exchange with blood is slower in one direction than in the other, and slower still when the gap is wide (after a
//!   bolus fluid rose far too slowly in cats: Del Baldo et al., JVIM 2021); the electrode averages some minutes (part of
//!   the delay: Keenan et al., JDST 2009;3:1207);
//! - the electrode bends: its error hangs on the level; it reads low at first and loses sensitivity at the end;
//! - noise is of second order (Facchinetti et al., IEEE TBME 2014;61(3) found order 2; our numbers), louder for hours,
//!   louder at high levels and fast changes, on the first day and the last;
//! - a cat that lies on it cuts the fluid off, and it starves, more often by night.
//!
//! Numbers without a source are chosen by us.

use super::Options;
use super::dice::Dice;

/// Fluid and electrode.
#[derive(Clone, Debug)]
pub(super) struct Enzyme {
    dice: Dice,
    /// Factor on the noise.
    noise: f64,
    lag_fixed: Option<f64>,
    lag_usual: f64,
    noise_floor: f64,
    noise_share: f64,
    presses_per_day: f64,
    wear: Wear,
    /// Glucose in the fluid of the last minutes, mg/dL.
    fluid: [f64; AVERAGED_MOST],
    hum: Hum,
    /// Share of the exchange that is left, and minutes until the cat gets up.
    pressed: Option<(f64, f64)>,
}

/// What is drawn anew for each sensor put on.
#[derive(Clone, Copy, Debug)]
struct Wear {
    /// Time constants while fluid rises and falls, minutes.
    up: f64,
    down: f64,
    averaged: usize,
    gain: f64,
    bend: f64,
    background: f64,
    first_day: f64,
    drift: (f64, f64),
    /// How many days before its end it begins to fade, and how much is gone then.
    fades: (f64, f64),
}

/// Noise of variance one, second order, that is calm for hours and loud for hours.
#[derive(Clone, Copy, Debug)]
struct Hum {
    first: f64,
    second: f64,
    loud: f64,
    loud_soon: f64,
}

impl Enzyme {
    /// The sensors of the cat with this seed.
    pub(super) fn new(seed: u64, options: &Options, blood: f64) -> Self {
        let mut dice = Dice::new(seed, 12);
        let lag_usual = (8.5 * dice.factor(0.3)).clamp(4.0, 16.0);
        Self {
            noise: options.noise,
            lag_fixed: options.lag_minutes,
            lag_usual,
            noise_floor: dice.between(2.0, 5.0),
            noise_share: dice.between(0.03, 0.07),
            presses_per_day: dice.between(0.05, 0.6),
            wear: Wear::draw(lag_usual, options.lag_minutes, &mut dice),
            fluid: [blood; AVERAGED_MOST],
            hum: Hum { first: dice.normal(), second: dice.normal(), loud: 1.0, loud_soon: 1.0 },
            pressed: None,
            dice,
        }
    }

    /// A new one is put on.
    pub(super) fn apply(&mut self) {
        self.wear = Wear::draw(self.lag_usual, self.lag_fixed, &mut self.dice);
        self.pressed = None;
    }

    /// One minute on.
    pub(super) fn minute(&mut self, minute: i64, blood: f64) {
        self.hum.minute(&mut self.dice);
        self.press(minute.rem_euclid(1440));
        let fluid = self.fluid[0];
        let open = self.pressed.map_or(1.0, |(open, _)| open);
        let gap = blood - fluid;
        let tau = if gap > 0.0 { self.wear.up } else { self.wear.down };
        let wide = if self.lag_fixed.is_some() { 1.0 } else { 1.0 + gap.abs() / GAP_MG_DL };
        let exchanged = gap * (1.0 - (-open / (tau * wide)).exp());
        self.fluid.rotate_right(1);
        self.fluid[0] = fluid + exchanged - (1.0 - open) * fluid / EATEN_MINUTES;
    }

    /// What it shows so many days after it was put on and before its end, mg/dL; not yet rounded or cut off.
    pub(super) fn shown(&self, days: f64, days_left: f64) -> f64 {
        let wear = &self.wear;
        let averaged = self.fluid[..wear.averaged].iter().sum::<f64>() / wear.averaged as f64;
        let faded = (1.0 - days_left / wear.fades.0).clamp(0.0, 1.0).powi(2);
        let gain = wear.gain * (1.0 + wear.drift.0 * days + wear.drift.1 * days * days)
            - wear.first_day * (-days / 0.4).exp()
            - wear.fades.1 * faded;
        let clean = gain * 100.0 * (averaged / 100.0).powf(wear.bend) + wear.background;
        let rate = (self.fluid[0] - self.fluid[AVERAGED_MOST - 1]).abs() / (AVERAGED_MOST - 1) as f64;
        let sd = (self.noise_floor + self.noise_share * clean.max(0.0)) * (1.0 + 0.3 * rate.min(4.0));
        let age = 1.0 + 0.7 * (-days / 0.5).exp() + 0.6 * faded;
        clean + self.noise * sd * age * self.hum.now()
    }

    /// The cat lies down on it, or gets up.
    fn press(&mut self, of_day: i64) {
        self.pressed = match self.pressed {
            Some((open, left)) => (left > 1.0).then_some((open, left - 1.0)),
            None => {
                let by_night = if (360..1320).contains(&of_day) { 0.7 } else { 1.6 };
                let lies = self.dice.chance(by_night * self.presses_per_day / 1440.0);
                lies.then(|| (self.dice.between(0.02, 0.4), self.dice.between(8.0, 90.0)))
            }
        };
    }
}

impl Wear {
    fn draw(lag_usual: f64, lag_fixed: Option<f64>, dice: &mut Dice) -> Self {
        let lag = (lag_usual * dice.factor(0.15)).clamp(4.0, 18.0);
        let leaning = dice.factor(0.2);
        let (averaged, fades) = (dice.between(2.0, 8.0) as usize, dice.chance(0.6));
        Self {
            up: lag_fixed.unwrap_or(lag * leaning),
            down: lag_fixed.unwrap_or(lag / leaning),
            averaged: if lag_fixed.is_some() { 1 } else { averaged },
            gain: 0.99 * dice.factor(0.08),
            bend: 1.0 + 0.04 * dice.normal(),
            background: 3.0 * dice.normal(),
            first_day: 0.06 + 0.06 * dice.normal(),
            drift: (0.006 * dice.normal(), 0.0006 * dice.normal()),
            fades: (dice.between(0.4, 2.5), if fades { dice.between(0.04, 0.3) } else { 0.0 }),
        }
    }
}

impl Hum {
    fn minute(&mut self, dice: &mut Dice) {
        let keep = (-1.0 / HUM_FIRST).exp();
        self.first = keep * self.first + (1.0 - keep * keep).sqrt() * dice.normal();
        let share = 1.0 - (-1.0 / HUM_SECOND).exp();
        self.second += share * (self.first * (1.0 + HUM_SECOND / HUM_FIRST).sqrt() - self.second);
        if dice.chance(1.0 / LOUD_MINUTES) {
            self.loud_soon = 0.9 * dice.factor(0.35);
        }
        self.loud += (self.loud_soon - self.loud) / 30.0;
    }

    fn now(&self) -> f64 {
        self.loud * self.second
    }
}

/// Minutes that are kept, and the most that are averaged.
const AVERAGED_MOST: usize = 8;
/// A gap this wide halves the exchange.
const GAP_MG_DL: f64 = 200.0;
/// Cells empty the fluid with this time constant when nothing comes from blood.
const EATEN_MINUTES: f64 = 35.0;
/// The two time constants of the noise, minutes: together 0.7 is left after 15, as Breton & Kovatchev 2008 have it.
const HUM_FIRST: f64 = 8.0;
const HUM_SECOND: f64 = 23.0;
/// It is as loud as it is for so long, on average.
const LOUD_MINUTES: f64 = 200.0;

#[cfg(test)]
mod tests {
    use super::*;

    fn clean() -> Enzyme {
        let mut enzyme = Enzyme::new(1, &Options { noise: 0.0, ..Options::default() }, 200.0);
        let wear =
            Wear { up: 12.0, down: 6.0, averaged: 1, gain: 1.0, bend: 1.0, background: 0.0, ..enzyme.wear };
        enzyme.wear = Wear { first_day: 0.0, drift: (0.0, 0.0), fades: (1.0, 0.2), ..wear };
        enzyme.presses_per_day = 0.0;
        enzyme
    }

    #[test]
    fn the_noise_has_sd_near_one_and_hangs_together_as_published() {
        let mut dice = Dice::new(3, 12);
        let mut hum = Hum { first: 0.0, second: 0.0, loud: 1.0, loud_soon: 1.0 };
        let noise: Vec<f64> = (0..1_500_000)
            .map(|_| {
                hum.minute(&mut dice);
                hum.now()
            })
            .collect();
        let count = noise.len() as f64;
        let variance = noise.iter().map(|x| x * x).sum::<f64>() / count;
        let after =
            |gap: usize| noise.iter().zip(&noise[gap..]).map(|(a, b)| a * b).sum::<f64>() / count / variance;
        assert!((variance.sqrt() - 1.0).abs() < 0.06, "{}", variance.sqrt());
        assert!((0.64..0.76).contains(&after(15)), "{}", after(15));
        // Second order: flat at first, where a first order of the same memory would have lost 5 % in two minutes.
        assert!(after(2) > 0.98, "{}", after(2));
    }

    #[test]
    fn fluid_rises_and_falls_at_different_speeds() {
        let step = |to: f64| {
            let mut enzyme = clean();
            for minute in 0..6 {
                enzyme.minute(minute, to);
            }
            (enzyme.shown(5.0, 5.0) - 200.0).abs() / (to - 200.0).abs()
        };
        let (up, down) = (step(240.0), step(160.0));
        assert!((0.3..0.42).contains(&up) && (0.5..0.66).contains(&down), "{up} {down}");
        assert!(step(600.0) < 0.7 * up, "a wide gap closes more slowly");
    }

    #[test]
    fn it_fades_at_its_end_and_starves_when_lain_on() {
        let mut enzyme = clean();
        assert!((enzyme.shown(5.0, 3.0) - 200.0).abs() < 1e-9);
        assert!((enzyme.shown(5.0, 0.0) - 160.0).abs() < 1e-9);
        enzyme.pressed = Some((0.1, 40.0));
        for minute in 0..40 {
            enzyme.minute(minute, 200.0);
        }
        let dip = enzyme.shown(5.0, 3.0);
        for minute in 40..120 {
            enzyme.minute(minute, 200.0);
        }
        assert!((70.0..150.0).contains(&dip) && enzyme.shown(5.0, 3.0) > 199.0, "{dip}");
    }
}
