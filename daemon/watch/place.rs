//! What can be told of where blood is: a number only where the newest reading bears one.
//!
//! In: the newest reading and the estimate. Out: the values that the catalogues' words for it take. A sensor that shows
//! less or more than it can read gives no number; what the filter makes of it is for the rules alone.

use super::see::See;
use super::state::CatState;
use crate::glucose::{Artefact, Estimate};
use crate::words::{Arg, CatSettings, Moment, OutOfRange, Telling};

/// Where blood is, as far as the newest reading tells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// About there.
    About(Estimate),
    /// Lower than the sensor can read.
    Below,
    /// Higher than the sensor can read.
    Above,
    /// Not known: the newest reading cannot follow from those before it, on which the estimate rests.
    Odd(Estimate),
    /// Not known: the sensor shows one value only.
    Stuck,
}

impl CatState {
    /// Where blood is at `at`, which lies at or after the newest reading; `None` without readings.
    #[must_use]
    pub fn place(&self, settings: &CatSettings, at: Moment) -> Option<Place> {
        let value = self.newest?.value;
        match settings.sensor.out_of_range(value) {
            Some(OutOfRange::Below(_)) => return Some(Place::Below),
            Some(OutOfRange::Above(_)) => return Some(Place::Above),
            None => {}
        }
        if matches!(self.tracker.artefact(), Some(Artefact::Stuck { .. })) {
            return Some(Place::Stuck);
        }
        let estimate = self.tracker.estimate(at)?;
        let (floor, low) = (settings.sensor.range[0], settings.plan.low);
        let far = value.under(low) && estimate.blood > low + FAR_OVER;
        // A low that was there already is told with its number, if it had one, whatever one reading says.
        let there = (floor..low).contains(&estimate.blood);
        let odd = far || self.tracker.doubts() && !there;
        Some(if odd { Place::Odd(estimate) } else { Place::About(estimate) })
    }
}

impl See<'_> {
    /// The same telling with where blood was at the newest reading and how it moved, for the catalogues' `where` and
    /// its kin.
    pub(super) fn with_place(&self, telling: Telling) -> Telling {
        let place = self.state.newest.and_then(|newest| self.state.place(self.settings, newest.measured_at));
        let Some(place) = place else { return telling };
        let [floor, ceiling] = self.settings.sensor.range;
        let seen = |seen: &str| telling.clone().with("seen", Arg::Text(seen.to_owned()));
        match place {
            Place::About(estimate) => seen("about")
                .with("blood", Arg::Glucose(estimate.blood))
                .with("trend", Arg::Rate(estimate.rate_per_min)),
            Place::Below => seen("below").with("floor", Arg::Glucose(floor)),
            Place::Above => seen("above").with("ceiling", Arg::Glucose(ceiling)),
            Place::Odd(_) => seen("odd"),
            Place::Stuck => seen("stuck"),
        }
    }
}

/// An estimate so far over the plan's low, mg/dL, is not told beside a reading under it: about three deviations.
const FAR_OVER: f64 = 30.0;
