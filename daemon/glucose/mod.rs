//! Arithmetic on one cat's series: where blood is, where it is going, and how sure that is.
//!
//! In: readings of one cat, doses, meter checks, new wears, and `now`. Out: [`Estimate`]s and [`Outlook`]s.
//! Decides nothing about people or messages, keeps a bounded ring of readings, never the whole history.
//! How it works stands in `docs/estimate.md`.
//!
//! - [`tracker`]: the state kept per cat and the questions it answers;
//! - `outlook`, [`hazard`], [`evidence`], [`habit`]: what is likely next, and what the cat usually does;
//! - [`alarm`]: when a chance becomes an alarm; [`artefact`]: what is wrong with the newest readings;
//! - `doubt`: a reading that cannot follow from those before it;
//! - [`pairs`], [`agreement`]: meter checks beside the sensor, and what they come to;
//! - [`fit`]: how this cat's sensor differs from the usual, as far as that is proven;
//! - [`dynamics`], `motion`, [`kalman`], [`passage`], [`normal`]: the model and its arithmetic.

pub mod agreement;
pub mod alarm;
pub mod artefact;
mod doubt;
pub mod dynamics;
pub mod evidence;
pub mod fit;
pub mod habit;
pub mod hazard;
pub mod kalman;
mod motion;
pub mod normal;
mod outlook;
pub mod pairs;
pub mod passage;
mod sensor;
pub mod tracker;

pub use artefact::Artefact;
pub use outlook::{Outlook, Walk};
pub(crate) use sensor::METER_RANGE;
pub use tracker::{Estimate, Tracker};
