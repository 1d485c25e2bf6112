//! `sensor-silent`: the sensor has gone quiet before its time. The cases are told apart in words:
//!
//! - a scan brought nothing newer than two samples: the sensor has stopped;
//! - the source reports an error, or that the sensor ended early;
//! - the newest value is none, "ERR3" or a dash say: told at once after a scan, of a stream once the next one is late too. It
//!   comes through quiet hours if a low, a low ahead or a fast fall is open;
//! - its days are over, no new one is on and no reading is fresh: nothing watches any more;
//! - a streamed sensor is overdue while its bridge is connected: the sensor;
//! - the same with the bridge away or unknown: probably the bridge.
//!
//! Readings that go on after the end that was noted, or after its days, show that a sensor is on all the same: then it is
//! watched until they stop.
//!
//! While it lasts each of these is told once, however often a bridge comes and goes.
//!
//! Ends with a newer reading, an "ok" from the source, or a new sensor. A reading that is itself nearly as late as that
//! does not end it, so that a bridge that delivers every reading late is told once; eight in a row that came before the
//! next one was overdue do.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::{Memory, Wear};
use crate::words::{Arg, Event, Finding, Moment, SensorEvent, Severity, Span, Telling, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let was = see.state.open(Watch::SensorSilent);
    let unread = unread(see, memory);
    memory.silent_steady = steady(see, memory, was);
    let steady = memory.silent_steady >= STEADY;
    let due = unread.as_ref().map(|(due, _)| *due).filter(|due| *due > see.now);
    let unread = unread.filter(|_| due.is_none()).map(|(_, ruling)| ruling);
    let ruling =
        reported(see).or(unread).or_else(|| scanned(see)).unwrap_or_else(|| overdue(see, steady)).waking(due);
    let Some(mut held) = ruling.held else {
        memory.silent_told.clear();
        let back = was.is_some() && see.fresh().is_some();
        return if back {
            Ruling { over: Some(see.glucose_telling("sensor-silent-over")), ..ruling }
        } else {
            ruling
        };
    };
    let key = &held.telling.key;
    held.more = was.is_some_and(|was| was.telling.key != *key) && !memory.silent_told.contains(key);
    if !memory.silent_told.contains(key) {
        memory.silent_told.push(key.clone());
    }
    held.telling = held
        .telling
        .with("wear", see.wear_phrase())
        .with("spares", see.spares_phrase())
        .with("save", see.save_phrase());
    if let Some(newest) = see.state.newest {
        held.telling = held
            .telling
            .with("newest", Arg::Time(newest.measured_at))
            .with("age", Arg::Ago(newest.measured_at));
    }
    Ruling { held: Some(held.basis(see.basis()).repeating()), ..ruling }
}

/// The source says so itself.
fn reported(see: &See<'_>) -> Option<Ruling> {
    let wear = see.state.wear.as_ref()?;
    if let Some(ruling) = ended(see, wear) {
        return Some(ruling);
    }
    let since = wear.error_since.filter(|_| see.state.newest.is_some())?;
    let telling = see.telling("sensor-silent-error").with("time", Arg::Time(since));
    Some(Ruling::hold(Holding::new(Severity::Warning, since, telling)))
}

/// The wear is over: early, or by its time with nothing new put on. Taken off on purpose, whoever did it knows.
fn ended(see: &See<'_>, wear: &Wear) -> Option<Ruling> {
    // Readings go on: it was a mistake, or the sensor lasts longer than its days.
    if see.state.worn_on(see.settings) {
        return None;
    }
    let full = wear.full(see.settings);
    let served = full - minutes(EARLY_MINUTES);
    let early = |at: Moment, how: &str| {
        let telling = see.telling("sensor-silent-ended").with("how", Arg::Word(how.into()));
        told(see, at, telling.with("time", Arg::Time(at)))
    };
    let over = |at: Moment| told(see, at, see.telling("sensor-ended").with("time", Arg::Time(at)));
    match wear.ended {
        None if see.now < full => None,
        // It may go on; if not, that shows as soon as the newest reading is old.
        None if see.fresh().is_some() && see.state.open(Watch::SensorSilent).is_none() => {
            Some(Ruling::none().waking(see.stale_at()))
        }
        Some((at, SensorEvent::Failed)) if at < served => Some(early(at, "how-failed")),
        Some((at, SensorEvent::CameOff)) if at < served => Some(early(at, "how-came-off")),
        Some((at, SensorEvent::Expired)) => Some(over(at)),
        None | Some((_, SensorEvent::Failed | SensorEvent::CameOff)) if see.now >= full => Some(over(full)),
        Some((_, SensorEvent::Failed | SensorEvent::CameOff)) => Some(Ruling::none().waking(Some(full))),
        _ => Some(Ruling::none()),
    }
}

fn told(see: &See<'_>, at: Moment, telling: Telling) -> Ruling {
    // After a day the household lives without a sensor and knows it.
    let ends = at + minutes(ENDED_HELD_MINUTES);
    if see.now >= ends {
        return Ruling::none();
    }
    Ruling::hold(Holding::new(Severity::Warning, at, telling).look_again(ends))
}

fn in_warm_up(see: &See<'_>) -> bool {
    let wear = see.state.wear.as_ref();
    wear.is_some_and(|wear| {
        see.now < wear.applied + minutes(see.settings.sensor.warm_up_minutes) + see.sample() * 2
    })
}

/// The newest value is none: whoever has the cat would go by one that is older. When that is to be told.
fn unread(see: &See<'_>, memory: &Memory) -> Option<(Moment, Ruling)> {
    let (since, at, shown) = memory.unread.as_ref()?;
    see.state.newest.filter(|newest| newest.measured_at < *at)?;
    let new_wear = see.state.wear.as_ref().is_some_and(|wear| wear.applied > *at);
    if new_wear || see.wear_over() || in_warm_up(see) {
        return None;
    }
    // A stream often mends a single one by itself.
    let due = if see.scanned() { *since } else { *since + see.sample() * 3 / 2 };
    let telling = see
        .telling("sensor-silent-unread")
        .with("time", Arg::Time(*at))
        .with("shown", Arg::Text(shown.clone()));
    let holding = Holding::new(Severity::Warning, *since, telling);
    let low = [Watch::LowNow, Watch::LowAhead, Watch::FallingFast];
    let low = low.iter().any(|watch| see.state.open(*watch).is_some());
    Some((due, Ruling::hold(if low { holding.glucose() } else { holding })))
}

/// A scan that brought nothing new.
fn scanned(see: &See<'_>) -> Option<Ruling> {
    let scan = see.state.scan.filter(|_| see.scanned() && !see.wear_over() && !in_warm_up(see))?;
    let newest = see.state.newest?;
    let behind = scan.at - newest.measured_at;
    // Two samples, and half a one for clocks that differ.
    if behind <= see.sample() * 5 / 2 {
        return None;
    }
    // A sensor put on after the scan has not been scanned yet.
    if see.state.wear.as_ref().is_some_and(|wear| wear.applied > scan.at) {
        return None;
    }
    let telling = see.telling("sensor-silent-scan").with("scanned", Arg::Time(scan.at));
    Some(Ruling::hold(Holding::new(Severity::Warning, newest.measured_at, telling)))
}

/// A streamed sensor that is late.
fn overdue(see: &See<'_>, steady: bool) -> Ruling {
    // A sensor that has never given a reading has not gone silent: that is `sensor-not-started`.
    let started = see.state.wear.as_ref().is_none_or(|wear| wear.first_reading.is_some());
    let Some(newest) = see.state.newest.filter(|_| !see.scanned() && !see.wear_over() && started) else {
        return Ruling::none();
    };
    let due = newest.measured_at + silent_after(see) + see.sample();
    if see.now < due && (steady || !still_late(see)) {
        return Ruling::none().waking(Some(due));
    }
    let online = see.state.bridge.is_some_and(|(online, _)| online);
    let key = if online { "sensor-silent" } else { "sensor-silent-bridge" };
    Ruling::hold(Holding::new(Severity::Warning, newest.measured_at, see.telling(key)))
}

fn silent_after(see: &See<'_>) -> Span {
    minutes(see.settings.watch.silent_samples * see.settings.sensor.sample_minutes)
}

/// How many readings in a row came so that the next one, as late, would not be overdue; of a silence that is told.
fn steady(see: &See<'_>, memory: &Memory, was: Option<&Finding>) -> u32 {
    let (Some(_), Some(newest)) = (was, see.state.newest) else { return 0 };
    if see.state.arrived != Some(see.now) || !matches!(see.event, Event::Readings(_)) {
        return memory.silent_steady;
    }
    if see.now - newest.measured_at < silent_after(see) { memory.silent_steady.saturating_add(1) } else { 0 }
}

/// Whether what came since it was told is late itself: after an outage, or from a bridge that delivers every reading
/// late. It ends with one after which the next could come as late as that and not be overdue, a sample to spare; or each
/// would end it and the next pause begin it again.
fn still_late(see: &See<'_>) -> bool {
    let told =
        see.state.open(Watch::SensorSilent).is_some_and(|was| OVERDUE.contains(&was.telling.key.as_str()));
    let (Some(newest), Some(arrived)) = (see.state.newest, see.state.arrived) else { return false };
    let samples = (see.settings.watch.silent_samples - 1.0).max(1.0);
    told && arrived - newest.measured_at > minutes(samples * see.settings.sensor.sample_minutes)
}

/// The keys of a streamed sensor that is late.
const OVERDUE: [&str; 2] = ["sensor-silent", "sensor-silent-bridge"];
/// So many readings that came steadily, though late, end it: with fewer an uneven bridge would begin it anew. Chosen by us.
const STEADY: u32 = 8;
/// A sensor that stops in its last two hours has served its time.
const EARLY_MINUTES: f64 = 120.0;
const ENDED_HELD_MINUTES: f64 = 24.0 * 60.0;
