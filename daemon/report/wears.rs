//! The wears of a cat, out of what was recorded about its sensors.

use super::life::Lifetime;
use crate::words::{Moment, SensorEvent, SensorNote};

/// One sensor's time on the cat.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Worn {
    /// Put on.
    pub applied: Moment,
    /// Ended, and how; `None` while it is on.
    pub ended: Option<(Moment, SensorEvent)>,
}

impl Worn {
    /// Days it was on, until `now` if it still is.
    #[must_use]
    pub fn days(&self, now: Moment) -> f64 {
        self.ended.map_or(now, |(at, _)| at).minutes_since(self.applied).max(0.0) / 1440.0
    }

    /// As a lifetime: only failing and coming off count as an end of its own.
    #[must_use]
    pub fn lifetime(&self, now: Moment) -> Lifetime {
        let failed = matches!(self.ended, Some((_, SensorEvent::Failed | SensorEvent::CameOff)));
        Lifetime { days: self.days(now), failed }
    }
}

/// The wears in the order in which they began. A new sensor ends the one before, taken off at that time, if nothing
/// else was recorded.
#[must_use]
pub fn wears(notes: impl IntoIterator<Item = SensorNote>, now: Moment) -> Vec<Worn> {
    let mut sorted: Vec<SensorNote> = notes.into_iter().filter(|note| note.at <= now).collect();
    sorted.sort_by_key(|note| note.at);
    let mut worn: Vec<Worn> = Vec::new();
    for note in sorted {
        let open = worn.last_mut().filter(|wear| wear.ended.is_none());
        match note.event {
            SensorEvent::Applied => {
                if let Some(wear) = open {
                    wear.ended = Some((note.at, SensorEvent::Removed));
                }
                worn.push(Worn { applied: note.at, ended: None });
            }
            event if event.ends_wear() => {
                if let Some(wear) = open {
                    wear.ended = Some((note.at, event));
                }
            }
            _ => {}
        }
    }
    worn
}

/// What a day with a sensor has cost: the sensors that have ended, over the days they were on. `None` before one has
/// ended; the one that is on would make the days dearer than they turn out.
#[must_use]
pub fn cost_per_day(price: f64, worn: &[Worn], now: Moment) -> Option<f64> {
    let ended: Vec<&Worn> = worn.iter().filter(|wear| wear.ended.is_some()).collect();
    let days: f64 = ended.iter().map(|wear| wear.days(now)).sum();
    (days > 0.0).then(|| price * ended.len() as f64 / days)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{CatName, minutes};

    #[test]
    fn a_sensor_that_was_changed_without_a_word_counts_as_taken_off() {
        let start = Moment::from_millis(0);
        let note = |day: f64, event| SensorNote {
            cat: CatName::new("pepper").unwrap(),
            at: start + minutes(day * 1440.0),
            event,
        };
        let now = start + minutes(30.0 * 1440.0);
        let worn = wears(
            [
                note(0.0, SensorEvent::Applied),
                note(9.0, SensorEvent::Failed),
                note(10.0, SensorEvent::Applied),
                note(24.0, SensorEvent::Applied),
            ],
            now,
        );
        let lives: Vec<(f64, bool)> =
            worn.iter().map(|w| (w.lifetime(now).days, w.lifetime(now).failed)).collect();
        assert_eq!(lives, [(9.0, true), (14.0, false), (6.0, false)]);
        // Two sensors at 60 over 9 + 14 days: 120 / 23.
        assert!((cost_per_day(60.0, &worn, now).unwrap() - 120.0 / 23.0).abs() < 1e-12);
        assert_eq!(cost_per_day(60.0, &worn[2..], now), None);
    }
}
