//! Takes the whole record out as text and brings it back. Comes in: a data folder, or an export. Goes out: an
//! export, or a data folder whose journal is the same to the byte.
//!
//! An export is NDJSON: a first line that says what it is, then one entry a line, oldest first, each with the
//! checksum that it has in the journal, then a last line with the count, by which one that was cut short is
//! noticed. It may be written while the daemon runs.

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, Read, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::damage::{BadLine, Damage};
use super::entry::{Entry, LINE_BYTES_MAX, Line};
use super::journal::{Journal, sync_folder};
use super::reader::{Found, Place, Reader, month_files};
use super::{Record, RecordError, at_path, journal_folder, lock};
use crate::words::{Event, Moment, Said, Via};

/// What was taken out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exported {
    /// Entries in the export.
    pub entries: u64,
    /// The number of the last one; 0 if there is none.
    pub last_seq: u64,
    /// Journal lines that could not be exported.
    pub damage: Vec<Damage>,
}

/// What was brought in.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Imported {
    /// Entries that were taken, whole or in part.
    pub entries: u64,
    /// Entries that held nothing new.
    pub repeated: u64,
    /// Entries that belong to the other household's own past (settings, answers, messages) and were left out of
    /// a merge.
    pub left_out: u64,
    /// Lines of the export that could not be used.
    pub damage: Vec<Damage>,
}

#[derive(Debug, Serialize, Deserialize)]
struct First {
    lowtide_export: u32,
    program: String,
}

#[derive(Debug, Serialize, Deserialize)]
struct Last {
    lowtide_export_end: u32,
    entries: u64,
    last_seq: u64,
}

/// Writes everything in the journal of `folder` to `out`. Needs no lock. `progress` hears the bytes done and the
/// bytes there are.
///
/// # Errors
/// If `out` cannot be written.
pub fn export(
    folder: &Path,
    out: &mut impl Write,
    mut progress: impl FnMut(u64, u64),
) -> Result<Exported, RecordError> {
    let journal = journal_folder(folder);
    let files = month_files(&journal).map_err(at_path("read", &journal))?;
    let total = files.iter().filter_map(|file| fs::metadata(&file.path).ok()).map(|about| about.len()).sum();
    let mut exported = Exported { entries: 0, last_seq: 0, damage: Vec::new() };
    let first = First { lowtide_export: EXPORT_FORMAT, program: env!("CARGO_PKG_VERSION").to_owned() };
    write_json(out, &first)?;
    let mut reader = Reader::over(files);
    while let Some(found) = reader.next_line() {
        match found {
            Err(damage) => exported.damage.push(damage),
            Ok(Found { seq, at, body, place }) => {
                let rest = body.strip_prefix('{').unwrap_or(&body);
                writeln!(out, r#"{{"seq":{seq},"crc":"{:08x}","at":"{at}",{rest}"#, place.crc)
                    .map_err(at_path("write", Path::new(THE_EXPORT)))?;
                (exported.entries, exported.last_seq) = (exported.entries + 1, seq);
                progress(reader.bytes, total);
            }
        }
    }
    let (entries, last_seq) = (exported.entries, exported.last_seq);
    write_json(out, &Last { lowtide_export_end: EXPORT_FORMAT, entries, last_seq })?;
    out.flush().map_err(at_path("write", Path::new(THE_EXPORT)))?;
    Ok(exported)
}

/// Restores an export into a data folder that holds no record yet: the journal becomes what it was, to the
/// byte. It appears in the folder only once all of it is safe on disk. `progress` hears the bytes done.
///
/// # Errors
/// If there is a record already ([`merge`] adds to one), it is no export, or the disk refuses.
pub fn import(
    folder: &Path,
    input: impl BufRead,
    mut progress: impl FnMut(u64),
) -> Result<Imported, RecordError> {
    let _lock = lock(folder)?;
    let (journal, beside) = (journal_folder(folder), folder.join("journal-being-restored"));
    if !month_files(&journal).map_err(at_path("read", &journal))?.is_empty() {
        return Err(RecordError::NotEmpty { folder: folder.to_owned() });
    }
    if beside.exists() {
        fs::remove_dir_all(&beside).map_err(at_path("clear", &beside))?;
    }
    let mut writer = Journal::open(&beside)?.journal;
    let mut imported = Imported::default();
    let mut lines = ExportLines::begin(input)?;
    while let Some(found) = lines.next_line() {
        match found? {
            Err(damage) => imported.damage.push(damage),
            Ok(line) if line.seq <= writer.last_seq() => {
                let (file, number) = (PathBuf::from(THE_EXPORT), line.place.line);
                imported.damage.push(Damage::Order { file, line: number, seq: line.seq });
            }
            Ok(line) => {
                writer.append_line(&line.line());
                imported.entries += 1;
                if imported.entries.is_multiple_of(SYNC_EVERY) {
                    writer.sync()?;
                }
                progress(lines.bytes);
            }
        }
    }
    writer.sync()?;
    drop(writer);
    if journal.exists() {
        // Empty of journal files, but perhaps not of torn lines, which are kept.
        let aside = folder.join("journal-before-restore");
        fs::rename(&journal, &aside).map_err(at_path("move aside", &journal))?;
    }
    fs::rename(&beside, &journal).map_err(at_path("put in place", &journal))?;
    sync_folder(folder).map_err(at_path("sync", folder))?;
    Ok(imported)
}

/// Adds what an export says about cats to a record that is in use: readings, doses, meter checks, sensors,
/// spares and notes, sifted, all at the house's time `at`. What the other household said and did is left out.
/// `take` hears each entry that was added, so that the state can follow. `progress` hears the bytes done.
///
/// # Errors
/// If it is no export, or the disk refuses; then what was synced before is kept, and merging again adds the rest.
pub fn merge(
    record: &mut Record,
    at: Moment,
    input: impl BufRead,
    mut take: impl FnMut(&Entry),
    mut progress: impl FnMut(u64),
) -> Result<Imported, RecordError> {
    let mut imported = Imported::default();
    let mut lines = ExportLines::begin(input)?;
    let mut again = Again::default();
    while let Some(found) = lines.next_line() {
        match found?.and_then(|line| understood(&line)) {
            Err(damage) => imported.damage.push(damage),
            Ok(Entry { event, .. }) => match fact(event).map(|event| again.sift(record, event)) {
                None => imported.left_out += 1,
                Some(None) => imported.repeated += 1,
                Some(Some(event)) => {
                    let seq = record.append(at, event.clone(), Said::default());
                    take(&Entry { seq, at, event, said: Said::default() });
                    imported.entries += 1;
                    if imported.entries.is_multiple_of(SYNC_EVERY) {
                        record.sync()?;
                    }
                }
            },
        }
        progress(lines.bytes);
    }
    record.sync()?;
    Ok(imported)
}

/// What an export says more than once: a dose that was recorded, taken back, and recorded again.
#[derive(Default)]
struct Again {
    /// How often it said so, and how often that was added.
    said: BTreeMap<String, (usize, usize)>,
}

impl Again {
    /// What is new in an event: what the export says the second time is, if the record has it once.
    fn sift(&mut self, record: &Record, event: Event) -> Option<Event> {
        if !matches!(event, Event::Dose(_) | Event::Meter(_) | Event::MeterUndone { .. }) {
            return record.sift(event);
        }
        let (said, added) = self.said.entry(serde_json::to_string(&event).ok()?).or_default();
        *said += 1;
        if *said <= record.index.times_held(&event).saturating_sub(*added) {
            return None;
        }
        let new = record.sift_by_hand(event)?;
        *added += 1;
        Some(new)
    }
}

fn understood(found: &Found) -> Result<Entry, Damage> {
    let (file, line, seq) = (PathBuf::from(THE_EXPORT), found.place.line, Some(found.seq));
    // What was said is left out of a merge anyway.
    let entry = found.line().entry().map(|(entry, _)| entry);
    entry.map_err(|why| Damage::Line { file, line, seq, why })
}

/// The event as this household may take it over, if it is about a cat and not about the other household.
fn fact(event: Event) -> Option<Event> {
    match event {
        Event::Readings(mut batch) => {
            batch.via = Via::Import;
            Some(Event::Readings(batch))
        }
        Event::Dose(_)
        | Event::Meter(_)
        | Event::MeterUndone { .. }
        | Event::Sensor(_)
        | Event::Spare(_)
        | Event::Note(_) => Some(event),
        Event::Household { .. }
        | Event::Unread(_)
        | Event::Bridge { .. }
        | Event::Answer(_)
        | Event::Refused { .. }
        | Event::Outcome { .. }
        | Event::Health(_)
        | Event::ClockSet(_)
        | Event::Tick => None,
    }
}

/// The entries of an export, as journal lines.
struct ExportLines<R> {
    input: R,
    number: u64,
    bytes: u64,
    entries: u64,
    ended: bool,
}

impl<R: BufRead> ExportLines<R> {
    /// Reads the first line.
    fn begin(input: R) -> Result<Self, RecordError> {
        let mut lines = Self { input, number: 0, bytes: 0, entries: 0, ended: false };
        let text = lines.read()?.unwrap_or_default();
        match serde_json::from_slice::<First>(&text) {
            Ok(first) if first.lowtide_export <= EXPORT_FORMAT => Ok(lines),
            Ok(first) => Err(RecordError::NotAnExport {
                why: format!(
                    "it was written by lowtide {} in format {}, and this program knows format {EXPORT_FORMAT}; \
                     update the program",
                    first.program, first.lowtide_export
                ),
            }),
            Err(_) => Err(RecordError::NotAnExport { why: "its first line does not say that it is".into() }),
        }
    }

    /// The next line of the journal, or damage. `None` at the end.
    fn next_line(&mut self) -> Option<Result<Result<Found, Damage>, RecordError>> {
        if self.ended {
            return None;
        }
        let text = match self.read() {
            Ok(Some(text)) => text,
            Ok(None) => {
                self.ended = true;
                return Some(Ok(Err(Damage::CutShort { entries: self.entries })));
            }
            Err(error) => return Some(Err(error)),
        };
        if let Ok(last) = serde_json::from_slice::<Last>(&text) {
            self.ended = true;
            return (last.entries != self.entries)
                .then_some(Ok(Err(Damage::CutShort { entries: self.entries })));
        }
        self.entries += 1;
        let (line, file) = (self.number, PathBuf::from(THE_EXPORT));
        Some(Ok(journal_line(&text, line).map_err(|why| Damage::Line { file, line, seq: None, why })))
    }

    /// One line without its end; `None` at the end of the input.
    fn read(&mut self) -> Result<Option<Vec<u8>>, RecordError> {
        let mut text = Vec::new();
        // Bounded: a file that is no export may have no line ends at all.
        let read = (&mut self.input).take(LINE_BYTES_MAX + 1).read_until(b'\n', &mut text);
        let length = read.map_err(at_path("read", Path::new(THE_EXPORT)))?;
        if length as u64 > LINE_BYTES_MAX {
            let why = format!("line {} has more than {LINE_BYTES_MAX} bytes", self.number + 1);
            return Err(RecordError::NotAnExport { why });
        }
        self.bytes += length as u64;
        self.number += 1;
        while text.last().is_some_and(u8::is_ascii_whitespace) {
            text.pop();
        }
        Ok((length > 0).then_some(text))
    }
}

/// Makes the journal's line out of the export's, and checks it.
fn journal_line(text: &[u8], number: u64) -> Result<Found, BadLine> {
    let text = std::str::from_utf8(text).map_err(|_| BadLine::Shape)?;
    let rest = text.strip_prefix(r#"{"seq":"#).ok_or(BadLine::Shape)?;
    let (seq, rest) = rest.split_once(r#","crc":""#).ok_or(BadLine::Shape)?;
    let (crc, rest) = rest.split_once(r#"","at":""#).ok_or(BadLine::Shape)?;
    let (at, rest) = rest.split_once(r#"","#).ok_or(BadLine::Shape)?;
    let (body, seq) = (format!("{{{rest}"), seq.parse().map_err(|_| BadLine::Shape)?);
    let at = Moment::parse(at).ok_or(BadLine::Shape)?;
    let line = Line::new(seq, at, &body);
    if u32::from_str_radix(crc, 16) != Ok(line.crc) {
        return Err(BadLine::Checksum);
    }
    let place = Place { seq, crc: line.crc, line: number, ..Place::default() };
    Ok(Found { seq, at, body, place })
}

fn write_json(out: &mut impl Write, line: &impl Serialize) -> Result<(), RecordError> {
    let text = serde_json::to_string(line)?;
    writeln!(out, "{text}").map_err(at_path("write", Path::new(THE_EXPORT)))
}

const EXPORT_FORMAT: u32 = 1;
const THE_EXPORT: &str = "the export";
/// Entries between two syncs of an import.
const SYNC_EVERY: u64 = 2_000;
