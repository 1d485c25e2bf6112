//! Whether glucose just under the plan's `low` may wait for another reading to say the same.
//!
//! Of a cat that rests close to the limit the sensor says so two or three times a week when its blood is not
//! (`docs/outlook.md`). Whoever asks for fewer warnings, only of what is likelier than not, is not told of one such
//! reading that is rather noise. All others are told at once, and so is whatever is deeper, falls, lasts, comes after a
//! warning or of a sensor that nobody may scan again for hours.

use super::See;
use crate::glucose::Estimate;
use crate::words::{FALLING_MG_DL_PER_MIN, Moment, Reading, Value, Watch, minutes};

/// Since when it waits, if it does; `waiting` since when it did at the look before.
pub(super) fn waits(
    see: &See<'_>,
    waiting: Option<Moment>,
    reading: &Reading,
    estimate: &Estimate,
) -> Option<Moment> {
    let settings = &see.settings.watch;
    let falls = estimate.rate_per_min <= FALLING_MG_DL_PER_MIN || deep(see, reading, estimate);
    if settings.low_ahead_chance <= EVEN || see.scanned() || falls || told_ahead(see) {
        return None;
    }
    let since = waiting.unwrap_or(reading.measured_at);
    if reading.measured_at - since >= minutes(LASTING_MINUTES) {
        return None;
    }
    let ahead = |at: Moment| {
        see.state.tracker.outlook(at, settings.low_ahead_minutes, see.settings.plan.low).map(|o| o.chance)
    };
    let chance = see.anchor().and_then(ahead)?;
    (chance < settings.low_ahead_chance).then_some(since)
}

/// Further under the limit than noise explains, by the reading or by the estimate.
fn deep(see: &See<'_>, reading: &Reading, estimate: &Estimate) -> bool {
    let level = match reading.value {
        Value::Below => return true,
        Value::Level(level) => level.min(estimate.blood),
        Value::Above => estimate.blood,
    };
    level < (see.settings.plan.low - DEEP).max(see.settings.plan.danger)
}

/// Whether people are on their feet already.
fn told_ahead(see: &See<'_>) -> bool {
    see.state.open(Watch::LowAhead).is_some_and(|finding| finding.telling.key != "scan-again")
}

/// Who wants to be told of what is less likely than this wants to be told of everything.
const EVEN: f64 = 0.5;
/// mg/dL under the limit: the noise of an estimate there (`docs/outlook.md`).
const DEEP: f64 = 8.0;
/// What is under the limit for so long is told: from a sensor that reads each quarter of an hour, with its next reading.
const LASTING_MINUTES: f64 = 12.0;
