//! What was found wrong with the record and what was done about it, in words for whoever keeps the daemon.

use std::fmt;
use std::path::{Path, PathBuf};

pub use super::entry::BadLine;

/// Something that was wrong with the record. Nothing of it stops the daemon, and nothing is deleted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Damage {
    /// The last lines of a file were not written to their end, as after a power cut.
    Torn {
        /// The journal file.
        file: PathBuf,
        /// The first such line, from 1.
        line: u64,
        /// How many bytes were cut off.
        bytes: u64,
        /// Where the cut-off bytes are kept.
        kept_in: PathBuf,
    },
    /// A line in the middle cannot be used; the lines around it can.
    Line {
        /// The journal file, or the export.
        file: PathBuf,
        /// The line, from 1.
        line: u64,
        /// The entry's number, as far as it can be told.
        seq: Option<u64>,
        /// What is wrong with it.
        why: BadLine,
    },
    /// More lines in a row that cannot be used, behind some that are named one by one.
    Lines {
        /// The journal file.
        file: PathBuf,
        /// The first of them, from 1.
        from: u64,
        /// The last of them.
        until: u64,
    },
    /// The first line of a file is damaged; the entries are checked one by one anyway.
    Header {
        /// The journal file.
        file: PathBuf,
    },
    /// Numbers are missing between two good lines.
    Missing {
        /// The file in which the numbering goes on.
        file: PathBuf,
        /// The line with which it goes on.
        line: u64,
        /// First number that is missing.
        from: u64,
        /// Last number that is missing.
        until: u64,
    },
    /// A number comes a second time, or too late; that line is passed over.
    Order {
        /// The journal file.
        file: PathBuf,
        /// The line.
        line: u64,
        /// Its number.
        seq: u64,
    },
    /// A file cannot be read at all, or not to its end.
    Unreadable {
        /// The file.
        file: PathBuf,
        /// The cause.
        why: String,
    },
    /// The store could not be used; it was moved aside and made anew from the journal.
    StoreSetAside {
        /// The cause.
        why: String,
        /// Where the old one is now.
        kept_in: PathBuf,
    },
    /// The store was missing or did not fit the journal; it was made anew from the journal.
    StoreRebuilt {
        /// The cause.
        why: String,
    },
    /// The store can be neither used nor made anew; its content is held in memory, made from the journal.
    StoreInMemory {
        /// The cause.
        why: String,
    },
    /// An export ends before its last line: it was not written to its end.
    CutShort {
        /// Entries that were found in it.
        entries: u64,
    },
}

impl Damage {
    /// Whether it is about the store, which can be made anew, and not about the journal.
    #[must_use]
    pub const fn is_of_store(&self) -> bool {
        matches!(self, Self::StoreSetAside { .. } | Self::StoreRebuilt { .. } | Self::StoreInMemory { .. })
    }
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Torn { file, line, bytes, kept_in } => write!(
                f,
                "{} ended in the middle of line {line}, as after a power cut. The {bytes} unfinished bytes were \
                 moved to {}. If it was a power cut, nothing in them had been confirmed to its source yet.",
                name(file),
                name(kept_in)
            ),
            Self::Line { file, line, seq, why } => {
                write!(f, "{} line {line}", name(file))?;
                if let Some(seq) = seq {
                    write!(f, " (entry {seq})")?;
                }
                if matches!(why, BadLine::SaidMeaning(_)) {
                    return write!(f, ": {why}. What happened in it is used.");
                }
                write!(f, " cannot be used: {why}. The line was left as it is; all other lines are kept.")
            }
            Self::Lines { file, from, until } => write!(
                f,
                "{} lines {from} to {until} cannot be used either. They were left as they are; all other lines are \
                 kept.",
                name(file)
            ),
            Self::Header { file } => write!(
                f,
                "The first line of {} is damaged. Its entries were checked one by one and are used.",
                name(file)
            ),
            Self::Missing { file, line, from, until } if from == until => {
                write!(f, "Entry {from} is missing before {} line {line}.", name(file))
            }
            Self::Missing { file, line, from, until } => {
                write!(f, "Entries {from} to {until} are missing before {} line {line}.", name(file))
            }
            Self::Order { file, line, seq } => write!(
                f,
                "{} line {line} has the number {seq}, which came before. The line is passed over.",
                name(file)
            ),
            Self::Unreadable { file, why } => write!(f, "{} cannot be read: {why}.", file.display()),
            Self::StoreSetAside { why, kept_in } => write!(
                f,
                "The store could not be used ({why}). It was moved to {} and made anew from the journal. Nothing \
                 is lost; the old one may be deleted.",
                name(kept_in)
            ),
            Self::StoreRebuilt { why } => {
                write!(f, "The store was made anew from the journal: {why}. Nothing is lost.")
            }
            Self::StoreInMemory { why } => write!(
                f,
                "The store cannot be written ({why}). The journal is complete and the daemon goes on with what \
                 it holds in memory; starting will be slower until the store can be written again. Look at the \
                 disk: is it full, read-only or failing?"
            ),
            Self::CutShort { entries } => write!(
                f,
                "The export ends after {entries} entries without its last line, so it was not written to its \
                 end. What is there was taken; export again if you can."
            ),
        }
    }
}

fn name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn damage_names_the_file_the_line_and_the_entry() {
        let damage = Damage::Line {
            file: "/var/lib/lowtide/journal/2026-11.log".into(),
            line: 12,
            seq: Some(4711),
            why: BadLine::Checksum,
        };
        let text = damage.to_string();
        assert!(text.starts_with("2026-11.log line 12 (entry 4711) cannot be used: its checksum"), "{text}");
    }
}
