//! `clock-wrong`, for one cat: its readings, a meter check or a note about its sensor are dated in the future, so either
//! their source's clock is wrong or this computer's, or somebody mistyped the date. They are kept in the record, and
//! judged once their time has come or the clock has been put right.
//!
//! Until then nobody knows from when they are. If the newest reading or meter check of them is low it may well be from
//! now, so whoever has the cat is told of it as of a low, for three hours after it came, and again when it is 10 mg/dL
//! deeper or comes after one that lies 10 mg/dL over the limit; of a low with newer ones after it they are told, too.
//! Readings of the present that are measured after those came show that their dates are wrong: then nobody judges them
//! by those any more. A check or a note that is recorded again with the right date no longer waits.

use super::low_now::FALL_SAID_AGAIN;
use super::{Ruling, See, misdated};
use crate::watch::holding::Holding;
use crate::watch::misdated::{LATELY_MINUTES, depth};
use crate::watch::state::{FUTURE_MINUTES, Memory};
use crate::words::{Arg, Audience, Moment, Reading, Severity, Watch, minutes};

/// The rule: of two things to tell, the worse one, or else the newer.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let (readings, others) = (readings(see, memory), misdated::ruling(see, memory));
    let wakes = [&others.wakes[..], &readings.wakes[..]].concat();
    let newer = memory.misdated.iter().any(|held| held.came == see.now);
    let severity = |ruling: &Ruling| ruling.held.as_ref().map(|held| held.severity);
    let (read, other) = (severity(&readings), severity(&others));
    let told = if other > read || (other == read && newer) { others } else { readings };
    told.waking(wakes)
}

fn readings(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let Some(future) = memory.future.filter(|at| *at > see.now + minutes(FUTURE_MINUTES)) else {
        memory.future = None;
        // A present reading has shown that its clock is right by now; what was set aside still waits for its time.
        let first = memory.ahead.first().map(|reading| reading.measured_at - minutes(FUTURE_MINUTES));
        return Ruling::none().waking(first);
    };
    // The first of them is judged as soon as its time has come.
    let first = memory.ahead.first().map_or(future, |reading| reading.measured_at);
    let next = first.min(future) - minutes(FUTURE_MINUTES);
    let low_ends = memory.future_came.map(|came| came + minutes(LOW_MINUTES)).filter(|at| *at > see.now);
    let newest = memory.ahead.iter().rfind(|reading| reading.measured_at == future).copied();
    if let (Some(ends), Some((newest, severity))) = (low_ends, newest.and_then(|newest| low(see, newest))) {
        return low_one(see, memory, newest, severity, next.min(ends));
    }
    let lately = memory.future_low.map(|(lowest, came)| (lowest, came + minutes(LATELY_MINUTES)));
    if let Some((lowest, ends)) = lately.filter(|(_, ends)| see.now < *ends) {
        let telling = see
            .telling("clock-future-was-low")
            .with("value", Arg::Value(lowest.value))
            .with("reading", Arg::Time(lowest.measured_at))
            .with("time", Arg::Time(see.now));
        let was = see.state.open(Watch::ClockWrong);
        let more = was.is_some_and(|was| !was.telling.key.ends_with("low"));
        let holding = Holding::new(Severity::Warning, see.now, telling).glucose().more(more);
        return Ruling::hold(holding.look_again(next.min(ends))).waking(low_ends);
    }
    let telling =
        see.telling("clock-future").with("reading", Arg::Time(future)).with("time", Arg::Time(see.now));
    let holding = Holding::new(Severity::Warning, see.now, telling).to(Audience::Owner);
    Ruling::hold(holding.look_again(next)).waking(low_ends)
}

fn low(see: &See<'_>, reading: Reading) -> Option<(Reading, Severity)> {
    let plan = &see.settings.plan;
    if reading.value.under(plan.danger) {
        return Some((reading, Severity::Critical));
    }
    reading.value.under(plan.low).then_some((reading, Severity::Warning))
}

fn low_one(see: &See<'_>, memory: &mut Memory, newest: Reading, severity: Severity, next: Moment) -> Ruling {
    let level = depth(&newest);
    let said = memory.future_said.filter(|(_, at)| see.now < *at + minutes(LOW_MINUTES));
    let deeper = said.is_none_or(|(said, _)| level <= said - FALL_SAID_AGAIN);
    if deeper {
        memory.future_said = Some((level, see.now));
    }
    let telling = see
        .telling("clock-future-low")
        .with("value", Arg::Value(newest.value))
        .with("reading", Arg::Time(newest.measured_at))
        .with("time", Arg::Time(see.now))
        .with("plan", see.plan_phrase())
        .with("meter", see.meter_phrase());
    Ruling::hold(Holding::new(severity, see.now, telling).glucose().more(deeper).look_again(next))
}

/// As long as a low without newer readings is held.
pub(super) const LOW_MINUTES: f64 = 180.0;
