//! Where in the topic we are, and which tokens are used: one small file, replaced as a whole.

use std::collections::{BTreeMap, VecDeque};
use std::fs::{self, File};
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::words::Moment;

/// The place. Bounded: ids by number, tokens by their end.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Place {
    /// The last message that is behind us.
    pub(super) last: Option<String>,
    /// The latest messages: a server that has forgotten `last` sends everything again.
    pub(super) seen: VecDeque<String>,
    /// Tokens used, each until it expires.
    pub(super) used: BTreeMap<String, Moment>,
}

impl Place {
    /// The place in a file; a file that is missing or broken is the beginning.
    pub(super) fn read(file: &Path) -> Self {
        fs::read(file).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok()).unwrap_or_default()
    }

    /// A message is behind us.
    pub(super) fn passed(&mut self, id: String, now: Moment) {
        self.last = Some(id.clone());
        self.seen.push_back(id);
        if self.seen.len() > SEEN_MAX {
            self.seen.pop_front();
        }
        self.used.retain(|_, expires| *expires >= now);
    }

    /// Writes it beside and renames, so that a power cut leaves the old one or the new one.
    pub(super) fn write(&self, file: &Path) -> io::Result<()> {
        let beside = file.with_extension("new");
        let mut out = File::options().write(true).create(true).truncate(true).mode(0o600).open(&beside)?;
        out.write_all(&serde_json::to_vec(self)?)?;
        out.sync_all()?;
        fs::rename(beside, file)
    }
}

const SEEN_MAX: usize = 512;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::minutes;

    #[test]
    fn the_place_survives_and_forgets_what_has_expired() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("replies.json");
        assert_eq!(Place::read(&file), Place::default());
        let now = Moment::parse("2026-03-01T06:15:00Z").unwrap();
        let mut place = Place::default();
        place.used.insert("old".to_owned(), now - minutes(1.0));
        place.used.insert("good".to_owned(), now + minutes(1.0));
        for number in 0..=SEEN_MAX {
            place.passed(format!("m{number}"), now);
        }
        place.write(&file).unwrap();
        let back = Place::read(&file);
        assert_eq!(back, place);
        assert_eq!((back.seen.len(), back.used.len()), (SEEN_MAX, 1));
        fs::write(&file, "{").unwrap();
        assert_eq!(Place::read(&file), Place::default());
    }
}
