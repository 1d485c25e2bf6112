//! What is kept of one cat's series, and what can be asked of it.
//!
//! A ring of the newest readings, and the belief just before the oldest of them: whatever comes late is put in
//! its place and the ring is walked again, so the order of arrival does not matter.

use nalgebra::RowSVector;
use serde::{Deserialize, Serialize};

use super::dynamics::{BLOOD, GAIN, INTERSTITIAL, Nature, RATE, SIZE, WANDER};
use super::kalman::{Belief, Learned, Side, Sight, Step, smoothed};
use super::passage::{Passage, passage, reduced};
use crate::words::{MeterCheck, MeterKind, Moment, Reading, SensorSettings, Value, minutes};

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

/// What blood glucose is likely to do next.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outlook {
    /// Chance that blood is or goes under the limit at any time up to the end, 0 to 1.
    pub chance: f64,
    /// When it goes under if it does: as likely before as after. `None` if the chance is under one in a hundred.
    pub crossing: Option<Moment>,
    /// Expected blood glucose at the end, mg/dL.
    pub blood_at_end: f64,
    /// Its standard deviation, mg/dL.
    pub sd_at_end: f64,
    /// Blood glucose at the end lies in here in 8 cases of 10, mg/dL.
    pub interval80: [f64; 2],
}

/// Readings that cannot be what they seem.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "artefact", rename_all = "kebab-case")]
pub enum Artefact {
    /// A short deep dip: the cat may be lying on the sensor.
    Pressure {
        /// First reading of the dip.
        since: Moment,
    },
    /// One reading far off its neighbours.
    Spike {
        /// That reading.
        at: Moment,
    },
    /// The same value over and over.
    Stuck {
        /// First of the equal readings.
        since: Moment,
    },
    /// Readings scatter far more than glucose can.
    Noisy {
        /// Since when.
        since: Moment,
    },
}

/// A meter check as the filter uses it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Check {
    at: Moment,
    value: Value,
    meter: MeterKind,
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
}

/// One cat's series: the last day and a half of readings and what follows from all before.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tracker {
    nature: Nature,
    range: [f64; 2],
    /// The belief just after the last reading that has left the ring; `None` while none has.
    before: Option<Known>,
    /// Oldest first, strictly rising in time.
    ring: Vec<Reading>,
    checks: Vec<Check>,
    doses: Vec<Moment>,
    wears: Vec<Moment>,
    /// The belief after everything held.
    head: Option<Known>,
}

impl Tracker {
    /// A cat without readings.
    #[must_use]
    pub fn new(sensor: &SensorSettings) -> Self {
        Self {
            nature: Nature::usual(sensor.lag_minutes),
            range: sensor.range,
            before: None,
            ring: Vec::new(),
            checks: Vec::new(),
            doses: Vec::new(),
            wears: Vec::new(),
            head: None,
        }
    }

    /// Takes over changed settings; what is held is worked through again.
    pub fn set_sensor(&mut self, sensor: &SensorSettings) {
        self.nature = Nature::usual(sensor.lag_minutes);
        self.range = sensor.range;
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
                self.head = Some(self.pass(self.head, reading.measured_at, &Item::Reading(*reading)).1);
            } else {
                late = true;
            }
            self.let_go();
        }
        if late {
            self.walk_again();
        }
        taken
    }

    /// A dose was given.
    pub fn dose(&mut self, given_at: Moment) {
        insert(&mut self.doses, given_at, |at| *at);
    }

    /// A meter check was made.
    pub fn meter(&mut self, check: &MeterCheck) {
        let check = Check { at: check.measured_at, value: check.glucose, meter: check.meter };
        if self.before.is_none_or(|known| known.at < check.at) {
            insert(&mut self.checks, check, |held| held.at);
            self.walk_again();
        }
    }

    /// A new sensor was put on: what was learned of the old one's error is forgotten.
    pub fn new_wear(&mut self, at: Moment) {
        insert(&mut self.wears, at, |at| *at);
        self.walk_again();
    }

    /// The newest reading.
    #[must_use]
    pub fn newest(&self) -> Option<Reading> {
        self.ring.last().copied()
    }

    /// The readings held, oldest first, strictly rising in time.
    #[must_use]
    pub fn recent(&self) -> &[Reading] {
        &self.ring
    }

    /// Blood glucose at `at`, which lies at or after the newest reading; `None` without readings.
    #[must_use]
    pub fn estimate(&self, at: Moment) -> Option<Estimate> {
        self.ring.last()?;
        Some(estimate_of(at, &self.ahead(self.head?, at)))
    }

    /// What blood glucose is likely to do from `now` on for `ahead_minutes`, against a `limit` in mg/dL.
    #[must_use]
    pub fn outlook(&self, now: Moment, ahead_minutes: f64, limit: f64) -> Option<Outlook> {
        self.ring.last()?;
        let belief = self.ahead(self.head?, now);
        let passage = self.passage(&belief, ahead_minutes, limit);
        let chance = passage.total();
        let crossing = if chance < 0.01 { None } else { passage.reaches(chance.min(1.0) * 0.5) };
        let end = belief.after(&self.nature.step(ahead_minutes.max(0.0), belief.mean[BLOOD], 0.0));
        let (mean, deviation) = (end.mean[BLOOD], end.covariance[(BLOOD, BLOOD)].sqrt());
        Some(Outlook {
            chance,
            crossing: crossing.map(|after| now + minutes(after)),
            blood_at_end: mean,
            sd_at_end: deviation,
            interval80: [mean - DECILE * deviation, mean + DECILE * deviation],
        })
    }

    /// When another scan is worth asking for: when the chance of a low that nobody would see exceeds `chance`.
    /// Never within 15 minutes; `None` if not within 8 hours.
    #[must_use]
    pub fn scan_again(&self, now: Moment, limit: f64, chance: f64) -> Option<Moment> {
        self.ring.last()?;
        let belief = self.ahead(self.head?, now);
        let after = self.passage(&belief, 480.0, limit).reaches(chance)?;
        Some(now + minutes(after.max(15.0)))
    }

    /// Blood glucose at each reading held, in the light of what came before and after; oldest first.
    #[must_use]
    pub fn smoothed(&self) -> Vec<Estimate> {
        let mut known = self.before;
        let (mut beliefs, mut steps, mut times) = (Vec::new(), Vec::new(), Vec::new());
        for (at, item) in self.timeline() {
            let (step, next) = self.pass(known, at, &item);
            // The first belief has no step before it in the chain: what came before is in it already.
            if !beliefs.is_empty() {
                steps.push(step);
            }
            beliefs.push(next.belief);
            times.push((at, matches!(item, Item::Reading(_))));
            known = Some(next);
        }
        let smooth = smoothed(&beliefs, &steps);
        let shown = times.iter().zip(&smooth).filter(|((_, reading), _)| *reading);
        shown.map(|((at, _), belief)| estimate_of(*at, belief)).collect()
    }

    /// What is wrong with the newest readings, if something is.
    #[must_use]
    pub fn artefact(&self) -> Option<Artefact> {
        None
    }

    fn passage(&self, belief: &Belief<SIZE>, ahead_minutes: f64, limit: f64) -> Passage {
        let ahead_minutes = ahead_minutes.clamp(0.0, 24.0 * 60.0);
        let count = ((ahead_minutes / LOOK_MINUTES).ceil() as usize).max(1);
        let step_minutes = ahead_minutes / count as f64;
        passage(&reduced(belief), 0, limit, (count, step_minutes), 0.0, |_, at| {
            let full = self.nature.step(step_minutes, at.mean[0], 0.0);
            Step {
                transition: full.transition.fixed_view::<2, 2>(BLOOD, BLOOD).into_owned(),
                offset: full.offset.fixed_rows::<2>(BLOOD).into_owned(),
                noise: full.noise.fixed_view::<2, 2>(BLOOD, BLOOD).into_owned(),
            }
        })
    }

    /// Keeps the ring, and everything beside it, bounded.
    fn let_go(&mut self) {
        while self.ring.len() > RING {
            let until = self.ring[0].measured_at;
            for (at, item) in self.timeline().into_iter().take_while(|(at, _)| *at <= until) {
                self.before = Some(self.pass(self.before, at, &item).1);
            }
            self.ring.remove(0);
            self.checks.retain(|check| check.at > until);
            self.wears.retain(|at| *at > until);
        }
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
        let mut items: Vec<(Moment, Item)> = self.wears.iter().map(|at| (*at, Item::Wear)).collect();
        items.extend(self.checks.iter().map(|check| (check.at, Item::Check(*check))));
        items.extend(self.ring.iter().map(|reading| (reading.measured_at, Item::Reading(*reading))));
        items.sort_by_key(|(at, _)| *at);
        items
    }

    fn ahead(&self, known: Known, at: Moment) -> Belief<SIZE> {
        let span = at.minutes_since(known.at);
        if span <= 0.0 { known.belief } else { known.belief.after(&self.step(&known.belief, span)) }
    }

    fn step(&self, belief: &Belief<SIZE>, span_minutes: f64) -> Step<SIZE> {
        self.nature.step(span_minutes, belief.mean[BLOOD], 0.0)
    }

    /// From what was known to after one item: the step that led there and the new belief.
    fn pass(&self, known: Option<Known>, at: Moment, item: &Item) -> (Step<SIZE>, Known) {
        let known = known.filter(|known| at.minutes_since(known.at) < FORGOTTEN_MINUTES);
        let (mut step, mut belief) = match known {
            Some(known) => {
                let step = self.step(&known.belief, at.minutes_since(known.at));
                (step, known.belief.after(&step))
            }
            None => {
                let belief = self.nature.beginning();
                (Step::to(&belief), belief)
            }
        };
        match item {
            Item::Wear => {
                step = self.nature.with_new_sensor(&step);
                belief = known.map_or(belief, |known| known.belief.after(&step));
            }
            Item::Check(check) => belief = learned_of_check(&belief, check),
            Item::Reading(reading) => belief = self.read(&belief, reading.value).belief,
        }
        (step, Known { at, belief })
    }

    /// What one reading teaches.
    fn read(&self, prior: &Belief<SIZE>, value: Value) -> Learned<SIZE> {
        let (fluid, gain) = (prior.mean[INTERSTITIAL], 1.0 + prior.mean[GAIN]);
        let spread = self.nature.wander_spread_at(fluid);
        let mut row = RowSVector::<f64, SIZE>::zeros();
        row[INTERSTITIAL] = gain;
        row[WANDER] = spread;
        row[GAIN] = fluid;
        let expected = fluid * gain + spread * prior.mean[WANDER];
        // Readings alone cannot tell a wrong gain from another level: only meter checks teach it.
        let mut learns = [true; SIZE];
        learns[GAIN] = false;
        let sight = Sight { row, expected, noise: self.nature.grain * self.nature.grain, learns };
        match value {
            Value::Level(level) if level > self.range[0] && level < self.range[1] => {
                prior.seen(&sight, level)
            }
            Value::Level(level) if level >= self.range[1] => prior.bounded(&sight, self.range[1], Side::Over),
            Value::Above => prior.bounded(&sight, self.range[1], Side::Over),
            Value::Below | Value::Level(_) => prior.bounded(&sight, self.range[0], Side::Under),
        }
    }
}

/// Readings held: 40 hours at one in 15 minutes.
const RING: usize = 160;
/// Doses, checks and wears held.
const BESIDE: usize = 16;
/// After so long without a reading nothing is left of what was known.
const FORGOTTEN_MINUTES: f64 = 12.0 * 60.0;
/// Step in which an outlook looks ahead.
const LOOK_MINUTES: f64 = 5.0;
/// The standard normal distribution has a tenth beyond this.
const DECILE: f64 = 1.281_551_565_544_6;

fn estimate_of(at: Moment, belief: &Belief<SIZE>) -> Estimate {
    Estimate {
        at,
        blood: belief.mean[BLOOD],
        blood_sd: belief.covariance[(BLOOD, BLOOD)].max(0.0).sqrt(),
        rate_per_min: belief.mean[RATE],
        rate_sd: belief.covariance[(RATE, RATE)].max(0.0).sqrt(),
    }
}

fn learned_of_check(belief: &Belief<SIZE>, check: &Check) -> Belief<SIZE> {
    let Some(level) = check.value.level() else { return *belief };
    let mut row = RowSVector::<f64, SIZE>::zeros();
    row[BLOOD] = 1.0;
    // ISO 15197:2013 lets a hand meter be 15 mg/dL or 15 % off in one case of 20: about 1.96 deviations. Meters
    // that are not made for cats get twice the spread.
    let doubt = if check.meter == MeterKind::Pet { 1.0 } else { 2.0 };
    let deviation = doubt * (15.0_f64).max(0.15 * level) / 1.96;
    belief.measured(&row, level, deviation * deviation).belief
}

/// Puts `new` in its place by time, once, and drops the oldest beyond what is held.
fn insert<T: Copy>(held: &mut Vec<T>, new: T, at: impl Fn(&T) -> Moment) {
    let place = held.partition_point(|other| at(other) < at(&new));
    if held.get(place).is_none_or(|other| at(other) != at(&new)) {
        held.insert(place, new);
    }
    if held.len() > BESIDE {
        held.remove(0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{CatName, ReadingKind, SensorKind};

    fn sensor(lag_minutes: f64) -> SensorSettings {
        SensorSettings {
            kind: SensorKind::Scanned,
            sample_minutes: 15.0,
            memory_hours: 8.0,
            wear_days: 14.0,
            warm_up_minutes: 60.0,
            range: [40.0, 500.0],
            lag_minutes,
        }
    }

    fn start() -> Moment {
        Moment::parse("2026-03-01T06:00:00Z").unwrap()
    }

    fn reading(minute: f64, value: Value) -> Reading {
        Reading { measured_at: start() + minutes(minute), value, kind: ReadingKind::History }
    }

    /// Fluid readings of blood that rests at 250 and then falls by `rate` a minute, one in 15 minutes.
    fn falling(count: usize, rate: f64, lag: f64) -> (Vec<Reading>, f64) {
        let (mut fluid, mut blood) = (250.0_f64, 250.0_f64);
        let mut out = Vec::new();
        for k in 0..count {
            for _ in 0..150 {
                if k > 8 {
                    blood -= rate * 0.1;
                }
                fluid += (blood - fluid) / lag * 0.1;
            }
            out.push(reading(15.0 * k as f64, Value::Level(fluid.round())));
        }
        (out, blood)
    }

    fn check(minute: f64, level: f64) -> MeterCheck {
        MeterCheck {
            cat: CatName::new("pepper").unwrap(),
            measured_at: start() + minutes(minute),
            glucose: Value::Level(level),
            meter: MeterKind::Pet,
        }
    }

    #[test]
    fn while_blood_falls_the_estimate_runs_ahead_of_the_sensor() {
        for lag in [5.0, 8.0, 12.0, 20.0] {
            let (readings, blood) = falling(14, 1.5, lag);
            let mut tracker = Tracker::new(&sensor(lag));
            assert_eq!(tracker.add(&readings), 14);
            let newest = tracker.newest().unwrap();
            let raw = newest.value.level().unwrap() - blood;
            let estimate = tracker.estimate(newest.measured_at).unwrap();
            assert!(
                (estimate.blood - blood).abs() < 0.6 * raw,
                "lag {lag}: {} for {blood}, raw {raw}",
                estimate.blood
            );
            assert!(estimate.rate_per_min < -0.7, "lag {lag}: {}", estimate.rate_per_min);
        }
    }

    #[test]
    fn the_order_of_arrival_changes_nothing() {
        let (readings, _) = falling(30, 1.0, 8.0);
        let mut straight = Tracker::new(&sensor(8.0));
        for reading in &readings {
            straight.add(&[*reading]);
        }
        straight.meter(&check(200.0, 240.0));
        let mut crossed = Tracker::new(&sensor(8.0));
        crossed.add(&readings[20..]);
        crossed.meter(&check(200.0, 240.0));
        let mut older = readings[..20].to_vec();
        older.reverse();
        assert_eq!(crossed.add(&older), 20);
        assert_eq!(crossed.add(&readings), 0, "repeats are not taken");
        let (a, b) =
            (straight.estimate(start() + minutes(500.0)), crossed.estimate(start() + minutes(500.0)));
        assert!((a.unwrap().blood - b.unwrap().blood).abs() < 1e-9);
        assert_eq!(straight.smoothed().len(), 30);
    }

    #[test]
    fn what_is_held_stays_bounded_and_survives_json() {
        let mut tracker = Tracker::new(&sensor(8.0));
        for k in 0..2000 {
            let level = 150.0 + 60.0 * (f64::from(k) / 10.0).sin();
            tracker.add(&[reading(15.0 * f64::from(k), Value::Level(level.round()))]);
            tracker.dose(start() + minutes(15.0 * f64::from(k)));
            tracker.meter(&check(15.0 * f64::from(k) + 5.0, level.round()));
        }
        assert_eq!(tracker.recent().len(), RING);
        assert_eq!(tracker.add(&[reading(10.0, Value::Below)]), 0, "older than the ring");
        let text = serde_json::to_string(&tracker).unwrap();
        assert!(text.len() < 64 * 1024, "{}", text.len());
        let back: Tracker = serde_json::from_str(&text).unwrap();
        assert_eq!(back, tracker);
    }

    #[test]
    fn below_range_says_lower_than_the_bound_itself() {
        let (mut readings, _) = falling(20, 1.0, 8.0);
        readings.truncate(18);
        let mut at_bound = Tracker::new(&sensor(8.0));
        at_bound.add(&readings);
        let mut lower = at_bound.clone();
        at_bound.add(&[reading(270.0, Value::Level(41.0))]);
        lower.add(&[reading(270.0, Value::Below)]);
        let at = start() + minutes(270.0);
        assert!(lower.estimate(at).unwrap().blood < at_bound.estimate(at).unwrap().blood);
    }

    #[test]
    fn an_outlook_on_a_fall_sees_the_low_and_one_on_a_plateau_does_not() {
        let mut tracker = Tracker::new(&sensor(8.0));
        assert_eq!(tracker.outlook(start(), 30.0, 70.0), None);
        let (readings, _) = falling(16, 1.5, 8.0);
        tracker.add(&readings[..8]);
        let calm = tracker.outlook(start() + minutes(105.0), 30.0, 70.0).unwrap();
        assert!(calm.chance < 0.01 && calm.crossing.is_none(), "{calm:?}");
        tracker.add(&readings);
        let now = start() + minutes(225.0);
        let fall = tracker.outlook(now, 30.0, 70.0).unwrap();
        assert!(fall.chance > 0.3, "{fall:?}");
        let later = tracker.outlook(now, 120.0, 70.0).unwrap();
        assert!(later.chance >= fall.chance && later.sd_at_end > fall.sd_at_end);
        let scan = tracker.scan_again(now, 70.0, 0.1).unwrap();
        assert!(scan >= now + minutes(15.0) && scan < now + minutes(60.0));
    }

    #[test]
    fn a_meter_check_sharpens_the_estimate_and_a_new_wear_forgets_its_lesson() {
        let readings: Vec<Reading> =
            (0..40).map(|k| reading(15.0 * f64::from(k), Value::Level(200.0))).collect();
        let mut tracker = Tracker::new(&sensor(8.0));
        tracker.add(&readings[..20]);
        let before = tracker.estimate(start() + minutes(286.0)).unwrap();
        tracker.meter(&check(286.0, 180.0));
        let after = tracker.estimate(start() + minutes(286.0)).unwrap();
        assert!(after.blood_sd < before.blood_sd && after.blood < before.blood);
        let mut renewed = tracker.clone();
        renewed.new_wear(start() + minutes(290.0));
        tracker.add(&readings);
        renewed.add(&readings);
        let end = start() + minutes(600.0);
        assert!(tracker.estimate(end).unwrap().blood < renewed.estimate(end).unwrap().blood - 0.3);
    }
}
