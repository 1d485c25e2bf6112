//! The web page: the present for whoever stands at home with a phone, and what they press or type.
//!
//! Comes in: requests of browsers. Goes out: pages that `report` has written of a copy of the house, and events, through
//! the same bounded channel as from every other door. It decides nothing about the cat: it decides who may look
//! ([`guard`]), and whether what was typed can be meant ([`forms`]). No script runs on any page.

mod entry;
mod forms;
mod guard;
mod notices;
mod serve;
mod web;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use tokio::sync::{mpsc, oneshot};

pub use serve::serve;

use crate::intake::{Door, Inbound, Kept};
use crate::secret::Secret;
use crate::token::Key;
use crate::turn::House;
use crate::words::{Event, Moment};

/// Where the page is, and who may see it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PageSettings {
    /// Where it listens.
    pub listen: SocketAddr,
    /// What is asked for before anything is shown. Without one only this machine itself is let in.
    pub password: Option<Secret>,
}

/// Somebody wants to see the house.
#[derive(Debug)]
pub struct Look(pub oneshot::Sender<Seen>);

/// The house as it was at a moment.
#[derive(Debug)]
pub struct Seen {
    /// When.
    pub now: Moment,
    /// A copy.
    pub house: Box<House>,
}

/// Tells the time.
pub type Now = Arc<dyn Fn() -> Moment + Send + Sync>;

/// What the page stands on.
pub struct Ground {
    /// Who may see it.
    pub settings: PageSettings,
    /// What passes are signed with.
    pub key: Key,
    /// The way to see the house.
    pub looks: mpsc::Sender<Look>,
    /// The way in for what is recorded.
    pub door: Door,
    /// Where the record lies.
    pub data: PathBuf,
    /// The clock.
    pub now: Now,
}

impl Ground {
    /// The house, unless the daemon is stopping or hangs.
    async fn look(&self) -> Option<Seen> {
        let (back, seen) = oneshot::channel();
        let look = async {
            self.looks.send(Look(back)).await.ok()?;
            seen.await.ok()
        };
        tokio::time::timeout(ANSWER_WITHIN, look).await.ok()?
    }

    /// Hands an event in and waits until it is safe. `None` if that cannot be known: it was handed in, and no answer came.
    async fn record(&self, event: Event) -> Option<Kept> {
        let (done, kept) = oneshot::channel();
        let sent = self.door.send_timeout(Inbound { event, done: Some(done), by_hand: true }, ANSWER_WITHIN);
        if sent.await.is_err() {
            return Some(Kept::Failed("the daemon does not answer".to_owned()));
        }
        tokio::time::timeout(ANSWER_WITHIN, kept).await.ok()?.ok()
    }
}

const ANSWER_WITHIN: std::time::Duration = std::time::Duration::from_secs(20);
