//! Tables: comma-separated values by RFC 4180 with our column names, or anything a layout describes.
//!
//! One departure from the RFC: where a quote is opened and never closed, everything up to the next quote would
//! be one field, and good rows would vanish in it. Such a row is rejected up to the end of its first line, and
//! reading goes on in the next.

use std::ops::Range;

use csv::{ByteRecord, ReaderBuilder};

use super::encoding::{self, Encoding};
use super::field::Field;
use super::layout::{Column, Layout, plain};
use super::row::{self, Cells, Rules};
use super::sheet::Sheet;
use super::{Context, FileError, Parsed};
use crate::words::Moment;

/// Reads a table.
///
/// # Errors
/// If it is no text, or the columns that are needed are not there.
pub(super) fn read(
    bytes: &[u8],
    layout: Option<&Layout>,
    context: &Context,
    arrived: Option<Moment>,
) -> Result<Parsed, FileError> {
    let text = encoding::text(bytes, layout.map_or(Encoding::Utf8, |layout| layout.encoding))?;
    let table = Table::new(&text, layout, context)?;
    let mut sheet = Sheet::arrived(arrived);
    table.rows(&text, &mut sheet)?;
    sheet.finish()
}

/// The names in the header row of a table as `layout` would read it; empty if there is none.
pub(super) fn header(bytes: &[u8], layout: &Layout) -> Vec<String> {
    let start = &bytes[..bytes.len().min(HEADER_LOOK_BYTES)];
    let Ok(text) = encoding::text(start, layout.encoding) else { return Vec::new() };
    let (_, skipped) = skip(&text, layout.skip_lines);
    first_row(&text[skipped..], layout.delimiter).map(|(names, _)| names).unwrap_or_default()
}

struct Table<'a> {
    rules: Rules<'a>,
    delimiter: u8,
    /// Where the rows begin.
    rows_at: usize,
    /// Columns that hold a field, best first.
    columns: Vec<(Field, Vec<usize>)>,
    /// Columns that must hold one of these texts.
    only: Vec<(usize, &'a [String])>,
    /// Number of names in the header row; 0 without one.
    width: usize,
    newline: u8,
}

impl<'a> Table<'a> {
    fn new(text: &[u8], layout: Option<&'a Layout>, context: &'a Context) -> Result<Self, FileError> {
        let delimiter = layout.map_or(b',', |layout| layout.delimiter);
        let (lines, start) = skip(text, layout.map_or(0, |layout| layout.skip_lines));
        let with_header = layout.is_none_or(|layout| layout.header_row);
        let (names, length) = if with_header {
            first_row(&text[start..], delimiter).ok_or(FileError::Empty)?
        } else {
            (Vec::new(), 0)
        };
        let missing = |why: &str| FileError::Columns {
            line: lines + 1,
            found: shown(&names),
            expected: format!("{why}{}", hint(&names, layout)),
            proposal: None,
        };
        let columns = match layout {
            Some(layout) if !layout.columns.is_empty() => layout
                .columns
                .iter()
                .map(|(field, columns)| Ok((*field, places(columns, &names).map_err(|why| missing(&why))?)))
                .collect::<Result<Vec<_>, FileError>>()?,
            _ => own_columns(&names).map_err(|why| missing(&why))?,
        };
        let has = |field| columns.iter().any(|(own, _)| *own == field);
        if let Some(why) = lacking(&has) {
            return Err(missing(why));
        }
        let mut only = Vec::new();
        for (column, texts) in layout.map_or(&[][..], |layout| &layout.only) {
            let place = places(std::slice::from_ref(column), &names).map_err(|why| missing(&why))?;
            only.extend(place.into_iter().map(|place| (place, texts.as_slice())));
        }
        let meter_table = has(Field::Meter) && !has(Field::Sensor) && !has(Field::Kind);
        Ok(Self {
            rules: Rules { context, layout, meter_table },
            delimiter,
            rows_at: start + length,
            columns,
            only,
            width: names.len(),
            newline: if text.contains(&b'\n') { b'\n' } else { b'\r' },
        })
    }

    fn rows(&self, text: &[u8], sheet: &mut Sheet) -> Result<(), FileError> {
        let mut at = self.rows_at;
        let mut line = 1 + self.lines(&text[..at]);
        let mut record = ByteRecord::new();
        'again: while at < text.len() {
            let mut reader = reader(&text[at..], self.delimiter);
            let mut begin = at;
            while reader.read_byte_record(&mut record).map_err(broken)? {
                let end = at + usize::try_from(reader.position().byte()).unwrap_or(usize::MAX);
                // The line break of the row before may still be in front of this one.
                let row = after_breaks(text, begin..end.min(text.len()));
                line += self.lines(&text[begin..row.start]);
                let raw = &text[row.clone()];
                let first_line = self.first_line(raw);
                let several = first_line < raw.trim_ascii_end().len();
                let swallowed = several && self.swallowed_a_row(&raw[first_line..]);
                let wrong = if swallowed {
                    Some("a quote is opened and not closed".to_owned())
                } else {
                    self.row(&record, sheet)
                };
                let Some(why) = wrong else {
                    line += self.lines(raw);
                    begin = row.end;
                    continue;
                };
                if several {
                    let why = format!("{why} (the row goes on over several lines: is a quote left open?)");
                    sheet.reject(line, &String::from_utf8_lossy(&raw[..first_line]), why);
                    line += self.lines(&raw[..first_line]);
                    at = row.start + first_line;
                    continue 'again;
                }
                sheet.reject(line, &String::from_utf8_lossy(raw), why);
                line += self.lines(raw);
                begin = row.end;
            }
            break;
        }
        Ok(())
    }

    /// Reads one row. Gives what is wrong with it.
    fn row(&self, record: &ByteRecord, sheet: &mut Sheet) -> Option<String> {
        for (place, texts) in &self.only {
            let text = record.get(*place).map(String::from_utf8_lossy).unwrap_or_default();
            if !texts.contains(&plain(&text)) {
                return None;
            }
        }
        if let Some(why) = self.wrong_width(record) {
            return Some(why);
        }
        let mut cells = Cells::default();
        for (field, places) in &self.columns {
            let filled =
                |place: &&usize| record.get(**place).is_some_and(|cell| !cell.trim_ascii().is_empty());
            if let Some(cell) = places.iter().find(filled).and_then(|place| record.get(*place)) {
                cells.set(*field, String::from_utf8_lossy(cell));
            }
        }
        row::read(&cells, &self.rules, sheet)
    }

    /// RFC 4180 section 2 rule 4: each line has the same number of fields. A row with more of them has a comma
    /// where none belongs, in a number perhaps; one with fewer was cut off, in a number perhaps.
    fn wrong_width(&self, record: &ByteRecord) -> Option<String> {
        let (found, width) = (record.len(), self.width);
        if width == 0 || found == width {
            return None;
        }
        if found > width {
            let mut extra = (width..found).filter_map(|place| record.get(place));
            if extra.all(|cell| cell.trim_ascii().is_empty()) {
                return None;
            }
            let hint = if self.delimiter == b',' { "; is there a decimal comma without quotes?" } else { "" };
            return Some(format!("has {found} fields, the header has {width}{hint}"));
        }
        let blank = record.iter().all(|cell| cell.trim_ascii().is_empty());
        let lenient = blank || self.rules.layout.is_some();
        (!lenient).then(|| format!("has {found} fields, the header has {width}; was it cut off?"))
    }

    /// Whether a line inside a row of several lines is a good row itself.
    fn swallowed_a_row(&self, rest: &[u8]) -> bool {
        let mut record = ByteRecord::new();
        rest.split(|byte| *byte == self.newline).any(|line| {
            let mut scratch = Sheet::default();
            let read = reader(line, self.delimiter).read_byte_record(&mut record);
            matches!(read, Ok(true)) && self.row(&record, &mut scratch).is_none() && scratch.len() > 0
        })
    }

    fn lines(&self, text: &[u8]) -> usize {
        text.iter().filter(|byte| **byte == self.newline).count()
    }

    /// Length of the first line, with its line break.
    fn first_line(&self, raw: &[u8]) -> usize {
        raw.iter().position(|byte| *byte == self.newline).map_or(raw.len(), |at| at + 1)
    }
}

pub(super) fn reader(text: &[u8], delimiter: u8) -> csv::Reader<&[u8]> {
    ReaderBuilder::new().delimiter(delimiter).has_headers(false).flexible(true).from_reader(text)
}

fn broken(error: csv::Error) -> FileError {
    FileError::Broken(format!("the table cannot be read: {error}"))
}

/// Skips lines; gives how many there were and where the rest begins.
pub(super) fn skip(text: &[u8], lines: usize) -> (usize, usize) {
    let mut at = 0;
    for skipped in 0..lines {
        match text[at..].iter().position(|byte| *byte == b'\n') {
            Some(length) => at += length + 1,
            None => return (skipped, text.len()),
        }
    }
    (lines, at)
}

/// The cells of the first row and its length in bytes.
pub(super) fn first_row(text: &[u8], delimiter: u8) -> Option<(Vec<String>, usize)> {
    let mut reader = reader(text, delimiter);
    let mut record = ByteRecord::new();
    reader.read_byte_record(&mut record).ok().filter(|found| *found)?;
    let names = record.iter().map(|cell| String::from_utf8_lossy(cell).trim().to_owned()).collect();
    Some((names, usize::try_from(reader.position().byte()).ok()?.min(text.len())))
}

fn after_breaks(text: &[u8], row: Range<usize>) -> Range<usize> {
    let breaks = text[row.clone()].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
    row.start + breaks..row.end
}

fn own_columns(names: &[String]) -> Result<Vec<(Field, Vec<usize>)>, String> {
    let mut out: Vec<(Field, Vec<usize>)> = Vec::new();
    for (place, name) in names.iter().enumerate() {
        let Some(field) = Field::of_column(name) else { continue };
        if out.iter().any(|(held, _)| *held == field) {
            return Err(format!("one column '{}', not two", field.word()));
        }
        out.push((field, vec![place]));
    }
    Ok(out)
}

/// Where these columns stand. Each must be there.
fn places(columns: &[Column], names: &[String]) -> Result<Vec<usize>, String> {
    columns
        .iter()
        .map(|column| match column {
            Column::Number(number) => Ok(number.saturating_sub(1)),
            Column::Name(wanted) => names
                .iter()
                .position(|name| plain(name) == plain(wanted))
                .ok_or_else(|| format!("a column '{wanted}', as the layout says")),
        })
        .collect()
}

/// What a table must have and this one has not.
fn lacking(has: &impl Fn(Field) -> bool) -> Option<&'static str> {
    let any = |fields: &[Field]| fields.iter().any(|field| has(*field));
    let value = any(&[Field::Glucose, Field::GivenAt, Field::Units, Field::Event, Field::Count, Field::Text]);
    let time = any(&[Field::MeasuredAt, Field::GivenAt, Field::At, Field::Date]);
    if value && time {
        return None;
    }
    Some(
        "'measured_at' and 'glucose' for readings (with 'meter' too for meter checks), 'given_at' for doses, 'at' \
         and 'event' for sensor events",
    )
}

fn shown(names: &[String]) -> String {
    if names.is_empty() {
        return "no header row".to_owned();
    }
    let shown: Vec<String> = names
        .iter()
        .take(12)
        .map(|name| format!("'{}'", name.chars().take(30).collect::<String>()))
        .collect();
    let more = if names.len() > 12 { " and more" } else { "" };
    format!("{}{more}", shown.join(", "))
}

/// What may be the matter with a header.
fn hint(names: &[String], layout: Option<&Layout>) -> String {
    if let Some(layout) = layout {
        return format!(" (layout '{}')", layout.name);
    }
    let all = names.join(",");
    let starts_with_a_digit = names.iter().any(|name| name.starts_with(|c: char| c.is_ascii_digit()));
    if starts_with_a_digit {
        return "; this looks like a row, not a header: put the names of the columns in the first line"
            .to_owned();
    }
    for (delimiter, name) in [(';', "';'"), ('\t', "tabs"), ('|', "'|'")] {
        if all.contains(delimiter) {
            return format!(
                "; the columns seem to be separated by {name}: describe it in an [[intake.layout]]"
            );
        }
    }
    "; other columns can be described in an [[intake.layout]]".to_owned()
}

const HEADER_LOOK_BYTES: usize = 64 * 1024;
