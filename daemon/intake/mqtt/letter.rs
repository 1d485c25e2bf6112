//! Messages that cannot be read, kept as files with the reason: `mqtt-TIME-N.json` in the folder of rejected things.

use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use serde::Serialize;
use sha2::{Digest as _, Sha256};

use crate::words::Moment;

/// One message that cannot be read, in whole or in part.
#[derive(Debug, Serialize)]
pub(super) struct Letter<'a> {
    /// When it came.
    pub(super) received_at: Moment,
    /// On which topic.
    pub(super) topic: &'a str,
    /// Why it is here.
    pub(super) reason: &'a str,
    /// The rows that could not be read, if others could.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) rows: Vec<String>,
    /// What it said, if it is text.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) payload: Option<&'a str>,
    /// What it said as hexadecimal digits, if it is not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) payload_hex: Option<String>,
}

/// The folder of rejected messages.
#[derive(Debug)]
pub(super) struct Letters {
    folder: PathBuf,
    /// Digests of what is there already, so that a message that comes again is not kept again.
    seen: BTreeSet<Vec<u8>>,
}

impl Letters {
    pub(super) fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), seen: BTreeSet::new() }
    }

    /// Writes and syncs; gives the file's name, or `None` if the same message is there already.
    pub(super) async fn keep(
        &mut self,
        topic: &str,
        payload: &[u8],
        reason: &str,
        rows: Vec<String>,
        now: Moment,
    ) -> io::Result<Option<String>> {
        let digest =
            Sha256::new().chain_update(topic).chain_update([0]).chain_update(payload).finalize().to_vec();
        if self.seen.contains(&digest) {
            return Ok(None);
        }
        let text = std::str::from_utf8(payload).ok();
        let letter = Letter {
            received_at: now,
            topic,
            reason,
            rows,
            payload: text,
            payload_hex: text.is_none().then(|| payload.iter().map(|byte| format!("{byte:02x}")).collect()),
        };
        let mut bytes = serde_json::to_vec_pretty(&letter).map_err(io::Error::other)?;
        bytes.push(b'\n');
        let folder = self.folder.clone();
        let name = tokio::task::spawn_blocking(move || write(&folder, now, &bytes))
            .await
            .map_err(io::Error::other)??;
        if self.seen.len() >= SEEN_MAX {
            self.seen.pop_first();
        }
        self.seen.insert(digest);
        Ok(Some(name))
    }
}

fn write(folder: &Path, now: Moment, bytes: &[u8]) -> io::Result<String> {
    fs::create_dir_all(folder)?;
    let time = now.utc().format("%Y%m%dT%H%M%SZ");
    for number in 1.. {
        let name = format!("mqtt-{time}-{number}.json");
        match OpenOptions::new().write(true).create_new(true).open(folder.join(&name)) {
            Ok(mut file) => {
                file.write_all(bytes)?;
                file.sync_all()?;
                // The name must survive a power cut as well.
                File::open(folder)?.sync_all()?;
                return Ok(name);
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
    }
    Err(io::Error::other("no name is free"))
}

const SEEN_MAX: usize = 256;

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn every_rejected_message_is_kept_once_under_a_name_of_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let mut letters = Letters::new(&folder.path().join("rejected"));
        let now = Moment::parse("2026-01-10T02:22:00Z").unwrap();
        let first = letters.keep("t", b"{", "broken", vec![], now).await.unwrap().unwrap();
        let second = letters.keep("t", b"\xff\x00", "no text", vec![], now).await.unwrap().unwrap();
        assert_eq!(
            (first.as_str(), second.as_str()),
            ("mqtt-20260110T022200Z-1.json", "mqtt-20260110T022200Z-2.json")
        );
        assert_eq!(letters.keep("t", b"{", "broken", vec![], now).await.unwrap(), None);
        let read = |name: &str| -> serde_json::Value {
            serde_json::from_slice(&fs::read(folder.path().join("rejected").join(name)).unwrap()).unwrap()
        };
        assert_eq!(read(&first)["payload"], "{");
        assert_eq!(read(&second)["payload_hex"], "ff00");
        assert_eq!(read(&second)["reason"], "no text");
    }
}
