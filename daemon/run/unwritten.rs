//! What counts although the record cannot be written: on a full or worn card lows are still watched, in memory, and told.
//!
//! Nothing of it is acknowledged, so its source brings it again and again until it is kept. Counted in memory it is once.

use crate::turn::House;
use crate::words::{Answer, Batch, Event, Verdict};

/// What has been counted in memory and is not kept yet.
#[derive(Debug, Default)]
pub(super) struct Unwritten {
    counted: Vec<Event>,
}

impl Unwritten {
    /// What of an event that could not be written counts all the same: what lows are judged by, and what was answered. A
    /// dose or a note does not: whoever typed it is told that it is not kept, and a dose that is typed again would be a second.
    pub(super) fn counts(&mut self, house: &House, event: Event) -> Option<Event> {
        match event {
            Event::Outcome { .. } | Event::Tick | Event::Health(_) | Event::Bridge { .. } => Some(event),
            Event::Readings(batch) => news(house, batch),
            Event::Answer(Answer { verdict, .. }) if is_of_a_dose(verdict) => None,
            Event::Household { .. } | Event::Meter(_) | Event::Unread(_) | Event::Answer(_) => {
                self.once(event)
            }
            _ => None,
        }
    }

    fn once(&mut self, event: Event) -> Option<Event> {
        if self.counted.contains(&event) {
            return None;
        }
        if self.counted.len() >= COUNTED_MAX {
            self.counted.remove(0);
        }
        self.counted.push(event.clone());
        Some(event)
    }

    /// The settings that are in force and not kept: nobody brings them again.
    pub(super) fn settings(&self) -> Option<&Event> {
        self.counted.iter().rfind(|event| matches!(event, Event::Household { .. }))
    }

    /// It can be written again: what is brought again is kept from now on.
    pub(super) fn clear(&mut self) {
        self.counted.clear();
    }
}

/// The readings of a batch that the house does not hold yet.
fn news(house: &House, mut batch: Batch) -> Option<Event> {
    if let Some(cat) = house.cats.get(&batch.cat) {
        let held = cat.tracker.recent();
        batch.readings.retain(|reading| {
            let key = (reading.measured_at, reading.kind);
            !held.iter().any(|held| (held.measured_at, held.kind) == key)
        });
    }
    (!batch.readings.is_empty()).then_some(Event::Readings(batch))
}

const fn is_of_a_dose(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::Given | Verdict::GivenToo | Verdict::NotGiven)
}

/// More than a household says in a day.
const COUNTED_MAX: usize = 200;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{CatName, Moment, Note, PersonName, Via};

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
}
