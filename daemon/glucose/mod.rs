//! Arithmetic on one cat's series: where blood is, where it is going, and how sure that is.
//!
//! In: readings of one cat, doses, meter checks, new wears, and `now`. Out: [`Estimate`]s and [`Outlook`]s.
//! Decides nothing about people or messages, keeps a bounded ring of readings, never the whole history.
//! How it works stands in `docs/estimate.md`.
//!
//! - [`tracker`]: the state kept per cat and the questions it answers;
//! - [`dynamics`], [`kalman`], [`passage`], [`normal`]: the model and its arithmetic.

pub mod dynamics;
pub mod kalman;
pub mod normal;
pub mod passage;
pub mod tracker;

pub use tracker::{Artefact, Estimate, Outlook, Tracker};
