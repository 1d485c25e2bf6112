//! `[[duty]]`: who has the cat when. In: the sections. Out: spans by their beginning, and what comes round week by
//! week. Where no span holds, the weekly one counts; where none does, the owner has the cat.

mod rounds;

use chrono::TimeDelta;
use chrono_tz::Tz;
use toml::de::DeValue;

use super::local::{date_and_time, instant};
use super::people::unknown_person;
use super::problem::ProblemSeverity;
use super::section::{Section, quoted};
use crate::words::{DutyRound, DutySpan, Moment, Person, PersonName};

/// A span and the section it comes from.
struct Written<'s, 'a> {
    span: DutySpan,
    section: &'s Section<'a>,
}

/// All spans and rounds; overlaps and short holes are said, as far as they are not over.
pub(super) fn duty(
    root: &Section<'_>,
    zone: Tz,
    persons: &[Person],
    now: Option<Moment>,
) -> (Vec<DutySpan>, Vec<DutyRound>) {
    let sections = root.tables("duty");
    let (round, once): (Vec<_>, Vec<_>) =
        sections.iter().partition(|section| section.has("weekly") || section.has("cron"));
    let mut written: Vec<Written<'_, '_>> = once
        .into_iter()
        .filter_map(|section| span(section, (zone, now), persons).map(|span| Written { span, section }))
        .collect();
    written.sort_by_key(|written| written.span.from);
    for (index, later) in written.iter().enumerate() {
        // The earlier span that reaches furthest is the one to compare with: it may contain others.
        if let Some(earlier) = written[..index].iter().max_by_key(|earlier| earlier.span.until) {
            compare(earlier, later, zone, now);
        }
    }
    let spans = written.into_iter().map(|written| written.span).collect();
    (spans, rounds::rounds(&round, zone, persons, now))
}

/// Whether what ends at a moment is over.
fn over(until: Moment, now: Option<Moment>) -> bool {
    now.is_some_and(|now| until <= now)
}

fn compare(earlier: &Written<'_, '_>, later: &Written<'_, '_>, zone: Tz, now: Option<Moment>) {
    let (first, second) = (&earlier.span, &later.span);
    let same = first.from == second.from && first.person != second.person;
    // What matters of two ends with the one that ends first, or where the hole between them does.
    if !same && over(first.until.min(second.until).max(second.from), now) {
        return;
    }
    let line = earlier.section.line().map(|line| format!(" (line {line})")).unwrap_or_default();
    if second.from < first.until {
        let found = format!("{} from {}", second.person, local(second.from, zone));
        let meanwhile = format!("{} has the cat until {}{line}", first.person, local(first.until, zone));
        if first.person == second.person {
            later.section.advise("from", &found, &format!("{meanwhile} anyway"));
        } else if same {
            later.section.wrong("from", &found, &format!("{meanwhile} too: expected one person at a time"));
        } else {
            let counts = format!("the one that begins later counts, {}", second.person);
            later.section.advise("from", &found, &format!("{meanwhile}; while both hold, {counts}"));
        }
    } else if second.from > first.until && second.from - first.until <= HOLE {
        let found = format!("a hole from {} to {}", local(first.until, zone), local(second.from, zone));
        later.section.advise(
            "from",
            &found,
            &format!("after {}{line}, the owner has the cat in between", first.person),
        );
    }
}

fn span(section: &Section<'_>, (zone, now): (Tz, Option<Moment>), persons: &[Person]) -> Option<DutySpan> {
    if section.has("hours") {
        section.wrong("hours", "hours", "expected only beside cron: a span ends at its until");
    }
    let person = person(section, persons);
    let from = time(section, "from", zone, now);
    let until = time(section, "until", zone, now);
    let hand_over = section.flag("hand_over").unwrap_or(true);
    let (person, from, until) = (person?, from?, until?);
    in_order(section, from, until, zone).then_some(DutySpan { person, from, until, hand_over })
}

fn in_order(section: &Section<'_>, from: Moment, until: Moment, zone: Tz) -> bool {
    if from >= until {
        let want = format!("expected a time after from, {}", local(from, zone));
        section.wrong("until", &local(until, zone), &want);
    }
    from < until
}

fn person(section: &Section<'_>, persons: &[Person]) -> Option<PersonName> {
    if !section.has("person") {
        section.missing("person", "expected the name of the person who has the cat");
    }
    let text = section.text("person")?.value;
    let found = persons.iter().find(|person| person.name.as_str() == text);
    if found.is_none() {
        let names: Vec<_> = persons.iter().map(|person| Some(person.name.clone())).collect();
        section.wrong("person", &quoted(text), &unknown_person(text, &names));
    }
    found.map(|person| person.name.clone())
}

/// A time in the zone of the house, quoted or bare; an offset is allowed and then decides.
fn time(section: &Section<'_>, key: &str, zone: Tz, now: Option<Moment>) -> Option<Moment> {
    let want = "expected a date and a time like \"2026-12-20T18:00\", on the clock of the house";
    let text = match section.raw(key).map(|raw| raw.get_ref()) {
        None => {
            section.missing(key, want);
            return None;
        }
        Some(DeValue::Datetime(bare)) => bare.to_string(),
        Some(_) => section.text(key)?.value.to_owned(),
    };
    if let Some(moment) = Moment::parse(&text) {
        return Some(moment);
    }
    let Some(naive) = date_and_time(&text) else {
        section.wrong(key, &quoted(&text), want);
        return None;
    };
    let instant = instant(zone, naive);
    if instant.skipped && !over(instant.moment, now) {
        let want = format!(
            "the clock is put forward over this time; {} is taken",
            instant.moment.at(zone).format("%H:%M")
        );
        section.note_at(section.line_of(key), key, &quoted(&text), &want, ProblemSeverity::Advice);
    }
    Some(instant.moment)
}

fn local(moment: Moment, zone: Tz) -> String {
    moment.at(zone).format("%Y-%m-%d %H:%M").to_string()
}

/// A hole longer than this is a time at home, not a slip of the pen.
const HOLE: TimeDelta = TimeDelta::hours(48);
