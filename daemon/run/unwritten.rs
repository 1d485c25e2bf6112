//! What counts although the record cannot be written: on a full or worn card lows are still watched, in memory, and told.
//!
//! Nothing of it is acknowledged, so its source brings it again and again until it is kept. Counted in memory it is once.

use std::collections::BTreeSet;

use crate::turn::House;
use crate::words::{Answer, Batch, CatName, Event, Moment, ReadingKind, Verdict};

/// What has been counted in memory and is not kept yet.
#[derive(Debug, Default)]
pub(super) struct Unwritten {
    counted: Vec<Event>,
    readings: BTreeSet<(CatName, Moment, ReadingKind)>,
}

impl Unwritten {
    /// What of an event that could not be written counts all the same: what lows are judged by, and what was answered. A
    /// dose or a note does not: whoever typed it is told that it is not kept, and a dose that is typed again would be a second.
    pub(super) fn counts(&mut self, house: &House, event: Event) -> Option<Event> {
        match event {
            Event::Outcome { .. } | Event::Tick | Event::Health(_) | Event::Bridge { .. } => Some(event),
            Event::Readings(batch) => self.news(house, batch),
            Event::Answer(Answer { verdict, .. }) if is_of_a_dose(verdict) => None,
            Event::Household { .. }
            | Event::ClockSet(_)
            | Event::Meter(_)
            | Event::Unread(_)
            | Event::Answer(_) => self.once(event),
            _ => None,
        }
    }

    /// The readings of a batch that have not been counted yet, in this run or in one before it.
    fn news(&mut self, house: &House, mut batch: Batch) -> Option<Event> {
        let held = house.cats.get(&batch.cat).map_or(&[][..], |cat| cat.tracker.recent());
        batch.readings.retain(|reading| {
            let key = (reading.measured_at, reading.kind);
            // What waits for its time, or is older than what the tracker keeps, does not show there.
            let new = self.readings.insert((batch.cat.clone(), key.0, key.1));
            new && !held.iter().any(|held| (held.measured_at, held.kind) == key)
        });
        while self.readings.len() > READINGS_MAX {
            self.readings.pop_first();
        }
        (!batch.readings.is_empty()).then_some(Event::Readings(batch))
    }

    fn once(&mut self, event: Event) -> Option<Event> {
        if self.counted.contains(&event) {
            return None;
        }
        if self.counted.len() >= COUNTED_MAX {
            let oldest = self.counted.iter().position(|event| !is_owed(event));
            self.counted.remove(oldest.unwrap_or(0));
        }
        self.counted.push(event.clone());
        Some(event)
    }

    /// What is in force and not kept, and nobody brings again, oldest first: the settings, and that the clock was set back.
    /// Whatever is entered after it is to be read by it.
    pub(super) fn owed(&self) -> Vec<Event> {
        self.counted.iter().filter(|event| is_owed(event)).cloned().collect()
    }

    /// It can be written again: what is brought again is kept from now on.
    pub(super) fn clear(&mut self) {
        self.counted.clear();
        self.readings.clear();
    }
}

const fn is_owed(event: &Event) -> bool {
    matches!(event, Event::Household { .. } | Event::ClockSet(_))
}

const fn is_of_a_dose(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::Given | Verdict::GivenToo | Verdict::NotGiven)
}

/// More than a household says in a day.
const COUNTED_MAX: usize = 200;
/// Two weeks of a sensor that reads each minute.
const READINGS_MAX: usize = 20_000;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{Note, PersonName, Reading, Value, Via};

    fn answer(verdict: Verdict) -> Event {
        let person = PersonName::new("owner").unwrap();
        Event::Answer(Answer { finding: None, person, via: Via::Button, verdict, at: None })
    }

    #[test]
    fn an_answer_that_is_brought_again_counts_once_until_it_can_be_kept() {
        let (mut unwritten, house) = (Unwritten::default(), House::default());
        assert!(unwritten.counts(&house, answer(Verdict::Taken)).is_some());
        assert!(unwritten.counts(&house, answer(Verdict::Taken)).is_none(), "it would never run out");
        assert!(unwritten.counts(&house, answer(Verdict::Later)).is_some());
        unwritten.clear();
        assert!(unwritten.counts(&house, answer(Verdict::Taken)).is_some());
    }

    #[test]
    fn what_is_typed_and_not_kept_does_not_count() {
        let (mut unwritten, house) = (Unwritten::default(), House::default());
        assert!(unwritten.counts(&house, answer(Verdict::Given)).is_none());
        let cat = CatName::new("pepper").unwrap();
        let note = Note { cat, at: Moment::from_millis(0), text: "all is well".into(), by: None };
        assert!(unwritten.counts(&house, Event::Note(note)).is_none());
        assert!(unwritten.counts(&house, Event::Tick).is_some());
    }
    #[test]
    fn a_reading_that_the_house_does_not_show_counts_once_too() {
        // One of the future waits for its time, and one of last week is older than what is kept at hand.
        let (mut unwritten, house) = (Unwritten::default(), House::default());
        let batch = |minutes: &[i64]| {
            let reading = |minute: &i64| Reading {
                measured_at: Moment::from_millis(minute * 60_000),
                value: Value::Level(40.0),
                kind: ReadingKind::History,
            };
            Event::Readings(Batch {
                cat: CatName::new("pepper").unwrap(),
                via: Via::Folder,
                source: "scan.csv".into(),
                sensor: None,
                scanned_at: None,
                readings: minutes.iter().map(reading).collect(),
                repeated: 0,
                conflicts: Vec::new(),
                newest: None,
            })
        };
        assert_eq!(unwritten.counts(&house, batch(&[5, 20])), Some(batch(&[5, 20])));
        assert_eq!(unwritten.counts(&house, batch(&[5, 20])), None, "it would come anew at each offer");
        assert_eq!(unwritten.counts(&house, batch(&[5, 20, 35])), Some(batch(&[35])));
        unwritten.clear();
        assert!(unwritten.counts(&house, batch(&[5])).is_some());
    }
}
