//! Meter checks beside what the sensor said of the same blood, which it reads one lag later.
//!
//! In: meter checks, readings, new wears, in any order. Out: each check with the sensor's value. One function makes the
//! pairs of the state and those of the report. What is kept is bounded; judges nothing ([`super::agreement`] does).

use serde::{Deserialize, Serialize};

use super::agreement::Agreement;
use crate::words::{ClockStep, MeterCheck, MeterKind, Moment, Reading, SensorSettings, Span, Value, minutes};

/// A meter check and what the sensor said of the same blood.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Compared {
    /// When blood was taken.
    #[serde(rename = "t")]
    pub at: Moment,
    /// Kind of meter.
    #[serde(rename = "m")]
    pub meter: MeterKind,
    /// What the meter said.
    #[serde(rename = "r")]
    pub reference: Value,
    /// What the sensor said; `None` while no readings lie close on both sides of the time that counts.
    #[serde(rename = "s", default, skip_serializing_if = "Option::is_none")]
    pub sensor: Option<Value>,
}

impl Compared {
    /// The check with what the series says of it.
    #[must_use]
    pub fn of(check: &MeterCheck, matching: &Matching, series: &Series<'_>) -> Self {
        let sensor = matching.sensor_at(check.measured_at, series);
        Self { at: check.measured_at, meter: check.meter, reference: check.glucose, sensor }
    }

    /// Reference and sensor, mg/dL; `None` unless both are numbers.
    #[must_use]
    pub fn pair(&self) -> Option<(f64, f64)> {
        Some((self.reference.level()?, self.sensor?.level()?))
    }

    /// Whether meter or sensor was out of its range, so that no number can be compared.
    #[must_use]
    pub fn out_of_range(&self) -> bool {
        let no_number = |value: Value| value.level().is_none();
        no_number(self.reference) || self.sensor.is_some_and(no_number)
    }

    fn same_check(&self, other: &Self) -> bool {
        (self.at, self.meter, self.reference) == (other.at, other.meter, other.reference)
    }
}

/// How a check finds its readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Matching {
    lag: Span,
    range: [f64; 2],
}

/// Readings, oldest first, and what stands beside them.
#[derive(Clone, Copy, Debug)]
pub struct Series<'a> {
    /// The reading just before them, where older ones are no longer held.
    pub before: Option<Reading>,
    /// The readings.
    pub readings: &'a [Reading],
    /// When each sensor was put on.
    pub wears: &'a [Moment],
}

impl Matching {
    /// By the settings' lag: the one that may be found of a cat changes with time, and the same check would then make
    /// another pair.
    #[must_use]
    pub fn of(sensor: &SensorSettings) -> Self {
        Self::new(sensor.lag_minutes.clamp(0.5, 60.0), sensor.range)
    }

    pub(super) fn new(lag_minutes: f64, range: [f64; 2]) -> Self {
        Self { lag: minutes(lag_minutes), range }
    }

    /// What the sensor said of blood taken at an instant: its reading one lag later, on a straight line between two
    /// readings of the same sensor at most [`APART_MINUTES`] apart.
    fn sensor_at(&self, at: Moment, series: &Series<'_>) -> Option<Value> {
        let at = at + self.lag;
        let place = series.readings.partition_point(|reading| reading.measured_at <= at);
        let from = match place.checked_sub(1) {
            Some(place) => series.readings.get(place).copied(),
            None => series.before.filter(|before| before.measured_at <= at),
        }?;
        if from.measured_at == at {
            return Some(self.ranged(from.value));
        }
        let to = series.readings.get(place)?;
        let span = to.measured_at.minutes_since(from.measured_at);
        let changed = series.wears.iter().any(|worn| *worn > from.measured_at && *worn <= to.measured_at);
        if span > APART_MINUTES || changed {
            return None;
        }
        let share = at.minutes_since(from.measured_at) / span;
        Some(match (self.ranged(from.value), self.ranged(to.value)) {
            (Value::Level(from), Value::Level(to)) => Value::Level(from + share * (to - from)),
            (Value::Level(_), out) | (out, _) => out,
        })
    }

    /// A number at the end of the range or beyond says no more than that it is out of it.
    fn ranged(&self, value: Value) -> Value {
        match value {
            Value::Level(level) if level <= self.range[0] => Value::Below,
            Value::Level(level) if level >= self.range[1] => Value::Above,
            value => value,
        }
    }
}

/// The newest meter checks of a cat, longer than its readings are held.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PairBook {
    /// Oldest first.
    held: Vec<Compared>,
    /// The last reading that has left the series.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    edge: Option<Reading>,
}

impl PairBook {
    /// The checks, oldest first.
    #[must_use]
    pub fn checks(&self) -> &[Compared] {
        &self.held
    }

    /// Takes a check, once; [`PairBook::settle`] compares it.
    pub(super) fn note(&mut self, at: Moment, meter: MeterKind, reference: Value) {
        let new = Compared { at, meter, reference, sensor: None };
        if self.held.iter().any(|held| held.same_check(&new)) {
            return;
        }
        self.held.push(new);
        self.sort();
        if self.held.len() > HELD {
            self.held.remove(0);
        }
    }

    /// Forgets the checks of some times.
    pub(super) fn forget(&mut self, of: impl Fn(Moment) -> bool) {
        self.held.retain(|held| !of(held.at));
    }

    /// Compares anew what can be: readings may have come between, late ones too. What lies before the series stays as
    /// it was found.
    pub(super) fn settle(&mut self, matching: &Matching, readings: &[Reading], wears: &[Moment]) {
        let series = Series { before: self.edge, readings, wears };
        let Some(first) = self.edge.or_else(|| readings.first().copied()) else { return };
        let from = self.held.partition_point(|held| held.at + matching.lag < first.measured_at);
        for held in &mut self.held[from..] {
            held.sensor = matching.sensor_at(held.at, &series);
        }
    }

    /// The oldest reading leaves the series.
    pub(super) fn leave(&mut self, reading: Reading) {
        self.edge = Some(reading);
    }

    /// The clock that ran ahead was set back.
    pub(super) fn set_back(&mut self, step: ClockStep) {
        step.move_all(self.held.iter_mut().map(|held| &mut held.at));
        step.move_all(self.edge.iter_mut().map(|edge| &mut edge.measured_at));
        self.sort();
        self.held.dedup_by(|a, b| a.same_check(b));
    }

    fn sort(&mut self) {
        // Checks of one minute stand in an order that does not depend on which came first.
        let value = |value: Value| match value {
            Value::Below => f64::NEG_INFINITY,
            Value::Level(level) => level,
            Value::Above => f64::INFINITY,
        };
        self.held.sort_by(|a, b| {
            let values = || value(a.reference).total_cmp(&value(b.reference));
            (a.at, a.meter).cmp(&(b.at, b.meter)).then_with(values)
        });
    }
}

/// Meter checks by what they came to, with the figures of each kind of meter.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Tally {
    /// The pairs of each kind of meter of which there are any; never mixed.
    pub kinds: Vec<KindTally>,
    /// Checks at which the meter or the sensor was out of its range.
    pub out_of_range: usize,
    /// Checks without readings close on both sides, or not yet.
    pub unmatched: usize,
}

/// The pairs of one kind of meter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct KindTally {
    /// Kind of meter.
    pub meter: MeterKind,
    /// Pairs.
    pub pairs: usize,
    /// Mean of sensor minus meter, mg/dL.
    pub bias: f64,
    /// The rest, from [`PAIRS_MIN`] pairs on: fewer say nothing that would hold for the next one.
    pub figures: Option<Agreement>,
}

impl Tally {
    /// Of some checks.
    pub fn of<'a>(checks: impl IntoIterator<Item = &'a Compared>) -> Self {
        let mut tally = Self::default();
        let mut pairs: [(MeterKind, Vec<(f64, f64)>); 4] = KINDS.map(|kind| (kind, Vec::new()));
        for check in checks {
            match check.pair() {
                Some(pair) => {
                    let own = pairs.iter_mut().find(|(kind, _)| *kind == check.meter);
                    own.into_iter().for_each(|(_, pairs)| pairs.push(pair));
                }
                None if check.out_of_range() => tally.out_of_range += 1,
                None => tally.unmatched += 1,
            }
        }
        tally.kinds = pairs.iter().filter_map(|(kind, pairs)| KindTally::of(*kind, pairs)).collect();
        tally
    }
}

impl KindTally {
    fn of(meter: MeterKind, pairs: &[(f64, f64)]) -> Option<Self> {
        let found = Agreement::of(pairs)?;
        let figures = (found.count >= PAIRS_MIN).then_some(found);
        Some(Self { meter, pairs: found.count, bias: found.bias, figures })
    }
}

/// How many meter checks have taught a belief the gain of its sensor, by kind of meter.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Taught {
    /// Made for pets.
    pub pet: u32,
    /// Made for people, plasma-equivalent.
    pub human: u32,
    /// Of unknown kind.
    pub unknown: u32,
}

impl Taught {
    /// All of them.
    #[must_use]
    pub fn checks(&self) -> u32 {
        self.pet + self.human + self.unknown
    }

    /// One more.
    pub(super) fn and(mut self, meter: MeterKind) -> Self {
        match meter {
            MeterKind::Pet => self.pet += 1,
            MeterKind::Human => self.human += 1,
            MeterKind::Unknown => self.unknown += 1,
            // Never reckoned with.
            MeterKind::WholeBlood => {}
        }
        self
    }
}

/// What meter checks say of the present sensor, as the filter reckons with it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Correction {
    /// By what share the sensor reads too high; negative if too low.
    pub error: f64,
    /// Standard deviation of that.
    pub error_sd: f64,
    /// The checks it rests on.
    #[serde(flatten)]
    pub taught: Taught,
}

/// Under so many pairs only their number and the bias are given. Chosen by us.
pub const PAIRS_MIN: usize = 5;
/// Kinds of meter, in the order in which they are shown.
pub const KINDS: [MeterKind; 4] =
    [MeterKind::Pet, MeterKind::Human, MeterKind::WholeBlood, MeterKind::Unknown];
/// Checks held: at one every other day, four months.
const HELD: usize = 64;
/// Two readings further apart than this say nothing of the time between them, minutes.
const APART_MINUTES: f64 = 35.0;

#[cfg(test)]
mod tests;
