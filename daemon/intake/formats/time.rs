//! Texts become instants. A time with an offset is one instant; a local time is one, two (the hour that comes
//! twice when clocks go back) or none (the hour that is left out when they go forward).

use chrono::format::{Item, Parsed, StrftimeItems};
use chrono::{Datelike, LocalResult, NaiveDate, NaiveDateTime, TimeZone, Utc};
use chrono_tz::Tz;

use crate::words::Moment;

/// An instant, or the two that a local time may mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct When {
    /// The instant; the earlier of two.
    pub(super) first: Moment,
    /// The later of two.
    pub(super) second: Option<Moment>,
}

/// How times are written.
#[derive(Clone, Debug)]
pub(super) struct TimeFormat {
    shown: String,
    how: How,
}

#[derive(Clone, Debug)]
enum How {
    /// strftime; `offset` says whether the text holds one (then the zone does not matter).
    Items {
        items: Vec<Item<'static>>,
        offset: bool,
    },
    UnixSeconds,
    UnixMillis,
}

impl TimeFormat {
    /// Takes a strftime format, or `unix-seconds`, or `unix-milliseconds`.
    pub(super) fn new(format: &str) -> Result<Self, String> {
        let how = match format {
            "unix-seconds" => How::UnixSeconds,
            "unix-milliseconds" => How::UnixMillis,
            _ => {
                let items = StrftimeItems::new(format)
                    .parse_to_owned()
                    .map_err(|_| "a strftime format like %d.%m.%Y %H:%M, or unix-seconds".to_owned())?;
                let offset = ["%z", "%:z", "%::z", "%:::z", "%#z", "%+", "%s"]
                    .iter()
                    .any(|part| format.contains(part));
                How::Items { items, offset }
            }
        };
        Ok(Self { shown: format.to_owned(), how })
    }

    fn read(&self, text: &str, zone: Tz) -> Option<Result<When, String>> {
        let utc = match &self.how {
            How::UnixSeconds => {
                let seconds: f64 = text.parse().ok().filter(|number: &f64| number.is_finite())?;
                Utc.timestamp_millis_opt((seconds * 1000.0).round() as i64).single()?
            }
            How::UnixMillis => Utc.timestamp_millis_opt(text.parse().ok()?).single()?,
            How::Items { items, offset } => {
                let mut parsed = Parsed::new();
                chrono::format::parse(&mut parsed, text, items.iter()).ok()?;
                if !offset {
                    return Some(local(parsed.to_naive_datetime_with_offset(0).ok()?, zone));
                }
                // Seconds since 1970 come without an offset: they are UTC.
                match parsed.to_datetime() {
                    Ok(with_offset) => with_offset.with_timezone(&Utc),
                    Err(_) => parsed.to_naive_datetime_with_offset(0).ok()?.and_utc(),
                }
            }
        };
        Some(sane(When { first: utc.into(), second: None }, utc.year(), text))
    }
}

/// Reads a time in one of `formats`; without any, RFC 3339 or a local time in the same order.
pub(super) fn when(text: &str, formats: &[TimeFormat], zone: Tz) -> Result<When, String> {
    let text = text.trim();
    if formats.is_empty() {
        return usual(text, zone);
    }
    let mut tried = formats.iter().filter_map(|format| format.read(text, zone));
    tried.next().unwrap_or_else(|| {
        let shown: Vec<_> = formats.iter().map(|format| format.shown.as_str()).collect();
        Err(format!("'{}' is not a time written as {}", cut(text), shown.join(" or ")))
    })
}

fn usual(text: &str, zone: Tz) -> Result<When, String> {
    if let Some(first) = Moment::parse(text) {
        return sane(When { first, second: None }, first.utc().year(), text);
    }
    match local_iso(text) {
        Some(naive) => local(naive, zone),
        None => Err(format!(
            "'{}' is not a time: expected 2026-03-01T06:15:00+01:00 or, in {zone}, 2026-03-01 06:15",
            cut(text)
        )),
    }
}

/// `2026-03-01 06:15`, with `T` for the blank, with seconds and a fraction of them. By hand, because most files
/// of a household are full of these: with chrono's formats a table of them took 3.2 times as long as one with
/// offsets, this way 2.0 times (dev profile, `tests/doors/speed.rs`, 2026-11); the rest is the zone.
fn local_iso(text: &str) -> Option<NaiveDateTime> {
    let bytes = text.as_bytes();
    let number = |from: usize, to: usize| {
        let digits = bytes.get(from..to)?;
        digits
            .iter()
            .try_fold(0_u32, |sum, digit| digit.is_ascii_digit().then(|| sum * 10 + u32::from(digit - b'0')))
    };
    let is = |at: usize, allowed: &[u8]| bytes.get(at).is_some_and(|byte| allowed.contains(byte));
    if !(is(4, b"-") && is(7, b"-") && is(10, b"Tt ") && is(13, b":")) {
        return None;
    }
    let date = NaiveDate::from_ymd_opt(i32::try_from(number(0, 4)?).ok()?, number(5, 7)?, number(8, 10)?)?;
    let (hour, minute) = (number(11, 13)?, number(14, 16)?);
    let (second, millis) = match bytes.len() {
        16 => (0, 0),
        19 if is(16, b":") => (number(17, 19)?, 0),
        length @ 21..=29 if is(16, b":") && is(19, b".,") => {
            let millis = number(20, length.min(23))? * [100, 10, 1][length.min(23) - 21];
            number(23.min(length), length)?;
            (number(17, 19)?, millis)
        }
        _ => return None,
    };
    date.and_hms_milli_opt(hour, minute, second, millis)
}

/// A local time in `zone`.
fn local(naive: NaiveDateTime, zone: Tz) -> Result<When, String> {
    let when = match zone.from_local_datetime(&naive) {
        LocalResult::Single(one) => When { first: one.to_utc().into(), second: None },
        LocalResult::Ambiguous(first, second) => {
            When { first: first.to_utc().into(), second: Some(second.to_utc().into()) }
        }
        LocalResult::None => {
            return Err(format!(
                "{} does not exist in {zone}: the clocks went forward over it",
                naive.format("%Y-%m-%d %H:%M")
            ));
        }
    };
    sane(when, naive.year(), &naive.to_string())
}

/// A two-digit year read as year 24 is a wrong format, not a reading from the time of Tiberius.
fn sane(when: When, year: i32, text: &str) -> Result<When, String> {
    if YEARS.contains(&year) {
        return Ok(when);
    }
    Err(format!("'{}' lies in the year {year}: is the date format right?", cut(text)))
}

fn cut(text: &str) -> String {
    text.chars().take(60).collect()
}

/// Chosen by us: no reading is older than any sensor, none is for our grandchildren.
const YEARS: std::ops::RangeInclusive<i32> = 1900..=2200;

#[cfg(test)]
mod tests {
    use super::*;

    const VIENNA: Tz = chrono_tz::Europe::Vienna;

    fn first(text: &str, formats: &[&str]) -> String {
        let formats: Vec<_> = formats.iter().map(|format| TimeFormat::new(format).unwrap()).collect();
        when(text, &formats, VIENNA).unwrap().first.to_string()
    }

    /// RFC 3339 section 5.8, all four examples.
    #[test]
    fn the_examples_of_rfc_3339_are_read() {
        for (text, utc) in [
            ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520Z"),
            ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
            ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z"),
            ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870Z"),
        ] {
            assert_eq!(first(text, &[]), utc);
        }
    }

    #[test]
    fn a_local_time_is_read_in_its_zone() {
        for text in ["2026-03-01T06:15:00", "2026-03-01 06:15", "2026-03-01t06:15", " 2026-03-01 06:15:00.0 "]
        {
            assert_eq!(first(text, &[]), "2026-03-01T05:15:00Z", "{text}");
        }
        assert_eq!(first("2026-07-01 06:15", &[]), "2026-07-01T04:15:00Z");
        for (fraction, shown) in [(".5", ".500Z"), (".05", ".050Z"), (",125", ".125Z"), (".1239999", ".123Z")]
        {
            assert_eq!(
                first(&format!("2026-03-01 06:15:30{fraction}"), &[]),
                format!("2026-03-01T05:15:30{shown}")
            );
        }
    }

    #[test]
    fn layouts_bring_formats_of_their_own() {
        assert_eq!(first("01.03.2026 06:15", &["%d.%m.%Y %H:%M"]), "2026-03-01T05:15:00Z");
        assert_eq!(first("3/1/26 6:15 PM", &["%Y-%m-%d", "%m/%d/%y %I:%M %p"]), "2026-03-01T17:15:00Z");
        assert_eq!(first("01.03.2026 06:15 +0500", &["%d.%m.%Y %H:%M %z"]), "2026-03-01T01:15:00Z");
        // 1 234 567 890 s is 2009-02-13 23:31:30 UTC (POSIX.1-2017, definition 4.16, worked out by date(1)).
        assert_eq!(first("1234567890", &["unix-seconds"]), "2009-02-13T23:31:30Z");
        assert_eq!(first("1234567890", &["%s"]), "2009-02-13T23:31:30Z");
        assert_eq!(first("1234567890123", &["unix-milliseconds"]), "2009-02-13T23:31:30.123Z");
    }

    /// Directive 2000/84/EC: summer time begins and ends at 01:00 UTC on the last Sundays of March and October.
    #[test]
    fn the_hour_that_is_left_out_is_refused_and_the_one_that_comes_twice_is_two() {
        let gap = when("2026-03-29 02:30", &[], VIENNA).unwrap_err();
        assert!(gap.contains("2026-03-29 02:30 does not exist in Europe/Vienna"), "{gap}");
        let fold = when("2026-10-25 02:30", &[], VIENNA).unwrap();
        assert_eq!(fold.first.to_string(), "2026-10-25T00:30:00Z");
        assert_eq!(fold.second.unwrap().to_string(), "2026-10-25T01:30:00Z");
    }

    #[test]
    fn nonsense_is_refused_with_an_example_of_sense() {
        for text in [
            "",
            "yesterday",
            "2026-02-30 06:15",
            "06:15",
            "2026-03-01",
            "2026-03-01 6:15",
            "2026-03-01 24:00",
            "2026-03-01 06:15:61",
            "2026-03-01 06:15:30.",
            "2026-03-01 06:15:30.x",
            "2026-03-01 06-15",
            "\u{1F408}\u{1F408}\u{1F408}",
        ] {
            let error = when(text, &[], VIENNA).unwrap_err();
            assert!(error.contains("expected 2026-03-01T06:15"), "{error}");
        }
        let formats = [TimeFormat::new("%d.%m.%Y %H:%M").unwrap()];
        assert!(when("01.03.26 06:15", &formats, VIENNA).unwrap_err().contains("year 26"));
        assert!(when("x", &formats, VIENNA).unwrap_err().contains("%d.%m.%Y"));
    }
}
