//! The page of the demo: the same as live, for browsers on this machine. What is pressed on it comes into the story.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use tokio::sync::mpsc;

use super::DemoError;
use crate::clock::{Clock, MachineClock};
use crate::intake::{Inbound, Kept};
use crate::page::{self, Look, PageSettings, Seen};
use crate::token::{KEY_BYTES, Key};
use crate::turn::House;
use crate::words::{Event, Moment};

/// The demo's end of the page.
pub(super) struct Window {
    looks: mpsc::Receiver<Look>,
    inbox: mpsc::Receiver<Inbound>,
}

impl Window {
    /// Opens the page at `listen`; `data` is where the record is, if one is kept.
    pub(super) fn open(listen: SocketAddr, data: &Path) -> Result<Self, DemoError> {
        let failed = |source| DemoError::Page { listen, source };
        // Whether it can be had is said now, and not in a log that nobody reads.
        drop(std::net::TcpListener::bind(listen).map_err(failed)?);
        let (looks, looked) = mpsc::channel(PLACES);
        let (door, inbox) = mpsc::channel(PLACES);
        let clock = MachineClock::new();
        let ground = page::Ground {
            settings: PageSettings { listen, password: None },
            // Nothing is signed without a password.
            key: Key::new([0; KEY_BYTES]),
            looks,
            door,
            data: data.to_owned(),
            now: Arc::new(move || clock.now()),
        };
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(failed)?;
        std::thread::spawn(move || runtime.block_on(page::serve(ground)));
        Ok(Self { looks: looked, inbox })
    }

    /// Shows the house to whoever asks; gives what was pressed meanwhile.
    pub(super) fn attend(&mut self, house: &House, now: Moment) -> Option<Event> {
        while let Ok(Look(back)) = self.looks.try_recv() {
            // Whoever asked may have gone.
            let _ = back.send(Seen { now, house: Box::new(house.clone()) });
        }
        let Inbound { event, done, .. } = self.inbox.try_recv().ok()?;
        done.map(|done| done.send(Kept::Synced));
        Some(event)
    }
}

const PLACES: usize = 16;
