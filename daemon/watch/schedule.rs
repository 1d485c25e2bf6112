//! When doses are due: times of day, or cron expressions, on the wall clock of the house.
//!
//! A daily time happens once each day whatever the clocks do: one that they skip happens at the change, one that they
//! repeat happens the first time. Cron expressions are asked in local wall-clock time and brought to instants in the
//! same way, because asked across a change of clocks the crate skips, doubles or steps back.

use std::str::FromStr;

use chrono::{DateTime, Days, NaiveDateTime, NaiveTime, Utc};
use chrono_tz::Tz;

use crate::words::{Moment, Span};

enum Rule {
    Daily(NaiveTime),
    Cron(Box<cron::Schedule>),
}

fn parse(text: &str) -> Result<Rule, String> {
    let text = text.trim();
    if let Ok(time) = NaiveTime::parse_from_str(text, "%H:%M") {
        return Ok(Rule::Daily(time));
    }
    match cron::Schedule::from_str(text) {
        Ok(schedule) => Ok(Rule::Cron(Box::new(schedule))),
        Err(_) => Err(format!(
            "'{text}' is neither a time like 07:00 nor a cron expression with seconds first, like 0 0 7,19 * * *"
        )),
    }
}

/// What is wrong with one entry of `[cat.doses] times`; `None` if it is sound.
#[must_use]
pub fn problem(text: &str) -> Option<String> {
    let rule = match parse(text) {
        Ok(rule) => rule,
        Err(why) => return Some(why),
    };
    let never = match rule {
        Rule::Daily(_) => false,
        // An impossible date parses well and then never comes.
        Rule::Cron(schedule) => schedule.after(&DateTime::<Utc>::UNIX_EPOCH).next().is_none(),
    };
    never.then(|| format!("'{text}' names a date that never comes"))
}

/// The last time due at or before `now`, and the next one after it. Entries that cannot be read are left out: they are
/// refused when the settings are read.
#[must_use]
pub fn around(times: &[String], zone: Tz, now: Moment) -> (Option<Moment>, Option<Moment>) {
    let shown = now.at(zone).naive_local();
    let due: Vec<Moment> = times
        .iter()
        .filter_map(|text| parse(text).ok())
        .flat_map(|rule| occurrences(&rule, shown))
        .map(|local| Moment::of_local(zone, local))
        .collect();
    let last = due.iter().copied().filter(|at| *at <= now).max();
    let next = due.iter().copied().filter(|at| *at > now).min();
    (last, next)
}

/// Local times due around `shown`: from two days before, to well past the next one.
fn occurrences(rule: &Rule, shown: NaiveDateTime) -> Vec<NaiveDateTime> {
    match rule {
        Rule::Daily(time) => {
            let first = shown.date().checked_sub_days(Days::new(2));
            let days = first.into_iter().flat_map(|first| first.iter_days().take(5));
            days.map(|day| day.and_time(*time)).collect()
        }
        Rule::Cron(schedule) => {
            // The crate only thinks in instants: the wall clock is handed to it as if it were UTC.
            let from = (shown - Span::days(2)).and_utc();
            let ahead = (shown + Span::hours(3)).and_utc();
            let mut found = Vec::new();
            for at in schedule.after(&from).take(OCCURRENCES_MAX) {
                found.push(at.naive_utc());
                if at > ahead {
                    break;
                }
            }
            found
        }
    }
}

/// Two days of a dose each minute: more than any plan, so that an odd expression cannot hold the house up.
const OCCURRENCES_MAX: usize = 4000;

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::Europe::Vienna;

    fn at(text: &str) -> Moment {
        Moment::parse(text).unwrap()
    }

    fn walk(times: &[&str], from: &str, count: usize) -> Vec<String> {
        let times: Vec<String> = times.iter().map(|time| (*time).to_owned()).collect();
        let mut now = at(from);
        let mut found = Vec::new();
        for _ in 0..count {
            let (_, next) = around(&times, Vienna, now);
            now = next.unwrap();
            assert_eq!(around(&times, Vienna, now).0, Some(now), "what is due now is the last one due");
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

    #[test]
    fn what_cannot_be_read_or_never_comes_is_a_problem() {
        for bad in ["", "25:00", "7 o'clock", "0 7 * * *", "0 0 0 31 2 *"] {
            assert!(problem(bad).is_some(), "{bad}");
        }
        for good in ["07:00", "0 0 7,19 * * *", "0 30 6 * * Mon-Fri"] {
            assert_eq!(problem(good), None);
        }
    }
}
