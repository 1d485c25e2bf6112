//! What would be told to nobody, or in the times of another place. In: the sections of the persons and the household as
//! it was understood. Out: advice at the `receives` of whoever has the cat and does not get its warnings or the reminders
//! of its doses, and at the `timezone` of whoever has it and reads another clock. Decides nothing: who has the cat is asked
//! of `duty`, so what is warned of is what would happen.

use std::collections::BTreeMap;

use chrono::TimeDelta;
use chrono_tz::Tz;

use super::section::Section;
use crate::almanac::{next_times, stretches};
use crate::duty::{Holder, holder};
use crate::words::{CatSettings, Household, Moment, Person, PersonName, Severity};

/// The key of the advice that is given here, as [`super::Problem::key`] has it.
pub const RECEIVES: &str = "[[person]] receives";

/// Says for whom, and when, a warning or a reminder of a dose would be told to nobody, or times would be another place's.
pub(super) fn unheard(root: &Section<'_>, household: &Household, now: Option<Moment>) {
    let sections = root.tables("person");
    if household.persons.iter().all(|person| person.receives > Severity::Warning) {
        if let Some(section) = sections.first() {
            let want = "nobody hears of anything before it is critical; a low that is coming is a warning";
            section.advise("receives", "\"critical\" for every person", want);
        }
        return;
    }
    let looks = looks(household, now);
    let holders = first_of_each(looks.iter().map(|at| holder(household, *at)));
    let dosing = first_of_each(looks.iter().flat_map(|at| next_doses(household, *at)));
    for section in &sections {
        let named = section.text("name").and_then(|name| PersonName::new(name.value).ok());
        let Some(person) = named.and_then(|name| household.person(&name)) else { continue };
        let owns = person.name == household.home.owner;
        let holder = holders.get(&person.name);
        if let Some(holder) = holder {
            elsewhere(section, household, person, holder);
        }
        let (found, holder, want) = match person.receives {
            Severity::Critical => ("critical", holder, want(holder.is_some(), owns)),
            Severity::Warning => {
                let holder = dosing.get(&person.name);
                ("warning", holder, holder.map(|_| NO_REMINDERS))
            }
            Severity::Notice => continue,
        };
        let Some(want) = want else { continue };
        let who =
            holder.map_or_else(|| "who keeps Lowtide running".to_owned(), |h| has_the_cat(household, h));
        section.advise("receives", &format!("\"{found}\" for {}, {who}", person.name), want);
    }
}

/// The first time that each person has the cat.
fn first_of_each<'h>(holders: impl Iterator<Item = Holder<'h>>) -> BTreeMap<&'h PersonName, Holder<'h>> {
    let mut first = BTreeMap::new();
    for holder in holders {
        first.entry(holder.person).or_insert(holder);
    }
    first
}

/// Who has each cat when its next dose is due, from a moment on.
fn next_doses(household: &Household, from: Moment) -> impl Iterator<Item = Holder<'_>> {
    let before = from - TimeDelta::seconds(1);
    let due = move |cat: &CatSettings| next_times(&cat.doses.times, household.home.timezone, before, 1);
    household.cats.iter().flat_map(due).map(|at| holder(household, at))
}

/// Says that somebody who has the cat by a duty reads another clock than the one that doses follow.
fn elsewhere(section: &Section<'_>, household: &Household, person: &Person, holder: &Holder<'_>) {
    let Some(since) = holder.since else { return };
    let [home, theirs] = [household.home.timezone, person.timezone].map(|zone| shown(since, zone, "%H:%M"));
    if home == theirs {
        return;
    }
    let has = has_the_cat(household, holder);
    let found = format!("{} for {}, {has}", section.written("timezone"), person.name);
    let want = format!(
        "messages and sheet would say {theirs} for what is {home} at the house, doses included. What now: take it out, \
         unless the cat is there with them"
    );
    section.advise("timezone", &found, &want);
}

/// What it means and what would be right; the owner alone hears of the daemon's own troubles.
fn want(on_duty: bool, owner: bool) -> Option<&'static str> {
    match (on_duty, owner) {
        (true, true) => Some(
            "warnings go only to whoever has the cat, and those of Lowtide's own troubles only to the owner, so nobody \
             would hear of a silent sensor, a low that is coming or a full disk. What now: receives = \"warning\"",
        ),
        (true, false) => Some(
            "warnings go only to whoever has the cat, so nobody would hear of a silent sensor or a low that is coming. \
             What now: receives = \"warning\", or let somebody else have the cat then",
        ),
        (false, true) => Some(
            "warnings of Lowtide's own troubles go only to the owner, so nobody would hear of a full disk or of \
             messages that do not get through. What now: receives = \"warning\"",
        ),
        (false, false) => None,
    }
}

/// Every moment of a few weeks at which somebody else may have the cat. It does not matter which weeks for what comes
/// round, and of what has dates every beginning and end is among them, as far as it is not over.
fn looks(household: &Household, now: Option<Moment>) -> Vec<Moment> {
    let usual = Moment::from_millis(REFERENCE_MILLIS);
    let mut looks: Vec<Moment> = household.duty.iter().flat_map(|span| [span.from, span.until]).collect();
    for round in &household.rounds {
        let last = round.until.map(|until| until - WEEKS);
        let from = round.from.or(last).unwrap_or(usual).max(now.unwrap_or(Moment::from_millis(i64::MIN)));
        let zone = household.home.timezone;
        let all = stretches(&round.hours, zone, from, from + WEEKS);
        looks.extend(all.into_iter().take(STRETCHES).flat_map(|(begins, ends)| [begins.max(from), ends]));
        looks.extend(round.until);
    }
    if let Some(now) = now {
        looks.retain(|at| *at > now);
        looks.push(now);
    } else if looks.is_empty() {
        looks.push(usual);
    }
    looks.sort_unstable();
    looks.dedup();
    looks
}

fn has_the_cat(household: &Household, holder: &Holder<'_>) -> String {
    format!("who has the cat {}", stretch(household, holder))
}

/// The hours of a duty, in words; the first of those that come round.
fn stretch(household: &Household, holder: &Holder<'_>) -> String {
    let zone = household.home.timezone;
    let (Some(from), Some(until)) = (holder.since, holder.until) else {
        return "when no [[duty]] says otherwise".to_owned();
    };
    if household.duty.iter().any(|span| span.from == from && span.person == *holder.person) {
        return format!(
            "from {} until {}",
            shown(from, zone, "%Y-%m-%d %H:%M"),
            shown(until, zone, "%Y-%m-%d %H:%M")
        );
    }
    format!("for instance from {} until {}", shown(from, zone, "%a %H:%M"), shown(until, zone, "%a %H:%M"))
}

fn shown(at: Moment, zone: Tz, format: &str) -> String {
    at.at(zone).format(format).to_string()
}

/// What it means where only warnings are received and doses have times.
const NO_REMINDERS: &str = "that a dose is due is a notice, and goes only to whoever has the cat, so nobody would be \
    reminded of it. What now: receives = \"notice\"";
/// What comes round by a cron expression may come once a month.
const WEEKS: TimeDelta = TimeDelta::days(35);
/// More than these, of a cron expression that begins every minute, tell nothing new.
const STRETCHES: usize = 200;
/// A Monday; any would do.
const REFERENCE_MILLIS: i64 = 1_830_470_400_000;
