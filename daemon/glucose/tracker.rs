//! What is kept of one cat's series; what can be asked of it is in `ask`.
//!
//! A ring of the newest readings, and the belief just before the oldest of them: whatever comes late is put in
//! its place and the ring is walked again, so the order of arrival does not matter.

use serde::{Deserialize, Serialize};

use super::doubt::{Before, Doubted};
use super::dynamics::{BLOOD, CROWDED_MINUTES, GAIN, Nature, RATE, SIZE};
use super::fit::{Fit, Seen};
use super::habit::Habit;
use super::kalman::{Belief, Step};
use super::pairs::{Matching, PairBook, Taught};
use super::sensor::{self, Check};
use crate::words::{ClockStep, MeterCheck, Moment, Reading, SensorSettings, minutes};

/// Blood glucose at an instant, as far as the readings tell.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The instant.
    pub at: Moment,
    /// Expected blood glucose, mg/dL.
    pub blood: f64,
    /// Its standard deviation, mg/dL.
    pub blood_sd: f64,
    /// Expected rate of blood glucose, mg/dL per minute.
    pub rate_per_min: f64,
    /// Its standard deviation, mg/dL per minute.
    pub rate_sd: f64,
}

/// Something that changes what is known.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Item {
    Reading(Reading),
    Check(Check),
    Wear,
}

/// A belief at an instant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Known {
    at: Moment,
    belief: Belief<SIZE>,
    /// The last reading, if it cannot follow from those before it.
    #[serde(default)]
    doubted: Option<Doubted>,
    /// The meter checks that taught it the gain of its sensor.
    #[serde(default)]
    taught: Taught,
}

/// One cat's series: the last day and a half of readings and what follows from all before.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tracker {
    /// The usual cat with the lag of the settings.
    usual: Nature,
    /// This cat, as far as it was found to differ.
    nature: Nature,
    #[serde(default)]
    fit: Fit,
    range: [f64; 2],
    /// The belief just after the last reading that has left the ring; `None` while none has.
    before: Option<Known>,
    /// Oldest first, strictly rising in time.
    ring: Vec<Reading>,
    checks: Vec<Check>,
    /// Meter checks beside the sensor, kept longer than its readings.
    #[serde(default)]
    pairs: PairBook,
    doses: Vec<Moment>,
    wears: Vec<Moment>,
    /// The belief after everything held.
    head: Option<Known>,
    habit: Habit,
    /// How far readings lie off what was expected of them, squared, in the filter's own variances: about one for a
    /// cat and a sensor as the filter knows them.
    surprise: f64,
}

impl Tracker {
    /// A cat without readings.
    #[must_use]
    pub fn new(sensor: &SensorSettings) -> Self {
        Self::of_nature(sensor, Nature::usual(sensor.lag_minutes))
    }

    /// A cat of known nature, without readings.
    #[must_use]
    pub fn of_nature(sensor: &SensorSettings, nature: Nature) -> Self {
        Self {
            usual: nature,
            nature,
            fit: Fit::default(),
            range: sensor.range,
            before: None,
            ring: Vec::new(),
            checks: Vec::new(),
            pairs: PairBook::default(),
            doses: Vec::new(),
            wears: Vec::new(),
            head: None,
            habit: Habit::default(),
            surprise: 1.0,
        }
    }

    /// Takes over changed settings; what is held is worked through again.
    pub fn set_sensor(&mut self, sensor: &SensorSettings) {
        let usual = Nature::usual(sensor.lag_minutes);
        if usual != self.usual {
            // What was found differs from another usual now.
            self.fit = Fit::default();
        }
        self.usual = usual;
        self.nature = self.fit.nature(&usual);
        self.range = sensor.range;
        // A state that was kept before there was a book of pairs has none of them in it.
        self.checks.iter().for_each(|check| self.pairs.note(check.at, check.meter, check.value));
        self.settle_pairs();
        self.walk_again();
    }

    /// Takes readings in any order. Late ones are put in their place; ones older than the ring and repeated
    /// instants are left out. Gives how many were taken. The caller keeps out those dated in the future.
    pub fn add(&mut self, readings: &[Reading]) -> usize {
        let mut taken = 0;
        let mut late = false;
        for reading in readings {
            if self.before.is_some_and(|known| reading.measured_at <= known.at) {
                continue;
            }
            let place = self.ring.partition_point(|held| held.measured_at < reading.measured_at);
            if self.ring.get(place).is_some_and(|held| held.measured_at == reading.measured_at) {
                continue;
            }
            let in_order =
                place == self.ring.len() && self.head.is_none_or(|head| head.at <= reading.measured_at);
            self.ring.insert(place, *reading);
            taken += 1;
            if in_order && !late {
                self.learn_surprise(reading);
                self.head = Some(self.pass(self.head, reading.measured_at, &Item::Reading(*reading)).1);
            } else {
                late = true;
            }
            self.let_go();
        }
        if late {
            self.walk_again();
        }
        self.settle_pairs();
        if let Some(newest) = self.ring.last() {
            let newest = newest.measured_at;
            self.habit.learn(&self.ring, self.range, &self.doses, newest - minutes(SETTLED_MINUTES));
            self.learn_fit(newest - minutes(FIT_MINUTES));
        }
        taken
    }

    /// A dose that was recorded was not given. What was learned from it meanwhile stays learned.
    pub fn no_dose(&mut self, given_at: Moment) {
        self.doses.retain(|at| *at != given_at);
    }

    /// A dose was given.
    pub fn dose(&mut self, given_at: Moment) {
        insert(&mut self.doses, given_at, BESIDE, |at| *at);
    }

    /// A meter check was made.
    pub fn meter(&mut self, check: &MeterCheck) {
        self.pairs.note(check.measured_at, check.meter, check.glucose);
        self.settle_pairs();
        let check = Check { at: check.measured_at, value: check.glucose, meter: check.meter };
        if self.before.is_none_or(|known| known.at < check.at) {
            // Of the same instant and kind of meter a later one is a correction.
            self.checks.retain(|held| (held.at, held.meter) != (check.at, check.meter));
            insert(&mut self.checks, check, CHECKS, |held| (held.at, held.meter));
            self.walk_again();
        }
    }

    /// The meter checks within so many minutes of this time are taken back. What they taught is forgotten, unless the
    /// readings of that time have left the series.
    pub fn no_meter(&mut self, at: Moment, within_minutes: f64) {
        let near = |held: Moment| held.minutes_since(at).abs() <= within_minutes;
        self.pairs.forget(near);
        let held = self.checks.len();
        self.checks.retain(|check| !near(check.at));
        if self.checks.len() < held {
            self.walk_again();
        }
    }

    /// A new sensor was put on: what was learned of the old one's error is forgotten, also when it is noted long after.
    pub fn new_wear(&mut self, at: Moment) {
        insert(&mut self.wears, at, BESIDE, |at| *at);
        self.forget_old_sensor(at);
        self.settle_pairs();
        self.walk_again();
    }

    /// Of a wear that began before the ring, unless a later one did too: the belief there was of the sensor before.
    fn forget_old_sensor(&mut self, at: Moment) {
        let Some(before) = self.before.filter(|before| at <= before.at) else { return };
        if self.wears.iter().any(|worn| *worn > at && *worn <= before.at) {
            return;
        }
        let anew = self.nature.with_new_sensor(&Step::to(&before.belief));
        let mut belief = before.belief.after(&anew);
        belief.covariance[(GAIN, GAIN)] = self.gain_spread(before.at).powi(2);
        self.before = Some(Known { belief, taught: Taught::default(), ..before });
        self.fit.forget_sensor(at);
        self.nature = self.fit.nature(&self.usual);
    }

    /// The clock that ran ahead was set back: what it stamped goes back with it, and is worked through again.
    pub fn set_back(&mut self, step: ClockStep) {
        step.move_all(self.before.iter_mut().map(|known| &mut known.at));
        self.before.iter_mut().for_each(|known| known.doubted = None);
        step.move_all(self.ring.iter_mut().map(|reading| &mut reading.measured_at));
        step.move_all(self.checks.iter_mut().map(|check| &mut check.at));
        step.move_all(self.doses.iter_mut().chain(&mut self.wears));
        let kept_from = self.before.map(|known| known.at);
        self.ring.retain(|reading| kept_from.is_none_or(|from| reading.measured_at > from));
        self.ring.sort_by_key(|reading| reading.measured_at);
        self.ring.dedup_by_key(|reading| reading.measured_at);
        self.checks.sort_by_key(|check| (check.at, check.meter));
        self.doses.sort();
        self.wears.sort();
        self.habit.set_back(step);
        self.fit.set_back(step);
        self.pairs.set_back(step);
        self.settle_pairs();
        self.walk_again();
    }

    /// Spread of the gain error of the sensor that was worn then, before any meter check.
    fn gain_spread(&self, at: Moment) -> f64 {
        let worn = self.wears.iter().rev().find(|worn| **worn <= at);
        worn.map_or(self.nature.gain_spread, |worn| self.nature.gain_spread_after(at.minutes_since(*worn)))
    }

    /// The belief carried to `at`; `None` without readings.
    fn belief(&self, at: Moment) -> Option<Belief<SIZE>> {
        self.ring.last()?;
        Some(self.ahead(self.head?, at))
    }

    /// Follows how well this cat and its sensors are foreseen, over about a day; one odd reading counts little.
    fn learn_surprise(&mut self, reading: &Reading) {
        let (Some(head), Some(level)) = (self.head, reading.value.level()) else { return };
        // Of readings that crowd each foretells the next: that is no measure of how the cat is foreseen.
        if !(CROWDED_MINUTES..=SURPRISE_MINUTES).contains(&reading.measured_at.minutes_since(head.at)) {
            return;
        }
        let prior = self.ahead(head, reading.measured_at);
        let sight = sensor::sight(&self.nature, &prior);
        let variance = (sight.row * prior.covariance * sight.row.transpose()).x + sight.noise;
        let off = ((level - sight.expected).powi(2) / variance).min(6.0);
        self.surprise += (off - self.surprise) * SURPRISE_SHARE;
    }

    /// Follows how this cat and its sensor differ from the usual; where that changes, what is held is walked again.
    fn learn_fit(&mut self, settled: Moment) {
        let seen = Seen { ring: &self.ring, checks: &self.checks, wears: &self.wears, range: self.range };
        self.fit.learn(&seen, &self.usual, settled);
        let nature = self.fit.nature(&self.usual);
        if nature != self.nature {
            self.nature = nature;
            self.walk_again();
        }
    }

    /// Keeps the ring, and everything beside it, bounded.
    fn let_go(&mut self) {
        while self.ring.len() > self.held() {
            let oldest = self.ring[0];
            let until = oldest.measured_at;
            self.habit.learn(&self.ring, self.range, &self.doses, until);
            self.learn_fit(until);
            let beside = self.checks.iter().map(|check| check.at).chain(self.wears.iter().copied());
            if beside.into_iter().any(|at| at <= until && self.before.is_none_or(|before| at > before.at)) {
                for (at, item) in self.timeline().into_iter().take_while(|(at, _)| *at <= until) {
                    self.before = Some(self.pass(self.before, at, &item).1);
                }
            } else {
                self.before = Some(self.pass(self.before, until, &Item::Reading(oldest)).1);
            }
            self.settle_pairs();
            self.pairs.leave(self.ring.remove(0));
            self.checks.retain(|check| check.at > until);
        }
    }

    fn settle_pairs(&mut self) {
        let matching = Matching::new(self.usual.lag_minutes, self.range);
        self.pairs.settle(&matching, &self.ring, &self.wears);
    }

    /// How many readings are held: 160, or as many as came within forty hours, but not over 640.
    fn held(&self) -> usize {
        let Some(newest) = self.ring.last() else { return RING };
        let young = |reading: &Reading| newest.measured_at - reading.measured_at < minutes(RING_MINUTES);
        let within = self.ring.len() - self.ring.partition_point(|reading| !young(reading));
        within.clamp(RING, RING_MOST)
    }

    fn walk_again(&mut self) {
        let mut known = self.before;
        for (at, item) in self.timeline() {
            known = Some(self.pass(known, at, &item).1);
        }
        self.head = known;
    }

    /// Everything held, in its order of time.
    fn timeline(&self) -> Vec<(Moment, Item)> {
        // Wears are held longer than the ring, for the age of the sensor; the older ones are in the belief already.
        let wears = self.wears.iter().filter(|at| self.before.is_none_or(|before| **at > before.at));
        let mut items: Vec<(Moment, Item)> = wears.map(|at| (*at, Item::Wear)).collect();
        items.extend(self.checks.iter().map(|check| (check.at, Item::Check(*check))));
        items.extend(self.ring.iter().map(|reading| (reading.measured_at, Item::Reading(*reading))));
        items.sort_by_key(|(at, _)| *at);
        items
    }

    fn ahead(&self, known: Known, at: Moment) -> Belief<SIZE> {
        let span = at.minutes_since(known.at);
        if span <= 0.0 { known.belief } else { known.belief.after(&self.step(&known, span)) }
    }

    /// The step from a belief over a span, drawn to what the cat usually does there.
    fn step(&self, known: &Known, span_minutes: f64) -> Step<SIZE> {
        let level = known.belief.mean[BLOOD];
        let drift = self.habit.usual(&self.doses, known.at).drift(level);
        // What is usual for the next hour or so says nothing of a whole afternoon.
        let drift = drift * (DRIFT_MINUTES / span_minutes.max(DRIFT_MINUTES));
        let step = self.nature.step(span_minutes, [level, known.belief.mean[RATE]], drift);
        match self.wears.iter().rev().find(|worn| **worn <= known.at) {
            Some(worn) => self.nature.fading(step, known.at.minutes_since(*worn), span_minutes),
            // Nobody notes when one is put on: what was taught of it holds for as long as one lives, about.
            None => self.nature.unsure_of_sensor(step, span_minutes),
        }
    }

    /// From what was known to after one item: the step that led there and the new belief.
    fn pass(&self, known: Option<Known>, at: Moment, item: &Item) -> (Step<SIZE>, Known) {
        let last = known;
        let known = known.filter(|known| at.minutes_since(known.at) < FORGOTTEN_MINUTES);
        let mut taught = known.map_or_else(Taught::default, |known| known.taught);
        let mut doubted = known.and_then(|known| known.doubted);
        let (mut step, mut belief) = match known {
            Some(known) => {
                let step = self.step(&known, at.minutes_since(known.at));
                (step, known.belief.after(&step))
            }
            None => {
                let mut belief = self.nature.beginning();
                belief.covariance[(GAIN, GAIN)] = self.gain_spread(at).powi(2);
                // Whoever notes no wears may have changed the sensor meanwhile.
                let same =
                    |last: &Known| *item != Item::Wear && self.wears.iter().any(|worn| *worn <= last.at);
                if let Some(last) = last.filter(same) {
                    sensor::keep_gain(&mut belief, &last.belief, at.minutes_since(last.at));
                    taught = last.taught;
                }
                (Step::to(&belief), belief)
            }
        };
        match item {
            Item::Wear => {
                step = self.nature.with_new_sensor(&step);
                belief = known.map_or(belief, |known| known.belief.after(&step));
                taught = Taught::default();
            }
            Item::Check(check) => {
                let after = sensor::checked(&belief, check);
                // Of a sensor that has not read since it was put on a check says nothing.
                if after.covariance[(GAIN, GAIN)] < 0.999 * belief.covariance[(GAIN, GAIN)] {
                    taught = taught.and(check.meter);
                }
                belief = after;
            }
            Item::Reading(reading) => {
                let span = known.map_or(f64::INFINITY, |known| at.minutes_since(known.at));
                let before = Before { nature: &self.nature, range: self.range, prior: belief, span, doubted };
                let taken = before.take(reading);
                step = taken.afresh.map_or(step, |prior| Step::to(&prior));
                (belief, doubted) = (taken.belief, taken.doubted);
            }
        }
        (step, Known { at, belief, doubted, taught })
    }
}

/// Readings held: 40 hours at one in 15 minutes, more of a sensor that reads more often.
const RING: usize = 160;
const RING_MINUTES: f64 = 40.0 * 60.0;
const RING_MOST: usize = 640;
/// Share of one reading in how well a cat is foreseen.
const SURPRISE_SHARE: f64 = 0.02;
/// After a gap longer than this a reading says nothing of how well the cat is foreseen.
const SURPRISE_MINUTES: f64 = 35.0;
/// Readings older than this by the newest one have all the neighbours they will get: a sensor keeps about 8 hours.
const SETTLED_MINUTES: f64 = 9.0 * 60.0;
/// A fit learns from readings older than this by the newest one, minutes.
const FIT_MINUTES: f64 = 60.0;
/// A usual drift is carried no further than this, minutes.
const DRIFT_MINUTES: f64 = 90.0;
/// Doses and wears held ...
const BESIDE: usize = 16;
/// ... and meter checks, each of which is walked again like a reading: one an hour through the ring and some more.
const CHECKS: usize = 64;
/// After so long without a reading nothing is left of what was known.
const FORGOTTEN_MINUTES: f64 = 12.0 * 60.0;

/// Puts `new` in its place by `key`, once, and drops the oldest beyond what is held.
fn insert<T: Copy, K: Ord>(held: &mut Vec<T>, new: T, most: usize, key: impl Fn(&T) -> K) {
    let place = held.partition_point(|other| key(other) < key(&new));
    if held.get(place).is_none_or(|other| key(other) != key(&new)) {
        held.insert(place, new);
    }
    if held.len() > most {
        held.remove(0);
    }
}

mod ask;
#[cfg(test)]
mod tests;
