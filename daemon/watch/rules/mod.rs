//! The rules, one file each. A rule looks and answers; it changes nothing but its own memory.
//!
//! Order matters where one finding stands for another: `low-now` is asked before `low-ahead`, and both before
//! `falling-fast` and `low-found-later`; `sensor-silent` before the window, which a dead sensor does not have; `dose-stop`
//! before the reminders of that dose, of which it asks what they said at the last look.

mod conflict;
mod dose_stop;
mod dose_times;
mod dose_twice;
mod ending;
mod falling_fast;
mod found_later;
mod future;
mod hand_over;
mod high_long;
mod just_under;
mod low_again;
mod low_ahead;
mod low_check;
mod low_eases;
mod low_now;
mod low_told;
mod misdated;
mod not_started;
mod silent;
mod spares;
mod suspect;
mod window;

pub use dose_times::EARLY_MINUTES as DOSE_EARLY_MINUTES;

use super::holding::Ruling;
use super::see::See;
use super::state::Memory;
use crate::words::Watch;

/// Looks at a cat and answers.
pub(super) type Rule = fn(&See<'_>, &mut Memory) -> Ruling;

/// Every rule, in the order in which they are asked.
pub(super) const ALL: &[(Watch, Rule)] = &[
    (Watch::LowNow, low_now::rule),
    (Watch::LowAhead, low_ahead::rule),
    (Watch::FallingFast, falling_fast::rule),
    (Watch::LowFoundLater, found_later::rule),
    (Watch::HighLong, high_long::rule),
    (Watch::SensorSilent, silent::rule),
    (Watch::WindowClosed, window::closed),
    (Watch::WindowClosing, window::closing),
    (Watch::SensorSuspect, suspect::rule),
    (Watch::SensorNotStarted, not_started::rule),
    (Watch::SensorEnding, ending::rule),
    (Watch::DoseTwice, dose_twice::rule),
    (Watch::DoseStop, dose_stop::rule),
    (Watch::BeforeDose, dose_times::before),
    (Watch::DoseDue, dose_times::due),
    (Watch::DoseLate, dose_times::late),
    (Watch::HandOver, hand_over::rule),
    (Watch::SparesLow, spares::rule),
    (Watch::FileRejected, conflict::rule),
    (Watch::ClockWrong, future::rule),
];

/// The first of some moments that lies after `now`.
fn next_after(
    times: impl IntoIterator<Item = crate::words::Moment>,
    now: crate::words::Moment,
) -> Option<crate::words::Moment> {
    times.into_iter().filter(|at| *at > now).min()
}
