//! The curve for the vet: cycles from dose to dose, days, and all of it together, out of the record. Data comes in;
//! figures, a printable page or a table for machines go out. It judges nothing and says nothing about a dose.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;

use super::figures::{Figures, Range, figures};
use crate::words::{
    CatName, CatSettings, Dose, Event, MeterCheck, Moment, Note, Reading, ReadingKind, SensorNote,
    UNDONE_MINUTES, Value, minutes,
};

/// What the record holds of a cat and a time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct History {
    /// Readings, rising in time.
    pub readings: Vec<Reading>,
    /// Doses, rising in time.
    pub doses: Vec<Dose>,
    /// Meter checks, rising in time.
    pub checks: Vec<MeterCheck>,
    /// What happened to sensors, rising in time.
    pub sensors: Vec<SensorNote>,
    /// Notes, rising in time.
    pub notes: Vec<Note>,
}

impl History {
    /// What the record holds of a cat, from its events, oldest first. Where a source contradicted itself, the value that
    /// came first.
    pub fn of(events: impl Iterator<Item = Event>, cat: &CatName) -> Self {
        let mut readings: BTreeMap<(Moment, ReadingKind), Value> = BTreeMap::new();
        let mut history = Self::default();
        for event in events.filter(|event| event.cat() == Some(cat)) {
            if let Event::Readings(batch) = event {
                for reading in batch.readings {
                    readings.entry((reading.measured_at, reading.kind)).or_insert(reading.value);
                }
            } else {
                history.take(event);
            }
        }
        history.readings = readings
            .into_iter()
            .map(|((measured_at, kind), value)| Reading { measured_at, value, kind })
            .collect();
        history.doses.sort_by_key(|dose| dose.given_at);
        history.checks.sort_by_key(|check| check.measured_at);
        history.sensors.sort_by_key(|note| note.at);
        history.notes.sort_by_key(|note| note.at);
        history
    }

    /// Anything but readings.
    fn take(&mut self, event: Event) {
        let apart = |a: Moment, b: Moment| a.minutes_since(b).abs() > UNDONE_MINUTES;
        match event {
            Event::Dose(dose) if dose.not_given => {
                self.doses.retain(|held| apart(held.given_at, dose.given_at));
            }
            Event::Dose(dose) if !self.doses.contains(&dose) => self.doses.push(dose),
            Event::Meter(check) if !self.checks.contains(&check) => self.checks.push(check),
            Event::MeterUndone { measured_at, .. } => {
                self.checks.retain(|held| apart(held.measured_at, measured_at));
            }
            Event::Sensor(note) if !self.sensors.contains(&note) => self.sensors.push(note),
            Event::Note(note) if !self.notes.contains(&note) => self.notes.push(note),
            _ => {}
        }
    }
}

/// From when on a curve until `until` is usually shown: two weeks, or since there are readings, from a midnight on.
#[must_use]
pub fn usual_from(history: &History, until: Moment, zone: Tz) -> Moment {
    let usual = until - minutes((DAYS_USUAL - 1.0) * 1440.0);
    let first = history.readings.first().map_or(usual, |reading| reading.measured_at);
    day_of(usual.max(first.min(until - minutes(1.0))), zone).0
}

/// Two weeks: about one sensor, and what a vet is shown at a visit; chosen by us.
const DAYS_USUAL: f64 = 14.0;

/// From one dose to the next.
#[derive(Clone, Debug, PartialEq)]
pub struct Cycle {
    /// The dose it begins with.
    pub dose: Dose,
    /// Whether it ends with another dose; otherwise it ends where the report does, or after a day.
    pub closed: bool,
    /// The newest reading at the dose or up to two samples before it.
    pub pre_dose: Option<Reading>,
    /// The rest.
    pub figures: Figures,
}

impl Cycle {
    /// Minutes from the dose to the lowest reading.
    #[must_use]
    pub fn nadir_after_minutes(&self) -> Option<f64> {
        self.figures.lowest.map(|lowest| lowest.measured_at.minutes_since(self.dose.given_at))
    }
}

/// A day on the wall.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// From midnight to midnight, even where the report begins or ends within the day.
    pub whole: (Moment, Moment),
    /// Doses given on it.
    pub doses: usize,
    /// The rest.
    pub figures: Figures,
}

/// Everything that the report says.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// It begins.
    pub from: Moment,
    /// It ends.
    pub until: Moment,
    /// From dose to dose.
    pub cycles: Vec<Cycle>,
    /// Day by day, on the clock of the house.
    pub days: Vec<Day>,
    /// All of it.
    pub whole: Figures,
}

/// The plan's range of a cat.
#[must_use]
pub fn plan_range(cat: &CatSettings) -> Range {
    Range { low: cat.plan.low, high: cat.plan.high }
}

/// Works out the figures from `from` until `until`; days are those of `zone`. Readings and doses outside are used only
/// for what begins or ends at the edges.
#[must_use]
pub fn curve(cat: &CatSettings, history: &History, from: Moment, until: Moment, zone: Tz) -> Curve {
    let of =
        |from: Moment, until: Moment| figures(&history.readings, from, until, plan_range(cat), &cat.sensor);
    let given = |at: Moment| at >= from && at < until;
    let mut cycles = Vec::new();
    for (place, dose) in history.doses.iter().enumerate().filter(|(_, dose)| given(dose.given_at)) {
        let next = history.doses.get(place + 1).map(|next| next.given_at).filter(|next| *next <= until);
        let end = next.unwrap_or(until).min(dose.given_at + minutes(CYCLE_MINUTES_MAX));
        cycles.push(Cycle {
            dose: dose.clone(),
            closed: next.is_some_and(|next| next == end),
            pre_dose: pre_dose(cat, &history.readings, dose.given_at),
            figures: of(dose.given_at, end),
        });
    }
    let days = days(from, until, zone)
        .into_iter()
        .map(|(begins, ends)| Day {
            whole: day_of(begins, zone),
            doses: history.doses.iter().filter(|d| d.given_at >= begins && d.given_at < ends).count(),
            figures: of(begins, ends),
        })
        .collect();
    Curve { from, until, cycles, days, whole: of(from, until) }
}

fn pre_dose(cat: &CatSettings, readings: &[Reading], at: Moment) -> Option<Reading> {
    let oldest = at - minutes(2.0 * cat.sensor.sample_minutes);
    readings.iter().rev().find(|r| r.measured_at <= at).filter(|r| r.measured_at >= oldest).copied()
}

/// The day of a place in which `at` lies, from midnight to midnight.
#[must_use]
pub fn day_of(at: Moment, zone: Tz) -> (Moment, Moment) {
    let date = at.at(zone).date_naive();
    let midnight = |date: NaiveDate| Moment::of_local(zone, date.and_time(NaiveTime::MIN));
    let next = date.checked_add_days(Days::new(1)).unwrap_or(date);
    (midnight(date), midnight(next))
}

/// The days of a place from `from` until `until`, the first and the last cut where the report begins and ends.
fn days(from: Moment, until: Moment, zone: Tz) -> Vec<(Moment, Moment)> {
    let mut days = Vec::new();
    let mut begins = from;
    while begins < until && days.len() < DAYS_MAX {
        let ends = day_of(begins, zone).1.min(until);
        if ends <= begins {
            break;
        }
        days.push((begins, ends));
        begins = ends;
    }
    days
}

/// A cycle that no dose ends is not followed further than this.
const CYCLE_MINUTES_MAX: f64 = 24.0 * 60.0;
/// More days than a report can have; only guards against a clock that makes no sense.
const DAYS_MAX: usize = 4000;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{
        CatName, DoseSettings, Plan, ReadingKind, SensorSettings, Unit, Value, WatchSettings,
    };

    fn pepper() -> CatSettings {
        CatSettings {
            name: CatName::new("pepper").unwrap(),
            called: "Pepper".into(),
            units: Unit::MgDl,
            sensor: SensorSettings::default(),
            plan: Plan { low: 70.0, danger: 50.0, meter_low: 60.0, high: Some(250.0), ..Plan::default() },
            doses: DoseSettings { times: Vec::new(), min_hours_between: 8.0 },
            watch: WatchSettings::default(),
        }
    }

    fn at(text: &str) -> Moment {
        Moment::parse(text).unwrap()
    }

    #[test]
    fn each_dose_begins_a_cycle_and_the_last_one_stays_open() {
        let start = at("2026-06-10T05:00:00Z");
        let dose = |hours: f64| Dose {
            cat: CatName::new("pepper").unwrap(),
            given_at: start + minutes(hours * 60.0),
            units: None,
            by: None,
            not_given: false,
        };
        // A V of twelve hours: from 300 down to 60 in six hours and up again.
        let value = |n: i64| 300.0 - 240.0 * (1.0 - ((n % 48) as f64 / 24.0 - 1.0).abs());
        let readings = (0..=80).map(|n| Reading {
            measured_at: start + minutes(n as f64 * 15.0),
            value: Value::Level(value(n)),
            kind: ReadingKind::History,
        });
        let history = History {
            readings: readings.collect(),
            doses: vec![dose(0.0), dose(12.0)],
            ..History::default()
        };
        let until = start + minutes(20.0 * 60.0);
        let curve = curve(&pepper(), &history, start, until, chrono_tz::Europe::Vienna);
        assert_eq!(curve.cycles.len(), 2);
        let first = &curve.cycles[0];
        assert!(first.closed && !curve.cycles[1].closed);
        assert_eq!(first.pre_dose.unwrap().value, Value::Level(300.0));
        assert_eq!(first.nadir_after_minutes(), Some(360.0));
        // 40 mg/dL an hour: a quarter of an hour on each side of the nadir lies under 70.
        assert!((first.figures.below_minutes - 30.0).abs() < 1e-9, "{first:?}");
        assert!((first.figures.above_minutes - 150.0).abs() < 1e-9, "{first:?}");
        assert_eq!(first.figures.mean.unwrap().0, 180.0);
        assert_eq!(curve.days.len(), 2, "19:00 UTC is another day in Vienna from 22:00 UTC on");
    }

    #[test]
    fn days_follow_the_clock_on_the_wall() {
        // Clocks go forward on 29 March 2026 and back on 25 October (directive 2000/84/EC).
        for (from, until, hours) in [
            ("2026-03-28T23:00:00Z", "2026-03-30T10:00:00Z", 23.0),
            ("2026-10-24T22:00:00Z", "2026-10-26T10:00:00Z", 25.0),
        ] {
            let days = days(at(from), at(until), chrono_tz::Europe::Vienna);
            assert_eq!(days.len(), 2);
            assert_eq!(days[0].1.minutes_since(days[0].0), hours * 60.0);
        }
    }
}
