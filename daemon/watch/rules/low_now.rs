//! `low-now`: glucose is low, by the blood estimate or by a fresh reading.
//!
//! Under the plan's `low` it is a warning, under its `danger` or below the sensor's range critical. Resting near a
//! limit is said once; falling on from where it was last said is said again. A meter check of the last 20 minutes
//! decides: under the plan's `meter_low` it is critical, above it the finding drops a step and says so. A check above it
//! counts only while the sensor has not fallen by more than 15 mg/dL since, and nothing under `danger` is newer.
//! When no newer reading comes, it says how old the last one is, once, instead of calling it "now", or what the meter
//! showed since: a low by the meter stays critical until a newer reading or another check says otherwise. Late readings
//! that show a further fall of 10 mg/dL are told, those under `danger` are critical, and those that show it higher end it.
//!
//! A sensor that read over the limit all along is no evidence against a low by the meter. After the 20 minutes that low
//! stays a warning, with what the sensor shows, until another check clears it or two readings in a row lie so much over
//! what the sensor read at the check that blood is over the limit by its rise too. Three hours after the check it ends
//! as "not known", with the request to check again.
//!
//! A low of a streamed sensor that comes back within six hours, and before blood was clearly over the limit, is told once
//! as "low again" and then held: near the limit noise would end and begin it a dozen times in two days. It is told again if
//! it is 5 mg/dL deeper than was told, falls fast, goes under `danger`, or is under the limit again two hours after the
//! last word. It ends when the readings of 40 minutes lie 10 mg/dL over the limit, those of two hours 5 mg/dL, or two in a
//! row 30 mg/dL, or when a meter shows it. What comes after that is a new low.
//!
//! A low that ends because nothing more is known of it is told as a warning, through the night too: that is no all-clear.
//! A dangerous one that is only a low any more for a further reading is said once, without a sound.
//!
//! With `low_ahead = "fewer"` (any `low_ahead_chance` over 0.5) one reading of a streamed sensor that lies less than 8
//! mg/dL under `low`, while nothing falls and nothing was foreseen, waits for the next one: it is told if that says the
//! same, or if none comes.

use super::low_again::{AGAIN, NEAR};
use super::low_check::{
    Check, METER_MINUTES, OLD_MINUTES, check, check_since, recent_check, standing, still_above,
};
use super::low_told::since;
use super::{Ruling, See, just_under, low_again, low_eases, low_told};
use crate::glucose::Estimate;
use crate::watch::holding::Holding;
use crate::watch::place::Place;
use crate::watch::state::Memory;
use crate::words::{Arg, Event, Finding, Reading, Severity, Value, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let was = see.state.open(Watch::LowNow);
    memory.low_returned = low_again::returned(see, memory, was.is_some());
    let ruling = judge(see, memory, was);
    if ruling.held.is_none() {
        memory.low_said = None;
        memory.low_old_said = None;
        memory.low_eased = None;
    }
    low_told::enter(see, memory, was, ruling.held.as_ref());
    low_again::enter(see, memory, was.is_some(), ruling.held.is_some());
    ruling
}

fn judge(see: &See<'_>, memory: &mut Memory, was: Option<&Finding>) -> Ruling {
    // What waits does so from one fresh look to the next: after a silence or a check nothing does any more.
    let waiting = memory.just_under.take();
    if let Some(check) = recent_check(see).filter(|check| check.low) {
        return by_meter(see, was, &check);
    }
    if undone(see, memory, was) {
        return match see.state.newest {
            Some(_) => Ruling::over(see.glucose_telling("low-over-undone")),
            None => Ruling::lost(see.glucose_telling("low-over-undone-unseen")),
        };
    }
    // A meter that showed a low is not outdone by a reading from before.
    let reading = see.fresh().filter(|reading| !check_since(see, reading).is_some_and(|check| check.low));
    let Some(reading) = reading else {
        return old(see, memory, was);
    };
    let Some(estimate) = see.estimate() else {
        return Ruling::none();
    };
    let by_sensor = severity(see, memory, was, &reading, &estimate);
    // What only the estimate calls low rests on the check, which says it better.
    let by_check = by_sensor.is_none() || !reading.value.under(see.settings.plan.low);
    let check = standing(see).filter(|_| by_check);
    let Some(severity) = by_sensor.filter(|_| check.is_none()) else {
        memory.low_said = None;
        return not_by_sensor(see, was, by_sensor);
    };
    let above = recent_check(see).filter(|check| still_above(see, check, &reading, &estimate));
    if was.is_none() && above.is_none() {
        memory.just_under = just_under::waits(see, waiting, &reading, &estimate);
        if memory.just_under.is_some() {
            return Ruling::none().waking(see.stale_at());
        }
    }
    let (severity, key) = match &above {
        Some(check) => (lower(severity), check.above),
        None => (severity, key(see, memory, severity, (&reading, &estimate))),
    };
    let more = news(see, memory, was, (&reading, &estimate), key);
    let mut telling = see
        .glucose_telling(key)
        .with("low", Arg::Glucose(see.settings.plan.low))
        .with("plan", see.plan_phrase())
        .with("meter", see.meter_phrase())
        .with("sensor", see.sensor_phrase());
    if let Some(check) = &above {
        telling = check.enter(telling, see);
    }
    let holding =
        Holding::new(severity, since(see, &reading), telling).glucose().basis(see.basis()).more(more);
    let settled = above.map(|check| check.at + minutes(METER_MINUTES));
    let next = [see.stale_at(), settled].into_iter().flatten().filter(|at| *at > see.now).min();
    let ruling = Ruling::hold(next.map_or(holding.clone(), |at| holding.look_again(at)));
    Ruling { eased: low_eases::telling(see, memory, was, (severity, key), (&reading, &estimate)), ..ruling }
}

/// Whether there is something new to say of a low by the sensor that is held already.
fn news(
    see: &See<'_>,
    memory: &mut Memory,
    was: Option<&Finding>,
    (reading, estimate): (&Reading, &Estimate),
    key: &str,
) -> bool {
    let level = level(see, reading, estimate);
    if was.is_some() && low_told::began_anew(see, memory) {
        memory.low_said = Some(level);
        memory.low_spoke = Some(see.now);
        return true;
    }
    let falling = level < estimate.blood || estimate.rate_per_min < 0.0;
    let deeper = if memory.low_returned { low_again::DEEPER } else { FALL_SAID_AGAIN };
    let fell = memory.low_said.is_none_or(|said| falling && level <= said - deeper);
    let again = was.is_some_and(|was| low_again::is_news(see, memory, was, estimate.rate_per_min));
    if fell || again {
        memory.low_said = Some(memory.low_said.map_or(level, |said| said.min(level)));
        memory.low_spoke = Some(see.now);
    }
    let turned = was.is_some_and(|was| was.telling.key != key && key.starts_with("low-now-meter-above"));
    was.is_some() && (fell || again) || turned
}

/// How low it is, to see whether it falls further. What lies under the range cannot be seen to: it is said once, as the
/// lowest there is.
fn level(see: &See<'_>, reading: &Reading, estimate: &Estimate) -> f64 {
    match reading.value {
        Value::Below => 0.0,
        Value::Level(level) if odd(see) => level.min(estimate.blood),
        Value::Level(_) | Value::Above => estimate.blood,
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

/// Whether the check that a low rests on has just been taken back, and nothing else shows one.
fn undone(see: &See<'_>, memory: &Memory, was: Option<&Finding>) -> bool {
    let by_meter = was.is_some_and(|was| BY_METER.contains(&was.telling.key.as_str()));
    let sensed = see.state.newest.zip(see.estimate());
    let low =
        |(reading, estimate): &(Reading, Estimate)| severity(see, memory, None, reading, estimate).is_some();
    let elsewhere = standing(see).is_some() || sensed.as_ref().is_some_and(low);
    matches!(see.event, Event::MeterUndone { .. }) && by_meter && !elsewhere
}

/// By the sensor blood is not low, or no longer. A low by the meter may stand against it.
fn not_by_sensor(see: &See<'_>, was: Option<&Finding>, by_sensor: Option<Severity>) -> Ruling {
    if let Some(check) = standing(see) {
        let severity = by_sensor.unwrap_or_default().max(Severity::Warning);
        return against_sensor(see, was, &check, severity).waking(see.stale_at());
    }
    match ran_out(see, was) {
        Some(check) => Ruling::lost(check.with_phrase(see, see.glucose_telling("low-over-meter-stands"))),
        None => Ruling::over(see.glucose_telling("low-over")),
    }
}

/// The low check that was held against the sensor, if it ended by its time alone: the sensor has not settled it.
fn ran_out<'a>(see: &See<'a>, was: Option<&Finding>) -> Option<Check<'a>> {
    let check = was.filter(|was| was.telling.key == STANDS).and(check(see, |at| at <= see.now))?;
    (check.low && check.at + minutes(OLD_MINUTES) <= see.now).then_some(check)
}

/// A low by the meter, some time ago, that the sensor does not show.
fn against_sensor(see: &See<'_>, was: Option<&Finding>, check: &Check<'_>, severity: Severity) -> Ruling {
    let telling = check.with_phrase(see, see.glucose_telling(STANDS)).with("plan", see.plan_phrase());
    let news = was.is_some_and(|was| was.telling.key == check.below);
    let since = was.map_or(check.at, |was| was.since);
    let holding = Holding::new(severity, since, telling).glucose().repeating().basis(see.basis());
    Ruling::hold(holding.more(news).look_again(check.at + minutes(OLD_MINUTES)))
}

/// Nothing fresh: what was held stays held for a while, with its age, and then ends as "not known".
///
/// A scan or a file may bring a low whose last reading is old already, and somebody a meter check of an hour ago: that
/// opens it, for nobody has said it yet.
fn old(see: &See<'_>, memory: &mut Memory, was: Option<&Finding>) -> Ruling {
    let newest = see.state.newest;
    let sensed = newest.zip(see.estimate());
    // A newer reading, though old, may have ended it; that is no news of now either.
    let judged = sensed.and_then(|(newest, estimate)| severity(see, memory, was, &newest, &estimate));
    let newer = |check: &Check<'_>| newest.is_none_or(|newest| check.at > newest.measured_at);
    // What a meter showed since counts for more than an older reading; without readings it is all there is.
    let check = check(see, |at| at <= see.now).filter(newer);
    let by_check =
        judged.is_none() || newest.is_some_and(|newest| !newest.value.under(see.settings.plan.low));
    if check.is_none() && by_check && (standing(see).is_some() || ran_out(see, was).is_some()) {
        return not_by_sensor(see, was, judged);
    }
    let Some(known) = check.as_ref().map(|check| check.at).or(sensed.map(|(newest, _)| newest.measured_at))
    else {
        return Ruling::none();
    };
    let ends = known + minutes(OLD_MINUTES);
    if ends <= see.now {
        return match &check {
            // A check that was not low is the last word, though an old one.
            Some(check) => Ruling {
                unsure: check.low,
                ..Ruling::over(check.with_phrase(see, see.glucose_telling("low-over-meter")))
            },
            None => Ruling::lost(see.glucose_telling("low-over-unknown")),
        };
    }
    if check.is_none() && judged.is_none() && was.is_some() {
        return Ruling::over(see.glucose_telling("low-over-late"));
    }
    let anew = check.is_none() && was.is_some() && low_told::began_anew(see, memory);
    let held = was.filter(|_| !anew).map(|was| was.severity.max(Severity::Warning));
    // What late readings show may be worse; what a meter showed since is newer than they are.
    let held = held.max(judged.filter(|_| check.is_none() || held.is_none()));
    let met = check.as_ref().filter(|check| check.low);
    let Some(severity) = held.max(met.map(|_| Severity::Critical)) else { return Ruling::none() };
    let (key, telling) = match &check {
        Some(check) => {
            ("low-now-old-meter", check.with_phrase(see, see.glucose_telling("low-now-old-meter")))
        }
        None => ("low-now-old", see.glucose_telling("low-now-old")),
    };
    let level = sensed.map(|(newest, estimate)| level(see, &newest, &estimate));
    // An older reading that comes after a check is no news.
    let says = anew || check.is_none() || was.is_none_or(|was| was.telling.key != key);
    let more = says && news_of_old(memory, level, anew);
    let begun = newest.filter(|_| met.is_none()).map_or(known, |newest| since(see, &newest));
    let telling = telling.with("plan", see.plan_phrase());
    let holding = Holding::new(severity, begun, telling).glucose().basis(see.basis());
    Ruling::hold(holding.more(more && was.is_some()).look_again(ends))
}

/// Whether it is news that there is nothing newer: once for each finding, for a sensor with holes would say it all
/// night; and again from further down, also of a low that is known from late readings only.
fn news_of_old(memory: &mut Memory, level: Option<f64>, anew: bool) -> bool {
    let said = memory.low_old_said.filter(|_| !anew);
    let news = said.is_none_or(|said| level.unwrap_or_default() <= said - FALL_SAID_AGAIN);
    if news {
        memory.low_old_said = Some(level.unwrap_or_default());
    }
    if let Some(level) = level {
        let said = memory.low_said.filter(|_| !anew).unwrap_or(level);
        memory.low_said = Some(if news { said.min(level) } else { said });
    }
    news
}

/// How low it is; `None` if it is not. What is held already needs a margin to end, so that it does not flicker.
fn severity(
    see: &See<'_>,
    memory: &Memory,
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
    let over = if memory.low_returned { low_again::is_over(see) } else { recovered(see, estimate) };
    (held.is_some() && !over).then_some(Severity::Warning)
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

fn key(
    see: &See<'_>,
    memory: &Memory,
    severity: Severity,
    (reading, estimate): (&Reading, &Estimate),
) -> &'static str {
    match severity {
        Severity::Critical if reading.value == Value::Below => "low-now-below-range",
        Severity::Critical => "low-now-danger",
        _ if low_again::is_near(see, memory, reading, estimate) => NEAR,
        _ if memory.low_returned => AGAIN,
        Severity::Warning | Severity::Notice => "low-now",
    }
}

fn lower(severity: Severity) -> Severity {
    if severity == Severity::Critical { Severity::Warning } else { Severity::Notice }
}

/// The key of a low by the meter that the sensor does not show.
const STANDS: &str = "low-now-meter-stands";
/// The keys of a low by the meter alone.
const BY_METER: [&str; 3] = ["low-now-meter", "low-now-old-meter", STANDS];
/// mg/dL over a limit at which what is held ends; about half the noise of a reading.
const MARGIN: f64 = 5.0;
pub(super) const WELL_OVER: f64 = 20.0;
/// mg/dL per minute.
const RISING: f64 = 0.5;
/// A further fall of this many mg/dL is said again.
pub(super) const FALL_SAID_AGAIN: f64 = 10.0;
