//! The store: what can be worked out from the journal, kept so that a start does not have to. One `sled` tree.
//! Comes in: whole days of readings, marks, and checkpoints. Goes out: the same by key.
//!
//! The store may be thrown away at any time. If it will not open it is moved aside and made anew; if it fails
//! while in use, what it held is worked out again and kept in memory until it can be written again. All that
//! `sled` is asked runs under `catch_unwind`: on damaged files it has been seen to panic instead of failing.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

use chrono::{DateTime, Utc};

use super::block::{Block, Day};
use super::damage::Damage;
use super::sift::{Mark, unpack_marks};
use crate::words::CatName;

/// The name of a value in the store.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Key {
    /// Format of the store and version of the program that wrote it.
    Version,
    /// Where the checkpoint stands in the journal.
    Checkpoint,
    /// A piece of the state, by number.
    State(u16),
    /// Marks of the newest batches.
    Batches,
    /// One day of readings.
    Block(CatName, Day),
    /// Marks of one day's other records.
    Marks(CatName, Day),
}

impl Key {
    /// The name as bytes.
    pub(super) fn bytes(&self) -> Vec<u8> {
        let by_day = |letter: u8, cat: &CatName, day: Day| {
            let mut key = vec![letter];
            key.extend_from_slice(cat.as_str().as_bytes());
            key.push(0);
            // With the top bit turned, signed numbers sort as bytes.
            key.extend_from_slice(&(day ^ Day::MIN).to_be_bytes());
            key
        };
        match self {
            Self::Version => b"v".to_vec(),
            Self::Checkpoint => b"c".to_vec(),
            Self::State(piece) => [b"s".as_slice(), &piece.to_be_bytes()].concat(),
            Self::Batches => b"d".to_vec(),
            Self::Block(cat, day) => by_day(b'b', cat, *day),
            Self::Marks(cat, day) => by_day(b'x', cat, *day),
        }
    }
}

/// What a store holds, by the bytes of its keys.
pub(super) type Map = BTreeMap<Vec<u8>, Vec<u8>>;

/// What is to become of a key: a new value, or none.
pub(super) type Change = (Key, Option<Vec<u8>>);

/// The store, wherever it is at the moment.
pub(super) struct Store {
    folder: PathBuf,
    shelf: Mutex<Shelf>,
    /// What went wrong since somebody asked.
    damage: Mutex<Vec<Damage>>,
    /// Works out from the journal what the store should hold, up to a sequence number.
    remake: fn(&Path, u64) -> Map,
    /// Up to which entry the journal is safe.
    pub(super) synced_seq: u64,
}

enum Shelf {
    Disk(Disk),
    Memory(Map),
}

struct Disk {
    db: sled::Db,
    /// Opened a second time, because `sled` itself never calls `fsync` here.
    file: File,
}

impl Store {
    /// Opens the store in `folder`, or makes a new one.
    pub(super) fn open(folder: &Path, remake: fn(&Path, u64) -> Map) -> Self {
        let store = Self::in_memory(folder, remake);
        match Disk::open(&folder.join(NAME)) {
            Ok(disk) => *store.shelf() = Shelf::Disk(disk),
            Err(why) => store.replace(why),
        }
        store
    }

    /// Moves the store aside and goes on with an empty one.
    pub(super) fn begin_anew(&mut self, why: &str) {
        let old = std::mem::replace(&mut *self.shelf(), Shelf::Memory(Map::new()));
        drop_guarded(old);
        self.replace(why.to_owned());
    }

    /// Moves what is on disk aside and puts an empty store there; in memory if that does not work.
    fn replace(&self, why: String) {
        let path = self.folder.join(NAME);
        let kept_in = match set_aside(&path) {
            Ok(kept_in) => kept_in,
            Err(error) => {
                let why = format!("{why}; moving it aside: {error}");
                return locked(&self.damage).push(Damage::StoreInMemory { why });
            }
        };
        locked(&self.damage).push(Damage::StoreSetAside { why, kept_in });
        match Disk::open(&path) {
            Ok(disk) => *self.shelf() = Shelf::Disk(disk),
            Err(why) => locked(&self.damage).push(Damage::StoreInMemory { why }),
        }
    }

    /// One that is in memory only.
    pub(super) fn in_memory(folder: &Path, remake: fn(&Path, u64) -> Map) -> Self {
        let shelf = Mutex::new(Shelf::Memory(Map::new()));
        Self { folder: folder.to_owned(), shelf, damage: Mutex::default(), remake, synced_seq: 0 }
    }

    /// Damage found since the last time this was asked.
    pub(super) fn take_damage(&self) -> Vec<Damage> {
        std::mem::take(&mut *locked(&self.damage))
    }

    /// One day of readings; empty if there is none.
    pub(super) fn block(&self, cat: &CatName, day: Day) -> Block {
        let unpack = |bytes: &[u8]| Block::unpack(day, bytes);
        self.read(&Key::Block(cat.clone(), day), unpack).unwrap_or_default()
    }

    /// Marks of one day's other records.
    pub(super) fn marks(&self, cat: &CatName, day: Day) -> Vec<Mark> {
        self.read(&Key::Marks(cat.clone(), day), unpack_marks).unwrap_or_default()
    }

    /// Marks of the newest batches, oldest first.
    pub(super) fn batches(&self) -> Vec<Mark> {
        self.read(&Key::Batches, unpack_marks).unwrap_or_default()
    }

    /// A value as it was written.
    pub(super) fn value(&self, key: &Key) -> Option<Vec<u8>> {
        self.read(key, |bytes| Some(bytes.to_vec()))
    }

    /// The days from `from` to `until`, both included, of which there are readings.
    pub(super) fn days(&self, cat: &CatName, from: Day, until: Day) -> Vec<Day> {
        if from > until {
            return Vec::new();
        }
        let key = |day| Key::Block(cat.clone(), day).bytes();
        let listed = self.shelf().keys(key(from), key(until));
        let keys = listed.unwrap_or_else(|why| {
            self.distrust(why);
            self.shelf().keys(key(from), key(until)).unwrap_or_default()
        });
        let day = |key: &Vec<u8>| key.last_chunk::<4>().map(|day| Day::from_be_bytes(*day) ^ Day::MIN);
        keys.iter().filter_map(day).collect()
    }

    /// Writes all of it or nothing; on the disk for good only once `keep` is called. Whatever the result, the
    /// store holds everything that is safe in the journal afterwards, in memory if need be.
    pub(super) fn write(&mut self, changes: &[Change]) -> Result<(), String> {
        self.attempt(changes, false)
    }

    /// Writes all of it or nothing, and makes it durable. For the result, see `write`.
    pub(super) fn keep(&mut self, changes: &[Change]) -> Result<(), String> {
        self.attempt(changes, true)
    }

    /// Takes everything out.
    pub(super) fn clear(&mut self) {
        let cleared = match &mut *self.shelf() {
            Shelf::Memory(map) => {
                map.clear();
                Ok(())
            }
            Shelf::Disk(disk) => guarded(|| disk.db.clear()),
        };
        if let Err(why) = cleared {
            locked(&self.damage).push(Damage::StoreInMemory { why });
            *self.shelf() = Shelf::Memory(Map::new());
        }
    }

    fn attempt(&mut self, changes: &[Change], durably: bool) -> Result<(), String> {
        let written = self.shelf().apply(changes, durably);
        if let Err(why) = &written {
            self.distrust(why.clone());
        } else if durably {
            self.return_to_disk()?;
        }
        written
    }

    /// If everything is held in memory, tries to get back onto the disk with it.
    fn return_to_disk(&self) -> Result<(), String> {
        let mut shelf = self.shelf();
        if let Shelf::Memory(map) = &*shelf {
            *shelf = Shelf::Disk(revive(&self.folder.join(NAME), map)?);
        }
        Ok(())
    }

    fn read<T>(&self, key: &Key, unpack: impl Fn(&[u8]) -> Option<T>) -> Option<T> {
        let bytes = key.bytes();
        let found = self.shelf().get(&bytes);
        let odd = || "a value in it does not make sense".to_owned();
        let found = match found {
            Ok(None) => return None,
            Ok(Some(value)) => unpack(&value).ok_or_else(odd),
            Err(why) => Err(why),
        };
        found.map(Some).unwrap_or_else(|why| {
            self.distrust(why);
            self.shelf().get(&bytes).ok().flatten().and_then(|value| unpack(&value))
        })
    }

    /// Stops using the disk: works out again what is held, and keeps it in memory.
    fn distrust(&self, why: String) {
        let map = (self.remake)(&self.folder, self.synced_seq);
        let old = std::mem::replace(&mut *self.shelf(), Shelf::Memory(map));
        drop_guarded(old);
        locked(&self.damage).push(Damage::StoreInMemory { why });
    }

    fn shelf(&self) -> MutexGuard<'_, Shelf> {
        locked(&self.shelf)
    }
}

impl Shelf {
    fn get(&self, key: &[u8]) -> Result<Option<Vec<u8>>, String> {
        match self {
            Self::Memory(map) => Ok(map.get(key).cloned()),
            Self::Disk(disk) => guarded(|| disk.db.get(key)).map(|value| value.map(|value| value.to_vec())),
        }
    }

    fn keys(&self, from: Vec<u8>, until: Vec<u8>) -> Result<Vec<Vec<u8>>, String> {
        match self {
            Self::Memory(map) => Ok(map.range(from..=until).map(|(key, _)| key.clone()).collect()),
            Self::Disk(disk) => guarded(|| {
                disk.db.range(from..=until).keys().map(|key| key.map(|key| key.to_vec())).collect()
            }),
        }
    }

    fn apply(&mut self, changes: &[Change], durably: bool) -> Result<(), String> {
        match self {
            Self::Memory(map) => {
                for (key, value) in changes {
                    match value {
                        Some(value) => map.insert(key.bytes(), value.clone()),
                        None => map.remove(&key.bytes()),
                    };
                }
                Ok(())
            }
            Self::Disk(disk) => {
                let mut batch = sled::Batch::default();
                for (key, value) in changes {
                    match value {
                        Some(value) => batch.insert(key.bytes(), value.as_slice()),
                        None => batch.remove(key.bytes()),
                    }
                }
                disk.apply(batch, durably)
            }
        }
    }
}

impl Disk {
    fn open(path: &Path) -> Result<Self, String> {
        let config = sled::Config::new()
            .path(path)
            .cache_capacity(CACHE_BYTES)
            .mode(sled::Mode::LowSpace)
            // Each flush costs 64 to 108 KiB of writing, so there is one per checkpoint and none in between.
            .flush_every_ms(None);
        let db = patiently(|| config.open())?;
        let file = File::open(path.join("db")).map_err(|error| error.to_string())?;
        Ok(Self { db, file })
    }

    fn apply(&self, batch: sled::Batch, durably: bool) -> Result<(), String> {
        guarded(|| {
            self.db.apply_batch(batch)?;
            if durably {
                self.db.flush()?;
                self.file.sync_all().map_err(sled::Error::Io)?;
            }
            Ok(())
        })
    }
}

/// Puts everything that is held in memory onto the disk.
fn revive(path: &Path, map: &Map) -> Result<Disk, String> {
    let disk = Disk::open(path).or_else(|why| {
        set_aside(path).map_err(|error| format!("{why}; moving it aside: {error}"))?;
        Disk::open(path)
    })?;
    guarded(|| disk.db.clear())?;
    let mut batch = sled::Batch::default();
    for (key, value) in map {
        batch.insert(key.as_slice(), value.as_slice());
    }
    disk.apply(batch, true)?;
    Ok(disk)
}

/// Opens the files. A lock on them is no damage: whoever closed them a moment ago may not have let go of them yet.
fn patiently(open: impl Fn() -> sled::Result<sled::Db>) -> Result<sled::Db, String> {
    for _ in 0..LOCK_TRIES {
        match guarded(&open) {
            // `sled` hides the kind of the error, and says it only in words.
            Err(why) if why.starts_with(LOCKED) => thread::sleep(LOCK_PAUSE),
            opened => return opened,
        }
    }
    guarded(&open)
}

/// Asks `sled` something, and takes a panic for a failure.
fn guarded<T>(ask: impl FnOnce() -> sled::Result<T>) -> Result<T, String> {
    match catch_unwind(AssertUnwindSafe(ask)) {
        Ok(answer) => answer.map_err(|error| match error {
            sled::Error::Io(cause) => cause.to_string(),
            other => other.to_string(),
        }),
        Err(_) => Err("sled gave up on it in the middle".to_owned()),
    }
}

/// Moves the store to a name that says from when it is. Gives that name.
fn set_aside(path: &Path) -> io::Result<PathBuf> {
    let about = fs::metadata(path.join("db")).or_else(|_| fs::metadata(path))?;
    let date = DateTime::<Utc>::from(about.modified()?).format("%Y-%m-%dT%H-%M-%S");
    let plain = path.with_file_name(format!("{NAME}-set-aside-{date}"));
    let numbered = |n: u32| path.with_file_name(format!("{NAME}-set-aside-{date}-{n}"));
    let mut names = std::iter::once(plain).chain((2..).map(numbered));
    let name = names.find(|name| !name.exists()).unwrap_or_default();
    fs::rename(path, &name)?;
    Ok(name)
}

/// Closing writes too, and may fail as well.
fn drop_guarded(shelf: Shelf) {
    let _ = catch_unwind(AssertUnwindSafe(|| drop(shelf)));
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The store's folder inside the data folder.
pub(super) const NAME: &str = "store";
const CACHE_BYTES: u64 = 4 * 1024 * 1024;
const LOCKED: &str = "could not acquire lock";
/// With the pause, five seconds.
const LOCK_TRIES: u32 = 500;
const LOCK_PAUSE: Duration = Duration::from_millis(10);
