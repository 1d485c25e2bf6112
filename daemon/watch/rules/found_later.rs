//! `low-found-later`: a low that only shows in readings brought off the sensor afterwards.
//!
//! A notice with its bounds and its lowest value, never an alarm about the past dressed up as now. Needs two
//! samples in a row under the plan's `low`, or one under its `danger`. What `low-now` has told is not told again,
//! unless it went under `danger` unseen. If nothing is known of what came after, it is a warning that says so. A low
//! older than a day is for the report.

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
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let was = see.state.open(Watch::LowFoundLater);
    let Some(stretch) = found(see, memory) else {
        let Some(was) = was.filter(|was| was.look_again.is_some_and(|at| at > see.now)) else {
            return Ruling::none();
        };
        let kept = Holding::new(was.severity, was.since, was.telling.clone()).glucose().basis(was.basis);
        return Ruling::hold(kept.look_again(was.look_again.unwrap_or(see.now)));
    };
    let ended = see.state.newest.is_some_and(|newest| newest.measured_at > stretch.until);
    let (key, severity) = match ended {
        true => ("low-found-later", Severity::Notice),
        false => ("low-found-later-open", Severity::Warning),
    };
    let telling = see
        .telling(key)
        .with("low", Arg::Glucose(see.settings.plan.low))
        .with("from", Arg::Time(stretch.from))
        .with("until", Arg::Time(stretch.until))
        .with("nadir", Arg::Value(stretch.nadir.value))
        .with("nadir_time", Arg::Time(stretch.nadir.measured_at));
    let basis = crate::words::Basis { value: stretch.nadir.value, measured_at: stretch.nadir.measured_at };
    let holding = Holding::new(severity, stretch.from, telling).glucose().basis(Some(basis));
    Ruling::hold(holding.more(was.is_some()).look_again(see.now + minutes(HELD_MINUTES)))
}

fn found(see: &See<'_>, memory: &Memory) -> Option<Stretch> {
    let Event::Readings(batch) = see.event else {
        return None;
    };
    let oldest = see.now - minutes(TOLD_MINUTES_MAX);
    let readings: Vec<Reading> = batch
        .readings
        .iter()
        .filter(|r| r.kind == ReadingKind::History && r.measured_at >= oldest && r.measured_at <= see.now)
        .copied()
        .collect();
    let danger = see.settings.plan.danger;
    let open = see.state.open(Watch::LowNow).is_some();
    let told = |s: &Stretch| {
        memory.low_told.is_some_and(|(since, until, worst)| {
            let apart = s.until + see.sample() * 2 < since || s.from > until;
            let deeper = !open && worst < Severity::Critical && s.nadir.value.under(danger);
            !apart && !deeper
        })
    };
    stretches(&readings, see)
        .into_iter()
        .filter(|s| (s.samples >= 2 || s.nadir.value.under(danger)) && !told(s))
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
