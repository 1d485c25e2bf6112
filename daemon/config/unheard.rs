//! Warnings that would be told to nobody. In: the sections of the persons and the household as it was understood. Out:
//! advice at the `receives` of whoever has the cat and gets only what is critical. Decides nothing: who has the cat is
//! asked of `duty`, so what is warned of is what would happen.

use std::collections::BTreeMap;

use chrono::TimeDelta;
use chrono_tz::Tz;

use super::section::Section;
use crate::almanac::stretches;
use crate::duty::{Holder, holder};
use crate::words::{Household, Moment, PersonName, Severity};

/// The key of the advice that is given here, as [`super::Problem::key`] has it.
pub const RECEIVES: &str = "[[person]] receives";

/// Says for whom, and when, a warning would be told to nobody.
pub(super) fn unheard(root: &Section<'_>, household: &Household, now: Option<Moment>) {
    let sections = root.tables("person");
    let deaf = |name: &PersonName| household.person(name).is_some_and(|p| p.receives > Severity::Warning);
    if household.persons.iter().all(|person| person.receives > Severity::Warning) {
        if let Some(section) = sections.first() {
            let want = "nobody hears of anything before it is critical; a low that is coming is a warning";
            section.advise("receives", "\"critical\" for every person", want);
        }
        return;
    }
    let mut first: BTreeMap<&PersonName, String> = BTreeMap::new();
    for at in looks(household, now) {
        let holder = holder(household, at);
        if deaf(holder.person) {
            first.entry(holder.person).or_insert_with(|| stretch(household, &holder));
        }
    }
    for section in &sections {
        let named = section.text("name").and_then(|name| PersonName::new(name.value).ok());
        let Some(person) = named.and_then(|name| household.person(&name)) else { continue };
        let owns = person.name == household.home.owner;
        let when = first.get(&person.name);
        let Some(want) = want(when.is_some(), owns && deaf(&person.name)) else { continue };
        let when = when
            .map_or_else(|| "who keeps Lowtide running".to_owned(), |when| format!("who has the cat {when}"));
        section.advise("receives", &format!("\"critical\" for {}, {when}", person.name), want);
    }
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

/// What comes round by a cron expression may come once a month.
const WEEKS: TimeDelta = TimeDelta::days(35);
/// More than these, of a cron expression that begins every minute, tell nothing new.
const STRETCHES: usize = 200;
/// A Monday; any would do.
const REFERENCE_MILLIS: i64 = 1_830_470_400_000;
