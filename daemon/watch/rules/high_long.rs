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
    let (Some(high), Some(newest)) = (see.settings.plan.high, see.state.newest) else {
        return Ruling::none();
    };
    memory.high_since = stretch_start(see, high, memory.high_since);
    // Between two scans nothing is known: what the last one showed is held until the next can be expected.
    let ends = newest.measured_at + see.fresh_for() + minutes(see.settings.sensor.memory_hours * 60.0);
    let Some(since) = memory.high_since.filter(|_| see.now < ends) else {
        return Ruling::none();
    };
    let seen = newest.measured_at;
    let long = |hours: f64| seen >= since + minutes(hours * 60.0);
    let dose = see.state.doses.iter().rev().map(|dose| dose.given_at).find(|at| *at <= see.now);
    let key = if long(see.settings.watch.high_hours_dosed) {
        "high-long-dosed"
    } else if long(see.settings.watch.high_hours) && dose.is_some_and(|at| at < seen - minutes(CYCLE_MINUTES))
    {
        // Only a household that records doses can have forgotten to record one.
        "high-long"
    } else {
        return Ruling::none();
    };
    let telling = see
        .glucose_telling(key)
        .with("high", Arg::Glucose(high))
        .with("span", Arg::Minutes(seen.minutes_since(since)))
        .with("last_dose", Arg::Time(dose.unwrap_or(since)));
    let severity = if key == "high-long" { Severity::Warning } else { Severity::Notice };
    Ruling::hold(Holding::new(severity, since, telling).basis(see.basis()).look_again(ends))
}

fn stretch_start(see: &See<'_>, high: f64, before: Option<Moment>) -> Option<Moment> {
    let recent = see.state.tracker.recent();
    let apart = minutes(see.settings.sensor.memory_hours * 60.0) + see.sample();
    let mut first: Option<Moment> = None;
    for reading in recent.iter().rev() {
        let joined = first.is_none_or(|next| next - reading.measured_at <= apart);
        if reading.value.under(high) || !joined {
            return first;
        }
        first = Some(reading.measured_at);
    }
    // The kept readings may be shorter than the stretch: what was known before goes on while all of them are over.
    first.map(|first| before.map_or(first, |before| before.min(first)))
}

/// A cycle is dose to dose; twelve hours are common practice, no published source, and one more is slack.
const CYCLE_MINUTES: f64 = 13.0 * 60.0;
