//! What lies in the folder, and whether a file in it is whole.

use std::ffi::{OsStr, OsString};
use std::fs::{self, Metadata};
use std::io;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::time::{Duration, SystemTime};

use tokio::time::Instant;

use crate::words::Moment;

/// A folder as such, whatever it is called: device, inode, and when it was made (inodes are used again).
pub(super) type FolderId = (u64, u64, Option<SystemTime>);

/// The state of a file: it is unchanged as long as this is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Stamp {
    modified_ns: (i64, i64),
    pub(super) size: u64,
    inode: u64,
}

impl Stamp {
    pub(super) fn of(metadata: &Metadata) -> Self {
        Self {
            modified_ns: (metadata.mtime(), metadata.mtime_nsec()),
            size: metadata.size(),
            inode: metadata.ino(),
        }
    }

    /// When it was written last.
    pub(super) fn modified(&self) -> Moment {
        let (seconds, nanos) = self.modified_ns;
        Moment::from_millis(seconds.saturating_mul(1000).saturating_add(nanos / 1_000_000))
    }
}

/// One thing in the folder.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub(super) name: OsString,
    /// The state of a file, or why it is left alone.
    pub(super) found: Result<Stamp, &'static str>,
}

/// Which folder is at `path`.
pub(super) fn folder_id(path: &Path) -> io::Result<FolderId> {
    let metadata = fs::metadata(path)?;
    if !metadata.is_dir() {
        return Err(io::Error::new(io::ErrorKind::NotADirectory, "it is a file, not a folder"));
    }
    Ok((metadata.dev(), metadata.ino(), metadata.created().ok()))
}

/// Everything in the folder but unfinished and hidden files, the oldest file first. `not_these` are our own
/// folders, should they lie inside.
pub(super) fn entries(path: &Path, not_these: &[&Path]) -> io::Result<Vec<Entry>> {
    let mut out = Vec::new();
    for entry in fs::read_dir(path)? {
        let entry = entry?;
        let name = entry.file_name();
        if passed_over(&name) || not_these.contains(&entry.path().as_path()) {
            continue;
        }
        // Not followed: where a link leads is nobody's inbox. A file may be gone again by now.
        let Ok(metadata) = fs::symlink_metadata(entry.path()) else { continue };
        let found = if name.to_str().is_none() {
            Err("its name is not valid UTF-8; it is left where it is, rename it")
        } else if metadata.is_symlink() {
            Err("it is a link, and links are not followed; it is left where it is")
        } else if metadata.is_dir() {
            Err("it is a folder, and only files are read; it is left where it is")
        } else if !metadata.is_file() {
            Err("it is no ordinary file; it is left where it is")
        } else {
            Ok(Stamp::of(&metadata))
        };
        out.push(Entry { name, found });
    }
    out.sort_by(|a, b| (a.found.as_ref().ok(), &a.name).cmp(&(b.found.as_ref().ok(), &b.name)));
    Ok(out)
}

/// Names that programs give to files they are still writing, and hidden ones.
fn passed_over(name: &OsStr) -> bool {
    let name = name.to_string_lossy().to_lowercase();
    let unfinished = ["~", ".tmp", ".part", ".partial", ".download", ".crdownload"];
    name.starts_with('.') || unfinished.iter().any(|ending| name.ends_with(ending))
}

/// What is known of a file that lies in the folder.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sight {
    pub(super) stamp: Stamp,
    /// Since when it has been like this.
    since: Instant,
    /// Whoever wrote it was seen closing it, or renamed it to this.
    pub(super) closed: bool,
    /// It has been dealt with in this state; until it changes there is nothing to do.
    pub(super) dealt_with: bool,
    /// Not before this.
    pub(super) not_before: Option<Instant>,
}

impl Sight {
    pub(super) fn new(stamp: Stamp, now: Instant) -> Self {
        Self { stamp, since: now, closed: false, dealt_with: false, not_before: None }
    }

    /// Looks again: a change begins everything anew.
    pub(super) fn seen(&mut self, stamp: Stamp, closed: bool, now: Instant) {
        if self.stamp != stamp {
            *self = Self::new(stamp, now);
        }
        self.closed |= closed;
    }

    /// For how long it has not changed.
    pub(super) fn still_for(&self, now: Instant) -> Duration {
        now.saturating_duration_since(self.since)
    }

    /// How long to wait until it counts as whole; nothing to wait for if zero; `None` if there is nothing to do.
    pub(super) fn wait(&self, still: Duration, now: Instant) -> Option<Duration> {
        if self.dealt_with {
            return None;
        }
        let needed = if self.closed { still.min(STILL_AFTER_CLOSING) } else { still };
        let blocked = self.not_before.map_or(Duration::ZERO, |at| at.saturating_duration_since(now));
        Some(needed.saturating_sub(self.still_for(now)).max(blocked))
    }
}

/// Some programs open and close a file for every line.
const STILL_AFTER_CLOSING: Duration = Duration::from_millis(200);

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(size: u64) -> Stamp {
        Stamp { modified_ns: (0, 0), size, inode: 1 }
    }

    #[test]
    fn hidden_and_unfinished_files_are_passed_over() {
        for name in [".hidden.csv", "a.csv~", "a.csv.tmp", "A.CSV.PART", "a.csv.crdownload"] {
            assert!(passed_over(OsStr::new(name)), "{name}");
        }
        for name in ["a.csv", "tmp.csv", "part"] {
            assert!(!passed_over(OsStr::new(name)), "{name}");
        }
    }

    #[test]
    fn a_file_is_whole_when_it_has_been_still_or_was_closed() {
        let still = Duration::from_secs(2);
        // Tokio's clock only runs forward; the lint is about the wall clock and the standard one.
        let start = Instant::now();
        let mut sight = Sight::new(stamp(1), start);
        assert_eq!(sight.wait(still, start), Some(still));
        let later = start + Duration::from_secs(1);
        sight.seen(stamp(2), false, later);
        assert_eq!(sight.wait(still, later), Some(still), "it grew");
        sight.seen(stamp(2), true, later);
        assert_eq!(sight.wait(still, later), Some(STILL_AFTER_CLOSING));
        assert_eq!(sight.wait(still, later + STILL_AFTER_CLOSING), Some(Duration::ZERO));
        sight.dealt_with = true;
        assert_eq!(sight.wait(still, later), None);
        sight.seen(stamp(3), false, later);
        assert_eq!(sight.wait(still, later), Some(still), "it changed after it was read");
    }
}
