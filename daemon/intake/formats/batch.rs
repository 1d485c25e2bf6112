//! Records become events: readings are gathered into batches, everything else stands alone.

use std::collections::BTreeMap;
use std::mem;

use super::{Parsed, Record};
use crate::words::{Batch, CatName, Event, Moment, Reading, ReadingKind, Value, Via};

/// The most readings in one event, so that no turn takes long.
pub const READINGS_PER_EVENT_MAX: usize = 1000;

type Group = (Option<Moment>, CatName, Option<String>);

/// Groups readings by cat, sensor and time of receipt into batches of at most [`READINGS_PER_EVENT_MAX`],
/// oldest first. Everything else comes before them, oldest first, so that a sensor is on the cat before its
/// readings are.
///
/// A reading that stands twice in `records` is counted in [`Batch::repeated`] of its batch. A second value for
/// the same instant and kind goes into a batch of its own, after the first, so that the record finds both and
/// says that they differ.
#[must_use]
pub fn events(records: Vec<Record>, via: Via, source: &str) -> Vec<(Option<Moment>, Event)> {
    let mut groups: BTreeMap<Group, Vec<Reading>> = BTreeMap::new();
    let mut others = Vec::new();
    let mut last: Option<(Group, Vec<Reading>)> = None;
    for record in records {
        let at = record.at();
        match record {
            Record::Reading { cat, sensor, received_at, reading } => {
                // Neighbouring rows nearly always belong together, so the map is asked once per run of them.
                match &mut last {
                    Some((group, readings))
                        if group.0 == received_at && group.1 == cat && group.2 == sensor =>
                    {
                        readings.push(reading);
                    }
                    _ => {
                        if let Some((group, mut readings)) = last.take() {
                            groups.entry(group).or_default().append(&mut readings);
                        }
                        last = Some(((received_at, cat, sensor), vec![reading]));
                    }
                }
            }
            Record::Dose(dose) => others.push((at, Event::Dose(dose))),
            Record::Meter(check) => others.push((at, Event::Meter(check))),
            Record::Sensor(note) => others.push((at, Event::Sensor(note))),
            Record::Spare(spare) => others.push((at, Event::Spare(spare))),
            Record::Note(note) => others.push((at, Event::Note(note))),
        }
    }
    if let Some((group, mut readings)) = last {
        groups.entry(group).or_default().append(&mut readings);
    }
    others.sort_by_key(|(at, _)| *at);
    let mut out: Vec<_> = others.into_iter().map(|(_, event)| (None, event)).collect();
    for (group, readings) in groups {
        for batch in batches(&group, readings, via, source) {
            out.push((group.0, Event::Readings(batch)));
        }
    }
    out
}

impl Parsed {
    /// The same as [`events`], with the time of the scan in each batch if the file gave one, and what the newest value was if it
    /// could not be read.
    #[must_use]
    pub fn into_events(self, via: Via, source: &str) -> Vec<(Option<Moment>, Event)> {
        let scanned = self.scanned_at;
        let unread = self.unread.into_iter().map(|unread| (None, Event::Unread(unread)));
        let mut out = events(self.records, via, source);
        for (_, event) in &mut out {
            if let Event::Readings(batch) = event {
                batch.scanned_at = scanned;
            }
        }
        // After the readings: it is about what comes behind them.
        out.extend(unread);
        out
    }
}

fn batches(group: &Group, mut readings: Vec<Reading>, via: Via, source: &str) -> Vec<Batch> {
    let mut out = Vec::new();
    while !readings.is_empty() {
        let (first, again, repeated) = sifted(readings);
        let before = out.len();
        for part in first.chunks(READINGS_PER_EVENT_MAX) {
            out.push(Batch {
                cat: group.1.clone(),
                via,
                source: source.to_owned(),
                sensor: group.2.clone(),
                scanned_at: None,
                readings: part.to_vec(),
                repeated: 0,
                conflicts: Vec::new(),
                newest: part.last().map(|reading| reading.measured_at),
            });
        }
        if let Some(batch) = out.get_mut(before) {
            batch.repeated = repeated;
        }
        readings = again;
    }
    out
}

/// Splits into readings strictly rising in (time, kind), those with another value for a time already there,
/// and the number of plain repeats.
fn sifted(mut readings: Vec<Reading>) -> (Vec<Reading>, Vec<Reading>, u32) {
    // Stable: of two values for one instant, the one that stands first in the file comes first.
    readings.sort_by_key(|reading| (reading.measured_at, reading.kind));
    let mut first: Vec<Reading> = Vec::with_capacity(readings.len());
    let mut again = Vec::new();
    let mut repeated = 0_u32;
    for reading in mem::take(&mut readings) {
        match first.last() {
            Some(held) if slot(held) == slot(&reading) => {
                if same(held.value, reading.value) {
                    repeated = repeated.saturating_add(1);
                } else {
                    again.push(reading);
                }
            }
            _ => first.push(reading),
        }
    }
    (first, again, repeated)
}

fn slot(reading: &Reading) -> (Moment, ReadingKind) {
    (reading.measured_at, reading.kind)
}

/// Two values are one if they differ only in the last binary digits of a unit conversion.
fn same(a: Value, b: Value) -> bool {
    match (a, b) {
        (Value::Level(a), Value::Level(b)) => (a - b).abs() < 1e-6,
        _ => a == b,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{Dose, minutes};

    fn reading(minute: f64, level: f64) -> Record {
        Record::Reading {
            cat: CatName::new("pepper").unwrap(),
            sensor: None,
            received_at: None,
            reading: Reading {
                measured_at: Moment::parse("2026-03-01T00:00:00Z").unwrap() + minutes(minute),
                value: Value::Level(level),
                kind: ReadingKind::History,
            },
        }
    }

    fn batches_of(records: Vec<Record>) -> Vec<Batch> {
        events(records, Via::Folder, "a.csv")
            .into_iter()
            .map(|(_, event)| match event {
                Event::Readings(batch) => batch,
                other => panic!("{other:?}"),
            })
            .collect()
    }

    #[test]
    fn rows_in_any_order_become_one_rising_batch() {
        let got = batches_of(vec![reading(30.0, 90.0), reading(0.0, 110.0), reading(15.0, 100.0)]);
        assert_eq!(got.len(), 1);
        assert!(got[0].readings.windows(2).all(|pair| slot(&pair[0]) < slot(&pair[1])));
        assert_eq!(got[0].newest, Some(got[0].readings[2].measured_at));
    }

    #[test]
    fn a_repeat_is_counted_and_a_contradiction_is_kept() {
        let got = batches_of(vec![reading(0.0, 110.0), reading(0.0, 110.0), reading(0.0, 45.0)]);
        assert_eq!(got.len(), 2);
        assert_eq!((got[0].readings.len(), got[0].repeated), (1, 1));
        assert_eq!(got[0].readings[0].value, Value::Level(110.0));
        assert_eq!(got[1].readings[0].value, Value::Level(45.0));
    }

    #[test]
    fn no_event_holds_more_than_a_thousand_readings() {
        let got = batches_of((0..2500).map(|i| reading(f64::from(i), 100.0)).collect());
        assert_eq!(got.iter().map(|b| b.readings.len()).collect::<Vec<_>>(), [1000, 1000, 500]);
        assert!(got[0].newest < got[1].newest);
    }

    #[test]
    fn what_is_not_a_reading_comes_first() {
        let cat = CatName::new("pepper").unwrap();
        let given_at = Moment::parse("2026-03-01T07:00:00Z").unwrap();
        let dose = Dose { cat, given_at, units: None, by: None, not_given: false };
        let got = events(vec![reading(0.0, 100.0), Record::Dose(dose)], Via::Folder, "a.csv");
        assert!(matches!(got[0].1, Event::Dose(_)) && matches!(got[1].1, Event::Readings(_)));
    }

    #[test]
    fn what_was_received_apart_stays_apart() {
        let mut records = vec![reading(0.0, 100.0), reading(15.0, 100.0)];
        for (record, received) in records.iter_mut().zip(["2026-03-01T02:00:00Z", "2026-03-01T01:00:00Z"]) {
            if let Record::Reading { received_at, .. } = record {
                *received_at = Moment::parse(received);
            }
        }
        let got = events(records, Via::Replay, "a.csv");
        assert_eq!(got.len(), 2);
        assert!(got[0].0 < got[1].0, "in the order of receipt");
    }
}
