//! Times as people write them, on the clock of a place: `07:00`, `22:30-06:30`, `2026-12-20T18:00`. Pure.
//! In: text and a zone. Out: times and instants. Says when a local time was skipped by a clock change.

use chrono::{LocalResult, NaiveDateTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

use crate::almanac::time_of_day;
use crate::words::{Moment, QuietHours};

/// An instant for a local time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Instant {
    pub(super) moment: Moment,
    /// The local time does not exist (the clock is put forward over it); `moment` is the first valid minute after.
    pub(super) skipped: bool,
}

/// The instant at which clocks in `zone` show `local`. A local time that comes twice (the clock is put back)
/// means the first of the two, as a person who writes it would expect of a hand-over.
pub(super) fn instant(zone: Tz, local: NaiveDateTime) -> Instant {
    match zone.from_local_datetime(&local) {
        LocalResult::Single(time) | LocalResult::Ambiguous(time, _) => {
            Instant { moment: Moment::from(time.with_timezone(&Utc)), skipped: false }
        }
        LocalResult::None => Instant { moment: after_gap(zone, local), skipped: true },
    }
}

/// The first whole minute after a gap. The longest gap of the zone table is a day (a date line crossed).
fn after_gap(zone: Tz, local: NaiveDateTime) -> Moment {
    (1..=25 * 60)
        .filter_map(|minute| zone.from_local_datetime(&(local + TimeDelta::minutes(minute))).earliest())
        .next()
        .map_or_else(|| Moment::from(local.and_utc()), |time| Moment::from(time.with_timezone(&Utc)))
}

/// `22:30-06:30`; over midnight if the end is before the beginning.
pub(super) fn quiet_hours(text: &str) -> Option<QuietHours> {
    let (from, until) = text.split_once(['-', '\u{2013}'])?;
    Some(QuietHours { from: time_of_day(from)?, until: time_of_day(until)? })
}

/// How long quiet hours last by the wall clock.
pub(super) fn quiet_length(quiet: &QuietHours) -> TimeDelta {
    let length = quiet.until - quiet.from;
    if length > TimeDelta::zero() { length } else { length + TimeDelta::days(1) }
}

/// `2026-12-20T18:00`, seconds allowed, a space for `T` too.
pub(super) fn date_and_time(text: &str) -> Option<NaiveDateTime> {
    let text = text.trim();
    ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S"]
        .iter()
        .find_map(|format| NaiveDateTime::parse_from_str(text, format).ok())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::almanac::time_of_day;
    use chrono::NaiveTime;

    fn at(zone: Tz, text: &str) -> (String, bool) {
        let instant = instant(zone, date_and_time(text).unwrap());
        (instant.moment.to_string(), instant.skipped)
    }

    /// Clock changes of 2026 in Vienna by EU directive 2000/84/EC: last Sunday of March and of October, 01:00 UTC.
    #[test]
    fn a_skipped_time_is_the_first_minute_after_and_a_doubled_one_the_first() {
        let vienna = chrono_tz::Europe::Vienna;
        assert_eq!(at(vienna, "2026-03-29T02:30"), ("2026-03-29T01:00:00Z".into(), true));
        assert_eq!(at(vienna, "2026-03-29T03:00"), ("2026-03-29T01:00:00Z".into(), false));
        assert_eq!(at(vienna, "2026-10-25T02:30"), ("2026-10-25T00:30:00Z".into(), false));
        assert_eq!(at(vienna, "2026-12-20T18:00"), ("2026-12-20T17:00:00Z".into(), false));
    }

    /// Samoa skipped 30 December 2011 altogether when it crossed the date line (IANA time zone database).
    #[test]
    fn a_day_that_never_was_ends_at_the_next_midnight() {
        let skipped = at(chrono_tz::Pacific::Apia, "2011-12-30T12:00");
        assert_eq!(skipped, ("2011-12-30T10:00:00Z".into(), true));
    }

    #[test]
    fn times_of_day_are_24_hours_with_two_digit_minutes() {
        assert_eq!(time_of_day("7:00"), NaiveTime::from_hms_opt(7, 0, 0));
        assert_eq!(time_of_day(" 19:05 "), NaiveTime::from_hms_opt(19, 5, 0));
        for bad in ["", "7", "7:0", "24:00", "07:60", "7pm", "07:00:00", "+7:00", "007:00"] {
            assert_eq!(time_of_day(bad), None, "{bad}");
        }
    }

    #[test]
    fn quiet_hours_may_run_over_midnight() {
        let night = quiet_hours("22:30-06:30").unwrap();
        assert_eq!(quiet_length(&night), TimeDelta::hours(8));
        assert_eq!(quiet_length(&quiet_hours("13:00 \u{2013} 14:30").unwrap()), TimeDelta::minutes(90));
        assert_eq!(quiet_hours("22:30"), None);
    }
}
