//! What is held, for those who keep no record on disk: a replay, a simulation. The same rule as the record's own,
//! because it is the same code. Comes in: events as their sources sent them. Goes out: what is new in them.

use std::path::Path;

use super::remake;
use super::sift::Index;
use super::store::Store;
use crate::words::Event;

/// What is held already, in memory only.
///
/// ```
/// use lowtide::record::Held;
/// use lowtide::words::{CatName, Event, Moment, Spare};
/// let counted = Spare { cat: CatName::new("pepper").unwrap(), at: Moment::default(), count: 2 };
/// let mut held = Held::default();
/// assert!(held.take(Event::Spare(counted.clone())).is_some());
/// assert!(held.take(Event::Spare(counted)).is_none());
/// ```
pub struct Held(Index);

impl Default for Held {
    fn default() -> Self {
        // A store in memory reads no folder and writes none.
        Self(Index::over(Store::in_memory(Path::new(""), remake)))
    }
}

impl Held {
    /// What is new in an event, as [`super::Record::sift`] says it; takes that in, so that it is not new again.
    #[must_use]
    pub fn take(&mut self, event: Event) -> Option<Event> {
        let new = self.0.sift(event)?;
        self.take_in(&new);
        Some(new)
    }

    /// Takes in what an event adds, for events that were sifted before.
    pub fn take_in(&mut self, event: &Event) {
        self.0.take_in(event);
        self.0.settle();
    }
}
