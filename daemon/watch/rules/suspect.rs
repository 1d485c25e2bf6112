//! `sensor-suspect`: readings that cannot be right, by what `glucose` recognises in the series.
//!
//! A notice; a warning for a sensor that shows one value only and that within 40 mg/dL of the plan's `low`. Never hides a
//! low: `low-now` speaks all the same and says that it may be the sensor. A sensor that jumps is said to until it has not
//! for an hour: one that goes on jumping, or two on one cat whose readings mix, are told once. A hole of up to three hours
//! ends nothing of it, or a sensor with holes would be told of after each.

use super::{Ruling, See};
use crate::glucose::Artefact;
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Finding, Severity, Value, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, _: &mut Memory) -> Ruling {
    let was = see.state.open(Watch::SensorSuspect).filter(|_| !see.wear_over());
    if see.fresh().is_none() || see.wear_over() {
        return was.and_then(|was| in_a_hole(see, was)).unwrap_or_default();
    }
    let Some(artefact) = see.state.tracker.artefact() else {
        return was.and_then(|was| still_jumps(see, was)).unwrap_or_default().waking(see.stale_at());
    };
    let (how, since) = match artefact {
        Artefact::Stuck { since } => ("suspect-stuck", since),
        Artefact::Spike { at } => (JUMP, at),
        Artefact::Noisy { since } => ("suspect-noisy", since),
        Artefact::Pressure { since } => ("suspect-dip", since),
    };
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

/// What is held of a sensor that jumped not long ago, by its readings.
fn still_jumps(see: &See<'_>, was: &Finding) -> Option<Ruling> {
    let (newest, basis) = (see.state.newest?, was.basis?);
    let jumps = was.telling.args.get("how") == Some(&Arg::Word(JUMP.into()));
    let lately = newest.measured_at - basis.measured_at < minutes(JUMPS_MINUTES);
    (jumps && lately).then(|| Ruling::hold(held(was).look_again(see.stale_at().unwrap_or(see.now))))
}

/// What is held while nothing newer comes.
fn in_a_hole(see: &See<'_>, was: &Finding) -> Option<Ruling> {
    let ends = see.state.newest?.measured_at + minutes(HOLE_MINUTES);
    (see.now < ends).then(|| Ruling::hold(held(was).look_again(ends)))
}

fn held(was: &Finding) -> Holding {
    let holding = Holding::new(was.severity, was.since, was.telling.clone()).basis(was.basis);
    if was.glucose { holding.glucose() } else { holding }
}

const JUMP: &str = "suspect-jump";
/// A sensor that has not jumped for so long no longer does, minutes.
const JUMPS_MINUTES: f64 = 60.0;
/// Nobody asks any more what was wrong with the readings of so long ago, minutes; chosen by us.
const HOLE_MINUTES: f64 = 180.0;
/// mg/dL over the plan's low within which a sensor that shows nothing new hides a low; chosen by us.
const NEAR: f64 = 40.0;
