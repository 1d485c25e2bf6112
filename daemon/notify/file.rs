//! Messages as lines of a file: a dry run, or a record for another program to read.
//!
//! Comes in: parcels. Goes out: one JSON object a line in `messages.ndjson`, synced before it is called delivered.
//! It reads nothing back.

use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use serde::Serialize;

use super::{NotifyError, delivered, later};
use crate::words::{Channel, Message, Outcome, Parcel};

/// A folder that messages are written to.
#[derive(Clone, Debug)]
pub struct FileFolder {
    path: PathBuf,
    /// Two parcels at once must not mix their lines.
    turn: Arc<Mutex<()>>,
}

/// One line of the file.
#[derive(Debug, Serialize)]
struct Line<'a> {
    channel: &'a Channel,
    attempt: u32,
    #[serde(flatten)]
    message: &'a Message,
}

impl FileFolder {
    /// Name of the file inside the folder.
    pub const FILE: &'static str = "messages.ndjson";

    /// A folder, made if it is not there.
    ///
    /// # Errors
    /// If it cannot be made.
    pub fn new(folder: &Path) -> Result<Self, NotifyError> {
        fs::create_dir_all(folder)
            .map_err(|source| NotifyError::Folder { path: folder.to_owned(), source })?;
        Ok(Self { path: folder.join(Self::FILE), turn: Arc::default() })
    }

    pub(super) async fn carry(&self, parcel: &Parcel, message: &Message) -> Outcome {
        let line = Line { channel: &parcel.channel, attempt: parcel.attempt, message };
        let mut bytes = match serde_json::to_vec(&line) {
            Ok(bytes) => bytes,
            Err(e) => return later(format!("the message cannot be written as JSON: {e}")),
        };
        bytes.push(b'\n');
        let folder = self.clone();
        match tokio::task::spawn_blocking(move || folder.append(&bytes)).await {
            Ok(Ok(())) => delivered(None),
            Ok(Err(e)) => later(format!("cannot write to {}: {e}", self.path.display())),
            Err(e) => later(format!("writing to {} met a fault: {e}", self.path.display())),
        }
    }

    fn append(&self, bytes: &[u8]) -> std::io::Result<()> {
        let _turn = self.turn.lock().unwrap_or_else(PoisonError::into_inner);
        let mut file = OpenOptions::new().create(true).append(true).open(&self.path)?;
        file.write_all(bytes)?;
        file.sync_data()
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{message, parcel};
    use super::*;
    use crate::words::ChannelKind;

    #[tokio::test]
    async fn every_message_is_one_line_that_can_be_read_back() {
        let folder = tempfile::tempdir().unwrap();
        let carrier = FileFolder::new(&folder.path().join("out")).unwrap();
        for kind in [ChannelKind::Ntfy, ChannelKind::Email] {
            let outcome = carrier.carry(&parcel(kind, "somebody"), &message()).await;
            assert_eq!(outcome, delivered(None));
        }
        let text = fs::read_to_string(folder.path().join("out").join(FileFolder::FILE)).unwrap();
        let lines: Vec<serde_json::Value> = text.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
        assert_eq!(lines.len(), 2);
        assert_eq!(lines[1]["channel"]["kind"], "email");
        assert_eq!(serde_json::from_value::<Message>(lines[0].clone()).unwrap(), message());
    }

    #[tokio::test]
    async fn a_folder_that_went_away_is_tried_again_later() {
        let folder = tempfile::tempdir().unwrap();
        let carrier = FileFolder::new(&folder.path().join("out")).unwrap();
        fs::remove_dir(folder.path().join("out")).unwrap();
        let outcome = carrier.carry(&parcel(ChannelKind::Ntfy, "x"), &message()).await;
        assert!(
            matches!(&outcome, Outcome::Later { why, .. } if why.contains("messages.ndjson")),
            "{outcome:?}"
        );
    }
}
