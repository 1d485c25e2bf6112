//! `dose-twice`: a second dose was recorded too soon after the first. Critical, to everyone at once.
//!
//! Where one of the two says who gave it and the other one does not, as an app's export and a button would tell the same
//! dose, at most 15 minutes lie between and their units do not differ, it may be one dose recorded twice: then everyone is
//! asked to find that out, with a warning that comes through the night.
//!
//! Ends after one such interval: by then it is the vet's matter, not an alarm's.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::see::who;
use crate::watch::state::Memory;
use crate::words::{Arg, Audience, Dose, Severity, Telling, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, _: &mut Memory) -> Ruling {
    let apart = minutes(see.settings.doses.min_hours_between * 60.0);
    let doses = &see.state.doses;
    let close =
        |pair: &&[Dose]| pair[1].given_at - pair[0].given_at < apart && see.now < pair[1].given_at + apart;
    let mut pairs = doses.windows(2).rev().filter(close);
    let Some([first, second]) = pairs.next() else {
        return Ruling::none();
    };
    let ends = second.given_at + apart;
    // Of three doses one at least is too many.
    let maybe = may_be_one(first, second) && pairs.next().is_none();
    let (key, severity) = if maybe { (MAYBE, Severity::Warning) } else { ("dose-twice", Severity::Critical) };
    let telling = see
        .telling(key)
        .with("first", Arg::Time(first.given_at))
        .with("by_first", recorded_by(first))
        .with("second", Arg::Time(second.given_at))
        .with("between", Arg::Minutes(second.given_at.minutes_since(first.given_at)))
        .with("apart", Arg::Minutes(see.settings.doses.min_hours_between * 60.0))
        .with("by", recorded_by(second))
        .with("phone", see.vet_aside());
    // A third one is news of its own.
    let was = see.state.open(Watch::DoseTwice);
    let more = was.is_some_and(|was| was.telling.args.get("second") != telling.args.get("second"));
    let holding = Holding::new(severity, second.given_at, telling).to(Audience::Everyone).more(more);
    let holding = if maybe { holding.glucose().repeating() } else { holding };
    Ruling::hold(holding.basis(see.basis()).look_again(ends))
}

/// Whether two records may be of one dose: a person's, and one without a name.
fn may_be_one(first: &Dose, second: &Dose) -> bool {
    let named = first.by.is_some() != second.by.is_some();
    let differ = first.units.zip(second.units).is_some_and(|(first, second)| first != second);
    named && !differ && second.given_at - first.given_at <= minutes(ONE_MINUTES)
}

fn recorded_by(dose: &Dose) -> Arg {
    match &dose.by {
        Some(by) => Arg::Phrase(Box::new(Telling::new("recorded-by").with("by", who(by)))),
        None => Arg::Word("nothing".into()),
    }
}

const MAYBE: &str = "dose-twice-maybe";
/// Two records of one dose lie so far apart at most: times that are typed are rounded. Chosen by us.
const ONE_MINUTES: f64 = 15.0;
