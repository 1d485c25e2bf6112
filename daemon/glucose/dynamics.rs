//! How blood, interstitial fluid and sensor move between two readings, exactly for any step length.
//!
//! State: interstitial glucose I and blood glucose B (mg/dL), the rate r of blood (mg/dL per minute), the
//! sensor's wandering error n (in units of its own standard deviation) and the wear's gain error g (a share).
//!
//! - dI/dt = (B - I) / tau: interstitial fluid follows blood (Rebrin et al., Am J Physiol 1999;277:E561);
//! - dB/dt = r, and r is pulled back towards the expected drift m: dr/dt = (m - r) / T + noise;
//! - n forgets itself with its own time constant, so that neighbouring readings share error: about 0.7 from one
//!   to the next at 15 minutes (Breton and Kovatchev, J Diabetes Sci Technol 2008;2:853-862);
//! - g hardly moves while one sensor is worn.

use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};

use super::kalman::{Belief, Step};
use super::motion::Motion;

/// Size of the state.
pub const SIZE: usize = 5;
/// Place of interstitial glucose in the state.
pub const INTERSTITIAL: usize = 0;
/// Place of blood glucose in the state.
pub const BLOOD: usize = 1;
/// Place of the rate in the state.
pub const RATE: usize = 2;
/// Place of the sensor's wandering error in the state.
pub const WANDER: usize = 3;
/// Place of the wear's gain error in the state.
pub const GAIN: usize = 4;

/// Levels beyond these, mg/dL, spread no further.
const LEVELS: [f64; 2] = [20.0, 600.0];
/// What the drift of the first day adds to the gain error at its beginning, as a share, and how fast it fades, minutes.
/// Chosen by us.
const FIRST_DAY_SPREAD: f64 = 0.08;
const FIRST_DAY_MINUTES: f64 = 500.0;

/// Readings closer than this share their noise; those that are `SPACED_MINUTES` apart, as the usual sensor's, are reckoned
/// not to. Chosen by us.
pub(crate) const CROWDED_MINUTES: f64 = 10.0;
const SPACED_MINUTES: f64 = 15.0;
/// What was taught of a sensor's gain fades in about so long where nothing says that it is still the same sensor, minutes:
/// five days; chosen by us.
pub(crate) const GAIN_MINUTES: f64 = 5.0 * 1440.0;

/// What is known of one cat and its sensors before any reading.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Nature {
    /// Time constant of interstitial fluid behind blood, minutes.
    pub lag_minutes: f64,
    /// Time constant with which the rate forgets itself, minutes.
    pub rate_minutes: f64,
    /// Usual spread of the rate at level zero, mg/dL per minute, and per mg/dL of level.
    pub rate_spread: [f64; 2],
    /// How much of its own square a rate adds to the square of that spread: what moves goes on moving, or stops, more
    /// than what rests. The rate's distribution has heavier tails than a normal one for it.
    #[serde(default)]
    pub rate_feeds: f64,
    /// Spread of the sensor's wandering error at level zero, mg/dL, and per mg/dL of level.
    pub wander_spread: [f64; 2],
    /// Time constant of the wandering error, minutes.
    pub wander_minutes: f64,
    /// Spread of what is new in every single reading at level zero, mg/dL, rounding included, and per mg/dL of level.
    pub grain: [f64; 2],
    /// Factor on the two spreads of the sensor's noise; one unless a fit found otherwise.
    #[serde(default = "one")]
    pub noise: f64,
    /// Spread of the gain error of a new wear, as a share.
    pub gain_spread: f64,
}

impl Nature {
    /// The usual cat with the given lag.
    #[must_use]
    pub fn usual(lag_minutes: f64) -> Self {
        Self {
            lag_minutes: lag_minutes.clamp(0.5, 60.0),
            rate_minutes: 60.0,
            rate_spread: [0.17, 0.0048],
            rate_feeds: 0.25,
            wander_spread: [1.0, 0.02],
            // 0.7 from one reading to the next at 15 minutes.
            wander_minutes: 42.0,
            grain: [5.7, 0.016],
            noise: 1.0,
            // Between the invented sensors and those that were published of cats (`docs/estimate.md`).
            gain_spread: 0.08,
        }
    }

    /// The same with other noise and another lag, as factors on what they are.
    #[must_use]
    pub fn with(&self, noise: f64, lag: f64) -> Self {
        let lag_minutes = (self.lag_minutes * lag).clamp(0.5, 60.0);
        Self { noise: self.noise * noise, lag_minutes, ..*self }
    }

    /// Variance of what is new in every single reading at a level, (mg/dL)^2.
    #[must_use]
    pub fn grain_variance(&self, level: f64) -> f64 {
        let more = self.grain[1] * level.clamp(LEVELS[0], LEVELS[1]);
        self.noise.powi(2) * (self.grain[0].powi(2) + more.powi(2))
    }

    /// The same for a reading so many minutes after the one before it. Noise hangs together, so readings that crowd are no
    /// proofs of their own: however many come, they teach as much as one each quarter of an hour.
    #[must_use]
    pub fn crowded(&self, span_minutes: f64) -> Self {
        if span_minutes >= CROWDED_MINUTES {
            return *self;
        }
        let more = (SPACED_MINUTES / span_minutes.max(0.5)).sqrt();
        Self { grain: self.grain.map(|grain| more * grain), ..*self }
    }

    /// Standard deviation of the gain error of a sensor worn for so many minutes, as a share: on the first day
    /// sensors drift (common practice, no published source for cats).
    #[must_use]
    pub fn gain_spread_after(&self, worn_minutes: f64) -> f64 {
        let first = FIRST_DAY_SPREAD * (-worn_minutes.max(0.0) / FIRST_DAY_MINUTES).exp();
        self.gain_spread.hypot(first)
    }

    /// Variance of the rate at a level, of a cat whose blood rests, (mg/dL per minute)^2.
    fn rest_variance(&self, level: f64) -> f64 {
        (self.rate_spread[0] + self.rate_spread[1] * level.clamp(LEVELS[0], LEVELS[1])).powi(2)
    }

    /// Variance to which the rate is drawn over a span from a level and a rate, (mg/dL per minute)^2. The rate itself
    /// fades meanwhile: its mean square over the span counts.
    #[must_use]
    pub fn rate_variance(&self, span_minutes: f64, level: f64, rate: f64) -> f64 {
        let spans = (2.0 * span_minutes / self.rate_minutes).max(1e-6);
        self.rest_variance(level) + self.rate_feeds * rate * rate * -(-spans).exp_m1() / spans
    }

    /// Spread of the wandering error at a level, mg/dL.
    #[must_use]
    pub fn wander_spread_at(&self, level: f64) -> f64 {
        self.noise * (self.wander_spread[0] + self.wander_spread[1] * level.clamp(LEVELS[0], LEVELS[1]))
    }

    /// What is believed when a series begins: almost nothing, except that fluid and blood are alike.
    #[must_use]
    pub fn beginning(&self) -> Belief<SIZE> {
        let (level, spread) = (200.0, 150.0_f64);
        let rate = self.rest_variance(level).sqrt();
        let mut belief = Belief { mean: SVector::zeros(), covariance: SMatrix::zeros() };
        belief.mean[INTERSTITIAL] = level;
        belief.mean[BLOOD] = level;
        for row in [INTERSTITIAL, BLOOD] {
            for column in [INTERSTITIAL, BLOOD] {
                belief.covariance[(row, column)] = spread * spread;
            }
        }
        // Once a fall or rise is under way blood runs ahead of fluid by rate times lag.
        let apart = rate * self.lag_minutes;
        belief.covariance[(BLOOD, BLOOD)] += apart * apart;
        belief.covariance[(BLOOD, RATE)] = apart * rate;
        belief.covariance[(RATE, BLOOD)] = apart * rate;
        belief.covariance[(RATE, RATE)] = 1.2 * rate * rate;
        belief.covariance[(WANDER, WANDER)] = 1.0;
        belief.covariance[(GAIN, GAIN)] = self.gain_spread * self.gain_spread;
        belief
    }

    /// The same step, at whose end a new sensor is put on: what belongs to the sensor starts afresh, what
    /// belongs to the cat goes on.
    #[must_use]
    pub fn with_new_sensor(&self, step: &Step<SIZE>) -> Step<SIZE> {
        let mut step = *step;
        for (place, spread) in [(WANDER, 1.0), (GAIN, self.gain_spread_after(0.0))] {
            step.transition.row_mut(place).fill(0.0);
            step.offset[place] = 0.0;
            step.noise.row_mut(place).fill(0.0);
            step.noise.column_mut(place).fill(0.0);
            step.noise[(place, place)] = spread * spread;
        }
        step
    }

    /// The same step for a sensor that had been worn for so many minutes at its beginning: the drift of its first day
    /// fades, and with it the doubt of its gain.
    #[must_use]
    pub fn fading(&self, mut step: Step<SIZE>, worn_minutes: f64, span_minutes: f64) -> Step<SIZE> {
        let left = self.gain_spread_after(worn_minutes + span_minutes) / self.gain_spread_after(worn_minutes);
        step.transition[(GAIN, GAIN)] = left;
        step
    }

    /// The same step where nobody notes when a sensor is put on: what was taught of its gain fades, and its doubt grows back
    /// to that of any sensor.
    #[must_use]
    pub fn unsure_of_sensor(&self, mut step: Step<SIZE>, span_minutes: f64) -> Step<SIZE> {
        let keep = (-span_minutes / GAIN_MINUTES).exp();
        step.transition[(GAIN, GAIN)] = keep;
        step.noise[(GAIN, GAIN)] = self.gain_spread.powi(2) * (1.0 - keep * keep);
        step
    }

    /// The step over `span_minutes` from about `from` (blood, mg/dL, and its rate, mg/dL per minute) while the rate is
    /// drawn to `drift` mg/dL per minute.
    #[must_use]
    pub fn step(&self, span_minutes: f64, from: [f64; 2], drift: f64) -> Step<SIZE> {
        let motion = Motion::new(self.lag_minutes, self.rate_minutes);
        // Stationary variance s^2 of dr = -r/T dt + noise needs noise of intensity 2 s^2 / T.
        let intensity = 2.0 * self.rate_variance(span_minutes, from[0], from[1]) / motion.rate_minutes;
        let (moves, noise) = motion.over(span_minutes, intensity);
        let keep = (-span_minutes / self.wander_minutes).exp();
        let mut step = Step::<SIZE> {
            transition: SMatrix::identity(),
            offset: SVector::zeros(),
            noise: SMatrix::zeros(),
        };
        step.transition.fixed_view_mut::<3, 3>(0, 0).copy_from(&moves);
        step.noise.fixed_view_mut::<3, 3>(0, 0).copy_from(&noise);
        step.transition[(WANDER, WANDER)] = keep;
        step.noise[(WANDER, WANDER)] = 1.0 - keep * keep;
        // A drift m is the same motion seen from a frame that itself rises by m per minute.
        let keep_fluid = (-span_minutes / motion.lag_minutes).exp();
        let frame = SVector::<f64, 3>::new(
            drift * (span_minutes - motion.lag_minutes * (1.0 - keep_fluid)),
            drift * span_minutes,
            drift,
        );
        let still = frame - moves * SVector::<f64, 3>::new(0.0, 0.0, drift);
        step.offset.fixed_rows_mut::<3>(0).copy_from(&still);
        step
    }
}

const fn one() -> f64 {
    1.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, expected: f64) {
        assert!((value - expected).abs() < 1e-10 * expected.abs().max(1.0), "{value} is not {expected}");
    }

    fn moved(state: [f64; 3], span: f64, drift: f64) -> SVector<f64, SIZE> {
        let step = Nature { rate_minutes: 60.0, ..Nature::usual(8.0) }.step(span, [100.0, 0.0], drift);
        step.transition * SVector::<f64, SIZE>::new(state[0], state[1], state[2], 0.0, 0.0) + step.offset
    }

    /// I = B1 + (I0 - B1) exp(-t/tau): blood drops from 200 to 100 at once, lag 8 minutes.
    #[test]
    fn fluid_follows_a_step_of_blood() {
        for (t, fluid) in [
            (4.0, 160.6530659713),
            (8.0, 136.7879441171),
            (15.0, 115.3354966845),
            (30.0, 102.3517745856),
            (60.0, 100.0553084370),
        ] {
            near(moved([200.0, 100.0, 0.0], t, 0.0)[INTERSTITIAL], fluid);
        }
    }

    /// I = B - r tau (1 - exp(-t/tau)): blood falls by 2 a minute from 200, kept up by a drift of the same size; in
    /// the end fluid reads r tau = 16 mg/dL too high.
    #[test]
    fn fluid_trails_a_ramp_of_blood() {
        for (t, fluid) in [
            (4.0, 198.2955094446),
            (8.0, 194.1139289413),
            (15.0, 183.5463205305),
            (30.0, 155.6237160663),
            (60.0, 95.9911506501),
        ] {
            let state = moved([200.0, 200.0, -2.0], t, -2.0);
            near(state[BLOOD], 200.0 - 2.0 * t);
            near(state[INTERSTITIAL], fluid);
        }
    }

    /// B = 80 + 120 exp(-t/60) is the model's own free motion from (200, 200, -2) with a rate time constant of 60;
    /// I = 80 + c exp(-t/60) + (120 - c) exp(-t/8), c = 120 * 60/52.
    #[test]
    fn fluid_follows_an_exponential_fall() {
        for (t, blood, fluid) in [
            (8.0, 185.0207982852, 194.3862237228),
            (15.0, 173.4560939686, 185.0027859604),
            (30.0, 152.7836791655, 163.5469944983),
            (120.0, 96.2402339884, 98.7387258776),
        ] {
            let state = moved([200.0, 200.0, -2.0], t, 0.0);
            near(state[BLOOD], blood);
            near(state[INTERSTITIAL], fluid);
        }
    }

    /// B = 150 + 50 sin(w t) in steps of a hundredth of a minute, each with the drift blood has then; the fluid is
    /// 150 + 50 g sin(w t - p) + 50 g sin(p) exp(-t/tau), g = 1/sqrt(1 + (w tau)^2), p = atan(w tau).
    #[test]
    fn fluid_follows_a_wave_smaller_and_later() {
        for (period, at_30, at_60) in [
            (60.0, 175.1921731681, 125.4002899580),
            (120.0, 192.9555835570, 167.8275239688),
            (240.0, 177.0119353499, 197.9044668340),
            (720.0, 159.6045162277, 171.8723286114),
        ] {
            let w = 2.0 * std::f64::consts::PI / period;
            let mut fluid = 150.0;
            for k in 0..6000 {
                let (a, b) = (f64::from(k) * 0.01, f64::from(k + 1) * 0.01);
                let (from, to) = (150.0 + 50.0 * (w * a).sin(), 150.0 + 50.0 * (w * b).sin());
                let rate = (to - from) / 0.01;
                fluid = moved([fluid, from, rate], 0.01, rate)[INTERSTITIAL];
                if k == 2999 {
                    assert!((fluid - at_30).abs() < 2e-3, "{period}: {fluid}");
                }
            }
            assert!((fluid - at_60).abs() < 2e-3, "{period}: {fluid}");
        }
    }
}
