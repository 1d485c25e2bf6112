//! An invented interstitial sensor on an invented cat, with everything that goes wrong with one.
//!
//! Comes in: blood glucose by the minute. Goes out: stored samples, spot values and what happens to the
//! sensor. A kind of error for each family of cats: skewed heavy-tailed correlated noise with drifting
//! gain and offset (after Breton & Kovatchev, J Diabetes Sci Technol 2008;2(5):853, correlation 0.7 at
//! 15 min, Johnson SU tails); a dead time, a random walk of the gain and Gaussian noise with white noise on top; noise
//! that hangs together for another time each wear, and a gain that comes and goes over hours; or a lag in two stages, a
//! gain that jumps, and noise that hangs together over an hour with sharp tails on top. The errors of the fifth family
//! are in [`super::enzyme`]; when it is put on, ends, sticks and falls silent is the same for all.

use super::dice::Dice;
use super::enzyme::Enzyme;
use super::{Family, Options};
use crate::words::{SensorEvent, Value};

const DAY: f64 = 1440.0;
/// `e[n] = 0.7 (e[n-1] + v[n])` at 15 min: this keeps it at any spacing.
const NOISE_MEMORY_MINUTES: f64 = 42.055;
/// Johnson SU constants of Breton & Kovatchev 2008 and the mean and sd they give (mg/dL, by quadrature).
const SU: (f64, f64, f64, f64) = (-5.471, 15.96, 1.6898, -0.5444);
const SU_MEAN_SD: (f64, f64) = (0.718_672_32, 11.730_037_51);
const E_SD: f64 = 0.980_196;

/// One wear and the noise in it.
#[derive(Clone, Debug)]
struct Wear {
    applied: f64,
    ends: f64,
    how: SensorEvent,
    dies_slowly: bool,
    gain: f64,
    gain_per_day: f64,
    offset: f64,
    first_day: f64,
}

/// Something that spoils readings for a while.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Spoilt {
    /// The cat lies on it: the value sinks to this share and comes back.
    Pressed(f64),
    /// It repeats one value.
    Stuck,
    /// It says nothing.
    Away,
}

/// The sensor worn by a cat, wear after wear.
#[derive(Clone, Debug)]
pub(super) struct Sensor {
    dice: Dice,
    family: Family,
    noise: f64,
    off: f64,
    noise_floor: f64,
    noise_share: f64,
    missing: f64,
    lag_fixed: Option<f64>,
    lag_usual: f64,
    tau: f64,
    dead_minutes: usize,
    delayed: [f64; 16],
    press_per_day: f64,
    interstitial: f64,
    /// First of the two stages of the fourth family's lag.
    between: f64,
    /// Of the third family: how long the noise hangs together (another each wear), minutes, and how slowly the gain
    /// wanders.
    memory: f64,
    wanders: f64,
    wear: Option<Wear>,
    next_wear_at: f64,
    sample_from: i64,
    noise_state: f64,
    noise_at: f64,
    spoilt: Option<(Spoilt, f64, f64)>,
    next_press: f64,
    next_stuck: f64,
    next_away: f64,
    last_said: Option<Value>,
    /// The errors of an [`Family::Echo`] sensor, instead of those here.
    enzyme: Option<Box<Enzyme>>,
}

impl Sensor {
    /// The sensor of the cat with this seed.
    pub(super) fn new(seed: u64, options: &Options, blood: f64) -> Self {
        let mut dice = Dice::new(seed, 4);
        let press_per_day = dice.between(0.05, 0.5);
        let lag_usual = (9.5 * dice.factor(0.3)).clamp(5.0, 20.0);
        let family = options.sensor.unwrap_or(options.family);
        Self {
            family,
            enzyme: (family == Family::Echo).then(|| Box::new(Enzyme::new(seed, options, blood))),
            noise: options.noise,
            off: options.off,
            noise_floor: dice.between(2.0, 4.5),
            noise_share: dice.between(0.03, 0.065),
            missing: options.missing,
            lag_fixed: options.lag_minutes,
            lag_usual,
            tau: options.lag_minutes.unwrap_or(lag_usual),
            dead_minutes: 0,
            delayed: [blood; 16],
            press_per_day,
            interstitial: blood,
            between: blood,
            memory: NOISE_MEMORY_MINUTES,
            wanders: 0.0,
            wear: None,
            // The first wear began some days before the trace does, as in a house that has been at it for a while.
            next_wear_at: -dice.between(0.1, 6.0) * DAY,
            sample_from: dice.between(0.0, 15.0) as i64,
            noise_state: 0.0,
            noise_at: -1e9,
            spoilt: None,
            next_press: dice.wait(DAY / press_per_day),
            next_stuck: dice.wait(60.0 * DAY),
            next_away: dice.wait(4.0 * DAY),
            last_said: None,
            dice,
        }
    }

    /// One minute on with this blood glucose; says what happened to the sensor, if anything did.
    pub(super) fn minute(&mut self, minute: i64, blood: f64) -> Option<SensorEvent> {
        let slot = minute.rem_euclid(16) as usize;
        self.delayed[slot] = blood;
        let felt = self.delayed[(slot + 16 - self.dead_minutes) % 16];
        if self.family == Family::Regime {
            let share = 1.0 - (-2.0 / self.tau).exp();
            self.between += (felt - self.between) * share;
            self.interstitial += (self.between - self.interstitial) * share;
        } else {
            self.interstitial += (felt - self.interstitial) * (1.0 - (-1.0 / self.tau).exp());
        }
        if let Some(enzyme) = &mut self.enzyme {
            enzyme.minute(minute, blood);
        }
        let now = minute as f64;
        if let Some(wear) = &self.wear {
            if now < wear.ends {
                return None;
            }
            let how = wear.how;
            self.wear = None;
            self.next_wear_at = now + self.dice.between(0.5, 20.0) * 60.0;
            return Some(how);
        }
        (now >= self.next_wear_at).then(|| {
            self.apply(now);
            SensorEvent::Applied
        })
    }

    /// Whether a wear is on and past its warm-up.
    pub(super) fn works(&self, minute: i64) -> bool {
        self.wear.as_ref().is_some_and(|wear| minute as f64 >= wear.applied + 60.0)
    }

    /// The sample the sensor stores this minute, if one is due and it manages.
    pub(super) fn sample(&mut self, minute: i64) -> Option<Value> {
        if (minute - self.sample_from).rem_euclid(15) != 0 || !self.works(minute) {
            return None;
        }
        self.spoil(minute as f64);
        if matches!(self.spoilt, Some((Spoilt::Away, ..))) || self.dice.chance(self.missing) {
            return None;
        }
        if let (Some((Spoilt::Stuck, ..)), Some(said)) = (self.spoilt, self.last_said) {
            return Some(said);
        }
        let said = self.value(minute as f64);
        self.last_said = Some(said);
        Some(said)
    }

    /// What it says when it is scanned this minute.
    pub(super) fn spot(&mut self, minute: i64) -> Option<Value> {
        let away = matches!(self.spoilt, Some((Spoilt::Away, ..)));
        (self.works(minute) && !away).then(|| self.value(minute as f64))
    }

    fn apply(&mut self, now: f64) {
        let dice = &mut self.dice;
        // Published median lives are 7 and 10 days of 14 (Shea & Hess, JVIM 2021; Knies et al., JFMS 2022).
        let life = 12.5 * (-(1.0 - dice.between(0.0, 1.0)).ln()).powf(1.0 / 1.5);
        let how = if life >= 14.0 {
            SensorEvent::Expired
        } else if dice.chance(0.5) {
            SensorEvent::CameOff
        } else {
            SensorEvent::Failed
        };
        self.wear = Some(Wear {
            applied: now,
            ends: now + life.clamp(0.3, 14.0) * DAY,
            how,
            dies_slowly: how == SensorEvent::Failed && dice.chance(0.5),
            gain: 1.0 + 0.05 * dice.normal(),
            gain_per_day: 0.004 * dice.normal(),
            offset: 2.5 * dice.normal(),
            first_day: 0.08 * dice.normal() - 0.02,
        });
        self.tau = self.lag_fixed.unwrap_or_else(|| (self.lag_usual * dice.factor(0.15)).clamp(5.0, 20.0));
        self.dead_minutes = 0;
        if self.family == Family::Curve && self.lag_fixed.is_none() {
            self.dead_minutes = (self.tau * dice.between(0.15, 0.5)) as usize;
            self.tau -= self.dead_minutes as f64;
        }
        if self.family == Family::Swing {
            self.memory = 8.0 * (10.0_f64).powf(self.dice.between(0.0, 1.0));
            self.wanders = 0.0;
        }
        self.sample_from = self.dice.between(0.0, 15.0) as i64;
        self.spoilt = None;
        self.last_said = None;
        if let Some(enzyme) = &mut self.enzyme {
            enzyme.apply();
            // It is pressed in a way of its own.
            self.next_press = f64::INFINITY;
        }
    }

    fn value(&mut self, now: f64) -> Value {
        let Some(wear) = &self.wear else { return Value::Below };
        let mut shown = match &self.enzyme {
            Some(enzyme) => enzyme.shown((now - wear.applied) / DAY, (wear.ends - now) / DAY),
            None => self.usual(now),
        };
        if self.dice.chance(0.0015) {
            shown *= self.dice.between(0.65, 1.5);
        }
        match shown.round() {
            low if low < 40.0 => Value::Below,
            high if high > 500.0 => Value::Above,
            level => Value::Level(level),
        }
    }

    /// What it shows by the errors that are here, mg/dL.
    fn usual(&mut self, now: f64) -> f64 {
        let unit_noise = self.noise(now);
        let Some(wear) = &mut self.wear else { return self.interstitial };
        let days = (now - wear.applied) / DAY;
        let drift = match self.family {
            // (An Echo sensor does not come here.)
            Family::Depot | Family::Echo => wear.gain_per_day * days,
            Family::Curve => {
                wear.gain = (wear.gain + 0.003 * self.dice.normal()).clamp(0.8, 1.2);
                0.0
            }
            Family::Regime => {
                if self.dice.chance(0.004) {
                    wear.gain = (wear.gain + 0.05 * self.dice.normal()).clamp(0.8, 1.2);
                }
                0.0
            }
            Family::Swing => {
                // Sensitivity comes and goes over some hours.
                self.wanders += 0.012 * self.dice.normal() - self.wanders / 30.0;
                self.wanders
            }
        };
        let error = wear.gain - 1.0 + drift + wear.first_day * (-days / 0.35).exp();
        let mut gain = 1.0 + (self.off * error).clamp(-0.5, 1.0);
        if wear.dies_slowly {
            gain *= 1.0 - 0.35 * (1.0 - (wear.ends - now) / 480.0).max(0.0);
        }
        let clean = gain * self.interstitial + self.off * wear.offset;
        let sd = self.noise * (self.noise_floor.powi(2) + (self.noise_share * clean).powi(2)).sqrt();
        let mut shown = clean + sd * unit_noise;
        if let Some((Spoilt::Pressed(share), from, until)) = self.spoilt {
            let in_and_out = ((now - from) / 8.0).min((until - now) / 8.0 + 1.0).clamp(0.0, 1.0);
            shown *= 1.0 - (1.0 - share) * in_and_out;
        }
        shown
    }

    /// Correlated noise of sd one at this minute, whatever the spacing.
    fn noise(&mut self, now: f64) -> f64 {
        let memory = match self.family {
            Family::Depot | Family::Echo => NOISE_MEMORY_MINUTES,
            Family::Curve => 28.0,
            Family::Regime => 60.0,
            Family::Swing => self.memory,
        };
        let keep = (-(now - self.noise_at).max(0.0) / memory).exp();
        self.noise_at = now;
        self.noise_state = self.noise_state * keep + (1.0 - keep * keep).sqrt() * self.dice.normal();
        match self.family {
            Family::Depot | Family::Echo => {
                (johnson_su(self.noise_state * E_SD) - SU_MEAN_SD.0) / SU_MEAN_SD.1
            }
            Family::Curve => 0.85 * self.noise_state + 0.53 * self.dice.normal(),
            Family::Regime => {
                let side = if self.dice.chance(0.5) { 1.0 } else { -1.0 };
                // A Laplace throw of deviation 0.6 beside 0.8 of what hangs together: one in all.
                0.8 * self.noise_state + side * self.dice.wait(0.6 / std::f64::consts::SQRT_2)
            }
            // What hangs together, and rounding-like white noise that is the larger the shorter that lasts.
            Family::Swing => {
                let white = 0.5 * (NOISE_MEMORY_MINUTES / (NOISE_MEMORY_MINUTES + self.memory));
                (1.0 - white * white).sqrt() * self.noise_state + white * self.dice.normal()
            }
        }
    }

    /// Starts and ends what spoils readings; looked at once a sample.
    fn spoil(&mut self, now: f64) {
        if self.spoilt.is_some_and(|(what, _, until)| {
            now > until + if matches!(what, Spoilt::Pressed(_)) { 8.0 } else { 0.0 }
        }) {
            self.spoilt = None;
        }
        if self.spoilt.is_none() && now > self.next_press {
            let share = self.dice.between(0.45, 0.85);
            self.spoilt = Some((Spoilt::Pressed(share), now - 5.0, now + self.dice.between(2.0, 65.0)));
        } else if self.spoilt.is_none() && now > self.next_stuck {
            self.spoilt = Some((Spoilt::Stuck, now, now + self.dice.between(45.0, 240.0)));
        } else if self.spoilt.is_none() && now > self.next_away {
            self.spoilt = Some((Spoilt::Away, now, now + self.dice.between(10.0, 150.0)));
        }
        if now > self.next_press {
            self.next_press = now + self.dice.wait(DAY / self.press_per_day);
        }
        if now > self.next_stuck {
            self.next_stuck = now + self.dice.wait(60.0 * DAY);
        }
        if now > self.next_away {
            self.next_away = now + self.dice.wait(4.0 * DAY);
        }
    }
}

/// Breton & Kovatchev 2008: `xi + lambda sinh((e - gamma)/delta)`, mg/dL.
fn johnson_su(e: f64) -> f64 {
    let (xi, lambda, delta, gamma) = SU;
    xi + lambda * ((e - gamma) / delta).sinh()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tails_are_those_of_breton_and_kovatchev() {
        // Their constants put into their formula by hand (double precision).
        for (e, shown) in [(0.0, -0.239_784_38), (1.0, 11.232_976_310_8), (-1.0, -9.826_423_111_5)] {
            assert!((johnson_su(e) - shown).abs() < 1e-8, "{e}");
        }
    }

    #[test]
    fn the_noise_has_sd_one_and_hangs_together_as_published() {
        let mut sensor = Sensor::new(1, &Options::default(), 100.0);
        let noise: Vec<f64> = (0..100_000).map(|i| sensor.noise(15.0 * f64::from(i))).collect();
        let count = noise.len() as f64;
        let mean = noise.iter().sum::<f64>() / count;
        let variance = noise.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / count;
        let lagged = noise.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum::<f64>() / count / variance;
        assert!(mean.abs() < 0.05 && (variance.sqrt() - 1.0).abs() < 0.05, "{mean} {variance}");
        // 0.7 holds for the normal variate underneath; the skewed one loses a little.
        assert!((0.66..0.71).contains(&lagged), "{lagged}");
    }
}
