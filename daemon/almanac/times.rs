//! A time of day, or a cron expression, on the clock of the house: when doses are due, when duties begin.
//! In: text as the owner wrote it. Out: instants. The cron library is asked in naive local time only, because
//! what it does around a clock change (skip, double, step back) is its own affair and may change with a release.

use std::str::FromStr;

use chrono::{DateTime, NaiveDateTime, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use cron::Schedule;

use crate::words::{Moment, Span};

/// Something that comes again and again.
#[derive(Clone, Debug)]
pub struct Recurrence(Kind);

#[derive(Clone, Debug)]
enum Kind {
    Daily(NaiveTime),
    Cron(Box<Schedule>),
}

impl Recurrence {
    /// Reads `07:00` or a cron expression of six fields (seconds, minutes, hours, day of month, month, day of
    /// week). Days of the week are names, because cron programs disagree about their numbers.
    ///
    /// # Errors
    /// In words, what would be right: if it is neither, or never comes within 400 days.
    pub fn parse(text: &str) -> Result<Self, String> {
        if let Some(time) = time_of_day(text) {
            return Ok(Self(Kind::Daily(time)));
        }
        let fields: Vec<&str> = text.split_whitespace().collect();
        let [_, _, _, _, _, weekday] = fields.as_slice() else {
            return Err(format!(
                "expected a time like \"07:00\" or the six fields of a cron expression \
                 (second minute hour day month weekday), not {}",
                fields.len()
            ));
        };
        if weekday.chars().any(|letter| letter.is_ascii_digit()) {
            return Err("expected names for the days of the week (Mon, Tue, ...), not numbers".into());
        }
        let schedule = Schedule::from_str(text)
            .map_err(|error| format!("not a cron expression: {}", one_line(&error)))?;
        let parsed = Self(Kind::Cron(Box::new(schedule)));
        match parsed.naive_after(reference()) {
            Some(first) if first - reference() <= TimeDelta::days(400) => Ok(parsed),
            _ => Err("this never comes within 400 days".into()),
        }
    }

    /// The time of day, if it is the same every day.
    #[must_use]
    pub fn daily(&self) -> Option<NaiveTime> {
        match &self.0 {
            Kind::Daily(time) => Some(*time),
            Kind::Cron(_) => None,
        }
    }

    /// The first instant strictly after `now` at which the clock of the house shows this time. A time that a
    /// clock change skips comes at the first valid minute after; one that comes twice counts once, the first.
    #[must_use]
    pub fn next_after(&self, zone: Tz, now: Moment) -> Option<Moment> {
        // Instants never fall as local times rise, and the clock shows `now` no earlier than its own first instant:
        // nothing at or before the local time of `now` can be due after it.
        let mut local = now.at(zone).naive_local();
        loop {
            local = self.naive_after(local)?;
            let due = Moment::of_local(zone, local);
            // Once through the hour that comes twice, at most.
            if due > now {
                return Some(due);
            }
        }
    }

    /// The instants from `from` (included) until `until` (not included), in order, [`OCCURRENCES_MAX`] at most.
    #[must_use]
    pub fn between(&self, zone: Tz, from: Moment, until: Moment) -> Vec<Moment> {
        let mut found = Vec::new();
        let mut last = from - Span::milliseconds(1);
        while found.len() < OCCURRENCES_MAX {
            let Some(next) = self.next_after(zone, last).filter(|next| *next < until) else { break };
            found.push(next);
            last = next;
        }
        found
    }

    fn naive_after(&self, local: NaiveDateTime) -> Option<NaiveDateTime> {
        match &self.0 {
            Kind::Daily(time) if local.time() < *time => Some(local.date().and_time(*time)),
            Kind::Daily(time) => Some(local.date().succ_opt()?.and_time(*time)),
            Kind::Cron(schedule) => {
                let pretended: DateTime<Utc> = local.and_utc();
                schedule.after(&pretended).next().map(|time| time.naive_utc())
            }
        }
    }
}

/// The last time due at or before `now`, within two days, and the next one after it. Entries that cannot be read are
/// left out: they are refused when the settings are read.
#[must_use]
pub fn around(times: &[String], zone: Tz, now: Moment) -> (Option<Moment>, Option<Moment>) {
    let times: Vec<Recurrence> = times.iter().filter_map(|text| Recurrence::parse(text).ok()).collect();
    let before = |time: &Recurrence| time.between(zone, now - Span::days(2), now + Span::milliseconds(1));
    let last = times.iter().filter_map(|time| before(time).pop()).max();
    let next = times.iter().filter_map(|time| time.next_after(zone, now)).min();
    (last, next)
}

/// The next `count` instants of several times, in order, each once.
#[must_use]
pub fn next_times(times: &[String], zone: Tz, now: Moment, count: usize) -> Vec<Moment> {
    let times: Vec<Recurrence> = times.iter().filter_map(|text| Recurrence::parse(text).ok()).collect();
    let mut due = Vec::new();
    let mut from = now;
    while due.len() < count {
        let Some(next) = times.iter().filter_map(|time| time.next_after(zone, from)).min() else { break };
        due.push(next);
        from = next;
    }
    due
}

/// `07:00`, 24 hours; a one-digit hour is fine.
#[must_use]
pub fn time_of_day(text: &str) -> Option<NaiveTime> {
    let (hour, minute) = text.trim().split_once(':')?;
    let digits = |part: &str, least: usize| {
        (part.len() >= least && part.len() <= 2 && part.bytes().all(|b| b.is_ascii_digit()))
            .then(|| part.parse::<u32>().ok())
            .flatten()
    };
    NaiveTime::from_hms_opt(digits(hour, 1)?, digits(minute, 2)?, 0)
}

/// A fixed day to count from, so that the same file is judged the same way on every day. The start of a leap
/// year, so that 29 February is within reach.
fn reference() -> NaiveDateTime {
    DateTime::from_timestamp(1_830_297_600, 0).unwrap_or_default().naive_utc()
}

/// The library shows the expression with a mark under the wrong place, and says "less than" where it means "at
/// most".
fn one_line(error: &cron::error::Error) -> String {
    let text = error.to_string();
    text.lines()
        .map(str::trim)
        .rfind(|line| !line.is_empty())
        .unwrap_or_default()
        .replace("less than", "at most")
}

/// Two days of a time each minute: more than any plan, so that an odd expression cannot hold the house up.
const OCCURRENCES_MAX: usize = 4000;

#[cfg(test)]
mod tests {
    use super::*;

    fn due(texts: &[&str], zone: Tz, now: &str, count: usize) -> Vec<String> {
        let texts: Vec<String> = texts.iter().map(|text| (*text).to_owned()).collect();
        let due = next_times(&texts, zone, Moment::parse(now).unwrap(), count);
        due.iter().map(|moment| moment.at(zone).to_rfc3339()).collect()
    }

    /// Clock changes of 2026 in Vienna by EU directive 2000/84/EC.
    #[test]
    fn doses_follow_the_wall_clock_over_both_clock_changes() {
        let vienna = chrono_tz::Europe::Vienna;
        assert_eq!(
            due(&["07:00", "19:00"], vienna, "2026-03-28T12:00:00Z", 3),
            ["2026-03-28T19:00:00+01:00", "2026-03-29T07:00:00+02:00", "2026-03-29T19:00:00+02:00"]
        );
        assert_eq!(
            due(&["02:30"], vienna, "2026-03-28T12:00:00Z", 2),
            ["2026-03-29T03:00:00+02:00", "2026-03-30T02:30:00+02:00"]
        );
        // In October 02:30 comes twice; it is due once, and asking between the two does not go back in time.
        assert_eq!(
            due(&["02:30"], vienna, "2026-10-24T12:00:00Z", 2),
            ["2026-10-25T02:30:00+02:00", "2026-10-26T02:30:00+01:00"]
        );
        assert_eq!(due(&["02:30"], vienna, "2026-10-25T01:10:00Z", 1), ["2026-10-26T02:30:00+01:00"]);
    }

    #[test]
    fn a_cron_expression_with_names_is_understood() {
        let berlin = chrono_tz::Europe::Berlin;
        // 25 November 2026 is a Wednesday.
        assert_eq!(
            due(&["0 30 7 * * Mon-Fri", "0 0 9 * * Sat,Sun"], berlin, "2026-11-27T12:00:00Z", 3),
            ["2026-11-28T09:00:00+01:00", "2026-11-29T09:00:00+01:00", "2026-11-30T07:30:00+01:00"]
        );
    }

    #[test]
    fn what_cannot_be_meant_is_refused_in_words() {
        for (text, part) in [
            ("7 o'clock", "expected a time like"),
            ("0 7 * * *", "six fields"),
            ("0 0 7 * * 1-5", "names for the days"),
            ("0 0 7 31 2 *", "never comes"),
            ("0 0 25 * * *", "not a cron expression"),
            ("0 0 7 * * Mon 2020", "six fields"),
            ("", "six fields"),
        ] {
            let error = Recurrence::parse(text).unwrap_err();
            assert!(error.contains(part) && !error.contains('\n'), "{text}: {error}");
        }
        assert!(Recurrence::parse("0 0 7 29 2 *").is_ok(), "a leap day is within reach");
    }

    fn walk(times: &[&str], from: &str, count: usize) -> Vec<String> {
        let times: Vec<String> = times.iter().map(|time| (*time).to_owned()).collect();
        let mut now = Moment::parse(from).unwrap();
        let mut found = Vec::new();
        for _ in 0..count {
            let (_, next) = around(&times, chrono_tz::Europe::Vienna, now);
            now = next.unwrap();
            assert_eq!(
                around(&times, chrono_tz::Europe::Vienna, now).0,
                Some(now),
                "what is due now is the last one due"
            );
            found.push(now.to_string());
        }
        found
    }

    #[test]
    fn daily_times_come_once_a_day_over_both_changes_of_the_clocks() {
        for times in [&["07:00", "19:00"][..], &["0 0 7,19 * * *"][..]] {
            // UTC+1 before 29 March 2026 and UTC+2 after; the other way on 25 October (directive 2000/84/EC).
            let spring = ["2026-03-28T18:00:00Z", "2026-03-29T05:00:00Z", "2026-03-29T17:00:00Z"];
            assert_eq!(walk(times, "2026-03-28T12:00:00Z", 3), spring);
            let autumn = ["2026-10-24T17:00:00Z", "2026-10-25T06:00:00Z", "2026-10-25T18:00:00Z"];
            assert_eq!(walk(times, "2026-10-24T12:00:00Z", 3), autumn);
        }
    }

    #[test]
    fn a_time_that_is_skipped_or_doubled_comes_once() {
        for times in [&["02:30"][..], &["0 30 2 * * *"][..]] {
            let spring = ["2026-03-28T01:30:00Z", "2026-03-29T01:00:00Z", "2026-03-30T00:30:00Z"];
            assert_eq!(walk(times, "2026-03-27T12:00:00Z", 3), spring);
            let autumn = ["2026-10-24T00:30:00Z", "2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"];
            assert_eq!(walk(times, "2026-10-23T12:00:00Z", 3), autumn);
        }
    }
}
