//! The watched folder.

use std::path::{Path, PathBuf};
use std::time::Duration;

use super::Door;
use super::formats::Context;

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
    /// A file that looks cut off is given this long to be finished before it is judged.
    pub unfinished: Duration,
    /// Files larger than this are refused, bytes.
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
            bytes_max: 64 * 1024 * 1024,
        }
    }
}

/// Watches the folder until the driver closes the door. Does not look into it yet: the signature lands first,
/// so that drivers can be built against it.
pub async fn watch(settings: FolderSettings, context: Context, door: Door) {
    tracing::warn!(path = %settings.path.display(), cats = context.cats.len(), "the folder is not watched yet");
    door.closed().await;
}
