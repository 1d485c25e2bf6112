//! Duties that come round week by week. In: the sections with `weekly` or `cron`. Out: rounds in the order of the
//! file; overlaps of two persons and short holes between two duties are said, of those that are not over.

use std::collections::BTreeSet;

use chrono::TimeDelta;
use chrono_tz::Tz;

use super::{in_order, over, person, time};
use crate::almanac::{Recurrence, hours_text, read_hours, stretches};
use crate::config::section::{Section, quoted};
use crate::words::{DutyRound, Moment, Person, RoundHours};

struct Written<'s, 'a> {
    round: DutyRound,
    section: &'s Section<'a>,
}

pub(super) fn rounds(
    sections: &[&Section<'_>],
    zone: Tz,
    persons: &[Person],
    now: Option<Moment>,
) -> Vec<DutyRound> {
    let written: Vec<Written<'_, '_>> = sections
        .iter()
        .filter_map(|section| round(section, (zone, now), persons).map(|round| Written { round, section }))
        .collect();
    let lasts = |written: &&Written<'_, '_>| !written.round.until.is_some_and(|until| over(until, now));
    let lasting: Vec<&Written<'_, '_>> = written.iter().filter(lasts).collect();
    overlaps(&lasting, zone);
    holes(&lasting, zone);
    written.into_iter().map(|written| written.round).collect()
}

fn round(section: &Section<'_>, (zone, now): (Tz, Option<Moment>), persons: &[Person]) -> Option<DutyRound> {
    let person = person(section, persons);
    let hours = hours(section);
    let bound = |key| section.has(key).then(|| time(section, key, zone, now)).flatten();
    let (from, until) = (bound("from"), bound("until"));
    let hand_over = section.flag("hand_over").unwrap_or(false);
    if let (Some(from), Some(until)) = (from, until)
        && !in_order(section, from, until, zone)
    {
        return None;
    }
    Some(DutyRound { person: person?, hours: hours?, from, until, hand_over })
}

fn hours(section: &Section<'_>) -> Option<RoundHours> {
    if section.has("weekly") && section.has("cron") {
        section.wrong("cron", "weekly and cron", "expected one of the two");
    }
    if section.has("weekly") {
        if section.has("hours") {
            section.wrong("hours", "hours", "expected only beside cron: weekly says its own end");
        }
        let text = section.text("weekly")?.value;
        return read_hours(text)
            .map_err(|error| section.wrong("weekly", &quoted(text), &error.to_string()))
            .ok();
    }
    let starts = section.text("cron")?.value;
    let sound = Recurrence::parse(starts).map_err(|why| section.wrong("cron", &quoted(starts), &why)).is_ok();
    if !section.has("hours") {
        section.missing("hours", "expected how long each of these duties lasts, in hours");
    }
    let length = section.number("hours", 0.25..=LONGEST_HOURS, "hours")?;
    sound.then(|| RoundHours::Cron { starts: starts.to_owned(), hours: length })
}

/// The stretches of the coming five weeks; the day from which they are counted does not matter for what comes round.
fn coming(round: &DutyRound, zone: Tz) -> Vec<(Moment, Moment)> {
    let from = round.from.unwrap_or_else(|| Moment::from_millis(REFERENCE_MILLIS));
    stretches(&round.hours, zone, from, from + TimeDelta::days(35))
}

fn overlaps(written: &[&Written<'_, '_>], zone: Tz) {
    for (index, later) in written.iter().enumerate() {
        for earlier in &written[..index] {
            let apart = later.round.until.zip(earlier.round.from).is_some_and(|(until, from)| until <= from)
                || earlier.round.until.zip(later.round.from).is_some_and(|(until, from)| until <= from);
            if apart || earlier.round.person == later.round.person {
                continue;
            }
            let mine = coming(&later.round, zone);
            let clash = coming(&earlier.round, zone).into_iter().find_map(|(from, until)| {
                mine.iter().find(|(begins, ends)| *begins < until && from < *ends).map(|m| m.0.max(from))
            });
            let Some(at) = clash else { continue };
            let line = earlier.section.line().map(|line| format!(" (line {line})")).unwrap_or_default();
            let found = format!("{} {}", later.round.person, hours_text(&later.round.hours));
            let want = format!(
                "{} {}{line} overlaps, for instance on {}: while both hold, the one that begins later counts",
                earlier.round.person,
                hours_text(&earlier.round.hours),
                at.at(zone).format("%a %H:%M")
            );
            later.section.advise("person", &found, &want);
        }
    }
}

/// Short stretches between two duties in which the owner would have the cat, each said once.
fn holes(written: &[&Written<'_, '_>], zone: Tz) {
    let mut all: Vec<(Moment, Moment, &Written<'_, '_>)> = written
        .iter()
        .flat_map(|written| coming(&written.round, zone).into_iter().map(move |(a, b)| (a, b, *written)))
        .collect();
    all.sort_by_key(|(begins, ..)| *begins);
    let mut said = BTreeSet::new();
    let mut covered: Option<Moment> = None;
    for (begins, ends, written) in all {
        if let Some(until) = covered.filter(|until| begins > *until && begins - *until <= HOLE) {
            let shown = |at: Moment| at.at(zone).format("%a %H:%M").to_string();
            let found = format!("a hole from {} to {}", shown(until), shown(begins));
            if said.insert(found.clone()) && said.len() <= HOLES_SAID {
                written.section.advise("person", &found, "the owner has the cat in between");
            }
        }
        covered = covered.max(Some(ends));
    }
}

/// A week: longer duties would overlap themselves.
const LONGEST_HOURS: f64 = 168.0;
/// A Monday; any would do.
const REFERENCE_MILLIS: i64 = 1_830_470_400_000;
/// A longer hole is a time at home, not a slip of the pen.
const HOLE: TimeDelta = TimeDelta::hours(3);
const HOLES_SAID: usize = 3;
