//! How a command reaches the house: the running daemon, or the record itself where none runs. A daemon that is just
//! starting, or another command that has the record for a moment, is waited for.

use std::path::Path;

use super::socket::{Reply, Request, ask};
use super::{LOCK_TRIES, LOCK_WAIT, open_record};
use crate::record::{Opened, RecordError};
use crate::turn::House;

/// Who was reached.
pub enum Reached {
    /// The daemon, and what it answered.
    Daemon(Reply),
    /// The record: no daemon runs.
    Record(Box<Opened<House>>),
}

/// Why nobody was.
#[derive(Debug, thiserror::Error)]
pub enum ReachError {
    /// A daemon runs, but does not answer.
    #[error("asking the daemon: {0}")]
    Daemon(#[from] std::io::Error),
    /// No daemon runs, and the record cannot be opened.
    #[error(transparent)]
    Record(#[from] RecordError),
}

/// Asks the daemon, or opens the record.
///
/// # Errors
/// [`ReachError`].
pub fn reach(data: &Path, request: &Request) -> Result<Reached, ReachError> {
    for _ in 0..LOCK_TRIES {
        if let Some(reply) = ask(data, request)? {
            return Ok(Reached::Daemon(reply));
        }
        match open_record(data) {
            Err(RecordError::Locked { .. }) => std::thread::sleep(LOCK_WAIT),
            opened => return Ok(Reached::Record(Box::new(opened?))),
        }
    }
    Ok(Reached::Record(Box::new(open_record(data)?)))
}
