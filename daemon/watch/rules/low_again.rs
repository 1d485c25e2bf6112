//! A low that comes back before blood was clearly over the limit: the same low, of a cat that rests close to it.
//!
//! Two readings over the limit end a low, and near the limit noise makes such pairs all day: each one would be told as
//! over, and the next reading under it as a new low. What has come back once ends only when it is clearly over. Until then
//! it is held, and what is news is said: that it is deeper than was told, that it falls fast, that hours have passed.

use super::See;
use super::low_check::recent_check;
use crate::glucose::Estimate;
use crate::watch::state::Memory;
use crate::words::{Finding, Moment, Reading, minutes};

/// Whether the low that is held, or would begin now, is one that had ended and came back.
pub(super) fn returned(see: &See<'_>, memory: &Memory, was: bool) -> bool {
    if was {
        return memory.low_returned;
    }
    // Between two scans nobody sees what it does; and scans are few.
    !see.scanned() && memory.low_over.is_some_and(|over| is_same(see, over))
}

/// Enters what became of the low at this look.
pub(super) fn enter(see: &See<'_>, memory: &mut Memory, was: bool, holds: bool) {
    if holds {
        return;
    }
    if was {
        memory.low_over = see.state.newest.map(|newest| newest.measured_at);
    }
    memory.low_returned = false;
    memory.low_spoke = None;
}

/// Whether a low that begins now is the one that ended at `over`: not long ago, and never clearly over since.
fn is_same(see: &See<'_>, over: Moment) -> bool {
    let Some(newest) = see.state.newest else { return false };
    let readings = see.state.tracker.recent();
    let since = readings.partition_point(|reading| reading.measured_at < over);
    newest.measured_at - over <= minutes(SAME_MINUTES)
        && !(since..readings.len()).any(|last| is_clear(see, &readings[..=last]))
}

/// Whether a low that came back is over: clearly by the sensor, or a meter has just shown it.
pub(super) fn is_over(see: &See<'_>) -> bool {
    is_clear(see, see.state.tracker.recent()) || recent_check(see).is_some_and(|check| !check.low)
}

/// Whether readings end clearly over the limit: for long enough, or far enough for two of them.
///
/// Holes do not count against it: the worst of calling it over is one more alarm.
pub(super) fn is_clear(see: &See<'_>, readings: &[Reading]) -> bool {
    let Some(newest) = readings.last() else { return false };
    let lasts = |over: f64, least: f64| {
        let clear =
            readings.iter().rev().take_while(|reading| !reading.value.under(see.settings.plan.low + over));
        clear.last().is_some_and(|first| newest.measured_at - first.measured_at >= minutes(least))
    };
    let far = |reading: &Reading| !reading.value.under(see.settings.plan.low + FAR);
    let two = readings.len() >= 2 && readings.iter().rev().take(2).all(far);
    two || lasts(CLEAR, CLEAR_MINUTES) || lasts(OVER, OVER_MINUTES)
}

/// Whether what has come back is over the limit at the moment, though not clearly.
pub(super) fn is_near(see: &See<'_>, memory: &Memory, reading: &Reading, estimate: &Estimate) -> bool {
    let low = see.settings.plan.low;
    memory.low_returned && !reading.value.under(low) && estimate.blood >= low
}

/// Whether a low that was over the limit a reading ago and is under it again is news, however deep.
///
/// By the readings and not by what was found of them: looks at which nothing is found are not in the record.
pub(super) fn is_news(see: &See<'_>, memory: &Memory, was: &Finding, rate_per_min: f64) -> bool {
    let low = see.settings.plan.low;
    let back = matches!(see.state.tracker.recent(), [.., before, newest]
        if !before.value.under(low) && newest.value.under(low));
    let spoke = memory.low_spoke.map_or(was.opened_at, |at| at.max(was.opened_at));
    let long_ago = see.now - spoke >= minutes(SAID_AGAIN_MINUTES);
    memory.low_returned && back && (long_ago || rate_per_min <= see.settings.watch.falling_rate)
}

/// Under the limit again, and over it but near.
pub(super) const AGAIN: &str = "low-now-again";
pub(super) const NEAR: &str = "low-now-near";
/// A low that begins later than this after one ended is a new one, minutes.
const SAME_MINUTES: f64 = 360.0;
/// Clearly over the limit: by so many mg/dL for so many minutes ...
const CLEAR: f64 = 10.0;
const CLEAR_MINUTES: f64 = 40.0;
/// ... or by this for longer ...
const OVER: f64 = 5.0;
const OVER_MINUTES: f64 = 120.0;
/// ... or by this, mg/dL, in two readings.
const FAR: f64 = 30.0;
/// What came back and is deeper by this than was told is said, mg/dL ...
pub(super) const DEEPER: f64 = 5.0;
/// ... and what is under the limit again so long after the last word, minutes. Chosen on sixty cats of the third family: with
/// six hours one low in fifteen was no longer told within half an hour, with two one in forty (`docs/decisions.md`).
const SAID_AGAIN_MINUTES: f64 = 120.0;
