//! `sensor-not-started`: a new sensor gives no reading by the end of its warm-up and two samples.
//!
//! A scanned sensor can only be judged once somebody has scanned it after that time.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Severity, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, _: &mut Memory) -> Ruling {
    let Some(wear) = see.state.wear.as_ref().filter(|wear| wear.first_reading.is_none() && !see.wear_over())
    else {
        return Ruling::none();
    };
    let due = wear.applied + minutes(see.settings.sensor.warm_up_minutes) + see.sample() * 2;
    let looked = !see.scanned() || see.state.scan.is_some_and(|scan| scan.at >= due);
    if see.now < due || !looked {
        return Ruling::none().waking(Some(due));
    }
    let telling = see
        .telling("sensor-not-started")
        .with("applied", Arg::Time(wear.applied))
        .with("due", Arg::Time(due))
        .with("spares", see.spares_phrase());
    Ruling::hold(Holding::new(Severity::Warning, due, telling))
}
