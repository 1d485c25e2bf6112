//! The watched folder: finds whole files, hands what they say to the driver, and puts them away once the
//! driver has it on disk. Hints of the kernel only make it look sooner; the rescan alone would do.
//!
//! - `hint.rs` listens to the kernel, - `entry.rs` looks at the folder and judges whether a file is whole,
//! - `reading.rs` reads one file, - `shelf.rs` puts files and bad rows away.
//!
//! A file that is read twice does no harm: the record passes over readings that it holds. So nothing about files
//! is kept on disk, and whenever there is doubt a file is read again.

mod entry;
mod hint;
mod reading;
mod shelf;
mod watcher;

use std::path::{Path, PathBuf};
use std::time::Duration;

use super::Door;
use super::formats::{BYTES_MAX, Context};

/// How the folder is watched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FolderSettings {
    /// The folder that files are dropped into.
    pub path: PathBuf,
    /// Where files go once their readings are on disk.
    pub done: PathBuf,
    /// Where files and rows go that cannot be read.
    pub rejected: PathBuf,
    /// Files stay where they are and are read again when they change (a synced phone folder).
    pub keep: bool,
    /// The folder is looked through at least this often, whatever the hints say.
    pub rescan: Duration,
    /// A file nobody was seen closing is taken once its size and time have not changed for this long.
    pub still: Duration,
    /// A file that looks cut off is given this long without a change before it is judged.
    pub unfinished: Duration,
    /// Files larger than this are refused, bytes; never more than [`BYTES_MAX`].
    pub bytes_max: u64,
}

impl FolderSettings {
    /// The usual settings for a folder; `done` and `rejected` are made beside it.
    #[must_use]
    pub fn beside(path: &Path) -> Self {
        let parent = path.parent().unwrap_or(Path::new("."));
        Self {
            path: path.to_owned(),
            done: parent.join("done"),
            rejected: parent.join("rejected"),
            keep: false,
            rescan: Duration::from_secs(60),
            still: Duration::from_secs(2),
            unfinished: Duration::from_secs(60),
            bytes_max: BYTES_MAX,
        }
    }
}

/// Watches the folder until the driver closes the door.
///
/// Readings, doses and the rest come through the door as events with a `done` that the driver answers after
/// syncing; then the file is moved to `done` (or stays, with `keep`). What cannot be read is reported as
/// [`Health`](crate::words::Health) of the watches `file-rejected` and `source-refused`, once each.
pub async fn watch(settings: FolderSettings, context: Context, door: Door) {
    let mut watcher = watcher::Watcher::new(settings, context, door.clone());
    loop {
        let Ok(next_look) = watcher.look().await else { return };
        tokio::select! {
            () = watcher.hinted() => {}
            () = tokio::time::sleep(next_look) => {}
            () = door.closed() => return,
        }
    }
}
