//! Who has the cat, and when people sleep. Wall-clock times live only here: everything else counts instants.

use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;

use crate::almanac::stretches;
use crate::words::{DutyRound, Household, Moment, Person, PersonName, QuietHours, Span};

/// A stretch in which a person sleeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quiet {
    /// It begins.
    pub from: Moment,
    /// It ends.
    pub until: Moment,
}

/// Who has the cat, since when and until when, as far as that is fixed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Holder<'a> {
    /// Who.
    pub person: &'a PersonName,
    /// When the present duty began; `None` for the owner, who has the cat when no duty says otherwise.
    pub since: Option<Moment>,
    /// When it ends.
    pub until: Option<Moment>,
    /// Whether both are told when it begins and ends.
    pub hand_over: bool,
}

/// The person who has the cat at `now`: whoever a span names, else whoever comes round week by week, else the owner.
/// Of two that hold, the one that began later counts.
#[must_use]
pub fn on_duty(household: &Household, now: Moment) -> &PersonName {
    holder(household, now).person
}

/// The same with the bounds of the duty.
#[must_use]
pub fn holder(household: &Household, now: Moment) -> Holder<'_> {
    let owner = Holder { person: &household.home.owner, since: None, until: None, hand_over: false };
    let spans = household.duty.iter().filter(|span| span.from <= now && now < span.until);
    let spans = spans.map(|span| Holder {
        person: &span.person,
        since: Some(span.from),
        until: Some(span.until),
        hand_over: span.hand_over,
    });
    let moment = Span::milliseconds(1);
    let rounds = || household.rounds.iter().flat_map(|round| held(household, round, now, now + moment));
    spans.max_by_key(|holder| holder.since).or_else(|| rounds().max_by_key(|h| h.since)).unwrap_or(owner)
}

/// The stretches of one round that touch the time from `from` until `until`.
fn held<'a>(
    household: &Household,
    round: &'a DutyRound,
    from: Moment,
    until: Moment,
) -> impl Iterator<Item = Holder<'a>> {
    let cut = |(begins, ends): (Moment, Moment)| {
        (
            round.from.map_or(begins, |first| first.max(begins)),
            round.until.map_or(ends, |last| last.min(ends)),
        )
    };
    stretches(&round.hours, household.home.timezone, from, until)
        .into_iter()
        .map(cut)
        .filter(move |(begins, ends)| begins < ends && *begins < until && from < *ends)
        .map(|(begins, ends)| Holder {
            person: &round.person,
            since: Some(begins),
            until: Some(ends),
            hand_over: round.hand_over,
        })
}

/// The persons in the order in which they are asked: on duty first, then as configured.
#[must_use]
pub fn order(household: &Household, now: Moment) -> Vec<&Person> {
    let first = on_duty(household, now);
    let mut persons: Vec<&Person> = household.persons.iter().collect();
    persons.sort_by_key(|person| &person.name != first);
    persons
}

/// The changes of duty after `now`, soonest first: when, and who has the cat from then on. Those that come round week
/// by week are looked for [`AHEAD_DAYS`] ahead.
#[must_use]
pub fn duty_changes(household: &Household, now: Moment) -> Vec<(Moment, &PersonName)> {
    let ahead = now + Span::days(AHEAD_DAYS);
    let rounds = household.rounds.iter().flat_map(|round| held(household, round, now, ahead));
    let rounds = rounds.flat_map(|holder| [holder.since, holder.until]).flatten().filter(|at| *at < ahead);
    let mut times: Vec<Moment> = household.duty.iter().flat_map(|span| [span.from, span.until]).collect();
    times.extend(rounds);
    times.retain(|at| *at > now);
    times.sort_unstable();
    times.dedup();
    let mut before = on_duty(household, now);
    let mut changes = Vec::new();
    for at in times {
        let after = on_duty(household, at);
        if after != before {
            changes.push((at, after));
        }
        before = after;
    }
    changes
}

/// When, after `since` and by `now`, somebody else than `who` first took the cat over.
#[must_use]
pub(super) fn left_hands(
    household: &Household,
    who: &PersonName,
    since: Moment,
    now: Moment,
) -> Option<Moment> {
    let mut changes = duty_changes(household, since).into_iter().take_while(|(at, _)| *at <= now);
    changes.find(|(_, after)| *after != who).map(|(at, _)| at)
}

/// When the roster is to be looked at again: at the next change, or before its view ahead ends.
#[must_use]
pub(super) fn next_look(household: &Household, now: Moment) -> Option<Moment> {
    let change = duty_changes(household, now).first().map(|(at, _)| *at);
    let round = (!household.rounds.is_empty()).then(|| now + Span::days(AHEAD_DAYS - 1));
    change.into_iter().chain(round).min()
}

/// The person's quiet stretch that holds at `now`, or else the next one; `None` without quiet hours.
#[must_use]
pub fn quiet(hours: Option<QuietHours>, zone: Tz, now: Moment) -> Option<Quiet> {
    let hours = hours?;
    let today = now.at(zone).date_naive();
    let yesterday = today.checked_sub_days(Days::new(1))?;
    // Three days: over a clock change a stretch can begin or end up to an hour off.
    (0..3)
        .filter_map(|ahead| stretch(hours, zone, yesterday.checked_add_days(Days::new(ahead))?))
        .find(|s| s.until > now)
}

fn stretch(hours: QuietHours, zone: Tz, day: NaiveDate) -> Option<Quiet> {
    let last = if hours.until > hours.from { day } else { day.checked_add_days(Days::new(1))? };
    let quiet = Quiet { from: local(zone, day, hours.from), until: local(zone, last, hours.until) };
    (quiet.from < quiet.until).then_some(quiet)
}

/// The instant of a local wall-clock time; see [`Moment::of_local`].
#[must_use]
pub fn local(zone: Tz, day: NaiveDate, time: NaiveTime) -> Moment {
    Moment::of_local(zone, day.and_time(time))
}

/// How far ahead weekly duties are looked at: a week and a day.
const AHEAD_DAYS: i64 = 8;

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::Europe::Vienna;

    fn at(text: &str) -> Moment {
        Moment::parse(text).unwrap()
    }

    fn hours(from: &str, until: &str) -> Option<QuietHours> {
        Some(QuietHours { from: from.parse().unwrap(), until: until.parse().unwrap() })
    }

    #[test]
    fn a_night_is_an_hour_shorter_in_spring_and_longer_in_autumn() {
        // The European Union's clocks change on the last Sundays of March and October at 01:00 UTC (directive 2000/84/EC).
        for (noon, length) in [
            ("2026-03-28T12:00:00Z", 420.0),
            ("2026-10-24T12:00:00Z", 540.0),
            ("2026-06-01T12:00:00Z", 480.0),
        ] {
            let night = quiet(hours("22:30:00", "06:30:00"), Vienna, at(noon)).unwrap();
            assert_eq!(night.until.minutes_since(night.from), length, "{noon}");
        }
    }

    #[test]
    fn a_night_that_has_begun_is_still_the_same_night() {
        let night = quiet(hours("22:30:00", "06:30:00"), Vienna, at("2026-06-02T01:00:00Z")).unwrap();
        assert_eq!(night.from, at("2026-06-01T20:30:00Z"));
        let next = quiet(hours("22:30:00", "06:30:00"), Vienna, at("2026-06-02T04:30:00Z")).unwrap();
        assert_eq!(next.from, at("2026-06-02T20:30:00Z"));
    }

    #[test]
    fn a_time_that_the_clocks_skip_is_the_moment_after_the_change() {
        let day = NaiveDate::from_ymd_opt(2026, 3, 29).unwrap();
        assert_eq!(local(Vienna, day, "02:30:00".parse().unwrap()), at("2026-03-29T01:00:00Z"));
        let day = NaiveDate::from_ymd_opt(2026, 10, 25).unwrap();
        assert_eq!(local(Vienna, day, "02:30:00".parse().unwrap()), at("2026-10-25T00:30:00Z"));
    }
}
