//! Reads one file from the folder and judges whether it is whole.

use std::fs::{File, OpenOptions};
use std::io::{self, Read};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::time::Duration;

use rustix::fs::OFlags;

use super::FolderSettings;
use super::entry::{Sight, Stamp};
use crate::intake::formats::{Context, FileError, Parsed, Record, parse_arrived};

/// What came of reading a file.
#[derive(Debug)]
pub(super) enum Outcome {
    /// It was read.
    Read(Parsed),
    /// It changed while it was being read, or is gone.
    Moving,
    /// It may still be being written: to be read again when it has been still for this long.
    Unfinished(Duration),
    /// Nothing in it can be read.
    Unreadable(FileError),
    /// The system does not let us read it.
    Denied(io::Error),
}

/// Reads the file at `path`, which was last seen as `sight`, `still_for` ago.
pub(super) fn read(
    path: &Path,
    name: &str,
    sight: Sight,
    still_for: Duration,
    context: &Context,
    settings: &FolderSettings,
) -> Outcome {
    if sight.stamp.size > settings.bytes_max {
        return Outcome::Unreadable(FileError::TooBig { found: sight.stamp.size, limit: settings.bytes_max });
    }
    let bytes = match bytes(path, sight.stamp, settings.bytes_max) {
        Ok(Some(bytes)) => bytes,
        Ok(None) => return Outcome::Moving,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Outcome::Moving,
        Err(error) => return Outcome::Denied(error),
    };
    match parse_arrived(name, &bytes, context, Some(sight.stamp.modified())) {
        Ok(parsed) => {
            let needed = settings.unfinished.min(UNENDED_LINE);
            if !sight.closed && last_line_is_open(name, &bytes) && still_for < needed {
                return Outcome::Unfinished(needed);
            }
            Outcome::Read(without_receipt(parsed))
        }
        Err(error) => {
            let sure = sight.closed && !may_be_cut_off(&error);
            if !sure && still_for < settings.unfinished {
                return Outcome::Unfinished(settings.unfinished);
            }
            Outcome::Unreadable(error)
        }
    }
}

/// The bytes of the file, unless it changes meanwhile.
fn bytes(path: &Path, stamp: Stamp, limit: u64) -> io::Result<Option<Vec<u8>>> {
    // Neither follows a link nor waits for the other end of a pipe that has just been put in its place.
    let flags = (OFlags::NOFOLLOW | OFlags::NONBLOCK).bits() as i32;
    let file = OpenOptions::new().read(true).custom_flags(flags).open(path)?;
    if !same(&file, stamp)? {
        return Ok(None);
    }
    let mut out = Vec::with_capacity(usize::try_from(stamp.size).unwrap_or(0));
    (&file).take(limit.saturating_add(1)).read_to_end(&mut out)?;
    Ok((same(&file, stamp)? && out.len() as u64 == stamp.size).then_some(out))
}

fn same(file: &File, stamp: Stamp) -> io::Result<bool> {
    let metadata = file.metadata()?;
    Ok(metadata.is_file() && Stamp::of(&metadata) == stamp)
}

/// A table whose last line has no end may be cut off in the middle of a number: 112 would become 11.
fn last_line_is_open(name: &str, bytes: &[u8]) -> bool {
    let name = name.to_lowercase();
    let complete_by_itself = name.ends_with(".json") || name.ends_with(".gz");
    // In UTF-16, the last byte of a line break may be zero.
    let end = &bytes[bytes.len().saturating_sub(2)..];
    !complete_by_itself && !end.contains(&b'\n') && !end.contains(&b'\r')
}

fn may_be_cut_off(error: &FileError) -> bool {
    match error {
        FileError::Empty | FileError::Broken(_) => true,
        FileError::UnknownType(_)
        | FileError::Binary(_)
        | FileError::TooBig { .. }
        | FileError::Columns { .. } => false,
    }
}

/// Live, a reading is received when the daemon receives it; what the file says of others is for `replay`.
fn without_receipt(mut parsed: Parsed) -> Parsed {
    for record in &mut parsed.records {
        if let Record::Reading { received_at, .. } = record {
            *received_at = None;
        }
    }
    parsed
}

const UNENDED_LINE: Duration = Duration::from_secs(10);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_without_an_end_is_open() {
        assert!(last_line_is_open("a.csv", b"t,11"));
        assert!(last_line_is_open("a.ndjson", b"{}"));
        for (name, bytes) in
            [("a.csv", b"t,112\n".as_slice()), ("a.csv", b"1\0\n\0"), ("a.json", b"{}"), ("a.csv.gz", b"x")]
        {
            assert!(!last_line_is_open(name, bytes), "{name} {bytes:?}");
        }
    }
}
