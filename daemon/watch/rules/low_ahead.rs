//! `low-ahead`: blood will probably be low within the horizon.
//!
//! It speaks when the outlook's chance of going under the plan's `low` passes the setting, and ends when the
//! chance has clearly fallen again, when `low-now` takes over, or when there is nothing fresh to go by. Where
//! `danger` is as likely it is critical. For a scanned sensor nobody sees what comes between scans: if the last
//! scan said that a low could well come unseen, the same watch asks for another scan in time.

use super::{Ruling, See};
use crate::glucose::Outlook;
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Moment, Severity, Telling, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    if see.state.open(Watch::LowNow).is_some() {
        memory.scan_again = None;
        return Ruling::none();
    }
    let Some(reading) = see.fresh() else {
        return scan_again(see, memory);
    };
    let settings = &see.settings.watch;
    let plan = &see.settings.plan;
    let outlook = |limit| see.state.tracker.outlook(see.now, settings.low_ahead_minutes, limit);
    let Some(low) = outlook(plan.low) else {
        return Ruling::none();
    };
    let next = see
        .scanned()
        .then(|| see.state.tracker.scan_again(see.now, plan.low, settings.scan_again_chance))
        .flatten();
    // Only a low that may come soon is worth another scan out of turn.
    memory.scan_again = next.filter(|at| *at - reading.measured_at <= minutes(SCAN_AGAIN_MINUTES_MAX));
    let was = see.state.open(Watch::LowAhead).filter(|was| was.telling.key != "scan-again");
    let needed =
        if was.is_some() { settings.low_ahead_chance - HYSTERESIS } else { settings.low_ahead_chance };
    if low.chance < needed {
        let over = was.map(|_| low_args(see, see.glucose_telling("low-ahead-over"), &low, plan.low));
        return Ruling { over, ..Ruling::none() }.waking(see.stale_at()).waking(memory.scan_again);
    }
    let danger = outlook(plan.danger).filter(|danger| danger.chance >= settings.low_ahead_chance);
    let (severity, telling) = match danger {
        Some(danger) => {
            (Severity::Critical, low_args(see, see.glucose_telling("low-ahead-danger"), &danger, plan.danger))
        }
        None => (Severity::Warning, low_args(see, see.glucose_telling("low-ahead"), &low, plan.low)),
    };
    let telling = telling.with("plan", see.plan_phrase()).with("rescan", rescan(see, memory.scan_again));
    let since = was.map_or(reading.measured_at, |was| was.since);
    let holding = Holding::new(severity, since, telling).glucose().repeating().basis(see.basis());
    let holding = holding.best_before(see.now + minutes(settings.low_ahead_minutes));
    Ruling::hold(holding.look_again(see.stale_at().unwrap_or(see.now)))
}

fn low_args(see: &See<'_>, telling: Telling, outlook: &Outlook, limit: f64) -> Telling {
    let end = see.now + minutes(see.settings.watch.low_ahead_minutes);
    let name = if limit < see.settings.plan.low { "danger" } else { "low" };
    telling
        .with(name, Arg::Glucose(limit))
        .with("by", Arg::Time(outlook.crossing.unwrap_or(end)))
        .with("chance", Arg::Chance(outlook.chance))
}

fn rescan(see: &See<'_>, at: Option<Moment>) -> Arg {
    match at {
        Some(at) if see.scanned() => {
            Arg::Phrase(Box::new(Telling::new("rescan-at").with("time", Arg::Time(at))))
        }
        _ => Arg::Word("rescan-none".into()),
    }
}

/// Nothing fresh: if the last scan said so, ask for another one.
fn scan_again(see: &See<'_>, memory: &Memory) -> Ruling {
    let (Some(at), Some(newest)) = (memory.scan_again, see.state.newest) else {
        return Ruling::none();
    };
    let ends = newest.measured_at + minutes(SCAN_AGAIN_HOLDS_MINUTES);
    if see.wear_over() || see.now < at || see.now >= ends {
        return Ruling::none().waking(Some(at).filter(|at| *at > see.now));
    }
    let ahead = see.now.minutes_since(newest.measured_at);
    let chance =
        see.state.tracker.outlook(newest.measured_at, ahead, see.settings.plan.low).map_or(0.0, |o| o.chance);
    let telling = see
        .glucose_telling("scan-again")
        .with("low", Arg::Glucose(see.settings.plan.low))
        .with("chance", Arg::Chance(chance));
    Ruling::hold(
        Holding::new(Severity::Warning, at, telling)
            .glucose()
            .repeating()
            .basis(see.basis())
            .best_before(ends)
            .look_again(ends),
    )
}

/// What is held ends when the chance is this much under the setting.
const HYSTERESIS: f64 = 0.2;
/// A scan is asked for out of turn only if it is due within this after the newest reading.
const SCAN_AGAIN_MINUTES_MAX: f64 = 120.0;
const SCAN_AGAIN_HOLDS_MINUTES: f64 = 300.0;
