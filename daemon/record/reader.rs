//! Reads the journal, oldest first, from its beginning or from a place in it. Comes in: the journal's folder.
//! Goes out: lines whose checksum fits, and the damage between them. It writes nothing and needs no lock, so it
//! may run beside the daemon; a last line that is still being written is simply not there yet.

use std::collections::VecDeque;
use std::fs::{self, File};
use std::io::{self, BufReader, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::damage::Damage;
use super::entry::{BadLine, Entry, FORMAT, LINE_BYTES_MAX, Line, header_version, likely_seq};
use super::line_end::{Taken, take_line};
use crate::words::Moment;

/// A place in the journal: the end of one entry's line.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Place {
    /// The file's month, `2026-11`; empty before the first entry.
    pub(super) month: String,
    /// Bytes of that file before the place.
    pub(super) offset: u64,
    /// Lines of that file before the place, its header included.
    pub(super) line: u64,
    /// The last entry before the place, 0 for none.
    pub(super) seq: u64,
    /// That entry's checksum, by which the place is known again.
    pub(super) crc: u32,
}

/// A good line, taken out of its file.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub(super) seq: u64,
    pub(super) at: Moment,
    pub(super) body: String,
    /// The end of the line.
    pub(super) place: Place,
}

/// One file of the journal.
#[derive(Clone, Debug)]
pub(super) struct MonthFile {
    pub(super) month: String,
    pub(super) path: PathBuf,
}

/// The journal's files, oldest first. Anything else in the folder is passed over.
pub(super) fn month_files(journal: &Path) -> io::Result<Vec<MonthFile>> {
    let listing = match fs::read_dir(journal) {
        Ok(listing) => listing,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(error),
    };
    let mut files = Vec::new();
    for item in listing {
        let path = item?.path();
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        if let Some(month) = name.strip_suffix(".log").filter(|month| is_month(month)) {
            files.push(MonthFile { month: month.to_owned(), path: path.clone() });
        }
    }
    files.sort_by(|a, b| a.month.cmp(&b.month));
    Ok(files)
}

fn is_month(text: &str) -> bool {
    let shape = |(place, byte): (usize, u8)| if place == 4 { byte == b'-' } else { byte.is_ascii_digit() };
    text.len() == 7 && text.bytes().enumerate().all(shape)
}

/// Walks over the lines of some files of the journal.
pub(super) struct Reader {
    files: VecDeque<MonthFile>,
    open: Option<Open>,
    /// Found, but not yet handed out.
    ready: VecDeque<Result<Found, Damage>>,
    last_seq: u64,
    /// Damaged lines since the last good one; each probably was one entry.
    bad_lines: u64,
    /// Damaged lines in a row, of any kind, and those of them that are not named one by one: whatever wrote over a file
    /// may have left a line end in every few bytes.
    in_a_row: u64,
    more: Option<Damage>,
    /// Bytes after the last line end of the last file.
    pub(super) unfinished: u64,
    /// Bytes read.
    pub(super) bytes: u64,
}

struct Open {
    month: String,
    path: PathBuf,
    input: BufReader<File>,
    offset: u64,
    line: u64,
}

impl Reader {
    /// Over all files of the journal in `folder`.
    pub(super) fn all(journal: &Path) -> Self {
        match month_files(journal) {
            Ok(files) => Self::over(files),
            Err(error) => {
                let mut reader = Self::over(Vec::new());
                reader.ready.push_back(Err(unreadable(journal, &error)));
                reader
            }
        }
    }

    /// Over these files only.
    pub(super) fn over(files: Vec<MonthFile>) -> Self {
        let files = VecDeque::from(files);
        Self {
            files,
            open: None,
            ready: VecDeque::new(),
            last_seq: 0,
            bad_lines: 0,
            in_a_row: 0,
            more: None,
            unfinished: 0,
            bytes: 0,
        }
    }

    /// Over what comes after `place`. `None` if the journal does not hold that place (any more).
    pub(super) fn after(journal: &Path, place: &Place) -> io::Result<Option<Self>> {
        let mut files = month_files(journal)?;
        if place.seq == 0 {
            return Ok(Some(Self::over(files)));
        }
        files.retain(|file| file.month >= place.month);
        let mut reader = Self::over(files);
        let Some(first) = reader.files.front().filter(|file| file.month == place.month).cloned() else {
            return Ok(None);
        };
        reader.files.pop_front();
        let mut file = File::open(&first.path)?;
        if !ends_here(&mut file, place)? {
            return Ok(None);
        }
        file.seek(SeekFrom::Start(place.offset))?;
        reader.last_seq = place.seq;
        reader.open = Some(Open {
            month: first.month,
            path: first.path,
            input: BufReader::with_capacity(BUFFER_BYTES, file),
            offset: place.offset,
            line: place.line,
        });
        Ok(Some(reader))
    }

    /// The next good line, or the next damage; `None` at the end.
    pub(super) fn next_line(&mut self) -> Option<Result<Found, Damage>> {
        loop {
            if let Some(ready) = self.ready.pop_front() {
                return Some(ready);
            }
            if self.open.is_none() {
                // Behind the last line of a file, so that it is told before the next file's.
                if let Some(more) = self.more.take() {
                    return Some(Err(more));
                }
                if !self.open_next()? {
                    continue;
                }
            }
            self.read_one();
        }
    }

    /// Opens the next file and checks its first line. `None` if there is no file left, false if it failed.
    fn open_next(&mut self) -> Option<bool> {
        let MonthFile { month, path } = self.files.pop_front()?;
        match File::open(&path) {
            Ok(file) => {
                let input = BufReader::with_capacity(BUFFER_BYTES, file);
                self.open = Some(Open { month, path, input, offset: 0, line: 0 });
                Some(true)
            }
            Err(error) => {
                self.ready.push_back(Err(unreadable(&path, &error)));
                Some(false)
            }
        }
    }

    fn read_one(&mut self) {
        let Some(open) = &mut self.open else { return };
        let mut text = Vec::new();
        let taken = take_line(&mut open.input, &mut text, LINE_BYTES_MAX);
        let last_file = self.files.is_empty();
        match taken {
            Err(error) => {
                let damage = unreadable(&open.path, &error);
                self.ready.push_back(Err(damage));
                self.open = None;
            }
            Ok(Taken { bytes: 0, .. }) => self.open = None,
            Ok(Taken { bytes, ended: false, .. }) if last_file => {
                self.bytes += bytes;
                self.unfinished = bytes;
                self.open = None;
            }
            Ok(Taken { bytes, too_long, .. }) => {
                self.bytes += bytes;
                open.offset += bytes;
                open.line += 1;
                if too_long {
                    let (file, line) = (open.path.clone(), open.line);
                    self.bad_line(file, line, &text, BadLine::TooLong(bytes));
                } else {
                    self.judge(&text);
                }
            }
        }
    }

    fn bad_line(&mut self, file: PathBuf, line: u64, text: &[u8], why: BadLine) {
        self.bad_lines += 1;
        self.one_more(Damage::Line { file: file.clone(), line, seq: likely_seq(text), why }, file, line);
    }

    /// Damage of one line: named, unless there are many in a row.
    fn one_more(&mut self, damage: Damage, file: PathBuf, line: u64) {
        self.in_a_row += 1;
        if self.in_a_row <= NAMED_IN_A_ROW {
            self.ready.push_back(Err(damage));
        } else if let Some(Damage::Lines { until, .. }) = &mut self.more {
            *until = line;
        } else {
            self.more = Some(Damage::Lines { file, from: line, until: line });
        }
    }

    /// Decides what one whole line is.
    fn judge(&mut self, bytes: &[u8]) {
        let Some(open) = &self.open else { return };
        let (file, number) = (open.path.clone(), open.line);
        let parsed = Line::parse(bytes);
        if number == 1 && parsed.is_err() {
            return self.judge_header(bytes, file);
        }
        let line = match parsed {
            Ok(line) => line,
            Err(why) => return self.bad_line(file, number, bytes, why),
        };
        if line.seq <= self.last_seq {
            let damage = Damage::Order { file: file.clone(), line: number, seq: line.seq };
            return self.one_more(damage, file, number);
        }
        self.ready.extend(self.more.take().map(Err));
        self.in_a_row = 0;
        let (from, until) = (self.last_seq + 1 + self.bad_lines, line.seq - 1);
        if from <= until && self.last_seq + self.bad_lines > 0 {
            self.ready.push_back(Err(Damage::Missing { file, line: number, from, until }));
        }
        (self.last_seq, self.bad_lines) = (line.seq, 0);
        let place = Place {
            month: open.month.clone(),
            offset: open.offset,
            line: open.line,
            seq: line.seq,
            crc: line.crc,
        };
        self.ready.push_back(Ok(Found { seq: line.seq, at: line.at, body: line.body.to_owned(), place }));
    }

    fn judge_header(&mut self, bytes: &[u8], file: PathBuf) {
        match header_version(bytes) {
            Some(version) if version <= FORMAT => {}
            Some(version) => {
                let why = newer(version);
                self.ready.push_back(Err(Damage::Unreadable { file, why }));
                self.open = None;
            }
            None => self.ready.push_back(Err(Damage::Header { file })),
        }
    }
}

/// The entries behind the lines. A line that this program does not understand becomes damage.
pub(super) struct Entries {
    journal: PathBuf,
    pub(super) reader: Reader,
    /// An entry whose damage was handed out first.
    after: Option<Entry>,
}

impl Entries {
    /// The entries that `reader` finds in the folder `journal`.
    pub(super) fn of(reader: Reader, journal: &Path) -> Self {
        Self { journal: journal.to_owned(), reader, after: None }
    }
}

impl Iterator for Entries {
    type Item = Result<Entry, Damage>;

    fn next(&mut self) -> Option<Self::Item> {
        if let Some(entry) = self.after.take() {
            return Some(Ok(entry));
        }
        let found = match self.reader.next_line()? {
            Ok(found) => found,
            Err(damage) => return Some(Err(damage)),
        };
        let file = self.journal.join(format!("{}.log", found.place.month));
        let damage = |why| Damage::Line { file, line: found.place.line, seq: Some(found.seq), why };
        Some(match found.line().entry() {
            Ok((entry, None)) => Ok(entry),
            Ok((entry, Some(missed))) => {
                self.after = Some(entry);
                Err(damage(missed))
            }
            Err(why) => Err(damage(why)),
        })
    }
}

impl Found {
    /// The line as it stands in the file.
    pub(super) fn line(&self) -> Line<'_> {
        Line { seq: self.seq, crc: self.place.crc, at: self.at, body: &self.body }
    }
}

/// Whether the file holds, just before `place`, the line that the place was taken after.
fn ends_here(file: &mut File, place: &Place) -> io::Result<bool> {
    if file.metadata()?.len() < place.offset {
        return Ok(false);
    }
    // The line's number and checksum stand at its beginning, so the line is looked for backwards. Lines can be
    // long (a whole file of readings is one line), so the step grows.
    let mut step = 4096;
    loop {
        let from = place.offset.saturating_sub(step);
        file.seek(SeekFrom::Start(from))?;
        let mut tail = vec![0; (place.offset - from) as usize];
        io::Read::read_exact(file, &mut tail)?;
        let Some((b'\n', line)) = tail.split_last().map(|(end, line)| (*end, line)) else { return Ok(false) };
        match line.iter().rposition(|byte| *byte == b'\n') {
            // No entry is that long, so whatever stands there is none.
            None if step > LINE_BYTES_MAX => return Ok(false),
            None if from > 0 => step *= 8,
            start => {
                let line = Line::parse(&line[start.map_or(0, |start| start + 1)..]);
                return Ok(line.is_ok_and(|line| line.seq == place.seq && line.crc == place.crc));
            }
        }
    }
}

pub(super) fn newer(version: u32) -> String {
    format!("it has format {version}, this program knows format {FORMAT} and older; update the program")
}

fn unreadable(path: &Path, error: &io::Error) -> Damage {
    Damage::Unreadable { file: path.to_owned(), why: error.to_string() }
}

/// Whether damage says only that a line has no good line after it yet.
pub(super) fn line_of(damage: &Damage) -> Option<u64> {
    match damage {
        Damage::Line { line, why: BadLine::Shape | BadLine::Checksum | BadLine::TooLong(_), .. }
        | Damage::Order { line, .. } => Some(*line),
        _ => None,
    }
}

const BUFFER_BYTES: usize = 64 * 1024;
/// Chosen by us: enough to see what happened.
const NAMED_IN_A_ROW: u64 = 5;
