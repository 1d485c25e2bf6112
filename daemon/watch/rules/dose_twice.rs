//! `dose-twice`: a second dose was recorded too soon after the first. Critical, to everyone at once.
//!
//! Ends after one such interval: by then it is the vet's matter, not an alarm's.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::see::who;
use crate::watch::state::Memory;
use crate::words::{Arg, Audience, Severity, Telling, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, _: &mut Memory) -> Ruling {
    let apart = minutes(see.settings.doses.min_hours_between * 60.0);
    let doses = &see.state.doses;
    let pair = doses.windows(2).rev().find(|pair| pair[1].given_at - pair[0].given_at < apart);
    let Some([first, second]) = pair else {
        return Ruling::none();
    };
    let ends = second.given_at + apart;
    if see.now >= ends {
        return Ruling::none();
    }
    let by = match &second.by {
        Some(by) => Arg::Phrase(Box::new(Telling::new("recorded-by").with("by", who(by)))),
        None => Arg::Word("nothing".into()),
    };
    let telling = see
        .telling("dose-twice")
        .with("first", Arg::Time(first.given_at))
        .with("second", Arg::Time(second.given_at))
        .with("between", Arg::Minutes(second.given_at.minutes_since(first.given_at)))
        .with("apart", Arg::Minutes(see.settings.doses.min_hours_between * 60.0))
        .with("by", by)
        .with("phone", see.vet_aside());
    // A third one is news of its own.
    let was = see.state.open(Watch::DoseTwice);
    let more = was.is_some_and(|was| was.telling.args.get("second") != telling.args.get("second"));
    let holding =
        Holding::new(Severity::Critical, second.given_at, telling).to(Audience::Everyone).more(more);
    Ruling::hold(holding.basis(see.basis()).look_again(ends))
}
