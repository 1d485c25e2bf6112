//! What the kernel says about the folder. Only ever a reason to look sooner: hints get lost on network shares,
//! when too many come at once, and when a folder is removed and made again, which no hint tells.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::mem;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use notify::event::{AccessKind, AccessMode, ModifyKind, RenameMode};
use notify::{EventKind, RecommendedWatcher, RecursiveMode, Watcher};
use tokio::sync::Notify;

use super::entry::FolderId;

/// Listens to one folder at a time.
pub(super) struct Hints {
    heard: Arc<Heard>,
    listening: Option<(FolderId, RecommendedWatcher)>,
}

#[derive(Default)]
struct Heard {
    /// Files that were closed after writing, or renamed to, since the last look.
    whole: Mutex<BTreeSet<OsString>>,
    /// The folder itself was removed: from here on the kernel says nothing, even if one of that name and inode
    /// is made again.
    gone: AtomicBool,
    wake: Notify,
}

impl Hints {
    pub(super) fn new() -> Self {
        Self { heard: Arc::default(), listening: None }
    }

    /// Listens to the folder at `path`, anew if it is another one than before.
    pub(super) fn listen(&mut self, path: &Path, id: FolderId) {
        let gone = self.heard.gone.swap(false, Ordering::Relaxed);
        if !gone && self.listening.as_ref().is_some_and(|(listened, _)| *listened == id) {
            return;
        }
        self.listening = None;
        let folder = path.to_owned();
        let heard = Arc::clone(&self.heard);
        let watcher = notify::recommended_watcher(move |event| heard.hear(event, &folder));
        let armed = watcher.and_then(|mut watcher| {
            watcher.watch(path, RecursiveMode::NonRecursive)?;
            Ok(watcher)
        });
        match armed {
            Ok(watcher) => self.listening = Some((id, watcher)),
            Err(error) => {
                tracing::info!(folder = %path.display(), %error, "no hints from the kernel; the rescan finds files later");
            }
        }
    }

    /// Stops listening: the folder is gone.
    pub(super) fn deaf(&mut self) {
        self.listening = None;
    }

    /// The files said to be whole since the last call.
    pub(super) fn whole(&self) -> BTreeSet<OsString> {
        mem::take(&mut *self.heard.whole.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Waits for the next hint.
    pub(super) async fn any(&self) {
        self.heard.wake.notified().await;
    }
}

impl Heard {
    fn hear(&self, event: notify::Result<notify::Event>, folder: &Path) {
        let Ok(event) = event else {
            self.wake.notify_one();
            return;
        };
        let whole = matches!(
            event.kind,
            EventKind::Access(AccessKind::Close(AccessMode::Write))
                | EventKind::Modify(ModifyKind::Name(RenameMode::To | RenameMode::Both))
        );
        if matches!(event.kind, EventKind::Remove(_)) && event.paths.iter().any(|path| path == folder) {
            self.gone.store(true, Ordering::Relaxed);
        }
        // Our own reading of files makes events too; to look because of them would never end.
        if !whole && matches!(event.kind, EventKind::Access(_)) {
            return;
        }
        if whole && let Some(name) = event.paths.last().and_then(|path| path.file_name()) {
            self.whole.lock().unwrap_or_else(PoisonError::into_inner).insert(name.to_owned());
        }
        self.wake.notify_one();
    }
}
