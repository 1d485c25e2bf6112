//! Files become events with a time of receipt; paths in, paths out.
//!
//! When was a reading received? If the file says so (`received_at`), then. If the file is a scan
//! (`scanned_at`), at the scan. Otherwise when it was measured: a stream without delay, the kindest case. Doses,
//! meter checks, sensor events, spares and notes count as received when they happened.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use super::line::{EstimateLine, Line, Sink, Writers};
use super::{ReplaySummary, replay};
use crate::intake::formats::{Context, FileError, Layout, Parsed, Record, Reject, parse};
use crate::words::{Event, Household, Moment, Via};

/// What to replay, and where to write what comes of it.
#[derive(Clone, Debug)]
pub struct ReplayJob<'a> {
    /// The settings.
    pub household: &'a Household,
    /// Tables with other columns.
    pub layouts: &'a [Layout],
    /// The recorded files, in any order.
    pub files: &'a [PathBuf],
    /// Where findings and messages go.
    pub out: Option<&'a Path>,
    /// Where the estimates go.
    pub estimates: Option<&'a Path>,
}

/// A row that could not be read, and of which file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unread {
    /// The file.
    pub file: PathBuf,
    /// The row.
    pub reject: Reject,
}

/// What the files say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct History {
    /// Events with the time each was received, in that order.
    pub events: Vec<(Moment, Event)>,
    /// Rows that could not be read.
    pub unread: Vec<Unread>,
}

/// Why a replay could not be done.
#[derive(Debug, thiserror::Error)]
pub enum ReplayError {
    /// A file cannot be opened.
    #[error("cannot read {}: {source}", file.display())]
    Read {
        /// Which.
        file: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A file holds nothing that can be read.
    #[error("{}: {source}{}", file.display(), source.proposed())]
    File {
        /// Which.
        file: PathBuf,
        /// Why.
        source: FileError,
    },
    /// Two paths that must differ are the same.
    #[error("{} would be written over; name another file for the result", file.display())]
    Overwrites {
        /// Which.
        file: PathBuf,
    },
    /// The result cannot be written.
    #[error("cannot write {}: {source}", file.display())]
    Write {
        /// Which.
        file: PathBuf,
        /// Why.
        source: io::Error,
    },
}

/// Reads the files, replays them and writes what comes of it.
///
/// # Errors
/// If a file cannot be read at all, or a result cannot be written. Single rows that cannot be read are given
/// back instead.
pub fn replay_files(
    job: &ReplayJob<'_>,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<(ReplaySummary, Vec<Unread>), ReplayError> {
    replay_told(job, &mut |_| {}, progress)
}

/// The same, with each line told as well.
///
/// # Errors
/// As [`replay_files`].
pub fn replay_told(
    job: &ReplayJob<'_>,
    told: &mut dyn FnMut(&Line<'_>),
    progress: &mut dyn FnMut(u64, u64),
) -> Result<(ReplaySummary, Vec<Unread>), ReplayError> {
    for result in [job.out, job.estimates].into_iter().flatten() {
        let same = |file: &PathBuf| {
            file == result
                || fs::canonicalize(file).ok().zip(fs::canonicalize(result).ok()).is_some_and(|(a, b)| a == b)
        };
        if job.files.iter().any(same) || (job.out == job.estimates) {
            return Err(ReplayError::Overwrites { file: result.to_owned() });
        }
    }
    let History { events, unread } = load(job.household, job.layouts, job.files)?;
    let result = job.out.or(job.estimates).unwrap_or(Path::new("")).to_owned();
    let failed = |source| ReplayError::Write { file: result.clone(), source };
    let writers = Writers::new(create(job.out)?, create(job.estimates)?).map_err(failed)?;
    let mut sink = Told { writers, told };
    let summary = replay(job.household, events, &mut sink, progress).map_err(failed)?;
    sink.writers.finish().map_err(failed)?;
    Ok((summary, unread))
}

/// Writes what is to be written, and tells each line.
struct Told<'a, S> {
    writers: S,
    told: &'a mut dyn FnMut(&Line<'_>),
}

impl<S: Sink> Sink for Told<'_, S> {
    fn line(&mut self, line: &Line<'_>) -> io::Result<()> {
        (self.told)(line);
        self.writers.line(line)
    }

    fn wants_estimates(&self) -> bool {
        self.writers.wants_estimates()
    }

    fn estimate(&mut self, line: &EstimateLine<'_>) -> io::Result<()> {
        self.writers.estimate(line)
    }
}

fn create(path: Option<&Path>) -> Result<Option<impl Write + use<>>, ReplayError> {
    let Some(path) = path else { return Ok(None) };
    let file = File::create(path).map_err(|source| ReplayError::Write { file: path.to_owned(), source })?;
    Ok(Some(BufWriter::new(file)))
}

/// Reads files into events, in the order in which they were received.
///
/// # Errors
/// If a file cannot be opened, or nothing in it can be read.
pub fn load(household: &Household, layouts: &[Layout], files: &[PathBuf]) -> Result<History, ReplayError> {
    let context = Context {
        zone: household.home.timezone,
        cats: household.cats.iter().map(|cat| (cat.name.clone(), cat.units)).collect(),
        ranges: household.cats.iter().map(|cat| (cat.name.clone(), cat.sensor.range)).collect(),
        layouts: layouts.to_vec(),
    };
    let mut history = History::default();
    for path in files {
        let bytes = fs::read(path).map_err(|source| ReplayError::Read { file: path.clone(), source })?;
        let name = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let parsed = parse(&name, &bytes, &context)
            .map_err(|source| ReplayError::File { file: path.clone(), source })?;
        history.add(path, &name, parsed);
    }
    // Of what came in the same instant, a new sensor or a dose comes before the readings. The sort is stable.
    history.events.sort_by_key(|(at, event)| (*at, matches!(event, Event::Readings(_))));
    Ok(history)
}

impl History {
    /// Adds one file.
    fn add(&mut self, path: &Path, name: &str, mut parsed: Parsed) {
        let rejects = std::mem::take(&mut parsed.rejects);
        self.unread.extend(rejects.into_iter().map(|reject| Unread { file: path.to_owned(), reject }));
        let scanned = parsed.scanned_at;
        for record in &mut parsed.records {
            if let Record::Reading { received_at, reading, .. } = record {
                *received_at = received_at.or(scanned).or(Some(reading.measured_at));
            }
        }
        for (received, event) in parsed.into_events(Via::Replay, name) {
            let at = received.or_else(|| happened(&event)).unwrap_or_default();
            self.events.push((at, event));
        }
    }
}

/// When an event that is no reading happened.
fn happened(event: &Event) -> Option<Moment> {
    match event {
        Event::Readings(batch) => batch.newest,
        Event::Dose(dose) => Some(dose.given_at),
        Event::Meter(check) => Some(check.measured_at),
        Event::MeterUndone { measured_at, .. } => Some(*measured_at),
        Event::Sensor(note) => Some(note.at),
        Event::Spare(spare) => Some(spare.at),
        Event::Note(note) => Some(note.at),
        Event::Unread(unread) => Some(unread.at),
        Event::Household { .. }
        | Event::Bridge { .. }
        | Event::Answer(_)
        | Event::Refused { .. }
        | Event::Outcome { .. }
        | Event::Health(_)
        | Event::ClockSet(_)
        | Event::Tick => None,
    }
}
