//! What is usual for this cat: how its glucose moves after a dose (or by time of day, where no doses are
//! written down), and how low its days go.
//!
//! Learned from readings that are old enough to have all their neighbours; a few kilobytes, however long the
//! cat is watched. Habits fade with the readings that come: a cycle counts half after eight and a half further ones,
//! which are four days of two doses a day; what is usual at a time of day counts half after as many days.

use serde::{Deserialize, Serialize};

use super::evidence::number;
use crate::words::{ClockStep, Moment, Reading, Value};

/// Width of one bin, minutes.
const BIN_MINUTES: f64 = 30.0;
/// Bins after a dose: 14 hours.
const AFTER_DOSE: usize = 28;
/// Bins of a day.
const OF_DAY: usize = 48;
/// What remains of a bin's weight with a quarter of an hour of readings more: two of them fall into a bin per cycle.
const KEEP: f64 = 0.96;
/// A reading counts for the time since the one before, up to this: a sensor that reads often teaches no faster.
const COUNTS_MINUTES: f64 = 15.0;
/// So many readings draw what is usual half way from nothing: two cycles, with what the bins beside them add.
const DOUBT: f64 = 8.0;
/// Days whose lowest reading is kept.
const DAYS: usize = 8;
/// Changes are learned over these spans, minutes.
pub(crate) const SPANS: [f64; 3] = [30.0, 60.0, 90.0];

/// Usual changes of the logarithm of glucose from one place in the cycle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Bin {
    weight: f64,
    /// Weighted sums of the changes over [`SPANS`].
    changes: [f64; 3],
    /// Weighted sum of squares of the change over an hour.
    square: f64,
}

/// The lowest reading of one day, counted from the epoch.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Day {
    number: i64,
    low: f64,
}

/// Habits of one cat.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Habit {
    after_dose: Vec<Bin>,
    of_day: Vec<Bin>,
    days: Vec<Day>,
    /// Readings up to here have been learned from.
    until: Option<Moment>,
}

/// What habit says about the next hour and a half.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Usual {
    /// Expected change of the logarithm of glucose over [`SPANS`], drawn to zero where little is known.
    pub changes: [f64; 3],
    /// Spread of the change over an hour, from cycle to cycle; zero where nothing is known.
    pub spread: f64,
    /// How much it rests on, in readings.
    pub weight: f64,
}

impl Default for Habit {
    fn default() -> Self {
        Self {
            after_dose: vec![Bin::default(); AFTER_DOSE],
            of_day: vec![Bin::default(); OF_DAY],
            days: Vec::new(),
            until: None,
        }
    }
}

impl Usual {
    /// Expected rate over the next hour at a level, mg/dL per minute: what usually happens, as far as the cycles were
    /// alike (m^2 / (m^2 + s^2) of it, m the usual change and s its spread).
    pub(crate) fn drift(&self, level: f64) -> f64 {
        let mean = self.changes[1];
        let alike = mean * mean / (mean * mean + self.spread * self.spread + 1e-6);
        level.clamp(20.0, 600.0) * (alike * mean).exp_m1() / SPANS[1]
    }
}

impl Habit {
    /// The clock that ran ahead was set back: days that have not come yet are forgotten.
    pub(crate) fn set_back(&mut self, step: ClockStep) {
        step.move_all(&mut self.until);
        let today = day_number(step.to);
        self.days.retain(|day| day.number <= today);
    }

    /// How many of the last days have readings that were learned from; at most eight.
    pub(crate) fn days_known(&self) -> usize {
        self.days.len()
    }

    /// Learns from the readings of `ring` (oldest first, of a sensor of that range) that were measured up to `settled` and
    /// not learned before.
    pub(crate) fn learn(&mut self, ring: &[Reading], range: [f64; 2], doses: &[Moment], settled: Moment) {
        let from = ring.partition_point(|r| self.until.is_some_and(|until| r.measured_at <= until));
        let to = ring.partition_point(|r| r.measured_at <= settled);
        for place in from..to {
            let at = ring[place].measured_at;
            let since =
                place.checked_sub(1).map_or(COUNTS_MINUTES, |k| at.minutes_since(ring[k].measured_at));
            let counts = (since / COUNTS_MINUTES).min(1.0);
            self.until = Some(at);
            let value = ring[place].value;
            if value != Value::Above {
                self.day(at, number(value, range));
            }
            let Some(level) = value.level() else { continue };
            let change = |span: f64| {
                let then = near(ring, at, span, range)?;
                Some((then / level).ln())
            };
            let Some(changes) = change(SPANS[0]).zip(change(SPANS[1])).zip(change(SPANS[2])) else {
                continue;
            };
            let changes = [changes.0.0, changes.0.1, changes.1];
            self.of_day[day_bin(at)].add(changes, counts);
            if let Some(bin) = dose_bin(doses, at) {
                self.after_dose[bin].add(changes, counts);
            }
        }
    }

    /// What usually follows from here after a dose; nothing if no dose was written down within 14 hours.
    pub(crate) fn after_dose(&self, doses: &[Moment], at: Moment) -> Usual {
        dose_bin(doses, at).map_or(Usual::default(), |bin| usual(&self.after_dose, bin, false))
    }

    /// What usually follows at this time of day.
    pub(crate) fn at_time_of_day(&self, at: Moment) -> Usual {
        usual(&self.of_day, day_bin(at), true)
    }

    /// What usually follows: after a dose where one is written down, else at this time of day.
    pub(crate) fn usual(&self, doses: &[Moment], at: Moment) -> Usual {
        let dosed = self.after_dose(doses, at);
        if dosed.weight > 0.0 { dosed } else { self.at_time_of_day(at) }
    }

    /// Mean and least of the lowest readings of the last days, mg/dL; `None` before the first day is over.
    pub(crate) fn day_lows(&self) -> Option<(f64, f64)> {
        let least = self.days.iter().map(|day| day.low).fold(f64::INFINITY, f64::min);
        let sum: f64 = self.days.iter().map(|day| day.low).sum();
        (!self.days.is_empty()).then(|| (sum / self.days.len() as f64, least))
    }

    fn day(&mut self, at: Moment, level: f64) {
        let number = day_number(at);
        match self.days.last_mut() {
            Some(day) if day.number == number => day.low = day.low.min(level),
            _ => self.days.push(Day { number, low: level }),
        }
        if self.days.len() > DAYS {
            self.days.remove(0);
        }
    }
}

impl Bin {
    fn add(&mut self, changes: [f64; 3], counts: f64) {
        let keep = KEEP.powf(counts);
        self.weight = self.weight * keep + counts;
        for (sum, change) in self.changes.iter_mut().zip(changes) {
            *sum = *sum * keep + counts * change;
        }
        self.square = self.square * keep + counts * changes[1] * changes[1];
    }
}

/// A bin and its neighbours, drawn to zero: with `n` readings the mean counts n/(n + 8).
fn usual(bins: &[Bin], at: usize, round: bool) -> Usual {
    let side = |step: i64| {
        let place = at as i64 + step;
        let place = if round { place.rem_euclid(bins.len() as i64) } else { place };
        usize::try_from(place).ok().and_then(|place| bins.get(place)).copied().unwrap_or_default()
    };
    let (mut weight, mut changes, mut square) = (0.0, [0.0; 3], 0.0);
    for (bin, share) in [(side(-1), 0.5), (side(0), 1.0), (side(1), 0.5)] {
        weight += share * bin.weight;
        square += share * bin.square;
        for (sum, change) in changes.iter_mut().zip(bin.changes) {
            *sum += share * change;
        }
    }
    if weight <= 0.0 {
        return Usual::default();
    }
    let mean = changes[1] / weight;
    Usual {
        changes: changes.map(|sum| sum / (weight + DOUBT)),
        spread: (square / weight - mean * mean).max(0.0).sqrt(),
        weight,
    }
}

fn dose_bin(doses: &[Moment], at: Moment) -> Option<usize> {
    let last = doses.iter().rev().find(|dose| **dose <= at)?;
    let bin = (at.minutes_since(*last) / BIN_MINUTES) as usize;
    (bin < AFTER_DOSE).then_some(bin)
}

fn day_number(at: Moment) -> i64 {
    at.millis().div_euclid(86_400_000)
}

fn day_bin(at: Moment) -> usize {
    let minute = at.millis().div_euclid(60_000).rem_euclid(1440) as f64;
    ((minute / BIN_MINUTES) as usize).min(OF_DAY - 1)
}

/// The level `span` minutes after `at` (before it, if negative): of the reading nearest to that, within 10 minutes.
pub(crate) fn near(ring: &[Reading], at: Moment, span: f64, range: [f64; 2]) -> Option<f64> {
    let off = |reading: &Reading| (reading.measured_at.minutes_since(at) - span).abs();
    let place = ring.partition_point(|reading| reading.measured_at.minutes_since(at) < span);
    let around = [place.checked_sub(1).and_then(|k| ring.get(k)), ring.get(place)];
    let best = around.into_iter().flatten().min_by(|a, b| off(a).total_cmp(&off(b)))?;
    (off(best) <= 10.0).then(|| number(best.value, range))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{ReadingKind, minutes};

    /// What is usual two hours after a dose, after so many cycles that fall alike, read so often.
    fn learned(cycles: usize, every_minutes: f64) -> Usual {
        let start = Moment::from_millis(1_772_409_600_000);
        let doses: Vec<Moment> = (0..=cycles).map(|k| start + minutes(720.0 * k as f64)).collect();
        let count = (720.0 * cycles as f64 / every_minutes) as usize;
        let level = |minute: f64| 150.0 + 60.0 * (std::f64::consts::TAU * minute / 720.0).cos();
        let ring: Vec<Reading> = (0..count)
            .map(|k| every_minutes * k as f64)
            .map(|minute| Reading {
                measured_at: start + minutes(minute),
                value: Value::Level(level(minute)),
                kind: ReadingKind::History,
            })
            .collect();
        let mut habit = Habit::default();
        habit.learn(&ring, [40.0, 500.0], &doses, start + minutes(1e6));
        habit.after_dose(&doses, doses[cycles] + minutes(120.0))
    }

    #[test]
    fn one_cycle_is_no_habit_and_reading_often_makes_none_of_it() {
        // From 180 to 150 mg/dL within the hour: the logarithm of that, and a third of it after one cycle.
        let change = (150.0_f64 / 180.0).ln();
        let share = |usual: Usual| usual.changes[1] / change;
        for every in [15.0, 5.0, 1.0] {
            let (one, two, ten) = (learned(1, every), learned(2, every), learned(10, every));
            assert!((0.25..0.42).contains(&share(one)), "every {every} min: {one:?}");
            assert!((0.42..0.60).contains(&share(two)), "every {every} min: {two:?}");
            assert!((0.70..0.95).contains(&share(ten)), "every {every} min: {ten:?}");
        }
    }

    #[test]
    fn what_lies_under_the_range_is_the_lowest_of_its_day() {
        let start = Moment::from_millis(1_772_409_600_000);
        let at = |k: usize| start + minutes(15.0 * k as f64);
        let values = [Value::Level(90.0), Value::Level(60.0), Value::Below, Value::Level(80.0), Value::Above];
        let ring: Vec<Reading> = (0..96)
            .map(|k| Reading { measured_at: at(k), value: values[k % 5], kind: ReadingKind::History })
            .collect();
        for (range, lowest) in [([40.0, 500.0], 37.0), ([20.0, 600.0], 17.0)] {
            let mut habit = Habit::default();
            habit.learn(&ring, range, &[], at(96));
            assert_eq!(habit.day_lows(), Some((lowest, lowest)));
        }
    }
}
