//! A time as a person types it.

use chrono::{NaiveDateTime, NaiveTime};
use chrono_tz::Tz;

use crate::words::{Moment, minutes};

/// Clocks differ: a time so little ahead is now, in minutes.
pub const EARLY_MINUTES: f64 = 5.0;

/// RFC 3339, a local date and time of `zone`, or a local time of today (of yesterday, if it is yet to come). `None` for
/// anything else.
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
/// ```
#[must_use]
pub fn typed(zone: Tz, text: &str, now: Moment) -> Option<Moment> {
    let text = text.trim();
    if let Some(moment) = Moment::parse(text) {
        return Some(moment);
    }
    for format in ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S"] {
        if let Ok(civil) = NaiveDateTime::parse_from_str(text, format) {
            return Some(Moment::of_local(zone, civil));
        }
    }
    let clock = NaiveTime::parse_from_str(text, "%H:%M").ok()?;
    let today = now.at(zone).date_naive();
    let at = Moment::of_local(zone, today.and_time(clock));
    if at <= now + minutes(EARLY_MINUTES) {
        return Some(at);
    }
    Some(today.pred_opt().map_or(at, |day| Moment::of_local(zone, day.and_time(clock))))
}
