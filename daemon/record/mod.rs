//! Memory: the journal is the truth, the store is derived from it.
//!
//! Comes in: events with what was said to them, and now and then the whole state. Goes out: sequence numbers, what
//! is new in an event, readings by time, and at the start the state as it was. What is appended is safe after
//! `sync`, and only then may a source be told that its readings are kept. The state and the readings by time are
//! in the store, written at checkpoints; whatever came after the newest checkpoint is recalled from the journal.
//! The room decides nothing: what an entry does to the state is the caller's `recall`.
//!
//! One writer at a time; anybody may read the journal beside it ([`Record::entries`],
//! [`Record::verify`], [`export()`]).

mod block;
mod checkpoint;
mod damage;
mod entry;
mod export;
mod held;
mod journal;
mod line_end;
mod reader;
mod sift;
mod store;
mod verify;

use std::fs::{DirBuilder, File, OpenOptions, TryLockError};
use std::io;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use serde::Serialize;
use serde::de::DeserializeOwned;

pub use damage::{BadLine, Damage};
pub use entry::Entry;
pub use export::{Exported, Imported, export, import, merge};
pub use held::Held;
pub use verify::Verified;

use crate::words::{CatName, Event, Moment, Reading, Said, Span};
use checkpoint::Loaded;
use journal::Journal;
use reader::{Entries, Reader};
use sift::Index;
use store::{Map, Store};

/// The record of a household, opened for writing.
pub struct Record {
    folder: PathBuf,
    journal: Journal,
    index: Index,
    unsaved: Unsaved,
    /// Held until the record is closed.
    _lock: File,
}

/// What came since the newest checkpoint.
#[derive(Clone, Copy, Debug, Default)]
struct Unsaved {
    entries: u64,
    readings: u64,
    since: Option<Moment>,
}

/// A record just opened.
pub struct Opened<S> {
    /// The record.
    pub record: Record,
    /// The state as it was after the last entry.
    pub state: S,
    /// What was found wrong and mended; to be told to whoever keeps the daemon.
    pub damage: Vec<Damage>,
    /// How many entries were recalled.
    pub entries_replayed: u64,
}

/// Why the record could not do what it was asked.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// Somebody else has it open.
    #[error(
        "{} is in use by another lowtide; stop that one first, or ask it instead of opening the record",
        folder.display()
    )]
    Locked {
        /// The data folder.
        folder: PathBuf,
    },
    /// The disk or the file system refused.
    #[error("cannot {doing} {}: {source}", path.display())]
    Io {
        /// What was attempted.
        doing: &'static str,
        /// On what.
        path: PathBuf,
        /// The cause.
        source: io::Error,
    },
    /// A newer version of the program wrote it.
    #[error("cannot use {}: {}", file.display(), reader::newer(*version))]
    Newer {
        /// The journal file.
        file: PathBuf,
        /// Its format.
        version: u32,
    },
    /// The store could not be written. The journal is not touched by this; the next checkpoint tries again.
    #[error("cannot write the store: {0}; the journal is complete, only the next start will be slower")]
    Store(String),
    /// A restore needs an empty place.
    #[error(
        "{} holds a record already, and restoring into it would mix the two; restore into an empty folder, or \
         add to this record instead",
        folder.display()
    )]
    NotEmpty {
        /// The data folder.
        folder: PathBuf,
    },
    /// What was to be imported is something else.
    #[error(
        "this is not an export of lowtide that can be read: {why}. A file of readings is not imported: drop it into the inbox"
    )]
    NotAnExport {
        /// The cause.
        why: String,
    },
    /// The state cannot be put into text; a fault of the program.
    #[error("cannot put the state into text: {0}")]
    State(#[from] serde_json::Error),
}

impl Record {
    /// Opens the record in `folder`, or begins one: mends what a power cut left, loads the newest checkpoint (or
    /// starts from `fresh`), and has `recall` apply each entry that came after it, oldest first.
    ///
    /// # Errors
    /// If somebody else has it open, the journal cannot be read or written, or a newer program wrote it.
    /// Damage is no error: it is mended and handed back.
    pub fn open<S: Serialize + DeserializeOwned>(
        folder: &Path,
        fresh: impl FnOnce() -> S,
        mut recall: impl FnMut(&mut S, &Entry),
    ) -> Result<Opened<S>, RecordError> {
        let lock = lock(folder)?;
        let journal::Opened { journal, mut damage } = Journal::open(&journal_folder(folder))?;
        let mut store = Store::open(folder, remake);
        store.synced_seq = journal.last_seq();
        damage.extend(store.take_damage());
        let loaded = checkpoint::load(&store, &journal_folder(folder))?;
        let rebuilt = !matches!(loaded, Loaded::Usable { .. });
        match &loaded {
            Loaded::Usable { .. } => {}
            Loaded::Outdated => store.clear(),
            Loaded::Empty => {
                store.clear();
                if journal.last_seq() > 0 && !damage.iter().any(Damage::is_of_store) {
                    damage.push(Damage::StoreRebuilt { why: "it was missing or not finished".to_owned() });
                }
            }
            Loaded::Unusable { why } => store.begin_anew(why),
        }
        let (mut state, reader) = match loaded {
            Loaded::Usable { state, rest } => (state, *rest),
            _ => (fresh(), Reader::all(&journal_folder(folder))),
        };
        let unsaved = Unsaved::default();
        let index = Index::over(store);
        let mut record = Self { folder: folder.to_owned(), journal, index, unsaved, _lock: lock };
        let mut entries_replayed = 0;
        for entry in Entries::of(reader, &journal_folder(folder)) {
            match entry {
                Ok(entry) => {
                    record.recall(&entry);
                    recall(&mut state, &entry);
                    entries_replayed += 1;
                }
                // The newest file was looked through already when its end was sought.
                Err(found) if damage.contains(&found) => {}
                Err(found) => damage.push(found),
            }
        }
        if rebuilt || entries_replayed > ENTRIES_BETWEEN {
            // If this fails the damage says so, and the next checkpoint tries again.
            let _ = record.checkpoint(&state);
        }
        damage.extend(record.take_damage());
        Ok(Opened { record, state, damage, entries_replayed })
    }

    fn recall(&mut self, entry: &Entry) {
        self.index.take_in(&entry.event);
        self.index.settle();
        self.unsaved.count(entry.at, &entry.event);
        if self.index.unsaved_days() > DAYS_IN_MEMORY {
            let changes: Vec<_> =
                self.index.unsaved().into_iter().map(|(key, value)| (key, Some(value))).collect();
            // A failure leaves everything in memory and is kept as damage.
            let _ = self.index.store.write(&changes);
            self.index.saved();
        }
    }

    /// What is new in an event: readings that are held already are counted instead of repeated, and those that
    /// contradict a held one become conflicts. `None` if there is nothing in it worth keeping: the same dose,
    /// meter check, note or batch again.
    #[must_use]
    pub fn sift(&self, event: Event) -> Option<Event> {
        self.index.sift(event)
    }

    /// The same for what a person records by hand: what was taken back and is recorded again is new.
    #[must_use]
    pub fn sift_by_hand(&self, event: Event) -> Option<Event> {
        self.index.sift_by_hand(event)
    }

    /// Puts an entry at the end, in memory until `sync`. Gives its number. The event is expected to be sifted.
    pub fn append(&mut self, at: Moment, event: Event, said: Said) -> u64 {
        self.index.take_in(&event);
        self.unsaved.count(at, &event);
        self.journal.append(at, &event, &said)
    }

    /// Whether something was appended that is not on the disk yet.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        self.journal.is_waiting()
    }

    /// Brings everything appended to the disk: after this it survives a power cut.
    ///
    /// # Errors
    /// If it fails, everything appended since the last success is dropped from the record: its sources are not
    /// to be told that it is kept, and the caller goes on from the state it had before. The same `Record` can be
    /// used again, and works again as soon as the disk does.
    pub fn sync(&mut self) -> Result<(), RecordError> {
        let synced = self.journal.sync();
        match synced {
            Ok(()) => self.index.settle(),
            Err(_) => self.index.forget(),
        }
        self.index.store.synced_seq = self.journal.last_seq();
        synced
    }

    /// Keeps the state, which has to be the one after the last appended entry, so that the next start is quick.
    /// Syncs first.
    ///
    /// # Errors
    /// If the sync fails (see there), or the store cannot be written: then nothing is lost, and the next start
    /// recalls more of the journal.
    pub fn checkpoint<S: Serialize>(&mut self, state: &S) -> Result<(), RecordError> {
        self.sync()?;
        let changes = checkpoint::changes(state, self.journal.end(), &self.index)?;
        let kept = self.index.store.keep(&changes);
        self.index.saved();
        self.unsaved = Unsaved::default();
        kept.map_err(RecordError::Store)
    }

    /// Whether enough has come since the last checkpoint to make one.
    #[must_use]
    pub fn checkpoint_due(&self, now: Moment) -> bool {
        self.unsaved.entries >= ENTRIES_BETWEEN
            || self.unsaved.readings >= READINGS_BETWEEN
            || self.unsaved.since.is_some_and(|since| (now - since).abs() >= TIME_BETWEEN)
    }

    /// A cat's readings from `from` until before `until`, oldest first, strictly rising in (time, kind). Where a
    /// source contradicted itself, the value that came first.
    #[must_use]
    pub fn readings(&self, cat: &CatName, from: Moment, until: Moment) -> Vec<Reading> {
        self.index.readings(cat, from, until)
    }

    /// The number of the last appended entry; 0 before the first.
    #[must_use]
    pub fn last_seq(&self) -> u64 {
        self.journal.last_seq()
    }

    /// The data folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Damage found (and worked around) since the last time this was asked.
    #[must_use]
    pub fn take_damage(&mut self) -> Vec<Damage> {
        self.index.store.take_damage()
    }

    /// Reads the journal in `folder`, oldest first. Changes nothing and needs no lock, so it may run beside the
    /// daemon; a last line that is being written is not there yet.
    pub fn entries(folder: &Path) -> impl Iterator<Item = Result<Entry, Damage>> + use<> {
        Entries::of(Reader::all(&journal_folder(folder)), &journal_folder(folder))
    }

    /// The same from about `since` on: files of months before it are not opened. Damage is passed over, because whoever
    /// asks for the newest cannot tell what is missing; the start and `lowtide history` say it.
    pub fn entries_since(folder: &Path, since: Moment) -> impl Iterator<Item = Entry> + use<> {
        let journal = journal_folder(folder);
        let month = since.at(chrono_tz::UTC).format("%Y-%m").to_string();
        let mut files = reader::month_files(&journal).unwrap_or_default();
        files.retain(|file| file.month >= month);
        Entries::of(Reader::over(files), &journal).flatten().filter(move |entry| entry.at >= since)
    }
}

impl Unsaved {
    fn count(&mut self, at: Moment, event: &Event) {
        self.entries += 1;
        if let Event::Readings(batch) = event {
            self.readings += batch.readings.len() as u64;
        }
        self.since.get_or_insert(at);
    }
}

/// What the store should hold after entry `until`, worked out from the journal.
fn remake(folder: &Path, until: u64) -> Map {
    let mut index = Index::over(Store::in_memory(folder, remake));
    for entry in Record::entries(folder).filter_map(Result::ok).take_while(|entry| entry.seq <= until) {
        index.take_in(&entry.event);
        index.settle();
    }
    index.unsaved().into_iter().map(|(key, value)| (key.bytes(), value)).collect()
}

/// Makes the data folder (for nobody else to read: the record holds addresses and topics) and takes its lock.
fn lock(folder: &Path) -> Result<File, RecordError> {
    DirBuilder::new().recursive(true).mode(0o700).create(folder).map_err(at_path("create", folder))?;
    let path = folder.join("lock");
    let open = OpenOptions::new().create(true).truncate(false).write(true).open(&path);
    let file = open.map_err(at_path("create", &path))?;
    // One that is just ending may not have let go of it yet.
    for _ in 0..LOCK_TRIES {
        match file.try_lock() {
            Ok(()) => return Ok(file),
            Err(TryLockError::WouldBlock) => thread::sleep(LOCK_PAUSE),
            Err(TryLockError::Error(error)) => return Err(at_path("lock", &path)(error)),
        }
    }
    Err(RecordError::Locked { folder: folder.to_owned() })
}

fn journal_folder(folder: &Path) -> PathBuf {
    folder.join("journal")
}

/// Says what was attempted when an I/O error came.
fn at_path(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> RecordError {
    let path = path.to_owned();
    move |source| RecordError::Io { doing, path, source }
}

// How much may come between checkpoints. Chosen by us: recalling this much takes well under a tenth of a
// second, and a checkpoint costs about 100 KiB of writing, which wears a memory card.
const ENTRIES_BETWEEN: u64 = 256;
const READINGS_BETWEEN: u64 = 10_000;
const TIME_BETWEEN: Span = Span::hours(6);
/// While a long journal is recalled, no more than this many changed days are held in memory.
const DAYS_IN_MEMORY: usize = 4_000;
/// With the pause, half a second.
const LOCK_TRIES: u32 = 50;
const LOCK_PAUSE: Duration = Duration::from_millis(10);
