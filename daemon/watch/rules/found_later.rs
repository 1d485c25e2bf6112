//! `low-found-later`: a low that only shows in readings brought off the sensor afterwards.
//!
//! A notice with its bounds and its lowest value, never an alarm about the past dressed up as now. Needs two
//! samples in a row under the plan's `low`, or one under its `danger`. A low that runs into the present is
//! `low-now`'s; one older than a day is for the report.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Event, Moment, Reading, ReadingKind, Severity, Value, Watch, minutes};

struct Stretch {
    from: Moment,
    until: Moment,
    nadir: Reading,
    samples: usize,
}

/// The rule.
pub(super) fn rule(see: &See<'_>, _: &mut Memory) -> Ruling {
    let was = see.state.open(Watch::LowFoundLater);
    let Some(stretch) = found(see) else {
        let Some(was) = was.filter(|was| was.look_again.is_some_and(|at| at > see.now)) else {
            return Ruling::none();
        };
        let kept = Holding::new(was.severity, was.since, was.telling.clone()).glucose().basis(was.basis);
        return Ruling::hold(kept.look_again(was.look_again.unwrap_or(see.now)));
    };
    let telling = see
        .telling("low-found-later")
        .with("low", Arg::Glucose(see.settings.plan.low))
        .with("from", Arg::Time(stretch.from))
        .with("until", Arg::Time(stretch.until))
        .with("nadir", Arg::Value(stretch.nadir.value))
        .with("nadir_time", Arg::Time(stretch.nadir.measured_at));
    let basis = crate::words::Basis { value: stretch.nadir.value, measured_at: stretch.nadir.measured_at };
    let holding = Holding::new(Severity::Notice, stretch.from, telling).glucose().basis(Some(basis));
    Ruling::hold(holding.more(was.is_some()).look_again(see.now + minutes(HELD_MINUTES)))
}

fn found(see: &See<'_>) -> Option<Stretch> {
    let Event::Readings(batch) = see.event else {
        return None;
    };
    let oldest = see.now - minutes(TOLD_MINUTES_MAX);
    let past = see.now - see.fresh_for();
    let fresh: Vec<Reading> = batch
        .readings
        .iter()
        .filter(|r| r.kind == ReadingKind::History && r.measured_at >= oldest && r.measured_at <= see.now)
        .copied()
        .collect();
    stretches(&fresh, see)
        .into_iter()
        .filter(|s| s.until < past && (s.samples >= 2 || s.nadir.value.under(see.settings.plan.danger)))
        .min_by(|a, b| depth(a.nadir.value).total_cmp(&depth(b.nadir.value)))
}

fn stretches(readings: &[Reading], see: &See<'_>) -> Vec<Stretch> {
    let low = see.settings.plan.low;
    let mut found: Vec<Stretch> = Vec::new();
    let mut last: Option<Moment> = None;
    for reading in readings {
        let joined = last.is_some_and(|last| reading.measured_at - last <= see.sample() * 2);
        last = reading.value.under(low).then_some(reading.measured_at);
        if last.is_none() {
            continue;
        }
        match found.last_mut().filter(|_| joined) {
            Some(stretch) => {
                stretch.until = reading.measured_at;
                stretch.samples += 1;
                if depth(reading.value) < depth(stretch.nadir.value) {
                    stretch.nadir = *reading;
                }
            }
            None => found.push(Stretch {
                from: reading.measured_at,
                until: reading.measured_at,
                nadir: *reading,
                samples: 1,
            }),
        }
    }
    found
}

fn depth(value: Value) -> f64 {
    match value {
        Value::Below => 0.0,
        Value::Level(mg_dl) => mg_dl,
        Value::Above => f64::MAX,
    }
}

const TOLD_MINUTES_MAX: f64 = 24.0 * 60.0;
const HELD_MINUTES: f64 = 12.0 * 60.0;
