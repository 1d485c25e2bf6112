//! Which readings `low-now` has told of. What it told is not found again later; what came meanwhile, in a file or one by
//! one after an outage, and was over again before anybody looked, is.

use super::See;
use super::low_again;
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Event, Finding, Moment, Reading, Severity, minutes};

/// What has been told is not found again later, nor what waits for another reading.
pub(super) fn enter(see: &See<'_>, memory: &mut Memory, was: Option<&Finding>, held: Option<&Holding>) {
    let Some(newest) = see.state.newest else { return };
    if let Some(since) = memory.just_under {
        memory.low_told = Some((since, newest.measured_at, Severity::Notice));
    }
    let told = memory.low_told.filter(|_| was.is_some());
    let before = told.map(|(_, _, worst)| worst).max(was.map(|was| was.severity));
    let begun = told.map(|(since, ..)| since).or(was.map(|was| was.since));
    memory.low_told = match held {
        Some(held) if was.is_none() => Some((held.since, newest.measured_at, held.severity)),
        Some(held) if began_anew(see, memory) => {
            Some((since(see, &newest), newest.measured_at, held.severity))
        }
        Some(held) => {
            let since = begun.map_or(held.since, |begun| begun.min(held.since));
            Some((since, newest.measured_at, before.unwrap_or_default().max(held.severity)))
        }
        None => {
            let (Some(begun), Some(was)) = (begun, was) else { return };
            let until = over_at(see, memory).unwrap_or(newest.measured_at);
            if unsaid(see, was) {
                memory.low_unsaid = Some((begun, until));
            }
            Some((begun, until, before.unwrap_or_default())).filter(|_| memory.low_unsaid.is_none())
        }
    };
    memory.low_told_loosely = memory.low_returned;
}

/// Whether readings that came quickly one after the other ended it before the first word of it went out.
fn unsaid(see: &See<'_>, was: &Finding) -> bool {
    let gathers = see.now < was.opened_at + minutes(see.home.gather_seconds / 60.0);
    gathers && was.severity < Severity::Critical && matches!(see.event, Event::Readings(_))
}

/// Whether the low that is held ended among the readings that came just now, and another one began.
pub(super) fn began_anew(see: &See<'_>, memory: &Memory) -> bool {
    let Some(newest) = see.state.newest.filter(|newest| newest.value.under(see.settings.plan.low)) else {
        return false;
    };
    over_at(see, memory).is_some_and(|over| over < since(see, &newest))
}

/// The first reading, of those newer than what was told, at which the low that is held was over.
///
/// By the readings alone, for what the estimate was at each of them nobody knows any more: a little over the limit is
/// not enough.
fn over_at(see: &See<'_>, memory: &Memory) -> Option<Moment> {
    let (_, told, _) = memory.low_told?;
    let low = see.settings.plan.low;
    let readings = see.state.tracker.recent();
    let over = |last: &usize| {
        if memory.low_returned {
            return low_again::is_clear(see, &readings[..=*last]);
        }
        let clear = |reading: &Reading| !reading.value.under(low + CLEAR);
        let two = *last > 0 && clear(&readings[last - 1]) && clear(&readings[*last]);
        two || !readings[*last].value.under(low + super::low_now::WELL_OVER)
    };
    let first = readings.partition_point(|reading| reading.measured_at <= told);
    (first..readings.len()).find(over).map(|last| readings[last].measured_at)
}

/// When the present stretch of low readings began.
pub(super) fn since(see: &See<'_>, newest: &Reading) -> Moment {
    let low = see.settings.plan.low;
    let stretch = see.state.tracker.recent().iter().rev().take_while(|reading| reading.value.under(low));
    stretch.last().map_or(newest.measured_at, |reading| reading.measured_at)
}

/// mg/dL over the limit in two readings in a row.
const CLEAR: f64 = 5.0;
