//! The core as a whole: events and time go in, findings and messages come out. No files, no network, no clock.
#![allow(clippy::unwrap_used)]

mod ahead;
mod answers;
mod artefact;
mod clock;
mod delays;
mod dose_stop;
mod doses;
mod doubt;
mod found_later;
mod fresh;
mod glucose;
mod hand_over;
mod household;
mod just_under;
mod low_ends;
mod lows;
mod meter;
mod meter_low;
mod misdated;
mod page;
mod pages;
mod paper;
mod people;
mod properties;
mod range;
mod restless;
mod sampling;
mod sensor;
mod texts;
mod trend;
mod undone;
mod unheard;
mod ways;
mod window;
mod world;
