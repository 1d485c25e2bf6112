//! Writes the journal: one file a month, one line an entry, only ever added to. Comes in: events and what was
//! said. Goes out: sequence numbers, and after `sync` the certainty that everything appended so far is on disk.
//! It decides nothing and reads only the file it goes on with.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Seek as _, SeekFrom};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use super::damage::Damage;
use super::entry::{Line, body, header};
use super::reader::{MonthFile, Place, Reader, line_of, month_files};
use super::{RecordError, at_path};
use crate::words::{Event, Moment, Said};

/// The end of the journal, and what is waiting to be written there.
#[derive(Debug)]
pub(super) struct Journal {
    folder: PathBuf,
    /// The end of the last entry that is safe on disk.
    end: Place,
    /// The file of the end, once something was written to it.
    file: Option<File>,
    waiting: Vec<Chunk>,
    /// What a failed write may have left behind, to be cleared before the next.
    leftover: Option<Vec<PathBuf>>,
}

/// Lines that go into the same file.
#[derive(Debug)]
struct Chunk {
    month: String,
    text: Vec<u8>,
    lines: u64,
    seq: u64,
    crc: u32,
}

/// The journal as it was found.
#[derive(Debug)]
pub(super) struct Opened {
    pub(super) journal: Journal,
    pub(super) damage: Vec<Damage>,
}

impl Journal {
    /// Opens the journal for writing: finds its end, and cuts off a last line that was not written whole.
    pub(super) fn open(folder: &Path) -> Result<Opened, RecordError> {
        create_folder(folder).map_err(at_path("create", folder))?;
        let mut damage = Vec::new();
        let mut files = month_files(folder).map_err(at_path("read", folder))?;
        let mut end = Place::default();
        while let Some(last) = files.last() {
            let tail = Tail::of(last);
            damage.extend(tail.damage.iter().cloned());
            if let Some(version) = tail.newer {
                return Err(RecordError::Newer { file: last.path.clone(), version });
            }
            if tail.good.seq == 0 {
                // Not one entry: the file was only just begun. It is begun again when it is needed.
                damage.extend(clear_begun(last, &tail).map_err(at_path("mend", &last.path))?);
                files.pop();
                continue;
            }
            if tail.good.offset < tail.length {
                damage.push(cut(last, &tail.good, tail.length).map_err(at_path("mend", &last.path))?);
            }
            end = tail.good;
            break;
        }
        let folder = folder.to_owned();
        Ok(Opened { journal: Self { folder, end, file: None, waiting: Vec::new(), leftover: None }, damage })
    }

    /// The number of the last entry, appended or safe on disk.
    pub(super) fn last_seq(&self) -> u64 {
        self.waiting.last().map_or(self.end.seq, |chunk| chunk.seq)
    }

    /// Whether something was appended that is not safe on disk yet.
    pub(super) fn is_waiting(&self) -> bool {
        !self.waiting.is_empty()
    }

    /// The end of what is safe on disk.
    pub(super) fn end(&self) -> &Place {
        &self.end
    }

    /// Puts an entry at the end, in memory. Gives its number.
    pub(super) fn append(&mut self, at: Moment, event: &Event, said: &Said) -> u64 {
        let seq = self.last_seq() + 1;
        self.append_line(&Line::new(seq, at, &body(event, said)));
        seq
    }

    /// Puts a line that was made elsewhere at the end, in memory.
    pub(super) fn append_line(&mut self, line: &Line<'_>) {
        let newest = self.waiting.last().map_or(&self.end.month, |chunk| &chunk.month);
        // Never back to an older file, whatever the clock did: the files' order is the entries' order.
        let month = line.at.utc().format("%Y-%m").to_string().max(newest.clone());
        if self.waiting.last().is_none_or(|chunk| chunk.month != month) {
            self.waiting.push(Chunk { month, text: Vec::new(), lines: 0, seq: 0, crc: 0 });
        }
        if let Some(chunk) = self.waiting.last_mut() {
            chunk.text.extend_from_slice(line.text().as_bytes());
            chunk.lines += 1;
            (chunk.seq, chunk.crc) = (line.seq, line.crc);
        }
    }

    /// Brings everything appended to the disk.
    ///
    /// # Errors
    /// If that fails, everything that waited is dropped, and the files are cut back to where they were (at the
    /// latest before the next write). Nothing that was safe before is touched.
    pub(super) fn sync(&mut self) -> Result<(), RecordError> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let chunks = std::mem::take(&mut self.waiting);
        let start = self.end.clone();
        let mut created = Vec::new();
        let result = self
            .clear_leftover()
            .and_then(|()| chunks.into_iter().try_for_each(|chunk| self.write(chunk, &mut created)));
        if result.is_err() {
            self.end = start;
            self.file = None;
            // After a failed sync the kernel may call pages clean that never reached the disk, so what was
            // written is not trusted: it is cut away and will be written anew.
            self.leftover.get_or_insert_default().extend(created);
            let _ = self.clear_leftover();
        }
        result
    }

    fn write(&mut self, chunk: Chunk, created: &mut Vec<PathBuf>) -> Result<(), RecordError> {
        let path = self.path(&chunk.month);
        let fresh = chunk.month != self.end.month;
        if fresh {
            self.file = Some(self.create(&chunk.month, created)?);
            self.end.offset = header(&chunk.month).len() as u64 + 1;
            self.end.line = 1;
            self.end.month.clone_from(&chunk.month);
        }
        let file = match &mut self.file {
            Some(file) => file,
            none => none.insert(OpenOptions::new().write(true).open(&path).map_err(at_path("open", &path))?),
        };
        file.write_all_at(&chunk.text, self.end.offset).map_err(at_path("write", &path))?;
        file.sync_data().map_err(at_path("sync", &path))?;
        if fresh {
            sync_folder(&self.folder).map_err(at_path("sync", &self.folder))?;
        }
        self.end.offset += chunk.text.len() as u64;
        self.end.line += chunk.lines;
        (self.end.seq, self.end.crc) = (chunk.seq, chunk.crc);
        Ok(())
    }

    fn create(&self, month: &str, created: &mut Vec<PathBuf>) -> Result<File, RecordError> {
        let path = self.path(month);
        if path.exists() {
            // Nobody else writes here, so somebody put it there by hand; it is kept, but not as a journal.
            set_aside(&path, month, 0).map_err(at_path("move aside", &path))?;
        }
        let new = OpenOptions::new().write(true).create_new(true).open(&path);
        let file = new.map_err(at_path("create", &path))?;
        created.push(path.clone());
        file.write_all_at(format!("{}\n", header(month)).as_bytes(), 0).map_err(at_path("write", &path))?;
        Ok(file)
    }

    /// Cuts away what a failed write left behind.
    fn clear_leftover(&mut self) -> Result<(), RecordError> {
        let Some(created) = &self.leftover else { return Ok(()) };
        for path in created {
            match fs::remove_file(path) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => {
                    return Err(at_path("remove", path)(error));
                }
                _ => {}
            }
        }
        if !self.end.month.is_empty() {
            let path = self.path(&self.end.month);
            cut_to(&path, self.end.offset).map_err(at_path("cut back", &path))?;
        }
        sync_folder(&self.folder).map_err(at_path("sync", &self.folder))?;
        self.leftover = None;
        Ok(())
    }

    fn path(&self, month: &str) -> PathBuf {
        self.folder.join(format!("{month}.log"))
    }
}

/// What the last file holds.
struct Tail {
    /// The end of its last good line (the header counts), and the number of its last good entry.
    good: Place,
    length: u64,
    /// Damage before that.
    damage: Vec<Damage>,
    newer: Option<u32>,
}

impl Tail {
    fn of(file: &MonthFile) -> Self {
        let length = fs::metadata(&file.path).map_or(0, |about| about.len());
        let first = first_line(&file.path);
        let version = super::entry::header_version(&first);
        let newer = version.filter(|version| *version > super::entry::FORMAT);
        let mut good = Place { month: file.month.clone(), ..Place::default() };
        if version.is_some() {
            (good.offset, good.line) = (first.len() as u64 + 1, 1);
        }
        let mut damage = Vec::new();
        let mut reader = Reader::over(vec![file.clone()]);
        while let Some(next) = reader.next_line() {
            match next {
                Ok(found) => good = found.place,
                Err(found) => damage.push(found),
            }
        }
        damage.retain(|damage| line_of(damage).is_none_or(|line| line <= good.line));
        if good.seq == 0 {
            damage.clear();
        }
        Self { good, length, damage, newer }
    }
}

/// The first line of a file without its end; empty if it has no whole line.
fn first_line(path: &Path) -> Vec<u8> {
    let mut start = vec![0; 128];
    let read = File::open(path).and_then(|file| file.read_at(&mut start, 0)).unwrap_or_default();
    start.truncate(read);
    let end = start.iter().position(|byte| *byte == b'\n').unwrap_or_default();
    start.truncate(end);
    start
}

/// Cuts a file after its last good line and keeps what is cut off.
fn cut(file: &MonthFile, good: &Place, length: u64) -> io::Result<Damage> {
    let bytes = length - good.offset;
    let kept_in = free_name(&file.path, &file.month, good.offset);
    // Copied piece by piece: what tore may be larger than the memory.
    let mut torn = File::open(&file.path)?;
    torn.seek(SeekFrom::Start(good.offset))?;
    let mut aside = File::create_new(&kept_in)?;
    io::copy(&mut torn, &mut aside)?;
    aside.sync_all()?;
    cut_to(&file.path, good.offset)?;
    sync_folder(file.path.parent().unwrap_or(Path::new(".")))?;
    Ok(Damage::Torn { file: file.path.clone(), line: good.line + 1, bytes, kept_in })
}

/// Clears away a file without entries; whatever is in it besides its first line is kept aside.
fn clear_begun(file: &MonthFile, tail: &Tail) -> io::Result<Option<Damage>> {
    if tail.good.offset == tail.length {
        fs::remove_file(&file.path)?;
        return Ok(None);
    }
    let kept_in = set_aside(&file.path, &file.month, 0)?;
    let (line, bytes) = (tail.good.line + 1, tail.length - tail.good.offset);
    Ok(Some(Damage::Torn { file: file.path.clone(), line, bytes, kept_in }))
}

fn cut_to(path: &Path, length: u64) -> io::Result<()> {
    let file = OpenOptions::new().write(true).open(path)?;
    if file.metadata()?.len() > length {
        file.set_len(length)?;
    }
    file.sync_all()
}

fn set_aside(path: &Path, month: &str, offset: u64) -> io::Result<PathBuf> {
    let aside = free_name(path, month, offset);
    fs::rename(path, &aside)?;
    Ok(aside)
}

/// A name beside `path` that is not taken: `torn-2026-11-at-123`, then with `-2` and so on.
fn free_name(path: &Path, month: &str, offset: u64) -> PathBuf {
    let plain = path.with_file_name(format!("torn-{month}-at-{offset}"));
    let numbered = |n: u32| path.with_file_name(format!("torn-{month}-at-{offset}-{n}"));
    std::iter::once(plain).chain((2..).map(numbered)).find(|name| !name.exists()).unwrap_or_default()
}

fn create_folder(folder: &Path) -> io::Result<()> {
    if !folder.is_dir() {
        fs::create_dir_all(folder)?;
        if let Some(parent) = folder.parent() {
            sync_folder(parent)?;
        }
    }
    Ok(())
}

/// Makes the names in a folder durable.
pub(super) fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}
