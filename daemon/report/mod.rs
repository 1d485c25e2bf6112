//! What is shown rather than told: the present state of each cat, as data and in words. Pure: it is handed what it
//! shows.

mod life;
mod lines;
mod planner;
mod status;
mod wears;

pub use life::{Lifetime, PUBLISHED_MEDIAN_DAYS, SensorLife, Step, WEARS_MIN, kaplan_meier, survival_at};
pub use lines::{ChangeLine, change_json};
pub use planner::{ScanPlan, Stretch, plan_scans};
pub use status::{CatStatus, HouseStatus, OpenFinding, house_status, status_text};
pub use wears::{Worn, wears};
