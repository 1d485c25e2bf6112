//! A dangerous low that is only a low any more: said once, without a sound, to those who heard of the danger, so that
//! nobody goes on treating it. Not by the first such reading: near the limit the next one may be back under it.

use super::See;
use crate::glucose::Estimate;
use crate::watch::state::Memory;
use crate::words::{Arg, Finding, Moment, Reading, Severity, Telling, minutes};

/// What to say now of a low by the sensor that has become milder.
pub(super) fn telling(
    see: &See<'_>,
    memory: &mut Memory,
    was: Option<&Finding>,
    (severity, key): (Severity, &str),
    (reading, estimate): (&Reading, &Estimate),
) -> Option<Telling> {
    let plan = &see.settings.plan;
    let low = reading.value.under(plan.low) || estimate.blood < plan.low;
    let danger =
        was.is_some_and(|was| was.severity == Severity::Critical && !was.telling.key.contains("meter"));
    // What a meter said has its own words, and so has what came back.
    if severity != Severity::Warning || key != "low-now" {
        memory.low_eased = None;
    } else if danger {
        memory.low_eased = Some(reading.measured_at);
    } else if low && memory.low_eased.is_some_and(|since| lasts(since, reading)) {
        memory.low_eased = None;
        let telling = see.glucose_telling("low-eases").with("low", Arg::Glucose(plan.low));
        return Some(telling.with("danger", Arg::Glucose(plan.danger)));
    }
    None
}

fn lasts(since: Moment, reading: &Reading) -> bool {
    reading.measured_at - since >= minutes(EASED_MINUTES)
}

/// One further reading of a sensor that reads each quarter of an hour, whose clock may be a little off.
const EASED_MINUTES: f64 = 14.0;
