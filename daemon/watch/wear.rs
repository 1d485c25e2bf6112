//! Whether a sensor is on the cat, by what is noted of its wear and by what is read.
//!
//! A note may be a mistake, or a day early, and a sensor may last longer than its days: readings that were measured after
//! the end show that one is on, and then nothing is mute that watches it.

use super::state::CatState;
use crate::words::{CatSettings, Moment, minutes};

impl CatState {
    /// Whether no sensor is on the cat: the last wear has ended, by a word or by its time, and nothing was measured
    /// clearly after that.
    #[must_use]
    pub fn wear_over(&self, settings: &CatSettings, now: Moment) -> bool {
        self.wear_ended(settings, now) && !self.worn_on(settings)
    }

    /// Whether the last wear has ended by a word or by its time, whatever was measured since.
    fn wear_ended(&self, settings: &CatSettings, now: Moment) -> bool {
        self.wear.as_ref().is_some_and(|wear| wear.ended.is_some() || wear.full(settings) <= now)
    }

    /// Whether readings go on after the end of the wear.
    #[must_use]
    pub(super) fn worn_on(&self, settings: &CatSettings) -> bool {
        let (Some(wear), Some(newest)) = (&self.wear, self.newest) else { return false };
        let full = wear.full(settings);
        let end = wear.ended.map_or(full, |(at, _)| at.min(full));
        let least = (GOES_ON_SAMPLES * settings.sensor.sample_minutes).max(TAKEN_OFF_MINUTES);
        newest.measured_at >= end + minutes(least)
    }
}

/// Samples after the end at which a reading is none that was only stamped a little late.
const GOES_ON_SAMPLES: f64 = 2.0;
/// Whoever notes that it is taken off may do so before a cat holds still for it; chosen by us.
const TAKEN_OFF_MINUTES: f64 = 15.0;
