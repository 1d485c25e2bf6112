//! `low-now`: glucose is low, by the blood estimate or by a fresh reading.
//!
//! Under the plan's `low` it is a warning, under its `danger` or below the sensor's range critical. Resting near a
//! limit is said once; falling on from where it was last said is said again. A meter check of the last 20 minutes
//! decides: under the plan's `meter_low` it is critical, above it the finding drops a step and says so. When no
//! newer reading comes, it says how old the last one is instead of calling it "now", or what the meter showed since:
//! a low by the meter stays critical until a newer reading or another check says otherwise.
//!
//! With `low_ahead = "fewer"` (any `low_ahead_chance` over 0.5) one reading of a streamed sensor that lies less than 8
//! mg/dL under `low`, while nothing falls and nothing was foreseen, waits for the next one: it is told if that says the
//! same, or if none comes.

use super::{Ruling, See, just_under};
use crate::glucose::Estimate;
use crate::watch::holding::Holding;
use crate::watch::place::Place;
use crate::watch::state::Memory;
use crate::words::{Arg, Finding, Moment, PersonName, Reading, Severity, Telling, Value, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let was = see.state.open(Watch::LowNow);
    let ruling = judge(see, memory, was);
    // What waits for another reading is not found again later either.
    if let Some((since, newest)) = memory.just_under.zip(see.state.newest) {
        memory.low_told = Some((since, newest.measured_at, Severity::Notice));
    }
    // What has been told here is not found again later.
    if let (Some(since), Some(newest)) = (
        ruling.held.as_ref().map(|held| held.since).into_iter().chain(was.map(|was| was.since)).min(),
        see.state.newest,
    ) {
        let severity = ruling.held.as_ref().map(|held| held.severity).max(was.map(|was| was.severity));
        let before = memory.low_told.filter(|_| was.is_some()).map(|(_, _, worst)| worst);
        memory.low_told = Some((since, newest.measured_at, severity.max(before).unwrap_or_default()));
    }
    ruling
}

fn judge(see: &See<'_>, memory: &mut Memory, was: Option<&Finding>) -> Ruling {
    if let Some(check) = recent_check(see).filter(|check| check.low) {
        return by_meter(see, was, &check);
    }
    // A meter that showed a low is not outdone by a reading from before.
    let reading = see.fresh().filter(|reading| !check_since(see, reading).is_some_and(|check| check.low));
    let Some(reading) = reading else {
        return old(see, memory, was);
    };
    let Some(estimate) = see.estimate() else {
        return Ruling::none();
    };
    let Some(severity) = severity(see, was, &reading, &estimate) else {
        memory.low_said = None;
        memory.just_under = None;
        return Ruling::over(see.glucose_telling("low-over"));
    };
    if was.is_none() && recent_check(see).is_none() && just_under::waits(see, memory, &reading, &estimate) {
        return Ruling::none().waking(see.stale_at());
    }
    memory.just_under = None;
    let (severity, key) = match recent_check(see) {
        Some(check) => (lower(severity), check.above),
        None => (severity, key(severity, &reading)),
    };
    // What lies under the range cannot be seen to fall further: it is said once, as the lowest there is.
    let level = match reading.value {
        Value::Below => 0.0,
        Value::Level(level) if odd(see) => level.min(estimate.blood),
        Value::Level(_) | Value::Above => estimate.blood,
    };
    let falling = level < estimate.blood || estimate.rate_per_min < 0.0;
    let fell = memory.low_said.is_none_or(|said| falling && level <= said - FALL_SAID_AGAIN);
    if fell {
        memory.low_said = Some(level);
    }
    let turned = was.is_some_and(|was| was.telling.key != key && key.starts_with("low-now-meter-above"));
    let mut telling = see
        .glucose_telling(key)
        .with("plan", see.plan_phrase())
        .with("meter", see.meter_phrase())
        .with("sensor", see.sensor_phrase());
    if let Some(check) = recent_check(see) {
        telling = check.enter(telling, see);
    }
    let holding = Holding::new(severity, since(see, &reading), telling)
        .glucose()
        .basis(see.basis())
        .more((was.is_some() && fell) || turned);
    let settled = recent_check(see).map(|check| check.at + minutes(METER_MINUTES));
    let next = [see.stale_at(), settled].into_iter().flatten().filter(|at| *at > see.now).min();
    Ruling::hold(next.map_or(holding.clone(), |at| holding.look_again(at)))
}

/// What a meter says: by its value, or by what somebody said of it.
struct Check<'a> {
    at: Moment,
    low: bool,
    /// The value; else whose word it is.
    said: Result<Value, &'a PersonName>,
    below: &'static str,
    above: &'static str,
    /// What it was, once it no longer decides.
    was: &'static str,
}

impl Check<'_> {
    fn enter(&self, telling: Telling, see: &See<'_>) -> Telling {
        let telling = telling
            .with("check_time", Arg::Time(self.at))
            .with("meter_low", Arg::Glucose(see.settings.plan.meter_low));
        match self.said {
            Ok(value) => telling.with("check", Arg::Value(value)),
            Err(person) => telling.with("by", Arg::Person(person.clone())),
        }
    }
}

/// The last meter check, or the last word of one, if it is recent.
fn recent_check<'a>(see: &See<'a>) -> Option<Check<'a>> {
    check(see, |at| (-10.0..METER_MINUTES).contains(&see.now.minutes_since(at)))
}

/// The last meter check, or the last word of one, if it is newer than a reading.
fn check_since<'a>(see: &See<'a>, reading: &Reading) -> Option<Check<'a>> {
    check(see, |at| at > reading.measured_at && at <= see.now)
}

/// The last meter check, or the last word of one, if its time counts.
fn check<'a>(see: &See<'a>, counts: impl Fn(Moment) -> bool) -> Option<Check<'a>> {
    let measured = see.state.meter.as_ref().filter(|check| counts(check.measured_at)).map(|check| Check {
        at: check.measured_at,
        low: check.glucose.under(see.settings.plan.meter_low),
        said: Ok(check.glucose),
        below: "low-now-meter",
        above: "low-now-meter-above",
        was: "meter-showed",
    });
    let told = see.state.meter_word.as_ref().filter(|word| counts(word.at)).map(|word| Check {
        at: word.at,
        low: word.low,
        said: Err(&word.by),
        below: "low-now-meter-said",
        above: "low-now-meter-above-said",
        was: if word.low { "meter-said-low" } else { "meter-said-not-low" },
    });
    // A value says more than a word about it.
    match (measured, told) {
        (Some(measured), Some(told)) if told.at > measured.at + minutes(WORD_MINUTES) => Some(told),
        (measured, told) => measured.or(told),
    }
}

fn by_meter(see: &See<'_>, was: Option<&Finding>, check: &Check<'_>) -> Ruling {
    let telling = check.enter(see.telling(check.below), see).with("plan", see.plan_phrase());
    // A further value is news; a second person's word to the same effect is not.
    let again = |was: &Finding| was.telling.args.get("check_time") == telling.args.get("check_time");
    let news = was.is_some_and(|was| was.telling.key != telling.key || check.said.is_ok() && !again(was));
    let since = was.map_or(check.at, |was| was.since);
    let holding = Holding::new(Severity::Critical, since, telling).glucose().basis(see.basis()).more(news);
    Ruling::hold(holding.look_again(check.at + minutes(METER_MINUTES)))
}

/// Nothing fresh: what was held stays held for a while, with its age, and then ends as "not known".
///
/// A scan or a file may bring a low whose last reading is old already, and somebody a meter check of an hour ago: that
/// opens it, for nobody has said it yet.
fn old(see: &See<'_>, memory: &mut Memory, was: Option<&Finding>) -> Ruling {
    let newest = see.state.newest;
    // What a meter showed since counts for more than an older reading; without readings it is all there is.
    let check = check(see, |at| at <= see.now && newest.is_none_or(|newest| at > newest.measured_at));
    let sensed = newest.zip(see.estimate());
    let Some(known) = check.as_ref().map(|check| check.at).or(sensed.map(|(newest, _)| newest.measured_at))
    else {
        return Ruling::none();
    };
    let ends = known + minutes(OLD_MINUTES);
    if ends <= see.now {
        let key = if check.is_some() { "low-over-meter" } else { "low-over-unknown" };
        return Ruling::over(with_check(see, see.glucose_telling(key), check.as_ref()));
    }
    // A newer reading, though old, may have ended it; that is no news of now either.
    let judged = sensed.and_then(|(newest, estimate)| severity(see, was, &newest, &estimate));
    let held = was.map(|was| was.severity.max(Severity::Warning)).or(judged);
    let met = check.as_ref().filter(|check| check.low);
    let Some(severity) = held.max(met.map(|_| Severity::Critical)) else { return Ruling::none() };
    if let Some((_, estimate)) = sensed {
        memory.low_said.get_or_insert(estimate.blood);
    }
    let key = if check.is_some() { "low-now-old-meter" } else { "low-now-old" };
    let telling = with_check(see, see.glucose_telling(key), check.as_ref()).with("plan", see.plan_phrase());
    let first = was.is_some_and(|was| was.telling.key != key);
    let begun = || newest.filter(|_| met.is_none()).map_or(known, |newest| since(see, &newest));
    let since = was.map_or_else(begun, |was| was.since);
    let holding = Holding::new(severity, since, telling).glucose().basis(see.basis());
    Ruling::hold(holding.more(first).look_again(ends))
}

fn with_check(see: &See<'_>, telling: Telling, check: Option<&Check<'_>>) -> Telling {
    let Some(check) = check else { return telling };
    telling.with("checked", Arg::Phrase(Box::new(check.enter(see.telling(check.was), see))))
}

/// How low it is; `None` if it is not. What is held already needs a margin to end, so that it does not flicker.
fn severity(
    see: &See<'_>,
    was: Option<&Finding>,
    reading: &Reading,
    estimate: &Estimate,
) -> Option<Severity> {
    let plan = &see.settings.plan;
    let held = was.map(|was| was.severity);
    let margin = |severity| if held >= Some(severity) { MARGIN } else { 0.0 };
    if reading.value.under(plan.danger) || estimate.blood < plan.danger + margin(Severity::Critical) {
        return Some(Severity::Critical);
    }
    if estimate.blood < plan.low + margin(Severity::Notice) {
        return Some(Severity::Warning);
    }
    if reading.value.under(plan.low) {
        // The sensor lags: on the way up it still shows the low that blood has left. One such reading opens nothing;
        // two in a row are a low that somebody has to hear of, even though it is ending.
        // An estimate that the reading contradicts excuses nothing.
        let rising = estimate.rate_per_min > RISING && !odd(see);
        let two = last_two(see).filter(|reading| reading.value.under(plan.low)).count() == 2;
        return (held.is_some() || !rising || two).then_some(Severity::Warning);
    }
    (held.is_some() && !recovered(see, estimate)).then_some(Severity::Warning)
}

/// Two readings in a row at or over the limit end a low (Danne et al., Diabetes Care 2017;40:1631-1640 ask for 15
/// minutes at or over it; from memory), or one estimate well over it.
fn recovered(see: &See<'_>, estimate: &Estimate) -> bool {
    let low = see.settings.plan.low;
    estimate.blood >= low + WELL_OVER || last_two(see).filter(|r| !r.value.under(low)).count() == 2
}

/// Whether the estimate does not account for the newest reading.
fn odd(see: &See<'_>) -> bool {
    let place = see.state.newest.and_then(|newest| see.state.place(see.settings, newest.measured_at));
    matches!(place, Some(Place::Odd(_)))
}

fn last_two<'a>(see: &See<'a>) -> impl Iterator<Item = &'a Reading> {
    see.state.tracker.recent().iter().rev().take(2)
}

fn key(severity: Severity, reading: &Reading) -> &'static str {
    match severity {
        Severity::Critical if reading.value == Value::Below => "low-now-below-range",
        Severity::Critical => "low-now-danger",
        Severity::Warning | Severity::Notice => "low-now",
    }
}

fn lower(severity: Severity) -> Severity {
    if severity == Severity::Critical { Severity::Warning } else { Severity::Notice }
}

/// When the present stretch of low readings began.
fn since(see: &See<'_>, newest: &Reading) -> Moment {
    let low = see.settings.plan.low;
    let stretch = see.state.tracker.recent().iter().rev().take_while(|reading| reading.value.under(low));
    stretch.last().map_or(newest.measured_at, |reading| reading.measured_at)
}

/// A meter check decides for this long (design: 20 minutes; chosen by us).
const METER_MINUTES: f64 = 20.0;
/// Whoever presses a button about a check and then enters its value means the same check.
const WORD_MINUTES: f64 = 5.0;
/// A low without newer readings is held this long, then it is "not known" any more.
const OLD_MINUTES: f64 = 180.0;
/// mg/dL over a limit at which what is held ends; about half the noise of a reading.
const MARGIN: f64 = 5.0;
const WELL_OVER: f64 = 20.0;
/// mg/dL per minute.
const RISING: f64 = 0.5;
/// A further fall of this many mg/dL is said again.
const FALL_SAID_AGAIN: f64 = 10.0;
