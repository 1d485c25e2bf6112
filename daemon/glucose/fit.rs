//! How this cat and its sensor differ from the usual ones: a small bank of filters beside the one in use, each scored
//! by how likely it found what came before it came.
//!
//! In: readings and meter checks, oldest first. Out: a factor on the sensor's noise, learned from the readings of the
//! present wear, and one on its lag, learned from the meter checks of two weeks: readings alone cannot tell the lag, a
//! later sensor on a quicker cat shows the same series. A factor other than one is taken only if it foresaw better by
//! [`MARGIN`] on those eight-hour blocks that chose it, and by as much on those that were held back. Decides nothing
//! else; what is kept is bounded.

use serde::{Deserialize, Serialize};

use super::dynamics::{BLOOD, Nature, RATE, SIZE};
use super::kalman::Belief;
use super::sensor::{self, Check};
use crate::words::{ClockStep, Moment, Reading};

/// Factors on the noise of the usual sensor that are tried; the first is the usual one.
pub const NOISES: [f64; TRIED] = [1.0, 1.5, 2.2, 3.0];
/// Factors on the lag of the settings that are tried; the first is the settings' own.
pub const LAGS: [f64; TRIED] = [1.0, 0.6, 1.5, 2.25];
/// From this factor on the filter trusts a sensor less.
const NOISY: f64 = 2.0;
/// How many of each.
pub const TRIED: usize = 4;
/// By how much a factor must have foreseen better, in units of log likelihood (nats), in either half: odds of twenty
/// to one. Chosen by us.
pub const MARGIN: f64 = 3.0;

/// Length of one block, hours: three a day, so that mornings and nights fall into both halves.
const BLOCK_HOURS: i64 = 8;
/// Two weeks of blocks.
const BLOCKS: usize = 42;
/// A reading or check counts no more than this against a filter, nats: one odd value decides nothing.
const ODD: f64 = 9.0;
/// After a gap longer than this a reading says nothing of how well the cat is foreseen, minutes.
const GAP_MINUTES: f64 = 35.0;
/// After so long without a reading a filter starts afresh, minutes.
const FORGOTTEN_MINUTES: f64 = 300.0;

/// How likely each factor found one block.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Block {
    number: i64,
    count: u32,
    scores: [f64; TRIED],
}

/// Filters that differ in one factor, and their scores.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Bank {
    beliefs: Vec<Belief<SIZE>>,
    blocks: Vec<Block>,
    /// Which factor is in use.
    chosen: usize,
}

/// What was tried of one factor, for whoever wants to know why it is what it is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// The factor in use; one is the usual.
    pub factor: f64,
    /// The other factor that foresaw best on the blocks that choose.
    pub best: f64,
    /// By how much it did there, nats, over the usual one.
    pub chose: f64,
    /// By how much on the blocks that are held back.
    pub held_back: f64,
    /// Readings or checks it rests on.
    pub count: u32,
}

impl Verdict {
    /// What was found of `what`, and why; `None` before anything was tried.
    #[must_use]
    pub fn in_words(&self, what: &str, rests_on: &str) -> Option<String> {
        if self.count == 0 {
            return None;
        }
        let found = if self.factor == 1.0 {
            format!("as usual; {} times would not foresee better for sure", self.best)
        } else {
            format!("{} times the usual, which foresees better", self.factor)
        };
        let (chose, held_back) = (self.chose, self.held_back);
        Some(format!(
            "{what}: {found} (log score {chose:+.1} where it was chosen, {held_back:+.1} where it was held back, {MARGIN} needed \
             in both; {} {rests_on})",
            self.count
        ))
    }
}

/// The fit of one cat.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Fit {
    noise: Bank,
    lag: Bank,
    /// Everything up to here has been learned from.
    until: Option<Moment>,
}

impl Fit {
    /// The nature of a cat whose usual one is `usual`. A sensor that is somewhat noisier than usual is filtered as
    /// usual all the same: smoothing it more would hide more of a fall than of its noise. The outlook is told.
    #[must_use]
    pub fn nature(&self, usual: &Nature) -> Nature {
        let noise = if self.noise() < NOISY { 1.0 } else { self.noise() };
        usual.with(noise, LAGS[self.lag.chosen])
    }

    /// The factor on the sensor's noise that foresees its readings best, as far as it is proven.
    #[must_use]
    pub fn noise(&self) -> f64 {
        NOISES[self.noise.chosen]
    }

    /// What was tried: of the noise and of the lag.
    #[must_use]
    pub fn verdicts(&self) -> [Verdict; 2] {
        [self.noise.verdict(&NOISES), self.lag.verdict(&LAGS)]
    }

    /// A new sensor was put on then, as is known only now: the noise that was learned is not of it alone.
    pub(crate) fn forget_sensor(&mut self, at: Moment) {
        if self.until.is_some_and(|until| at <= until) {
            self.noise = Bank::default();
        }
    }

    /// The clock that ran ahead was set back: what it stamped in the future is forgotten, and learning goes on from now.
    pub(crate) fn set_back(&mut self, step: ClockStep) {
        step.move_all(&mut self.until);
        let today = block_number(step.to);
        for bank in [&mut self.noise, &mut self.lag] {
            bank.blocks.retain(|block| block.number <= today);
        }
    }

    /// Learns from what was measured up to `settled` and not learned from before.
    pub(crate) fn learn(&mut self, seen: &Seen<'_>, usual: &Nature, settled: Moment) {
        let from = seen.ring.partition_point(|r| self.until.is_some_and(|until| r.measured_at <= until));
        let to = seen.ring.partition_point(|r| r.measured_at <= settled);
        for reading in seen.ring.get(from..to).unwrap_or(&[]) {
            let (before, at) = (self.until, reading.measured_at);
            let since = |other: &Moment| before.is_some_and(|before| *other > before) && *other <= at;
            let span = before.map_or(f64::INFINITY, |before| at.minutes_since(before));
            let worn = seen.wears.iter().any(since);
            let checks = seen.checks.iter().filter(|check| since(&check.at));
            if worn {
                // The noise belongs to the sensor.
                self.noise = Bank::default();
            }
            let noises = NOISES.map(|factor| usual.with(factor, LAGS[self.lag.chosen]));
            let lags = LAGS.map(|factor| usual.with(NOISES[self.noise.chosen], factor));
            let mut reached = before;
            for check in checks {
                let span = reached.map_or(f64::INFINITY, |then| check.at.minutes_since(then));
                self.noise.move_on(&noises, span, false);
                self.lag.move_on(&lags, span, false);
                self.lag.score(check.at, |belief, _| sensor::check_likelihood(belief, check), &lags);
                for belief in self.noise.beliefs.iter_mut().chain(&mut self.lag.beliefs) {
                    *belief = sensor::checked(belief, check);
                }
                reached = Some(check.at);
            }
            let rest = reached.map_or(f64::INFINITY, |then| at.minutes_since(then));
            self.noise.move_on(&noises, rest, worn);
            self.lag.move_on(&lags, rest, worn);
            if span <= GAP_MINUTES {
                self.noise.score(
                    at,
                    |belief, own| sensor::likelihood(own, seen.range, belief, reading.value),
                    &noises,
                );
            }
            for (bank, natures) in [(&mut self.noise, &noises), (&mut self.lag, &lags)] {
                for (belief, own) in bank.beliefs.iter_mut().zip(natures) {
                    *belief = sensor::read(own, seen.range, belief, reading.value).belief;
                }
            }
            self.until = Some(at);
        }
        self.noise.choose();
        self.lag.choose();
    }
}

/// What a fit looks at; everything oldest first.
pub(crate) struct Seen<'a> {
    pub(crate) ring: &'a [Reading],
    pub(crate) checks: &'a [Check],
    pub(crate) wears: &'a [Moment],
    pub(crate) range: [f64; 2],
}

/// Which block an instant lies in.
fn block_number(at: Moment) -> i64 {
    at.millis().div_euclid(BLOCK_HOURS * 3_600_000)
}

impl Bank {
    /// Carries every filter over a span; a long one, or none before, starts them afresh.
    fn move_on(&mut self, natures: &[Nature; TRIED], span: f64, worn: bool) {
        if self.beliefs.len() != TRIED || span > FORGOTTEN_MINUTES {
            self.beliefs = natures.iter().map(Nature::beginning).collect();
            return;
        }
        for (belief, own) in self.beliefs.iter_mut().zip(natures) {
            let step = own.step(span, [belief.mean[BLOOD], belief.mean[RATE]], 0.0);
            *belief = belief.after(&if worn { own.with_new_sensor(&step) } else { step });
        }
    }

    /// Adds how likely each filter found what was seen at `at`.
    fn score(
        &mut self,
        at: Moment,
        likelihood: impl Fn(&Belief<SIZE>, &Nature) -> Option<f64>,
        natures: &[Nature; TRIED],
    ) {
        let number = block_number(at);
        let mut found = [0.0; TRIED];
        for ((found, belief), own) in found.iter_mut().zip(&self.beliefs).zip(natures) {
            let Some(likely) = likelihood(belief, own) else { return };
            *found = likely.max(-ODD);
        }
        if self.blocks.last().is_none_or(|block| block.number != number) {
            self.blocks.push(Block { number, ..Block::default() });
        }
        if let Some(block) = self.blocks.last_mut() {
            block.count += 1;
            block.scores.iter_mut().zip(found).for_each(|(sum, more)| *sum += more);
        }
        self.blocks.retain(|block| number - block.number < BLOCKS as i64);
    }

    /// By how much each factor foresaw better than the usual one: on the blocks that choose, and on those held back.
    fn gains(&self) -> [[f64; 2]; TRIED] {
        let mut gains = [[0.0; 2]; TRIED];
        for block in &self.blocks {
            let half = usize::from(block.number.rem_euclid(2) == 1);
            for (gain, score) in gains.iter_mut().zip(block.scores) {
                gain[half] += score - block.scores[0];
            }
        }
        gains
    }

    /// The factor, other than the usual one, that did best where factors are chosen.
    fn best(gains: &[[f64; 2]; TRIED]) -> usize {
        (2..TRIED).fold(1, |best, k| if gains[k][0] > gains[best][0] { k } else { best })
    }

    fn choose(&mut self) {
        let gains = self.gains();
        let best = Self::best(&gains);
        let wins = gains[best][0] >= MARGIN && gains[best][1] >= MARGIN;
        self.chosen = if wins { best } else { 0 };
    }

    fn verdict(&self, factors: &[f64; TRIED]) -> Verdict {
        let gains = self.gains();
        let best = Self::best(&gains);
        Verdict {
            factor: factors[self.chosen],
            best: factors[best],
            chose: gains[best][0],
            held_back: gains[best][1],
            count: self.blocks.iter().map(|block| block.count).sum(),
        }
    }
}
