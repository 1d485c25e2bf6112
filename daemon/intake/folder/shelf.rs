//! Where files and rows are put away: `done` and `rejected`, beside the inbox. Never writes over a file that was
//! there before.

use std::ffi::{OsStr, OsString};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use super::entry::Stamp;
use crate::intake::formats::Reject;

/// Moves the file at `path` into `folder` under its own name, or with a number before its ending if that is
/// taken. Gives where it is now.
///
/// # Errors
/// If it cannot be moved. If it is not as it was when it was read (`stamp`), it stays and the error is
/// [`io::ErrorKind::ResourceBusy`].
pub(super) fn put_away(path: &Path, stamp: Stamp, folder: &Path) -> io::Result<PathBuf> {
    fs::create_dir_all(folder)?;
    if Stamp::of(&fs::symlink_metadata(path)?) != stamp {
        return Err(io::Error::from(io::ErrorKind::ResourceBusy));
    }
    let target = free_name(folder, path.file_name().unwrap_or(OsStr::new("file")));
    match fs::rename(path, &target) {
        Ok(()) => {}
        Err(error) if error.kind() == io::ErrorKind::CrossesDevices => {
            // The inbox may be a mount of its own.
            let part = target.with_file_name(with_tail(target.file_name(), ".part"));
            fs::copy(path, &part)?;
            File::open(&part)?.sync_all()?;
            fs::rename(&part, &target)?;
            fs::remove_file(path)?;
        }
        Err(error) => return Err(error),
    }
    Ok(target)
}

/// Something that was written about a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Slip {
    /// Where it is.
    pub(super) path: PathBuf,
    /// Whether it says anything that was not said there before.
    pub(super) news: bool,
}

/// Writes the bad rows of a file into `NAME.rejects.csv`. With `again`, the one of that name is about the same file,
/// is replaced, and may have said just this.
///
/// # Errors
/// If it cannot be written.
pub(super) fn write_rejects(
    folder: &Path,
    name: &OsStr,
    rejects: &[Reject],
    again: bool,
) -> io::Result<Slip> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(["line", "reason", "text"])?;
    for reject in rejects {
        writer.write_record([
            &reject.line.to_string(),
            &harmless(&reject.reason),
            &harmless(&reject.text),
        ])?;
    }
    let bytes = writer.into_inner().map_err(|error| io::Error::other(error.to_string()))?;
    write_beside(folder, &with_tail(Some(name), ".rejects.csv"), &bytes, again)
}

/// A cell that no table program takes as a formula: what begins like one gets an apostrophe before it (OWASP, "CSV
/// Injection"; from memory).
fn harmless(cell: &str) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

/// Writes why a whole file is not taken into `NAME.reason.txt`.
///
/// # Errors
/// If it cannot be written.
pub(super) fn write_reason(folder: &Path, name: &OsStr, reason: &str, again: bool) -> io::Result<Slip> {
    let text = format!(
        "{}\n\n{reason}\n\nPut it right and drop it into the inbox again. docs/formats.md says what can be read.\n",
        name.to_string_lossy()
    );
    write_beside(folder, &with_tail(Some(name), ".reason.txt"), text.as_bytes(), again)
}

/// Writes a file whole or not at all.
fn write_beside(folder: &Path, name: &OsStr, bytes: &[u8], again: bool) -> io::Result<Slip> {
    fs::create_dir_all(folder)?;
    let target = if again { folder.join(name) } else { free_name(folder, name) };
    if fs::read(&target).is_ok_and(|held| held == bytes) {
        return Ok(Slip { path: target, news: false });
    }
    let part = target.with_file_name(with_tail(target.file_name(), ".part"));
    fs::write(&part, bytes)?;
    File::open(&part)?.sync_all()?;
    fs::rename(&part, &target)?;
    Ok(Slip { path: target, news: true })
}

/// `name` in `folder`, or `stem-2.ending` and so on if that is taken.
fn free_name(folder: &Path, name: &OsStr) -> PathBuf {
    let taken = |path: &Path| fs::symlink_metadata(path).is_ok();
    let first = folder.join(name);
    if !taken(&first) {
        return first;
    }
    let shown = name.to_string_lossy();
    // Before the first dot, so that .csv.gz and .rejects.csv stay what they are.
    let (stem, ending) =
        shown.split_once('.').map_or((&*shown, String::new()), |(a, b)| (a, format!(".{b}")));
    let stem =
        if shown.len() + SPARE_BYTES / 2 > NAME_BYTES_MAX { shorter(stem, ending.len()) } else { stem };
    (2_u64..)
        .map(|number| folder.join(format!("{stem}-{number}{ending}")))
        .find(|path| !taken(path))
        .unwrap_or(first)
}

/// A stem cut so that a number and so long an ending still go behind it.
fn shorter(stem: &str, ending: usize) -> &str {
    let mut end = stem.len().min(NAME_BYTES_MAX.saturating_sub(ending + SPARE_BYTES));
    while !stem.is_char_boundary(end) {
        end -= 1;
    }
    &stem[..end]
}

/// The name with something behind it, still short enough to be a name.
fn with_tail(name: Option<&OsStr>, tail: &str) -> OsString {
    let name = name.unwrap_or_default();
    let mut out = if name.len() + tail.len() <= NAME_BYTES_MAX {
        name.to_owned()
    } else {
        let shown = name.to_string_lossy();
        let mut end = NAME_BYTES_MAX - SPARE_BYTES;
        while !shown.is_char_boundary(end) {
            end -= 1;
        }
        OsString::from(&shown[..end])
    };
    out.push(tail);
    out
}

/// Linux takes no longer names (NAME_MAX).
const NAME_BYTES_MAX: usize = 255;
/// Room for a number and two endings.
const SPARE_BYTES: usize = 60;

#[cfg(test)]
mod tests {
    use super::*;

    fn file(folder: &Path, name: &str, text: &str) -> (PathBuf, Stamp) {
        let path = folder.join(name);
        fs::write(&path, text).unwrap();
        let stamp = Stamp::of(&fs::symlink_metadata(&path).unwrap());
        (path, stamp)
    }

    #[test]
    fn a_taken_name_gets_a_number_and_nothing_is_written_over() {
        let dir = tempfile::tempdir().unwrap();
        let done = dir.path().join("done");
        for (text, expected) in [("one", "a.csv.gz"), ("two", "a-2.csv.gz"), ("three", "a-3.csv.gz")] {
            let (path, stamp) = file(dir.path(), "a.csv.gz", text);
            let target = put_away(&path, stamp, &done).unwrap();
            assert_eq!(target.file_name().unwrap(), expected);
            assert_eq!(fs::read_to_string(&target).unwrap(), text);
            assert!(!path.exists());
        }
        assert_eq!(fs::read_to_string(done.join("a.csv.gz")).unwrap(), "one");
    }

    #[test]
    fn a_file_that_has_grown_since_it_was_read_stays() {
        let dir = tempfile::tempdir().unwrap();
        let (path, stamp) = file(dir.path(), "a.csv", "one");
        fs::write(&path, "one and more").unwrap();
        let error = put_away(&path, stamp, &dir.path().join("done")).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::ResourceBusy);
        assert!(path.exists());
    }

    #[test]
    fn a_row_that_is_a_formula_is_written_as_text() {
        let dir = tempfile::tempdir().unwrap();
        let rows = ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "2026,=1"];
        let rejects = rows.map(|text| Reject { line: 1, text: text.to_owned(), reason: "=x".to_owned() });
        write_rejects(dir.path(), OsStr::new("a.csv"), &rejects, false).unwrap();
        let text = fs::read_to_string(dir.path().join("a.csv.rejects.csv")).unwrap();
        let cells: Vec<_> =
            text.lines().skip(1).map(|row| row.splitn(3, ',').nth(2).unwrap().to_owned()).collect();
        assert_eq!(&cells[..4], ["'=1+1", "'+cmd|' /C calc'!A0", "'-2+3", "'@SUM(A1)"]);
        assert_eq!(cells[5], "\"2026,=1\"", "a cell is a whole cell");
    }

    #[test]
    fn a_name_as_long_as_they_come_is_put_away_twice_and_its_rows_too() {
        let dir = tempfile::tempdir().unwrap();
        let done = dir.path().join("done");
        for name in [format!("{}.csv", "x".repeat(251)), format!("{}.csv", "\u{1F408}".repeat(62))] {
            for _ in 0..3 {
                let (path, stamp) = file(dir.path(), &name, "one");
                put_away(&path, stamp, &done).unwrap();
                let reject = Reject { line: 1, text: "t".to_owned(), reason: "r".to_owned() };
                write_rejects(dir.path(), OsStr::new(&name), &[reject], false).unwrap();
                write_reason(dir.path(), OsStr::new(&name), "why", false).unwrap();
            }
        }
        assert_eq!(fs::read_dir(&done).unwrap().count(), 6);
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1 + 2 * 6);
    }

    #[test]
    fn bad_rows_are_written_so_that_a_table_program_opens_them() {
        let dir = tempfile::tempdir().unwrap();
        let reject =
            Reject { line: 7, text: "a,\"b\"".to_owned(), reason: "two\nlines, and a comma".to_owned() };
        let rejects = [reject];
        assert!(write_rejects(dir.path(), OsStr::new("a.csv"), &rejects, false).unwrap().news);
        assert!(!write_rejects(dir.path(), OsStr::new("a.csv"), &rejects, true).unwrap().news, "nothing new");
        let text = fs::read_to_string(dir.path().join("a.csv.rejects.csv")).unwrap();
        assert_eq!(text, "line,reason,text\r\n7,\"two\nlines, and a comma\",\"a,\"\"b\"\"\"\r\n");
    }
}
