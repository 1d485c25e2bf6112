//! A time as a person types it.

use chrono::{NaiveDateTime, NaiveTime, TimeZone};
use chrono_tz::Tz;

use crate::words::{Moment, minutes};

/// Clocks differ: a time so little ahead is now, in minutes.
pub const EARLY_MINUTES: f64 = 5.0;

/// RFC 3339, a local date and time of `zone`, or a local time of today (of yesterday, if it is yet to come). `None` for
/// anything else. Of an hour that the clock shows twice the later one counts once it has come.
///
/// ```
/// use lowtide::almanac::typed;
/// use lowtide::words::Moment;
/// let now = Moment::parse("2026-03-01T06:00:00Z").unwrap();
/// let vienna = chrono_tz::Europe::Vienna;
/// assert_eq!(typed(vienna, "06:45", now), Moment::parse("2026-03-01T05:45:00Z"));
/// assert_eq!(typed(vienna, "22:00", now), Moment::parse("2026-02-28T21:00:00Z"));
/// assert_eq!(typed(vienna, "2026-02-27 22:00", now), Moment::parse("2026-02-27T21:00:00Z"));
/// assert_eq!(typed(vienna, "soon", now), None);
/// // The clock went from 03:00 back to 02:00 at 01:00 UTC.
/// let again = Moment::parse("2026-10-25T01:10:00Z").unwrap();
/// assert_eq!(typed(vienna, "02:05", again), Moment::parse("2026-10-25T01:05:00Z"));
/// assert_eq!(typed(vienna, "02:30", again), Moment::parse("2026-10-25T00:30:00Z"));
/// ```
#[must_use]
pub fn typed(zone: Tz, text: &str, now: Moment) -> Option<Moment> {
    let text = text.trim();
    if let Some(moment) = Moment::parse(text) {
        return Some(moment);
    }
    for format in ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S"] {
        if let Ok(civil) = NaiveDateTime::parse_from_str(text, format) {
            return Some(shown(zone, civil, now));
        }
    }
    let clock = NaiveTime::parse_from_str(text, "%H:%M").ok()?;
    let today = now.at(zone).date_naive();
    let at = shown(zone, today.and_time(clock), now);
    if at <= now + minutes(EARLY_MINUTES) {
        return Some(at);
    }
    Some(today.pred_opt().map_or(at, |day| shown(zone, day.and_time(clock), now)))
}

/// When a clock of `zone` showed this last.
fn shown(zone: Tz, civil: NaiveDateTime, now: Moment) -> Moment {
    let again = zone.from_local_datetime(&civil).latest().map(|later| Moment::from(later.to_utc()));
    let again = again.filter(|at| *at <= now + minutes(EARLY_MINUTES));
    again.unwrap_or_else(|| Moment::of_local(zone, civil))
}
