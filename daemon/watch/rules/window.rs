//! `window-closing` and `window-closed`: a scanned sensor keeps only so many hours, then overwrites the oldest.
//!
//! The window closes one memory length after the newest reading that was brought off the sensor. Reminders come
//! at set minutes before. If it closes while the person on duty sleeps, they are reminded before they go to bed
//! instead, with the next scans that leave no gap; if the night is longer than the memory, they hear which stretch
//! will be lost whatever they do.
//! A new sensor counts from the end of its warm-up. Neither speaks for a streamed sensor, when the wear is over, or
//! when the last scan has shown that the sensor has stopped.

use super::{Ruling, See, next_after};
use crate::watch::gaps::lost_since;
use crate::watch::holding::Holding;
use crate::watch::planner::{self, Stretch, plan_scans};
use crate::watch::see::Night;
use crate::watch::state::Memory;
use crate::words::{Arg, Moment, Severity, Span, Telling, Watch, minutes};

/// When the window closes, and the newest reading (or the end of warm-up) it counts from.
fn window(see: &See<'_>) -> Option<(Moment, Moment)> {
    let dead =
        see.state.open(Watch::SensorSilent).is_some_and(|silent| silent.telling.key == "sensor-silent-scan");
    if !see.scanned() || see.wear_over() || dead {
        return None;
    }
    let started =
        see.state.wear.as_ref().map(|wear| wear.applied + minutes(see.settings.sensor.warm_up_minutes));
    let newest = see.state.newest.map(|newest| newest.measured_at).max(started)?;
    let closes = newest + memory(see);
    // A fresh installation on a sensor worn for days has lost nothing that anybody ever had.
    (see.state.newest.is_some() || closes > see.now).then_some((newest, closes))
}

fn memory(see: &See<'_>) -> Span {
    minutes(see.settings.sensor.memory_hours * 60.0)
}

/// `window-closing`.
pub(super) fn closing(see: &See<'_>, _: &mut Memory) -> Ruling {
    let Some((newest, closes)) = window(see) else {
        return Ruling::none();
    };
    if closes <= see.now || see.state.open(Watch::SensorSilent).is_some() {
        return Ruling::none();
    }
    if let Some(night) =
        see.night.filter(|night| night.from > see.now && night.from < closes && closes < night.until)
    {
        return bedtime(see, newest, closes, night);
    }
    let (passed, next) = reminders(see, closes);
    if passed == 0 {
        return Ruling::none().waking(next);
    }
    let telling = see
        .telling("window-closing")
        .with("closes", Arg::Time(closes))
        .with("newest", Arg::Time(newest))
        .with("left", Arg::Minutes(closes.minutes_since(see.now)));
    let holding =
        Holding::new(Severity::Warning, newest, telling).step(passed).best_before(closes).basis(see.basis());
    Ruling::hold(holding.look_again(next.unwrap_or(closes)))
}

/// How many reminders before `closes` are due by now, and when the next one is (or the closing itself).
fn reminders(see: &See<'_>, closes: Moment) -> (u32, Option<Moment>) {
    let times: Vec<Moment> =
        see.settings.watch.window_remind_minutes.iter().map(|before| closes - minutes(*before)).collect();
    let passed = times.iter().filter(|at| **at <= see.now).count() as u32;
    (passed, next_after(times.into_iter().chain([closes]), see.now))
}

fn bedtime(see: &See<'_>, newest: Moment, closes: Moment, night: Night) -> Ruling {
    let (passed, next) = reminders(see, night.from);
    let evening = see.settings.watch.window_remind_minutes.iter().copied().fold(0.0, f64::max);
    // A scan this evening is as good as it gets: no second reminder for the last minutes before bed.
    if passed == 0 || newest >= night.from - minutes(evening) - see.sample() {
        return Ruling::none().waking(next);
    }
    let holds = night.from + memory(see);
    let scans = scans_after(see, night);
    let common = |key: &str| {
        see.telling(key)
            .with("closes", Arg::Time(closes))
            .with("bedtime", Arg::Time(night.from))
            .with("holds", Arg::Time(holds))
            .with("scans", scans.clone())
    };
    let telling = if holds >= night.until {
        common("window-bedtime")
    } else {
        common("window-bedtime-loss")
            .with("morning", Arg::Time(night.until))
            .with("lost_from", Arg::Time(night.from))
            .with("lost_until", Arg::Time(night.until - memory(see)))
    };
    let holding = Holding::new(Severity::Warning, newest, telling)
        .step(passed)
        .best_before(night.from)
        .basis(see.basis());
    Ruling::hold(holding.look_again(next.unwrap_or(night.from)))
}

/// The scans of the day after a scan at bedtime that leave no gap, or lose least; without them the phrase is empty.
fn scans_after(see: &See<'_>, night: Night) -> Arg {
    let busy = [Stretch { from: night.from, until: night.until }];
    let until = night.from + minutes(24.0 * 60.0);
    let plan =
        plan_scans(night.from, night.from, until, memory(see), minutes(planner::MARGIN_MINUTES), &busy);
    if plan.scans.is_empty() {
        return Arg::Word("nothing".into());
    }
    Arg::Phrase(Box::new(Telling::new("scans-after").with("times", Arg::Times(plan.scans))))
}

/// `window-closed`.
pub(super) fn closed(see: &See<'_>, _: &mut Memory) -> Ruling {
    let Some((newest, closes)) = window(see) else {
        return Ruling::none();
    };
    if see.now < closes {
        return match see.state.gap {
            Some(gap) => Ruling::over(
                see.telling("window-gap")
                    .with("from", Arg::Time(gap.from))
                    .with("until", Arg::Time(gap.until))
                    .with("lost", Arg::Count(gap.lost)),
            ),
            None => Ruling::none(),
        }
        .waking(Some(closes));
    }
    let lost = lost_since(closes, see.now, see.sample());
    let telling: Telling = see
        .telling("window-closed")
        .with("newest", Arg::Time(newest))
        .with("closed", Arg::Time(closes))
        .with("sample", Arg::Minutes(see.settings.sensor.sample_minutes))
        .with("lost", Arg::Count(lost));
    let next_lost = closes + Span::milliseconds(see.sample().num_milliseconds() * lost);
    Ruling::hold(
        Holding::new(Severity::Warning, closes, telling).basis(see.basis()).look_again(next_lost).repeating(),
    )
}
