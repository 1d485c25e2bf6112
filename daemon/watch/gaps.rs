//! Readings that are missing: where a gap lies, how many samples it cost, how complete a stretch is.

use serde::{Deserialize, Serialize};

use crate::words::{Moment, Reading, ReadingKind, Span};

/// A stretch with no readings between two that are held.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Gap {
    /// The last reading before it.
    pub from: Moment,
    /// The first reading after it.
    pub until: Moment,
    /// Samples that are missing.
    pub lost: i64,
}

impl Gap {
    /// The gap between two neighbouring readings of a sensor that samples every `sample_minutes`; `None` if no
    /// whole sample is missing (half an interval of slack for clocks that wander).
    #[must_use]
    pub fn between(from: Moment, until: Moment, sample_minutes: f64) -> Option<Self> {
        let lost = (until.minutes_since(from) / sample_minutes).round() as i64 - 1;
        (lost >= 1).then_some(Self { from, until, lost })
    }
}

/// The share of due samples that are held from `from` to `until`, 0 to 1; 1 if none was due.
///
/// A sample counts for its slot of `sample_minutes`, so readings that came twice do not make up for missing ones.
#[must_use]
pub fn completeness(readings: &[Reading], from: Moment, until: Moment, sample_minutes: f64) -> f64 {
    let slot = |at: Moment| (at.minutes_since(from) / sample_minutes).floor() as i64;
    let due = (until.minutes_since(from) / sample_minutes).floor() as i64;
    if due <= 0 {
        return 1.0;
    }
    let mut held: Vec<i64> = readings
        .iter()
        .filter(|r| r.kind == ReadingKind::History && r.measured_at >= from && r.measured_at < until)
        .map(|r| slot(r.measured_at))
        .filter(|slot| *slot < due)
        .collect();
    held.sort_unstable();
    held.dedup();
    held.len() as f64 / due as f64
}

/// How many samples were lost since `closed`, one each `sample_minutes`, the one at the closing included.
#[must_use]
pub(super) fn lost_since(closed: Moment, now: Moment, sample: Span) -> i64 {
    let sample = sample.num_milliseconds().max(1);
    ((now - closed).num_milliseconds().max(0) / sample) + 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{Value, minutes};

    fn at(minute: i64) -> Moment {
        Moment::from_millis(minute * 60_000)
    }

    #[test]
    fn neighbours_a_little_off_the_beat_are_no_gap() {
        assert_eq!(Gap::between(at(0), at(15), 15.0), None);
        assert_eq!(Gap::between(at(0), at(22), 15.0), None);
        assert_eq!(Gap::between(at(0), at(30), 15.0).map(|gap| gap.lost), Some(1));
        assert_eq!(Gap::between(at(0), at(9 * 60), 15.0).map(|gap| gap.lost), Some(35));
    }

    #[test]
    fn completeness_counts_slots_not_readings() {
        // 14 days at 15-minute samples are 1344 readings (arithmetic: 14 x 96).
        let mut readings: Vec<Reading> = (0..1344)
            .map(|n| Reading {
                measured_at: at(n * 15),
                value: Value::Level(100.0),
                kind: ReadingKind::History,
            })
            .collect();
        assert_eq!(completeness(&readings, at(0), at(14 * 1440), 15.0), 1.0);
        readings.truncate(941);
        let twice = readings.clone();
        readings.extend(twice);
        assert!((completeness(&readings, at(0), at(14 * 1440), 15.0) - 941.0 / 1344.0).abs() < 1e-12);
    }

    #[test]
    fn one_reading_is_lost_at_once_and_one_more_with_each_sample() {
        assert_eq!(lost_since(at(0), at(0), minutes(15.0)), 1);
        assert_eq!(lost_since(at(0), at(14), minutes(15.0)), 1);
        assert_eq!(lost_since(at(0), at(30), minutes(15.0)), 3);
    }
}
