//! The wall clock and the calendar: when times of day, cron expressions and weekly hours come round, in a place, over
//! both changes of the clocks. Comes in: text or hours, a zone, a moment. Goes out: instants. Everything else in the
//! house counts instants; what they mean is decided elsewhere.

mod hours;
mod times;
mod typed;

pub use hours::{HoursError, hours_text, read_hours, stretches};
pub use times::{Recurrence, around, next_times, time_of_day};
pub use typed::{EARLY_MINUTES, typed};
