//! What is true of a cat. Each rule is one file in `rules/`; [`step()`] takes an event in, asks every rule, and says
//! which findings opened, changed or cleared. Nobody is told anything here: that is `duty`'s.

mod gaps;
mod holding;
mod house;
mod misdated;
mod place;
pub mod planner;
mod rules;
mod see;
mod set_back;
mod state;
mod step;
mod wear;

pub use gaps::{Gap, completeness};
pub use house::HouseState;
pub use misdated::{Dated, Misdated};
pub use place::Place as BloodPlace;
pub use rules::DOSE_EARLY_MINUTES;
pub use see::{Night, OnHand, See, who};
pub use state::{CatState, Memory, MeterWord, Wear};
pub use step::{Place, step};
