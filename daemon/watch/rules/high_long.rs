//! `high-long`: over the plan's high limit for hours with no dose recorded in the cycle, or for a day in any case.
//!
//! Silent without a high limit in the plan. A single reading under the limit ends the stretch; so does a gap of
//! more than a sensor's memory, because what lies in it is not known.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Moment, Severity, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let (Some(high), Some(reading)) = (see.settings.plan.high, see.fresh()) else {
        return Ruling::none();
    };
    memory.high_since = stretch_start(see, high, memory.high_since);
    let Some(since) = memory.high_since else {
        return Ruling::none();
    };
    let settings = &see.settings.watch;
    let dose = see.state.doses.iter().rev().map(|dose| dose.given_at).find(|at| *at <= see.now);
    let cycle = see.now - minutes(CYCLE_MINUTES);
    let undosed = since + minutes(settings.high_hours * 60.0);
    let dosed = since + minutes(settings.high_hours_dosed * 60.0);
    let key = if see.now >= dosed {
        "high-long-dosed"
    } else if see.now >= undosed && dose.is_some_and(|at| at < cycle) {
        // Only a household that records doses can have forgotten to record one.
        "high-long"
    } else {
        return Ruling::none().waking([undosed, dosed].into_iter().filter(|at| *at > see.now).min());
    };
    let telling = see
        .glucose_telling(key)
        .with("high", Arg::Glucose(high))
        .with("span", Arg::Minutes(see.now.minutes_since(since)))
        .with("last_dose", Arg::Time(dose.unwrap_or(since)));
    let severity = if key == "high-long" { Severity::Warning } else { Severity::Notice };
    let again = reading.measured_at + see.fresh_for();
    Ruling::hold(Holding::new(severity, since, telling).basis(see.basis()).look_again(again))
}

fn stretch_start(see: &See<'_>, high: f64, before: Option<Moment>) -> Option<Moment> {
    let recent = see.state.tracker.recent();
    let over = |value: crate::words::Value| !value.under(high);
    let run: Vec<_> = recent.iter().rev().take_while(|reading| over(reading.value)).collect();
    let first = run.last()?.measured_at;
    // The kept readings may be shorter than the stretch: what was known before goes on while all of them are over.
    let whole = run.len() == recent.len();
    Some(if whole { before.map_or(first, |before| before.min(first)) } else { first })
}

/// A cycle is dose to dose; twelve hours are common practice, no published source, and one more is slack.
const CYCLE_MINUTES: f64 = 13.0 * 60.0;
