//! `sensor-suspect`: readings that cannot be right, by what `glucose` recognises in the series.
//!
//! A notice; a warning for a sensor that shows one value only and that within 40 mg/dL of the plan's `low`. Never hides a
//! low: `low-now` speaks all the same and says that it may be the sensor.

use super::{Ruling, See};
use crate::glucose::Artefact;
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Severity, Value, Watch};

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
    let near = |value: Value| value.under(see.settings.plan.low + NEAR);
    let blind =
        matches!(artefact, Artefact::Stuck { .. }) && see.fresh().is_some_and(|newest| near(newest.value));
    let severity = if blind { Severity::Warning } else { Severity::Notice };
    let holding = Holding::new(severity, was.map_or(since, |was| was.since), telling).basis(see.basis());
    let holding = if blind { holding.glucose() } else { holding };
    Ruling::hold(holding.look_again(see.stale_at().unwrap_or(see.now)))
}

/// mg/dL over the plan's low within which a sensor that shows nothing new hides a low; chosen by us.
const NEAR: f64 = 40.0;
