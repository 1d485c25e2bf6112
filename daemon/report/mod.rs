//! What is shown rather than told: the present state of each cat, as data and in words. Pure: it is handed what it
//! shows.

mod absence;
mod agreement;
mod ahead;
mod curve;
mod curve_page;
mod figures;
mod html;
mod life;
mod lines;
mod meanings;
mod meter;
mod metrics;
mod page;
mod picture;
mod scans;
mod sheet;
mod status;
mod table;
mod wears;

pub use absence::{Calls, nobody_watching};
pub use ahead::{Ahead, ahead_text};
pub use curve::{Curve, Cycle, Day, History, curve, day_of, plan_range, usual_from};
pub use curve_page::curve_page;
pub use figures::{Bound, Figures, Range, figures};
pub use life::{Lifetime, PUBLISHED_MEDIAN_DAYS, SensorLife, Step, WEARS_MIN, kaplan_meier, survival_at};
pub use lines::{ChangeLine, change_json};
pub use meter::{LeftOut, MeterChecks};
pub use metrics::metrics_text;
pub use page::{
    Ask, Happened, PAGE_STYLE, PageSeat, ask_page, history_page, now_page, password_page, record_page,
    sensors_page,
};
pub use scans::{asleep, next_scans};
pub use sheet::{SheetFacts, sheet_reader, trip_sheet};
pub use status::{CatStatus, HouseStatus, OpenFinding, cat_status, fit_text, house_status, status_text};
pub use table::curve_csv;
pub use wears::{Worn, cost_per_day, wears};
