//! Bytes of one file or message become records and rejected rows. Knows the formats, and nothing of folders,
//! brokers or the time of day. Never panics, whatever the bytes; one bad row never blocks a good one.
//!
//! `docs/formats.md` describes each format for the people who prepare the files.

mod batch;
mod csv;
mod encoding;
mod fhir;
mod field;
mod gzip;
mod json;
mod layout;
mod omh;
mod proposal;
mod row;
#[cfg(test)]
mod samples;
mod sheet;
mod time;

use chrono_tz::Tz;

use crate::words::{
    CatName, Dose, MeterCheck, Moment, Note, Reading, SensorNote, SensorSettings, Spare, Unit, Unread,
};

use row::Rules;

pub use batch::{READINGS_PER_EVENT_MAX, events};
pub use layout::{Column, Layout, LayoutProblem, LayoutText, OneOrMany};

/// What has to be known to read a file: this room's own settings.
#[derive(Clone, Debug)]
pub struct Context {
    /// Zone of times that carry no offset.
    pub zone: Tz,
    /// The cats there are, and the unit of values that carry none. With exactly one, files need not name it.
    pub cats: Vec<(CatName, Unit)>,
    /// What each cat's sensor can read, mg/dL; of a cat that is not in it, the usual.
    pub ranges: Vec<(CatName, [f64; 2])>,
    /// Tables with other columns, in the order in which they are tried.
    pub layouts: Vec<Layout>,
}

impl Context {
    /// What a cat's sensor can read, mg/dL.
    fn range(&self, cat: &CatName) -> [f64; 2] {
        let own = self.ranges.iter().find(|(name, _)| name == cat);
        own.map_or_else(|| SensorSettings::default().range, |(_, range)| *range)
    }
}

/// One thing that a file says.
#[derive(Clone, Debug, PartialEq)]
pub enum Record {
    /// An interstitial reading.
    Reading {
        /// Whose.
        cat: CatName,
        /// The sensor's own name, if the file gives one.
        sensor: Option<String>,
        /// When it reached whoever recorded it, if the file says so; used when a history is replayed.
        received_at: Option<Moment>,
        /// The reading.
        reading: Reading,
    },
    /// An injection.
    Dose(Dose),
    /// A hand meter's value.
    Meter(MeterCheck),
    /// Something that happened to a sensor.
    Sensor(SensorNote),
    /// Spares counted.
    Spare(Spare),
    /// A note.
    Note(Note),
}

impl Record {
    /// Whose it is.
    #[must_use]
    pub fn cat(&self) -> &CatName {
        match self {
            Self::Reading { cat, .. } => cat,
            Self::Dose(dose) => &dose.cat,
            Self::Meter(check) => &check.cat,
            Self::Sensor(note) => &note.cat,
            Self::Spare(spare) => &spare.cat,
            Self::Note(note) => &note.cat,
        }
    }

    /// When it happened, by the source's word.
    #[must_use]
    pub fn at(&self) -> Moment {
        match self {
            Self::Reading { reading, .. } => reading.measured_at,
            Self::Dose(dose) => dose.given_at,
            Self::Meter(check) => check.measured_at,
            Self::Sensor(note) => note.at,
            Self::Spare(spare) => spare.at,
            Self::Note(note) => note.at,
        }
    }
}

/// A row that could not be understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reject {
    /// Line of the file, from 1; in a JSON array the number of the item, from 1.
    pub line: usize,
    /// The row as it stands in the file, cut at 2000 characters.
    pub text: String,
    /// What is wrong with it and what would be right.
    pub reason: String,
}

/// What a file says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Parsed {
    /// Everything understood, in the order of the file.
    pub records: Vec<Record>,
    /// Everything else, in the order of the file.
    pub rejects: Vec<Reject>,
    /// The newest sensor value of each cat, where that is one that cannot be read.
    pub unread: Vec<Unread>,
    /// When the sensor was scanned, if the file is a scan (`{"scanned_at", "readings"}`).
    pub scanned_at: Option<Moment>,
}

/// Why nothing at all could be read from a file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FileError {
    /// The name does not say what it is and no layout takes it.
    #[error(
        "'{0}' is of no known type: expected a name ending in .csv, .json or .ndjson (or one of these and .gz), or a name that an [[intake.layout]] matches"
    )]
    UnknownType(String),
    /// There is nothing in it.
    #[error("the file is empty")]
    Empty,
    /// It is not text.
    #[error("the file is not text: {0}")]
    Binary(String),
    /// It is larger than this daemon reads.
    #[error("the file is too big: {found} bytes, at most {limit} are read; split it or raise the limit")]
    TooBig {
        /// Its size in bytes, or where reading stopped.
        found: u64,
        /// The limit in bytes.
        limit: u64,
    },
    /// The columns are not there.
    #[error("no usable header in line {line}: found {found}; expected {expected}")]
    Columns {
        /// Line in which the header was looked for, from 1.
        line: usize,
        /// The columns that are there.
        found: String,
        /// What is needed, and a hint.
        expected: String,
        /// Lines for the configuration that would read it, and how to see whether they are right.
        proposal: Option<String>,
    },
    /// It is broken as a whole.
    #[error("{0}")]
    Broken(String),
}

impl FileError {
    /// What is proposed against it, as a paragraph of its own; empty if nothing is.
    #[must_use]
    pub fn proposed(&self) -> String {
        match self {
            Self::Columns { proposal: Some(proposal), .. } => format!("\n\n{proposal}"),
            _ => String::new(),
        }
    }
}

/// The most bytes that are read of one file, packed or unpacked.
pub const BYTES_MAX: u64 = 32 * 1024 * 1024;

/// Reads a file or message. `name` decides the type by its ending; layouts may look at all of it.
///
/// # Errors
/// If nothing in it can be read at all. Rows that cannot be read are in [`Parsed::rejects`] instead.
pub fn parse(name: &str, bytes: &[u8], context: &Context) -> Result<Parsed, FileError> {
    parse_arrived(name, bytes, context, None)
}

/// The same of a file that was written at a known time: in the hour that comes twice, that may tell which of the two is meant.
///
/// # Errors
/// As [`parse`].
pub fn parse_arrived(
    name: &str,
    bytes: &[u8],
    context: &Context,
    arrived: Option<Moment>,
) -> Result<Parsed, FileError> {
    let found = bytes.len() as u64;
    if found > BYTES_MAX {
        return Err(FileError::TooBig { found, limit: BYTES_MAX });
    }
    let lower = name.to_lowercase();
    let packed = lower.ends_with(".gz");
    if packed && bytes.is_empty() {
        return Err(FileError::Empty);
    }
    if packed || gzip::is_gzip(bytes) {
        let inside = gzip::unpacked(bytes, BYTES_MAX)?;
        let inner = lower.strip_suffix(".gz").unwrap_or(&lower);
        return parse_plain(name, inner, &inside, (context, arrived));
    }
    parse_plain(name, &lower, bytes, (context, arrived))
}

/// Reads what is not, or no longer, compressed. `lower` is the name in small letters without `.gz`.
fn parse_plain(
    name: &str,
    lower: &str,
    bytes: &[u8],
    (context, arrived): (&Context, Option<Moment>),
) -> Result<Parsed, FileError> {
    let ending = lower.rsplit_once('.').map_or("", |(_, ending)| ending);
    let is_json = matches!(ending, "json" | "ndjson" | "jsonl");
    let layout = context.layouts.iter().find(|layout| {
        layout.takes_name(lower)
            && if is_json {
                layout.goes_by_name() && !layout.goes_by_header()
            } else {
                !layout.goes_by_header() || layout.takes_header(&csv::header(bytes, layout))
            }
    });
    let rules = Rules { context, layout, meter_table: false };
    match (ending, layout) {
        ("json", _) => json::read(bytes, &rules, arrived),
        ("ndjson" | "jsonl", _) => json::read_lines(bytes, &rules, arrived),
        ("csv", None) => {
            csv::read(bytes, None, context, arrived).map_err(|error| proposal::beside(error, bytes, context))
        }
        (_, Some(_)) => csv::read(bytes, layout, context, arrived),
        _ => Err(FileError::UnknownType(name.to_owned())),
    }
}
