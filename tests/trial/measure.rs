//! How good the numbers behind the alarms are: bias while falling, reliability, coverage, log score.
//!
//! Comes in: what the house believed at each look, and the blood. Goes out: a [`Measure`].

use crate::ours::Belief;
use crate::score::{LOW, Truth};

/// Sums over many looks.
#[derive(Clone, Debug, Default)]
pub struct Measure {
    falling: usize,
    falling_raw: f64,
    falling_estimate: f64,
    /// While falling and while not: looks, squared errors of the raw reading and of the estimate.
    moods: [(usize, f64, f64); 2],
    /// Per level of blood ([`LEVELS`]): looks, squared errors of the raw reading and of the estimate.
    levels: [(usize, f64, f64); 4],
    /// Per tenth of the chance: looks, sum of chances, how often it happened.
    pub bins: [(usize, f64, usize); 10],
    log_loss: f64,
    happened: usize,
    inside: usize,
    ends: usize,
    density: f64,
}

/// Upper bounds of the levels of blood at which errors are told apart, mg/dL.
pub const LEVELS: [f64; 4] = [100.0, 200.0, 350.0, f64::INFINITY];
/// Falling: faster than this over the last 30 min, mg/dL per minute.
const FALLING: f64 = -1.0;

impl Measure {
    /// Adds the looks of one trace; `horizon` is that of the outlooks, minutes.
    pub fn add(&mut self, truth: &Truth, beliefs: &[Belief], horizon: usize) {
        for belief in beliefs {
            let at = belief.minute as usize;
            let Some(now) = truth.blood.get(at).map(|b| f64::from(*b)) else { continue };
            let age = belief.minute.saturating_sub(belief.raw_minute);
            if age > 20 {
                continue;
            }
            self.level(truth, belief, now);
            let Some(ahead) = truth.blood.get(at..=at + horizon) else { continue };
            self.chance(belief.outlook.chance, ahead.iter().any(|b| *b < LOW));
            self.end(belief, f64::from(ahead[horizon]));
        }
    }

    /// Adds another measure.
    pub fn merge(&mut self, other: &Self) {
        self.falling += other.falling;
        self.falling_raw += other.falling_raw;
        self.falling_estimate += other.falling_estimate;
        let levels = self.levels.iter_mut().chain(&mut self.moods);
        for (level, more) in levels.zip(other.levels.iter().chain(&other.moods)) {
            *level = (level.0 + more.0, level.1 + more.1, level.2 + more.2);
        }
        for (bin, more) in self.bins.iter_mut().zip(&other.bins) {
            *bin = (bin.0 + more.0, bin.1 + more.1, bin.2 + more.2);
        }
        self.log_loss += other.log_loss;
        self.happened += other.happened;
        self.inside += other.inside;
        self.ends += other.ends;
        self.density += other.density;
    }

    fn level(&mut self, truth: &Truth, belief: &Belief, now: f64) {
        // A reading out of range is not a number that could be off by so much.
        let Some(raw) = belief.raw else { return };
        let place = LEVELS.iter().position(|bound| now < *bound).unwrap_or(LEVELS.len() - 1);
        let before = (belief.minute as usize).checked_sub(30).map(|m| f64::from(truth.blood[m]));
        let falling = before.is_some_and(|before| (now - before) / 30.0 < FALLING);
        for level in [&mut self.levels[place], &mut self.moods[usize::from(!falling)]] {
            level.0 += 1;
            level.1 += (raw - now).powi(2);
            level.2 += (belief.estimate.blood - now).powi(2);
        }
        if falling {
            self.falling += 1;
            self.falling_raw += raw - now;
            self.falling_estimate += belief.estimate.blood - now;
        }
    }

    fn chance(&mut self, chance: f64, happened: bool) {
        let bin = &mut self.bins[((chance * 10.0) as usize).min(9)];
        bin.0 += 1;
        bin.1 += chance;
        bin.2 += usize::from(happened);
        self.happened += usize::from(happened);
        let held = chance.clamp(1e-4, 1.0 - 1e-4);
        self.log_loss -= if happened { held.ln() } else { (1.0 - held).ln() };
    }

    fn end(&mut self, belief: &Belief, end: f64) {
        let outlook = &belief.outlook;
        self.ends += 1;
        self.inside += usize::from(end >= outlook.interval80[0] && end <= outlook.interval80[1]);
        let sd = outlook.sd_at_end.max(0.1);
        let z = (end - outlook.blood_at_end) / sd;
        self.density -= 0.5 * z * z + sd.ln() + 0.5 * std::f64::consts::TAU.ln();
    }

    /// Mean error while falling: of the raw reading and of the estimate, mg/dL.
    pub fn falling_bias(&self) -> (f64, f64) {
        let n = self.falling.max(1) as f64;
        (self.falling_raw / n, self.falling_estimate / n)
    }

    /// Root mean square error of the raw reading and of the estimate at each of [`LEVELS`], mg/dL.
    pub fn rms(&self) -> [(f64, f64); 4] {
        self.levels.map(root_mean)
    }

    /// Root mean square error of the estimate of blood over one of [`LEVELS`], mg/dL.
    pub fn over(&self, level: f64) -> f64 {
        let sums = self.levels.iter().zip(LEVELS).filter(|(_, bound)| *bound > level);
        let (count, off) = sums.fold((0, 0.0), |(n, off), (sum, _)| (n + sum.0, off + sum.2));
        (off / f64::from(u32::try_from(count.max(1)).unwrap_or(u32::MAX))).sqrt()
    }

    /// The same while blood falls, and while it does not.
    pub fn moods(&self) -> [(f64, f64); 2] {
        self.moods.map(root_mean)
    }

    /// Log loss of the chance (nats a look), and that of always saying the base rate.
    pub fn log_loss(&self) -> (f64, f64) {
        let n = self.ends.max(1) as f64;
        let p = (self.happened as f64 / n).clamp(1e-9, 1.0 - 1e-9);
        (self.log_loss / n, -(p * p.ln() + (1.0 - p) * (1.0 - p).ln()))
    }

    /// Mean log density of blood at the end of the horizon, nats a look.
    pub fn log_density(&self) -> f64 {
        self.density / self.ends.max(1) as f64
    }

    /// Share of ends inside of the 80 % interval.
    pub fn coverage(&self) -> f64 {
        self.inside as f64 / self.ends.max(1) as f64
    }

    /// Largest distance between said and happened, over bins with at least 200 looks.
    pub fn worst_bin(&self) -> f64 {
        self.bins
            .iter()
            .filter(|bin| bin.0 >= 200)
            .map(|(n, said, happened)| (said - *happened as f64).abs() / *n as f64)
            .fold(0.0, f64::max)
    }
}

fn root_mean((count, raw, estimate): (usize, f64, f64)) -> (f64, f64) {
    let n = count.max(1) as f64;
    ((raw / n).sqrt(), (estimate / n).sqrt())
}
