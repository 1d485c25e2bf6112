//! Looks through a whole journal without changing anything. Comes in: the data folder. Goes out: what is in it
//! and everything that is wrong with it.

use std::path::Path;

use super::damage::Damage;
use super::reader::{Entries, Reader, month_files};
use super::sift::Index;
use super::store::Store;
use super::{Record, journal_folder};
use crate::words::Event;

/// What a look through the journal found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Verified {
    /// Files of the journal.
    pub files: usize,
    /// Entries that can be used.
    pub entries: u64,
    /// The number of the first of them; above 1 if older files were taken away. 0 if there is none.
    pub first_seq: u64,
    /// The number of the last of them.
    pub last_seq: u64,
    /// Readings in them, contradicting ones included.
    pub readings: u64,
    /// Readings and other records that stand in the journal more than once. Should be none.
    pub doubled: u64,
    /// Bytes after the last whole line. Usual for a moment while the daemon writes; after a power cut they are
    /// cut off at the next start.
    pub unfinished_bytes: u64,
    /// What is wrong.
    pub damage: Vec<Damage>,
}

impl Verified {
    /// Whether everything is as it should be.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.damage.is_empty() && self.doubled == 0
    }

    fn count(&mut self, event: Event, index: &mut Index) {
        index.take_in(&event);
        index.settle();
        if let Event::Readings(batch) = event {
            self.readings += (batch.readings.len() + batch.conflicts.len()) as u64;
        }
    }
}

impl Record {
    /// Looks through the whole journal in `folder`: each line's checksum and meaning, the numbering, and whether
    /// anything stands in it twice. Changes nothing and may run beside the daemon.
    #[must_use]
    pub fn verify(folder: &Path) -> Verified {
        let journal = journal_folder(folder);
        let mut found =
            Verified { files: month_files(&journal).map_or(0, |f| f.len()), ..Default::default() };
        let mut index = Index::over(Store::in_memory(folder, super::remake));
        let mut entries = Entries::of(Reader::all(&journal), &journal);
        for entry in entries.by_ref() {
            match entry {
                Err(damage) => found.damage.push(damage),
                Ok(entry) => {
                    found.entries += 1;
                    found.last_seq = entry.seq;
                    if found.first_seq == 0 {
                        found.first_seq = entry.seq;
                    }
                    found.doubled += doubled(&entry.event, &index);
                    found.count(entry.event, &mut index);
                }
            }
        }
        found.unfinished_bytes = entries.reader.unfinished;
        found
    }
}

/// How much of an event was there before.
fn doubled(event: &Event, index: &Index) -> u64 {
    match (event, index.sift_by_hand(event.clone())) {
        (Event::Readings(before), Some(Event::Readings(after))) => {
            u64::from(after.repeated - before.repeated)
        }
        (Event::Readings(before), _) => (before.readings.len() + before.conflicts.len()) as u64,
        (_, Some(_)) => 0,
        (_, None) => 1,
    }
}
