//! `sensor-suspect`: readings that cannot be right, by what `glucose` recognises in the series.
//!
//! Never hides a low: `low-now` and `low-ahead` speak all the same.

use super::{Ruling, See};
use crate::glucose::Artefact;
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Severity, Watch};

/// The rule.
pub(super) fn rule(see: &See<'_>, _: &mut Memory) -> Ruling {
    if see.fresh().is_none() || see.wear_over() {
        return Ruling::none();
    }
    let Some(artefact) = see.state.tracker.artefact() else {
        return Ruling::none().waking(see.stale_at());
    };
    let (how, since) = match artefact {
        Artefact::Stuck { since } => ("suspect-stuck", since),
        Artefact::Spike { at } => ("suspect-jump", at),
        Artefact::Noisy { since } => ("suspect-noisy", since),
        Artefact::Pressure { since } => ("suspect-dip", since),
    };
    let was = see.state.open(Watch::SensorSuspect);
    let telling = see
        .glucose_telling("sensor-suspect")
        .with("how", Arg::Word(how.into()))
        .with("since", Arg::Time(since));
    let holding =
        Holding::new(Severity::Notice, was.map_or(since, |was| was.since), telling).basis(see.basis());
    Ruling::hold(holding.look_again(see.stale_at().unwrap_or(see.now)))
}
