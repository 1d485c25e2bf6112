//! What is shown rather than told: the present state of each cat, as data and in words. Pure: it is handed what it
//! shows.

mod lines;
mod status;

pub use lines::{ChangeLine, MessageLine, change_json, message_json};
pub use status::{CatStatus, HouseStatus, OpenFinding, house_status, status_text};
