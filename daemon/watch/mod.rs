//! What is true of a cat. Each rule is one file in `rules/`; [`step()`] takes an event in, asks every rule, and says
//! which findings opened, changed or cleared. Nobody is told anything here: that is `duty`'s.

mod gaps;
mod holding;
mod house;
pub mod planner;
mod rules;
pub mod schedule;
mod see;
mod set_back;
mod state;
mod step;

pub use gaps::{Gap, completeness};
pub use house::HouseState;
pub use see::{Night, See};
pub use state::{CatState, Memory, Wear};
pub use step::{Place, step};
