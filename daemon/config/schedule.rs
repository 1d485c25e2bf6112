//! When doses are due: a time of day, or a cron expression, on the clock of the house. Pure.
//! In: text as the owner wrote it. Out: instants. The cron library is asked in naive local time only, because
//! what it does around a clock change is its own affair and may change with a release.

use std::str::FromStr;

use chrono::{DateTime, NaiveDateTime, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use cron::Schedule;

use super::local::{instant, time_of_day};
use crate::words::Moment;

/// One entry of a cat's dose times.
#[derive(Clone, Debug)]
pub struct DoseTime {
    schedule: Schedule,
    daily: Option<NaiveTime>,
}

impl DoseTime {
    /// Reads `07:00` or a cron expression of six fields (seconds, minutes, hours, day of month, month, day of
    /// week). Days of the week are names, because cron programs disagree about their numbers.
    ///
    /// # Errors
    /// In words, what would be right: if it is neither, or never comes within 400 days.
    pub fn parse(text: &str) -> Result<Self, String> {
        if let Some(time) = time_of_day(text) {
            let every_day = time.format("0 %-M %-H * * *").to_string();
            let schedule = Schedule::from_str(&every_day).map_err(|error| error.to_string())?;
            return Ok(Self { schedule, daily: Some(time) });
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
        let parsed = Self { schedule, daily: None };
        match parsed.naive_after(reference()) {
            Some(first) if first - reference() <= TimeDelta::days(400) => Ok(parsed),
            _ => Err("this never comes within 400 days".into()),
        }
    }

    /// The time of day, if it is the same every day.
    #[must_use]
    pub fn daily(&self) -> Option<NaiveTime> {
        self.daily
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
            let due = instant(zone, local).moment;
            // Once through the hour that comes twice, at most.
            if due > now {
                return Some(due);
            }
        }
    }

    fn naive_after(&self, local: NaiveDateTime) -> Option<NaiveDateTime> {
        let pretended: DateTime<Utc> = local.and_utc();
        self.schedule.after(&pretended).next().map(|time| time.naive_utc())
    }
}

/// The next `count` instants of several dose times, in order, each once.
#[must_use]
pub fn next_doses(times: &[String], zone: Tz, now: Moment, count: usize) -> Vec<Moment> {
    let times: Vec<DoseTime> = times.iter().filter_map(|text| DoseTime::parse(text).ok()).collect();
    let mut due = Vec::new();
    let mut from = now;
    while due.len() < count {
        let Some(next) = times.iter().filter_map(|time| time.next_after(zone, from)).min() else { break };
        due.push(next);
        from = next;
    }
    due
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

#[cfg(test)]
mod tests {
    use super::*;

    fn due(texts: &[&str], zone: Tz, now: &str, count: usize) -> Vec<String> {
        let texts: Vec<String> = texts.iter().map(|text| (*text).to_owned()).collect();
        let due = next_doses(&texts, zone, Moment::parse(now).unwrap(), count);
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
            let error = DoseTime::parse(text).unwrap_err();
            assert!(error.contains(part) && !error.contains('\n'), "{text}: {error}");
        }
        assert!(DoseTime::parse("0 0 7 29 2 *").is_ok(), "a leap day is within reach");
    }
}
