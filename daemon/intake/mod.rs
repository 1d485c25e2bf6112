//! The doors in: files and MQTT messages become events. Decides nothing about glucose.
//!
//! Every door hands its events to the driver through one bounded channel, a [`Door`]; a full one slows the
//! door down. The driver answers on [`Inbound::done`] once the event is on disk, and only then does the door
//! tell its source that it may forget it: the file is moved, the MQTT message acknowledged.

mod flood;
pub mod folder;
pub mod formats;
pub mod mqtt;
pub mod replies;

use tokio::sync::{mpsc, oneshot};

use crate::words::Event;

/// What became of an event that came in through a door.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kept {
    /// It is on disk and survives a power cut.
    Synced,
    /// The same: the record had it before. Only said of what came by hand.
    Known,
    /// It could not be kept (disk full, for instance); the source must keep it and offer it again.
    Failed(String),
}

/// One event on its way to the driver.
#[derive(Debug)]
pub struct Inbound {
    /// What happened.
    pub event: Event,
    /// Where the driver says, after syncing the journal, what became of it. Dropped unanswered means failed.
    pub done: Option<oneshot::Sender<Kept>>,
    /// A person records it: if it was taken back before, it counts again.
    pub by_hand: bool,
}

impl Inbound {
    /// An event from a source that may tell things twice.
    #[must_use]
    pub const fn new(event: Event, done: Option<oneshot::Sender<Kept>>) -> Self {
        Self { event, done, by_hand: false }
    }
}

/// The way from a door to the driver. Bounded.
pub type Door = mpsc::Sender<Inbound>;
