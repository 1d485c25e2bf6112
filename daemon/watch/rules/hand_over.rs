//! `hand-over`: the cat has changed hands. Both hear it: who has the cat until when, the last dose and the next, when the
//! window closes, where blood is, and the vet's plan for a low.
//!
//! A dose that is due and not recorded is named instead of the next one, until six hours after its time.
//!
//! Told for duties with dates; for those that come round week by week only where the settings ask for it, because
//! what happens every day at seven is no news.

use super::dose_times::{LATE_HELD_MINUTES, LATE_MINUTES, open_dose};
use super::{Ruling, See};
use crate::almanac::around;
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Audience, Severity, Telling, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let was = memory.holder.replace((see.duty.person.clone(), see.duty.tell));
    if let Some((before, told)) = was
        && before != *see.duty.person
    {
        let tell = told || see.duty.tell;
        memory.handed_over = tell.then(|| (before, see.duty.person.clone(), see.now));
    }
    let Some((before, person, at)) = &memory.handed_over else { return Ruling::none() };
    let ends = *at + minutes(HELD_MINUTES);
    if see.now >= ends {
        return Ruling::none();
    }
    let until = match see.duty.until {
        Some(until) => phrase(Telling::new("hand-over-until").with("time", Arg::Time(until))),
        None => Arg::Word("hand-over-open".into()),
    };
    let telling = see
        .telling("hand-over")
        .with("person", Arg::Person(person.clone()))
        .with("before", Arg::Person(before.clone()))
        .with("until", until)
        .with("doses", doses(see))
        .with("scan", scan(see))
        .with("state", state(see))
        .with("plan", see.plan_phrase());
    // Handed over again within hours, it is told anew.
    let holding = Holding::new(Severity::Notice, *at, telling).to(Audience::Named).more(*at == see.now);
    Ruling::hold(holding.basis(see.basis()).look_again(ends))
}

fn phrase(telling: Telling) -> Arg {
    Arg::Phrase(Box::new(telling))
}

fn doses(see: &See<'_>) -> Arg {
    let (_, next) = around(&see.settings.doses.times, see.home.timezone, see.now);
    let last = see.state.doses.last().map(|dose| dose.given_at).filter(|at| *at <= see.now);
    // In a household that records none, one that is not recorded says nothing for long.
    let open = open_dose(see, if last.is_some() { LATE_HELD_MINUTES } else { LATE_MINUTES });
    if let Some(due) = open.map(Arg::Time) {
        let telling = match last.map(Arg::Time) {
            Some(last) => Telling::new("hand-over-doses-open").with("last", last),
            None => Telling::new("hand-over-open-dose"),
        };
        return phrase(telling.with("due", due));
    }
    let (last, next) = (last.map(Arg::Time), next.map(Arg::Time));
    match (last, next) {
        (Some(last), Some(next)) => {
            phrase(Telling::new("hand-over-doses").with("last", last).with("next", next))
        }
        (Some(last), None) => phrase(Telling::new("hand-over-last").with("last", last)),
        (None, Some(next)) => phrase(Telling::new("hand-over-next").with("next", next)),
        (None, None) => Arg::Word("nothing".into()),
    }
}

fn scan(see: &See<'_>) -> Arg {
    match see.window_closes().filter(|closes| *closes > see.now) {
        Some(closes) => phrase(Telling::new("hand-over-scan").with("time", Arg::Time(closes))),
        None if see.scanned() => Arg::Word("hand-over-scan-now".into()),
        None => Arg::Word("nothing".into()),
    }
}

fn state(see: &See<'_>) -> Arg {
    match see.fresh() {
        Some(_) => phrase(see.glucose_telling("hand-over-state")),
        None => Arg::Word("nothing".into()),
    }
}

/// Long enough for a message that waits for a night to end.
const HELD_MINUTES: f64 = 12.0 * 60.0;
