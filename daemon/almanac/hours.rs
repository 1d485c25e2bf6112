//! Stretches that come round each week or by a cron expression: `Mon-Fri 07:00-19:00`, `Fri 18:00 - Sun 20:00`.
//! Comes in: the text, or the hours and a range of time. Goes out: hours, or the stretches that touch the range.

use chrono::{Datelike, Days, NaiveDate, NaiveTime, Weekday};
use chrono_tz::Tz;

use super::times::{Recurrence, time_of_day};
use crate::words::{Moment, RoundHours, Span, minutes};

/// Why a text is no weekly hours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "expected days and hours like \"Mon-Fri 07:00-19:00\", \"Sat,Sun 08:00-20:00\" or \"Fri 18:00 - Sun 20:00\""
)]
pub struct HoursError;

/// Reads weekly hours: days with the same hours each (`Mon-Fri 07:00-19:00`, over midnight if the end is not after the
/// beginning), or one stretch over several days (`Fri 18:00 - Sun 20:00`). Days are English names of three letters or
/// whole, or `daily`.
///
/// # Errors
/// [`HoursError`] if it is neither.
pub fn read_hours(text: &str) -> Result<RoundHours, HoursError> {
    let text = text.trim().replace('\u{2013}', "-");
    one_stretch(&text).or_else(|| same_hours(&text)).ok_or(HoursError)
}

/// `Fri 18:00 - Sun 20:00`.
fn one_stretch(text: &str) -> Option<RoundHours> {
    let (first, last) = text.split_once('-')?;
    let ((from_day, from), (until_day, until)) = (day_and_time(first)?, day_and_time(last)?);
    let nights = until_day.days_since(from_day);
    let nights = if nights == 0 && until <= from { 7 } else { nights };
    let nights = u8::try_from(nights).ok()?;
    Some(RoundHours::Weekly { days: vec![from_day], from, until, nights })
}

fn day_and_time(text: &str) -> Option<(Weekday, NaiveTime)> {
    let (day, time) = text.trim().split_once(char::is_whitespace)?;
    Some((day.parse().ok()?, time_of_day(time)?))
}

/// `Mon-Fri 07:00-19:00`.
fn same_hours(text: &str) -> Option<RoundHours> {
    let (days, hours) = text.split_once(char::is_whitespace)?;
    let (from, until) = hours.split_once('-')?;
    let (from, until) = (time_of_day(from)?, time_of_day(until)?);
    if from == until {
        return None;
    }
    Some(RoundHours::Weekly { days: weekdays(days)?, from, until, nights: u8::from(until <= from) })
}

fn weekdays(text: &str) -> Option<Vec<Weekday>> {
    let all = |from: Weekday, until: Weekday| {
        let count = until.days_since(from) as usize + 1;
        std::iter::successors(Some(from), |day| Some(day.succ())).take(count)
    };
    if text.eq_ignore_ascii_case("daily") {
        return Some(all(Weekday::Mon, Weekday::Sun).collect());
    }
    let mut days = Vec::new();
    for part in text.split(',') {
        match part.split_once('-') {
            Some((from, until)) => days.extend(all(from.parse().ok()?, until.parse().ok()?)),
            None => days.push(part.parse().ok()?),
        }
    }
    days.sort_by_key(|day| day.num_days_from_monday());
    days.dedup();
    Some(days)
}

/// The hours as they would be written.
#[must_use]
pub fn hours_text(hours: &RoundHours) -> String {
    match hours {
        RoundHours::Weekly { days, from, until, nights } => {
            let (from, until) = (from.format("%H:%M"), until.format("%H:%M"));
            match days.as_slice() {
                [day] if *nights > 1 || *nights == 1 && from.to_string() < until.to_string() => {
                    let last = (0..*nights).fold(*day, |day, _| day.succ());
                    format!("{day} {from} - {last} {until}")
                }
                days => format!("{} {from}-{until}", days_text(days)),
            }
        }
        RoundHours::Cron { starts, hours } => format!("{starts}, for {hours} h"),
    }
}

/// `Mon-Fri`, `Sat,Sun`.
fn days_text(days: &[Weekday]) -> String {
    let runs = days.chunk_by(|day, next| day.succ() == *next);
    let text = |run: &[Weekday]| match run {
        [first, .., last] if run.len() > 2 => format!("{first}-{last}"),
        run => run.iter().map(ToString::to_string).collect::<Vec<_>>().join(","),
    };
    runs.map(text).collect::<Vec<_>>().join(",")
}

/// The stretches that touch the time from `from` until `until`, in order of their beginning.
#[must_use]
pub fn stretches(hours: &RoundHours, zone: Tz, from: Moment, until: Moment) -> Vec<(Moment, Moment)> {
    let touches = |(begins, ends): &(Moment, Moment)| begins < ends && *begins < until && from < *ends;
    match hours {
        RoundHours::Weekly { days, from: opens, until: closes, nights } => {
            let lead = Days::new(u64::from(*nights) + 1);
            let first = from.at(zone).date_naive().checked_sub_days(lead).unwrap_or(NaiveDate::MIN);
            let last = until.at(zone).date_naive();
            let stretch = |day: NaiveDate| {
                let end = day.checked_add_days(Days::new(u64::from(*nights)))?;
                let at = |day: NaiveDate, time| Moment::of_local(zone, day.and_time(time));
                Some((at(day, *opens), at(end, *closes)))
            };
            let all = first.iter_days().take_while(|day| *day <= last);
            all.filter(|day| days.contains(&day.weekday())).filter_map(stretch).filter(touches).collect()
        }
        RoundHours::Cron { starts, hours } => {
            let Ok(starts) = Recurrence::parse(starts) else { return Vec::new() };
            let length = minutes(hours * 60.0);
            let begins = starts.between(zone, from - length - Span::hours(1), until);
            begins.into_iter().map(|at| (at, at + length)).filter(touches).collect()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str, from: &str, days: i64) -> Vec<String> {
        let vienna = chrono_tz::Europe::Vienna;
        let from = Moment::parse(from).unwrap();
        let show = |at: Moment| at.at(vienna).format("%a %d %H:%M").to_string();
        stretches(&read_hours(text).unwrap(), vienna, from, from + Span::days(days))
            .into_iter()
            .map(|(begins, ends)| format!("{} to {}", show(begins), show(ends)))
            .collect()
    }

    #[test]
    fn weekly_hours_come_round() {
        // 25 November 2026 is a Wednesday (ISO 8601 week 48, day 3).
        assert_eq!(
            shown("Mon-Fri 07:00-19:00", "2026-11-27T00:00:00Z", 4),
            ["Fri 27 07:00 to Fri 27 19:00", "Mon 30 07:00 to Mon 30 19:00"]
        );
        assert_eq!(
            shown("Sat,Sun 20:00-08:00", "2026-11-29T00:00:00Z", 2),
            ["Sat 28 20:00 to Sun 29 08:00", "Sun 29 20:00 to Mon 30 08:00"]
        );
        assert_eq!(
            shown("Fri 18:00 - Sun 20:00", "2026-11-29T12:00:00Z", 1),
            ["Fri 27 18:00 to Sun 29 20:00"]
        );
        assert_eq!(shown("Wed 18:00 - Wed 08:00", "2026-11-25T06:00:00Z", 2).len(), 2, "all but ten hours");
        assert_eq!(shown("daily 06:00-07:00", "2026-11-25T12:00:00Z", 7).len(), 7);
    }

    /// Clock changes of 2026 in Vienna by EU directive 2000/84/EC.
    #[test]
    fn a_night_shift_follows_the_wall_clock_over_both_changes() {
        let length = |from: &str| {
            let from = Moment::parse(from).unwrap();
            let hours = read_hours("Sat 20:00-08:00").unwrap();
            let all = stretches(&hours, chrono_tz::Europe::Vienna, from, from + Span::days(2));
            all.iter().map(|(begins, ends)| (*ends - *begins).num_hours()).collect::<Vec<_>>()
        };
        assert_eq!(length("2026-03-28T12:00:00Z"), [11]);
        assert_eq!(length("2026-10-24T12:00:00Z"), [13]);
        assert_eq!(length("2026-11-28T12:00:00Z"), [12]);
    }

    #[test]
    fn a_cron_expression_opens_stretches_of_a_length() {
        let hours = RoundHours::Cron { starts: "0 0 7 * * Mon-Fri".into(), hours: 12.0 };
        let from = Moment::parse("2026-11-25T12:00:00Z").unwrap();
        let found = stretches(&hours, chrono_tz::UTC, from, from + Span::days(1));
        let text: Vec<String> = found.iter().map(|(a, b)| format!("{a} {b}")).collect();
        assert_eq!(
            text,
            ["2026-11-25T07:00:00Z 2026-11-25T19:00:00Z", "2026-11-26T07:00:00Z 2026-11-26T19:00:00Z"]
        );
    }

    #[test]
    fn what_is_written_can_be_shown_and_read_again() {
        for text in [
            "Mon,Tue 07:00-19:00",
            "Mon-Fri 07:00-19:00",
            "Mon,Wed-Fri,Sun 07:00-19:00",
            "Fri 18:00 - Sun 20:00",
            "Sun 20:00-08:00",
            "Mon 08:00 - Tue 20:00",
        ] {
            let hours = read_hours(text).unwrap();
            assert_eq!(hours_text(&hours), text);
        }
        assert_eq!(read_hours("mon\u{2013}wed 7:00\u{2013}19:00"), read_hours("Mon,Tue,Wed 07:00-19:00"));
        for bad in [
            "",
            "Mon",
            "07:00-19:00",
            "Mon 07:00",
            "Mon-Fri 07:00-07:00",
            "Mo 07:00-08:00",
            "Mon 25:00-26:00",
        ] {
            assert_eq!(read_hours(bad), Err(HoursError), "{bad}");
        }
    }
}
