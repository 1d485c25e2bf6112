//! `low-ahead`: blood will probably be low within the horizon.
//!
//! It speaks when the outlook's chance of going under the plan's `low` passes the setting, and ends when the
//! chance has been under six tenths of that for half an hour, when `low-now` takes over, or when there is nothing
//! fresh to go by: one odd reading does not call it off. Where
//! `danger` is as likely it is critical. It looks ahead from the newest reading, and does not change its mind until
//! another one comes. A sudden dip, as when the cat lies on the sensor, does not begin it unless it deepens. For a
//! scanned sensor nobody sees what comes between scans: if the last scan said that a low could well come unseen, the
//! same watch asks for another scan when that time has come.

use super::low_check::fallen_since;
use super::{Ruling, See};
use crate::glucose::Outlook;
use crate::glucose::alarm::{AlarmRule, Course};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, FALLING_MG_DL_PER_MIN, Finding, Moment, Reading, Severity, Telling, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    if low_now_speaks(see) {
        memory.scan_again = None;
        forget(memory);
        return Ruling::none();
    }
    let was = see.state.open(Watch::LowAhead);
    let fresh = see.fresh();
    if fresh.is_some() {
        memory.scan_again = scan_again_at(see);
    }
    if let Some(at) = memory.scan_again.filter(|at| *at <= see.now) {
        return ask_to_scan(see, at, was);
    }
    let Some(reading) = fresh else {
        forget(memory);
        // What was ahead may have come: that nothing is known any more has to be said.
        let ruling = Ruling::none().waking(memory.scan_again);
        let unsure = was.is_some_and(|was| was.severity == Severity::Critical);
        return Ruling { over: was.map(|_| see.glucose_telling("low-ahead-unknown")), unsure, ..ruling };
    };
    let ruling = ahead(see, &reading, was, memory);
    ruling.waking(see.stale_at()).waking(memory.scan_again)
}

/// Whether `low-now` has taken over. What stands here already outlives a `low-now` that a meter check has lowered to a
/// notice; and beside a low by the meter that the sensor does not show, a fall by the sensor is news.
fn low_now_speaks(see: &See<'_>) -> bool {
    let Some(low) = see.state.open(Watch::LowNow) else { return false };
    let told = see.state.open(Watch::LowAhead).is_some_and(|was| was.telling.key != "scan-again");
    let stays = low.severity == Severity::Notice && told;
    !(stays || low.telling.key == "low-now-meter-stands" && (told || fallen_since(see)))
}

/// When another scan is worth asking for, by the newest reading; `None` for a streamed sensor, if it is so far off
/// that the usual scans come before, and if blood neither falls nor is near the limit: how little is known of a
/// steady cat after an hour or two would have it scanned all day and night, and people learn to ignore what always
/// calls.
fn scan_again_at(see: &See<'_>) -> Option<Moment> {
    let (newest, anchor) = (see.state.newest?, see.anchor().filter(|_| see.scanned())?);
    let near = see.settings.plan.low + SCAN_AGAIN_NEAR;
    let towards =
        see.estimate().is_some_and(|now| now.rate_per_min <= FALLING_MG_DL_PER_MIN || now.blood < near);
    let at =
        see.state.tracker.scan_again(anchor, see.settings.plan.low, see.settings.watch.scan_again_chance)?;
    Some(at).filter(|at| towards && *at - newest.measured_at <= minutes(SCAN_AGAIN_MINUTES_MAX))
}

/// Nothing is ahead any more: it has come, or nobody can know.
fn forget(memory: &mut Memory) {
    memory.low_ahead = AlarmRule::default();
    memory.danger_ahead = AlarmRule::default();
}

fn ahead(see: &See<'_>, reading: &Reading, was: Option<&Finding>, memory: &mut Memory) -> Ruling {
    let settings = &see.settings.watch;
    let plan = &see.settings.plan;
    let Some(anchor) = see.anchor() else {
        return Ruling::none();
    };
    let outlook = |limit| see.state.tracker.outlook(anchor, settings.low_ahead_minutes, limit);
    let (Some(low), Some(danger)) = (outlook(plan.low), outlook(plan.danger)) else {
        return Ruling::none();
    };
    // A dip is no fall that may be carried on; what is told already is not taken back for it.
    let dip = was.is_none_or(|was| was.telling.key == "scan-again") && see.mere_dip();
    let stands = |rule: &mut AlarmRule, chance: f64| {
        let chance = if dip { 0.0 } else { chance };
        let course = rule.decide(Some(chance), settings.low_ahead_chance, anchor);
        matches!(course, Course::Begins | Course::Stands)
    };
    let dangerous = stands(&mut memory.danger_ahead, danger.chance);
    if !stands(&mut memory.low_ahead, low.chance) && !dangerous {
        // Who was only asked to scan again has done so and knows what came of it.
        let told = was.is_some_and(|was| was.telling.key != "scan-again" || was.step > 1);
        let over = told.then(|| low_args(see, see.glucose_telling("low-ahead-over"), &low, plan.low));
        return Ruling { over, ..Ruling::none() };
    }
    let danger = Some(danger).filter(|_| dangerous);
    let (severity, telling) = match danger {
        Some(danger) => {
            (Severity::Critical, low_args(see, see.glucose_telling("low-ahead-danger"), &danger, plan.danger))
        }
        None => (Severity::Warning, low_args(see, see.glucose_telling("low-ahead"), &low, plan.low)),
    };
    let telling = telling
        .with("plan", see.plan_phrase())
        .with("sensor", see.sensor_phrase())
        .with("rescan", rescan(see, memory.scan_again));
    let since = was.map_or(reading.measured_at, |was| was.since);
    let holding = Holding::new(severity, since, telling).glucose().repeating().basis(see.basis());
    let end = see.anchor().unwrap_or(see.now) + minutes(settings.low_ahead_minutes);
    Ruling::hold(holding.best_before(end).look_again(see.stale_at().unwrap_or(see.now)))
}

fn low_args(see: &See<'_>, telling: Telling, outlook: &Outlook, limit: f64) -> Telling {
    let end = see.anchor().unwrap_or(see.now) + minutes(see.settings.watch.low_ahead_minutes);
    let name = if limit < see.settings.plan.low { "danger" } else { "low" };
    telling
        .with(name, Arg::Glucose(limit))
        .with("end", Arg::Time(end))
        .with("crossing", around(see, outlook.crossing.unwrap_or(end)))
        .with("chance", Arg::Chance(outlook.chance))
}

/// When the limit is crossed; a time that is as good as now is not named.
fn around(see: &See<'_>, crossing: Moment) -> Arg {
    if crossing.minutes_since(see.now) < AS_GOOD_AS_NOW {
        return Arg::Word("crossing-now".into());
    }
    Arg::Phrase(Box::new(Telling::new("crossing-around").with("by", Arg::Time(crossing))))
}

fn rescan(see: &See<'_>, at: Option<Moment>) -> Arg {
    match at {
        Some(at) if see.scanned() => {
            Arg::Phrase(Box::new(Telling::new("rescan-at").with("time", Arg::Time(at))))
        }
        _ => Arg::Word("rescan-none".into()),
    }
}

/// The time for another scan has come and none was made.
fn ask_to_scan(see: &See<'_>, at: Moment, was: Option<&Finding>) -> Ruling {
    let Some(newest) = see.state.newest else {
        return Ruling::none();
    };
    let ends = newest.measured_at + minutes(SCAN_AGAIN_HOLDS_MINUTES);
    if see.wear_over() || see.now >= ends {
        return Ruling::none();
    }
    let ahead = see.now.minutes_since(newest.measured_at);
    let chance =
        see.state.tracker.outlook(newest.measured_at, ahead, see.settings.plan.low).map_or(0.0, |o| o.chance);
    let telling = see
        .glucose_telling("scan-again")
        .with("low", Arg::Glucose(see.settings.plan.low))
        .with("chance", Arg::Chance(chance));
    let severity = was.map_or(Severity::Warning, |was| was.severity);
    let more = was.is_some_and(|was| was.telling.key != telling.key);
    let holding = Holding::new(severity, was.map_or(at, |was| was.since), telling).glucose().repeating();
    Ruling::hold(holding.more(more).basis(see.basis()).best_before(ends).look_again(ends))
}

/// A scan is asked for out of turn only if it is due within this after the newest reading.
const SCAN_AGAIN_MINUTES_MAX: f64 = 75.0;
/// mg/dL over the plan's low; further up a scan is asked for only while it falls. Chosen by us on 2026-11-25 so that a cat at
/// rest is left alone.
const SCAN_AGAIN_NEAR: f64 = 30.0;
const SCAN_AGAIN_HOLDS_MINUTES: f64 = 300.0;
/// A crossing sooner than this, minutes, is told as perhaps there already: the estimate knows it no better.
const AS_GOOD_AS_NOW: f64 = 10.0;
