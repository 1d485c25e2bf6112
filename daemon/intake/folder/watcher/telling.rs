//! What the watcher tells of the folder and of files in it that cannot be taken: each once, and of many only how many.

use std::path::Path;

use tokio::time::Instant;

use super::{Closed, Watcher};
use crate::intake::Inbound;
use crate::intake::flood::{Worth, brief, kind_of};
use crate::intake::formats::FileError;
use crate::words::{Arg, Event, Health, Telling, Watch};

impl Watcher {
    /// Tells what came of a file. Where files are moved, each of them is a new one, whatever its name; where they
    /// stay, what `rejected` has said before (`news` is false), before a restart perhaps, is not said again.
    pub(super) async fn tell_of_file(
        &mut self,
        name: String,
        trouble: Option<(Telling, String)>,
        news: bool,
    ) -> Result<(), Closed> {
        let key = (Watch::FileRejected, name);
        let Some((telling, kind)) = trouble else { return self.tell(key.0, key.1, None).await };
        if !news {
            self.told.insert(key, telling);
            return Ok(());
        }
        if !self.settings.keep {
            self.told.remove(&key);
        }
        self.tell_rejected(key.1, telling, kind).await
    }

    /// Tells of a file that cannot be taken, unless just that was told before. Of many with the same thing wrong only how
    /// many there are.
    pub(super) async fn tell_rejected(
        &mut self,
        name: String,
        telling: Telling,
        kind: String,
    ) -> Result<(), Closed> {
        let key = (Watch::FileRejected, name);
        if self.told.get(&key) == Some(&telling) {
            return Ok(());
        }
        let worth = self.flood.count(kind.clone(), Instant::now());
        if worth == Worth::Alone {
            return self.tell(key.0, key.1, Some(telling)).await;
        }
        let count = match worth {
            Worth::Together(count) => Some(count),
            _ => None,
        };
        // What lies where it is would be counted at every look.
        if self.settings.keep || matches!(kind.as_str(), LEFT_ALONE | DENIED) {
            self.told.insert(key, telling.clone());
        }
        let Some(count) = count else { return Ok(()) };
        let mut many = Telling::new("files-rejected");
        many.args = telling.args;
        let many = many.with("count", Arg::Count(i64::try_from(count).unwrap_or(i64::MAX)));
        let about = format!("{} {kind}", self.settings.path.display());
        self.tell(Watch::FileRejected, about, Some(many)).await
    }

    /// Tells of a trouble, or that it is over, unless just that was told before.
    pub(super) async fn tell(
        &mut self,
        watch: Watch,
        about: String,
        trouble: Option<Telling>,
    ) -> Result<(), Closed> {
        let key = (watch, about.clone());
        if self.told.get(&key) == trouble.as_ref() {
            return Ok(());
        }
        match &trouble {
            Some(telling) => self.told.insert(key, telling.clone()),
            None => self.told.remove(&key),
        };
        let event = Event::Health(Health { watch, about, trouble });
        self.door.send(Inbound::new(event, None)).await.map_err(|_| Closed)
    }

    /// What is wrong with the first bad row of a file, in a few words: something else that goes wrong on a bad day is told.
    pub(super) fn kind_of_rows(&self, reason: &str) -> String {
        let kind = format!("rows: {}", kind_of(reason));
        if self.flood.has_room_for(&kind, Instant::now()) { kind } else { "rows".to_owned() }
    }

    /// What is said of a file that stays where it is.
    pub(super) fn left(&self, name: &str, reason: &str) -> Telling {
        rejected(name, 0, reason, "inbox", &self.settings.path.join(name))
    }
}

/// What is said of a file, and where to look: at what was put `aside`, or at the file itself in the `inbox`.
pub(super) fn rejected(file: &str, rows: usize, reason: &str, seen: &str, place: &Path) -> Telling {
    Telling::new("file-rejected")
        .with("seen", Arg::Text(seen.to_owned()))
        .with("place", Arg::Text(place.display().to_string()))
        .with("file", Arg::Text(file.to_owned()))
        .with("rows", Arg::Count(i64::try_from(rows).unwrap_or(i64::MAX)))
        .with("reason", Arg::Text(brief(reason)))
}

/// What is wrong with a whole file, in a word: files with the same thing wrong are counted together.
pub(super) const fn kind(error: &FileError) -> &'static str {
    match error {
        FileError::UnknownType(_) => "unknown type",
        FileError::Empty => "empty",
        FileError::Binary(_) => "no text",
        FileError::TooBig { .. } => "too big",
        FileError::Columns { .. } => "no header",
        FileError::Broken(_) => "broken",
    }
}

/// Kinds of what stays in the inbox.
pub(super) const LEFT_ALONE: &str = "left alone";
pub(super) const DENIED: &str = "denied";
