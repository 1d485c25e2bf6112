//! A reading that cannot follow from those before it: doubted when it comes, taken once another one says the same.
//!
//! In: the belief before a reading, and the reading that was doubted last, if any. Out: the belief after it. Two in a
//! row on the same side refute what was believed: the estimate then starts afresh from them, because what lies
//! between was no motion of blood, and would be carried on as one.

use serde::{Deserialize, Serialize};

use super::dynamics::{BLOOD, GAIN, Nature, RATE, SIZE};
use super::evidence::number;
use super::kalman::{Belief, Step};
use super::sensor;
use crate::words::Reading;

/// A reading that was doubted.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Doubted {
    pub(crate) reading: Reading,
    /// Whether it lay over what was expected.
    over: bool,
}

/// What a reading, and the one that was doubted before it, came to.
pub(crate) struct Taken {
    pub(crate) belief: Belief<SIZE>,
    /// This reading, if it is doubted in its turn.
    pub(crate) doubted: Option<Doubted>,
    /// What was believed of the moment before it, if it does not follow from what was believed before.
    pub(crate) afresh: Option<Belief<SIZE>>,
}

/// What is known when a reading comes.
pub(crate) struct Before<'a> {
    pub(crate) nature: &'a Nature,
    /// The sensor's range, mg/dL.
    pub(crate) range: [f64; 2],
    /// The belief carried to its moment.
    pub(crate) prior: Belief<SIZE>,
    /// Minutes since that belief last learned anything.
    pub(crate) span: f64,
    /// The reading before it, if that is doubted.
    pub(crate) doubted: Option<Doubted>,
}

impl Before<'_> {
    /// Takes a reading in.
    pub(crate) fn take(&self, reading: &Reading) -> Taken {
        if let Some(doubted) = self.doubted.filter(|doubted| self.confirms(doubted, reading)) {
            let prior = self.afresh(&doubted.reading, reading);
            let span = reading.measured_at.minutes_since(doubted.reading.measured_at);
            return Taken { belief: self.read(&prior, span, reading), doubted: None, afresh: Some(prior) };
        }
        let Some(over) = self.far_off(&self.prior, self.span, reading) else {
            let belief = self.read(&self.prior, self.span, reading);
            return Taken { belief, doubted: None, afresh: None };
        };
        Taken {
            belief: sensor::hardly_read(self.nature, self.range, &self.prior, reading.value),
            doubted: Some(Doubted { reading: *reading, over }),
            afresh: None,
        }
    }

    /// Whether a reading lies well off on the same side as the doubted one before it, and at least half as far. After a hole
    /// so much more may be expected that only a reading further off confirms anything: a doubt needs no end of its own.
    fn confirms(&self, doubted: &Doubted, reading: &Reading) -> bool {
        let (off, deviation) = self.off(&self.prior, reading);
        let (half, _) = self.off(&self.prior, &doubted.reading);
        let over = if doubted.over { off > 0.5 * half } else { off < 0.5 * half };
        over && off.abs() > WELL_OFF * deviation
    }

    fn read(&self, prior: &Belief<SIZE>, span: f64, reading: &Reading) -> Belief<SIZE> {
        sensor::read(&self.nature.crowded(span), self.range, prior, reading.value).belief
    }

    /// What the doubted reading alone leads to at the next one; if that does not lie there either, nothing at all.
    fn afresh(&self, doubted: &Reading, reading: &Reading) -> Belief<SIZE> {
        let mut start = self.nature.beginning();
        // It is the same sensor.
        start.mean[GAIN] = self.prior.mean[GAIN];
        start.covariance[(GAIN, GAIN)] = self.prior.covariance[(GAIN, GAIN)];
        let first = self.read(&start, f64::INFINITY, doubted);
        let span = reading.measured_at.minutes_since(doubted.measured_at);
        let step: Step<SIZE> = self.nature.step(span, [first.mean[BLOOD], first.mean[RATE]], 0.0);
        let prior = first.after(&step);
        if self.far_off(&prior, span, reading).is_some() { start } else { prior }
    }

    /// Whether a reading is so far off that it is doubted, and then whether it lies over what was expected: by more
    /// deviations than chance gives, or further than blood comes in the time.
    fn far_off(&self, prior: &Belief<SIZE>, span: f64, reading: &Reading) -> Option<bool> {
        let (off, deviation) = self.off(prior, reading);
        let grain = sensor::sight(self.nature, prior).noise.sqrt();
        let reach = FASTEST * span.max(SPAN_LEAST) + GRAINS * grain;
        (off.abs() > sensor::FAR_OFF * deviation || off.abs() > reach).then_some(off > 0.0)
    }

    /// By how much a reading differs from what was expected of it, as far as the sensor can show it, and the deviation of that.
    fn off(&self, prior: &Belief<SIZE>, reading: &Reading) -> (f64, f64) {
        let sight = sensor::sight(self.nature, prior);
        let variance = (sight.row * prior.covariance * sight.row.transpose()).x + sight.noise;
        let shown = |level: f64| level.clamp(self.range[0], self.range[1]);
        (shown(number(reading.value, self.range)) - shown(sight.expected), variance.sqrt())
    }
}

/// A reading that lies so many deviations off, on the side of a doubted one before it, says that it was right.
const WELL_OFF: f64 = 3.0;
/// Blood in a cat changes no faster, mg/dL per minute: more than twice what the rate error grid for people has at its
/// edge (Kovatchev et al., Diabetes Care 2004;27:1922). Chosen by us.
const FASTEST: f64 = 10.0;
/// Over less time than this the lag and the wandering error make changes that blood does not, minutes.
const SPAN_LEAST: f64 = 15.0;
/// So many deviations of a reading's own noise are let pass beside that.
const GRAINS: f64 = 4.0;
