//! One instant, in UTC milliseconds. Wall-clock thinking (night, Sunday, 07:00) happens only where a zone is
//! passed in; everything else counts in these.

use std::fmt;
use std::ops::{Add, Sub};

use chrono::{DateTime, NaiveDateTime, SecondsFormat, TimeZone, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A length of time, negative when it points back.
pub type Span = chrono::TimeDelta;

/// An instant: milliseconds since 1970-01-01T00:00:00Z, without leap seconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(i64);

impl Moment {
    /// From milliseconds since the epoch; clamped to the years chrono can show.
    #[must_use]
    pub fn from_millis(millis: i64) -> Self {
        Self(millis.clamp(MIN_MILLIS, MAX_MILLIS))
    }

    /// Milliseconds since the epoch.
    #[must_use]
    pub const fn millis(self) -> i64 {
        self.0
    }

    /// Minutes from `earlier` to this instant, negative if this one comes first.
    ///
    /// ```
    /// use lowtide::words::{Moment, minutes};
    /// let noon = Moment::parse("2026-03-29T12:00:00Z").unwrap();
    /// assert_eq!((noon + minutes(15.0)).minutes_since(noon), 15.0);
    /// ```
    #[must_use]
    pub fn minutes_since(self, earlier: Self) -> f64 {
        (self.0 - earlier.0) as f64 / 60_000.0
    }

    /// The instant as chrono knows it.
    #[must_use]
    pub fn utc(self) -> DateTime<Utc> {
        DateTime::from_timestamp_millis(self.0).unwrap_or_default()
    }

    /// The instant seen in a place.
    #[must_use]
    pub fn at(self, zone: Tz) -> DateTime<Tz> {
        zone.from_utc_datetime(&self.utc().naive_utc())
    }

    /// The instant at which the clocks of a place show `local`: in the spring gap the first instant after it, in the
    /// autumn fold the first of the two.
    ///
    /// ```
    /// use lowtide::words::Moment;
    /// let shown = |text: &str| text.parse::<chrono::NaiveDateTime>().unwrap();
    /// let vienna = chrono_tz::Europe::Vienna;
    /// // Clocks go from 02:00 to 03:00 at 01:00 UTC on 29 March 2026 and back on 25 October (directive 2000/84/EC).
    /// let gap = Moment::of_local(vienna, shown("2026-03-29T02:30:00"));
    /// assert_eq!(gap, Moment::parse("2026-03-29T01:00:00Z").unwrap());
    /// let fold = Moment::of_local(vienna, shown("2026-10-25T02:30:00"));
    /// assert_eq!(fold, Moment::parse("2026-10-25T00:30:00Z").unwrap());
    /// ```
    #[must_use]
    pub fn of_local(zone: Tz, local: NaiveDateTime) -> Self {
        if let Some(found) = zone.from_local_datetime(&local).earliest() {
            return Self::from(found.to_utc());
        }
        // A gap: from an instant surely before it, go on by minutes until the clocks have jumped over `local`. No
        // change of clocks was ever longer than a day.
        let before = zone.from_local_datetime(&(local - Span::hours(3))).earliest();
        let Some(before) = before.map(|found| Self::from(found.to_utc())) else {
            return Self::from(local.and_utc());
        };
        let mut steps = (1..=24 * 60).map(|step| before + minutes(f64::from(step)));
        let after = steps.find(|at| at.at(zone).naive_local() >= local);
        after.unwrap_or(before)
    }

    /// Reads RFC 3339 (with an offset; lower-case `t` and `z` allowed, a space for `T` too).
    ///
    /// A leap second (`:60`) becomes the first instant of the next minute. Gives `None` for anything else.
    ///
    /// ```
    /// use lowtide::words::Moment;
    /// // RFC 3339 section 5.8: these two are the same instant.
    /// let a = Moment::parse("1996-12-19T16:39:57-08:00").unwrap();
    /// assert_eq!(a, Moment::parse("1996-12-20T00:39:57Z").unwrap());
    /// let leap = Moment::parse("1990-12-31T23:59:60Z").unwrap();
    /// assert_eq!(leap.to_string(), "1991-01-01T00:00:00Z");
    /// assert_eq!(Moment::parse("yesterday"), None);
    /// ```
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let parsed = DateTime::parse_from_rfc3339(text.trim()).ok()?;
        Some(Self::from(parsed.with_timezone(&Utc)))
    }
}

/// The machine's clock ran ahead and was set back: the house goes back with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClockStep {
    /// What the house took for the present.
    pub from: Moment,
    /// What the present is.
    pub to: Moment,
}

impl ClockStep {
    /// Where a moment lies now that the clock is right. What lies ahead of the new present was stamped, or worked out,
    /// by the clock that ran ahead, so it goes back by the same step; what lies before stays.
    ///
    /// ```
    /// use lowtide::words::{ClockStep, Moment};
    /// let at = |text: &str| Moment::parse(text).unwrap();
    /// let step = ClockStep { from: at("2026-03-01T12:00:00Z"), to: at("2026-03-01T09:00:00Z") };
    /// assert_eq!(step.moved(at("2026-03-01T11:50:00Z")), at("2026-03-01T08:50:00Z"));
    /// assert_eq!(step.moved(at("2026-03-01T08:30:00Z")), at("2026-03-01T08:30:00Z"));
    /// ```
    #[must_use]
    pub fn moved(self, at: Moment) -> Moment {
        if at > self.to { at - (self.from - self.to) } else { at }
    }

    /// Moves each of these.
    pub fn move_all<'a>(self, moments: impl IntoIterator<Item = &'a mut Moment>) {
        for at in moments {
            *at = self.moved(*at);
        }
    }
}

impl From<DateTime<Utc>> for Moment {
    fn from(value: DateTime<Utc>) -> Self {
        Self::from_millis(value.timestamp_millis())
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.utc().to_rfc3339_opts(SecondsFormat::AutoSi, true))
    }
}

impl Add<Span> for Moment {
    type Output = Self;
    fn add(self, span: Span) -> Self {
        Self::from_millis(self.0.saturating_add(span.num_milliseconds()))
    }
}

impl Sub<Span> for Moment {
    type Output = Self;
    fn sub(self, span: Span) -> Self {
        Self::from_millis(self.0.saturating_sub(span.num_milliseconds()))
    }
}

impl Sub for Moment {
    type Output = Span;
    fn sub(self, earlier: Self) -> Span {
        Span::milliseconds(self.0 - earlier.0)
    }
}

impl Serialize for Moment {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Moment {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        Self::parse(&text).ok_or_else(|| {
            serde::de::Error::custom(format!("'{text}' is not a time like 2026-03-01T06:15:00+01:00"))
        })
    }
}

/// A span of so many minutes, to the millisecond.
#[must_use]
pub fn minutes(count: f64) -> Span {
    Span::milliseconds((count * 60_000.0).round() as i64)
}

/// Year 0001 and year 9999: outside of these no reading, schedule or message makes sense.
const MIN_MILLIS: i64 = -62_135_596_800_000;
const MAX_MILLIS: i64 = 253_402_300_799_999;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_instant_are_the_same_thing() {
        for text in ["2026-03-29T01:59:59.123Z", "1985-04-12T23:20:50.520Z", "2026-10-25T00:30:00Z"] {
            let moment = Moment::parse(text).unwrap();
            let back: Moment = serde_json::from_str(&serde_json::to_string(&moment).unwrap()).unwrap();
            assert_eq!(back, moment, "{text}");
        }
    }

    #[test]
    fn an_odd_offset_is_understood() {
        // RFC 3339 section 5.8, the Amsterdam example of 1937.
        let moment = Moment::parse("1937-01-01T12:00:27.87+00:20").unwrap();
        assert_eq!(moment.to_string(), "1937-01-01T11:40:27.870Z");
    }

    #[test]
    fn far_away_instants_stay_inside_the_calendar() {
        assert_eq!(Moment::from_millis(i64::MAX) + minutes(5.0), Moment::from_millis(i64::MAX));
    }
}
