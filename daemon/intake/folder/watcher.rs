//! Goes through the folder, file by file: read, hand over, wait for the disk, put away.

mod telling;

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::{OsStr, OsString};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::oneshot;
use tokio::time::Instant;

use super::FolderSettings;
use super::entry::{self, Entry, Sight, Stamp};
use super::hint::Hints;
use super::reading::{self, Outcome};
use super::shelf::{self, Slip};
use crate::intake::flood::Flood;
use crate::intake::formats::{Context, FileError, Parsed, Reject};
use crate::intake::{Door, Inbound, Kept};
use crate::words::{Arg, Event, Telling, Via, Watch};
use telling::{DENIED, LEFT_ALONE, kind, rejected};

/// The driver has closed the door: there is nobody left to tell.
pub(super) struct Closed;

pub(super) struct Watcher {
    settings: Arc<FolderSettings>,
    context: Arc<Context>,
    door: Door,
    hints: Hints,
    sights: BTreeMap<OsString, Sight>,
    /// Files whose content is on disk but that could not be moved yet, and where they belong.
    to_move: BTreeMap<OsString, (Stamp, PathBuf)>,
    /// Files put away lately.
    moved: Vec<Moved>,
    /// Links, folders and the like that lie in the folder.
    left_alone: BTreeSet<String>,
    /// Troubles told and not yet over.
    told: BTreeMap<(Watch, String), Telling>,
    /// How many files could not be read, by what is wrong with them.
    flood: Flood<String>,
}

/// A file put away, as it was then: a program that held it open goes on writing to it where it is now.
#[derive(Clone)]
struct Moved {
    path: PathBuf,
    name: String,
    sight: Sight,
    until: Instant,
}

impl Watcher {
    pub(super) fn new(settings: FolderSettings, context: Context, door: Door) -> Self {
        Self {
            settings: Arc::new(settings),
            context: Arc::new(context),
            door,
            hints: Hints::new(),
            sights: BTreeMap::new(),
            to_move: BTreeMap::new(),
            moved: Vec::new(),
            left_alone: BTreeSet::new(),
            told: BTreeMap::new(),
            flood: Flood::default(),
        }
    }

    /// Waits for a hint that something has changed.
    pub(super) async fn hinted(&self) {
        self.hints.any().await;
        // A burst of hints is one reason to look.
        tokio::time::sleep(BURST).await;
    }

    /// Looks through the folder once. Gives how long to wait for hints until the next look.
    pub(super) async fn look(&mut self) -> Result<Duration, Closed> {
        // Before looking: a file closed from here on is hinted at again.
        let whole = self.hints.whole();
        let Some(entries) = self.entries().await? else {
            return Ok(self.settings.rescan.min(MISSING));
        };
        self.sight(&entries, &whole);
        self.tell_of_those_left_alone(&entries).await?;
        for entry in entries.iter().filter(|entry| entry.found.is_ok()) {
            let Some(sight) = self.sights.get(&entry.name).copied() else { continue };
            if sight.wait(self.settings.still, Instant::now()) == Some(Duration::ZERO) {
                self.file(&entry.name, sight).await?;
            }
        }
        self.look_at_moved().await?;
        let now = Instant::now();
        let waits = self.sights.values().filter_map(|sight| sight.wait(self.settings.still, now));
        Ok(waits.min().map_or(self.settings.rescan, |wait| wait.max(BURST).min(self.settings.rescan)))
    }

    /// What is in the folder; `None`, told once, if it cannot be looked at.
    async fn entries(&mut self) -> Result<Option<Vec<Entry>>, Closed> {
        let settings = Arc::clone(&self.settings);
        let found = match entry::folder_id(&settings.path) {
            Ok(id) => {
                // Before looking: what comes between the two is then both seen and hinted at.
                self.hints.listen(&settings.path, id);
                blocking(move || entry::entries(&settings.path, &[&settings.done, &settings.rejected])).await
            }
            Err(error) => Err(error),
        };
        let about = self.settings.path.display().to_string();
        match found {
            Ok(entries) => {
                self.tell(Watch::SourceRefused, about, None).await?;
                Ok(Some(entries))
            }
            Err(error) => {
                self.hints.deaf();
                let telling = Telling::new("source-folder")
                    .with("source", Arg::Text(about.clone()))
                    .with("reason", Arg::Text(format!("the folder cannot be read: {error}")));
                self.tell(Watch::SourceRefused, about, Some(telling)).await?;
                Ok(None)
            }
        }
    }

    fn sight(&mut self, entries: &[Entry], whole: &BTreeSet<OsString>) {
        let now = Instant::now();
        let there: BTreeSet<&OsString> = entries.iter().map(|entry| &entry.name).collect();
        self.sights.retain(|name, _| there.contains(name));
        self.to_move.retain(|name, _| there.contains(name));
        for entry in entries {
            let Ok(stamp) = entry.found else { continue };
            let sight = self.sights.entry(entry.name.clone()).or_insert_with(|| Sight::new(stamp, now));
            sight.seen(stamp, whole.contains(&entry.name), now);
        }
    }

    async fn tell_of_those_left_alone(&mut self, entries: &[Entry]) -> Result<(), Closed> {
        let shown = |entry: &Entry| entry.name.to_string_lossy().into_owned();
        let left: BTreeSet<String> = entries.iter().filter(|entry| entry.found.is_err()).map(shown).collect();
        // One that is gone and comes back is a new one.
        for gone in self.left_alone.difference(&left) {
            self.told.remove(&(Watch::FileRejected, gone.clone()));
        }
        self.left_alone = left;
        for entry in entries {
            if let Err(reason) = entry.found {
                let telling = self.left(&shown(entry), reason);
                self.tell_rejected(shown(entry), telling, LEFT_ALONE.to_owned()).await?;
            }
        }
        Ok(())
    }

    /// Deals with one file that counts as whole.
    async fn file(&mut self, name: &OsStr, sight: Sight) -> Result<(), Closed> {
        if let Some((stamp, folder)) = self.to_move.get(name).cloned()
            && stamp == sight.stamp
        {
            return self.put_away(name, sight, folder).await;
        }
        let path = self.settings.path.join(name);
        let shown = name.to_string_lossy().into_owned();
        match self.read(path, &shown, sight).await {
            Outcome::Read(parsed) => self.take(name, sight, parsed).await,
            Outcome::Unreadable(FileError::UnknownType(_)) if self.settings.keep => {
                // A folder that is synced as a whole holds other things too.
                tracing::info!(file = %shown, "passed over: it is of no known type");
                self.dealt_with(name, sight);
                Ok(())
            }
            Outcome::Unreadable(error) => self.refuse(name, sight, &error).await,
            Outcome::Moving => {
                self.again_in(name, Duration::ZERO);
                Ok(())
            }
            Outcome::Unfinished(needed) => {
                let wait = needed.saturating_sub(sight.still_for(Instant::now()));
                self.again_in(name, wait);
                Ok(())
            }
            Outcome::Denied(error) => {
                self.again_in(name, self.settings.rescan);
                let telling = self.left(&shown, &format!("{error}; it is tried again"));
                self.tell_rejected(shown, telling, DENIED.to_owned()).await
            }
        }
    }

    async fn read(&self, path: PathBuf, name: &str, sight: Sight) -> Outcome {
        let (settings, context) = (Arc::clone(&self.settings), Arc::clone(&self.context));
        let still_for = sight.still_for(Instant::now());
        let name = name.to_owned();
        let read = move || Ok(reading::read(&path, &name, sight, still_for, &context, &settings));
        blocking(read).await.unwrap_or_else(Outcome::Denied)
    }

    /// Hands over what a file says, keeps its bad rows, and puts it away.
    async fn take(&mut self, name: &OsStr, sight: Sight, parsed: Parsed) -> Result<(), Closed> {
        let shown = name.to_string_lossy().into_owned();
        let (found, rejects) = (parsed.records.len(), parsed.rejects.clone());
        if let Err(why) = self.hand_over(parsed, &shown).await? {
            tracing::warn!(file = %shown, %why, "the file stays in the inbox: what it says could not be kept");
            self.again_in(name, self.settings.rescan);
            return Ok(());
        }
        tracing::info!(file = %shown, found, rejected = rejects.len(), "read");
        let (mut news, mut telling) = (true, None);
        if let Some(first) = rejects.first() {
            let Some(slip) = self.keep_rejects(name, &rejects).await? else { return Ok(()) };
            let reason = format!("line {}: {}", first.line, first.reason);
            news = slip.news;
            let told = rejected(&shown, rejects.len(), &reason, "aside", &slip.path);
            telling = Some((told, self.kind_of_rows(&first.reason)));
        }
        self.tell_of_file(shown, telling, news).await?;
        let folder =
            if found == 0 && !rejects.is_empty() { &self.settings.rejected } else { &self.settings.done };
        let folder = folder.clone();
        self.put_away(name, sight, folder).await
    }

    /// Writes the bad rows down; `None` if it failed and is tried again.
    async fn keep_rejects(&mut self, name: &OsStr, rejects: &[Reject]) -> Result<Option<Slip>, Closed> {
        let (settings, own, rejects) = (Arc::clone(&self.settings), name.to_owned(), rejects.to_vec());
        let write = move || shelf::write_rejects(&settings.rejected, &own, &rejects, settings.keep);
        match blocking(write).await {
            Ok(slip) => Ok(Some(slip)),
            Err(error) => {
                self.cannot_put_away(name, &self.settings.rejected.clone(), &error).await.map(|()| None)
            }
        }
    }

    /// Puts a file away in which nothing can be read.
    async fn refuse(&mut self, name: &OsStr, sight: Sight, error: &FileError) -> Result<(), Closed> {
        let reason = error.to_string();
        let shown = name.to_string_lossy().into_owned();
        let (settings, own) = (Arc::clone(&self.settings), name.to_owned());
        let (proposed, aside) = (error.proposed(), "; lines that would read it stand in the file beside it");
        let text = format!("{reason}{proposed}");
        let reason = if proposed.is_empty() { reason } else { format!("{reason}{aside}") };
        let write = move || shelf::write_reason(&settings.rejected, &own, &text, settings.keep);
        let slip = match blocking(write).await {
            Ok(slip) => slip,
            Err(error) => {
                return self.cannot_put_away(name, &self.settings.rejected.clone(), &error).await;
            }
        };
        tracing::warn!(file = %shown, %reason, "nothing in the file can be read");
        let told = (rejected(&shown, 0, &reason, "aside", &slip.path), kind(error).to_owned());
        self.tell_of_file(shown, Some(told), slip.news).await?;
        let folder = self.settings.rejected.clone();
        self.put_away(name, sight, folder).await
    }

    /// Moves a file out of the inbox, or remembers that it has been dealt with where files stay.
    async fn put_away(&mut self, name: &OsStr, sight: Sight, folder: PathBuf) -> Result<(), Closed> {
        if self.settings.keep {
            self.dealt_with(name, sight);
            return Ok(());
        }
        let path = self.settings.path.join(name);
        let target = folder.clone();
        match blocking(move || shelf::put_away(&path, sight.stamp, &target)).await {
            Ok(target) => {
                self.sights.remove(name);
                self.to_move.remove(name);
                if self.moved.len() < MOVED_MAX {
                    let (name, until) = (name.to_string_lossy().into_owned(), Instant::now() + MOVED_FOR);
                    self.moved.push(Moved { path: target, name, sight, until });
                }
                self.tell(Watch::SourceRefused, folder.display().to_string(), None).await
            }
            // It has changed since: it is read again, which does no harm.
            Err(error) if matches!(error.kind(), io::ErrorKind::ResourceBusy | io::ErrorKind::NotFound) => {
                self.again_in(name, Duration::ZERO);
                Ok(())
            }
            Err(error) => {
                self.to_move.insert(name.to_owned(), (sight.stamp, folder.clone()));
                self.cannot_put_away(name, &folder, &error).await
            }
        }
    }

    async fn cannot_put_away(
        &mut self,
        name: &OsStr,
        folder: &Path,
        error: &io::Error,
    ) -> Result<(), Closed> {
        self.again_in(name, self.settings.rescan);
        let about = folder.display().to_string();
        let reason = format!("'{}' cannot be put away there: {error}", name.to_string_lossy());
        let telling = Telling::new("source-folder")
            .with("source", Arg::Text(about.clone()))
            .with("reason", Arg::Text(reason));
        self.tell(Watch::SourceRefused, about, Some(telling)).await
    }

    /// Reads what was added to files after they were moved.
    async fn look_at_moved(&mut self) -> Result<(), Closed> {
        let now = Instant::now();
        self.moved.retain(|moved| moved.until > now);
        for place in 0..self.moved.len() {
            let Moved { path, name, mut sight, .. } = self.moved[place].clone();
            let Ok(metadata) = std::fs::symlink_metadata(&path) else { continue };
            if Stamp::of(&metadata) == sight.stamp {
                continue;
            }
            sight.seen(Stamp::of(&metadata), true, now);
            if let Outcome::Read(parsed) = self.read(path, &name, sight).await
                && self.hand_over(parsed, &name).await?.is_ok()
            {
                tracing::info!(file = %name, "was written to after it was moved; read again");
                self.moved[place].sight = sight;
            }
        }
        Ok(())
    }

    /// Sends everything through the door and waits until all of it is on disk.
    async fn hand_over(&self, parsed: Parsed, source: &str) -> Result<Result<(), String>, Closed> {
        let mut answers = Vec::new();
        for (_, event) in parsed.into_events(Via::Folder, source) {
            answers.push(self.send(event).await?);
        }
        for answer in answers {
            match answer.await {
                Ok(Kept::Synced | Kept::Known) => {}
                Ok(Kept::Failed(why)) => return Ok(Err(why)),
                Err(_) => return Ok(Err("the driver did not answer".to_owned())),
            }
        }
        Ok(Ok(()))
    }

    async fn send(&self, event: Event) -> Result<oneshot::Receiver<Kept>, Closed> {
        let (done, answer) = oneshot::channel();
        self.door.send(Inbound::new(event, Some(done))).await.map_err(|_| Closed)?;
        Ok(answer)
    }

    fn again_in(&mut self, name: &OsStr, wait: Duration) {
        if let Some(sight) = self.sights.get_mut(name) {
            sight.not_before = Some(Instant::now() + wait);
        }
    }

    fn dealt_with(&mut self, name: &OsStr, read: Sight) {
        if let Some(sight) = self.sights.get_mut(name).filter(|sight| sight.stamp == read.stamp) {
            sight.dealt_with = true;
        }
    }
}

/// Runs what may wait for a disk where that holds nobody up.
async fn blocking<T: Send + 'static>(work: impl FnOnce() -> io::Result<T> + Send + 'static) -> io::Result<T> {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|error| Err(io::Error::other(error)))
}

const BURST: Duration = Duration::from_millis(50);
/// A folder that is missing is looked for this often.
const MISSING: Duration = Duration::from_secs(5);
const MOVED_FOR: Duration = Duration::from_secs(600);
const MOVED_MAX: usize = 32;
