//! For a table that nothing takes: the lines of configuration that would read it. In: the table. Out: an
//! `[[intake.layout]]`, only if all of the table was read by it; whether it was read rightly a person has to say.

use std::fmt::Write as _;

use chrono::NaiveDateTime;
use csv::ByteRecord;

use super::csv::{first_row, read, reader, skip};
use super::encoding::{self, Encoding};
use super::layout::{Column, Layout, LayoutText, OneOrMany};
use super::{Context, FileError, Record};
use crate::words::{Moment, Reading, Unit, Value};

/// The error, with a proposal if there is one.
pub(super) fn beside(error: FileError, bytes: &[u8], context: &Context) -> FileError {
    match error {
        FileError::Columns { line, found, expected, .. } => {
            FileError::Columns { line, found, expected, proposal: proposal(bytes, context) }
        }
        error => error,
    }
}

/// What to write into the configuration, and how to see whether it is right.
fn proposal(bytes: &[u8], context: &Context) -> Option<String> {
    if bytes.len() > BYTES_LOOKED_AT {
        return None;
    }
    let word = if std::str::from_utf8(bytes).is_ok() { None } else { Some("latin-1") };
    let encoding = if word.is_some() { Encoding::Latin1 } else { Encoding::Utf8 };
    let text = encoding::text(bytes, encoding).ok()?;
    for delimiter in [b';', b'\t', b',', b'|'] {
        for skipped in 0..=SKIPPED_MOST {
            let Some(grid) = Grid::of(&text, delimiter, skipped) else { continue };
            let Some(mut layout) = grid.layout() else { continue };
            layout.encoding = word.map(str::to_owned);
            layout.cat = (context.cats.len() > 1).then(|| context.cats[0].0.to_string());
            if let Some(words) = tried(&layout, bytes, context) {
                return Some(words);
            }
        }
    }
    None
}

/// Reads the table by the layout; says so only if all of it is readings.
fn tried(text: &LayoutText, bytes: &[u8], context: &Context) -> Option<String> {
    let layout = Layout::new(text).ok()?;
    let parsed = read(bytes, Some(&layout), context, None).ok().filter(|parsed| parsed.rejects.is_empty())?;
    let of =
        |record: &Record| if let Record::Reading { reading, .. } = record { Some(*reading) } else { None };
    let readings: Vec<Reading> = parsed.records.iter().map(of).collect::<Option<_>>()?;
    let first = readings.first()?;
    let unit = text.unit.as_deref().and_then(Unit::parse).unwrap_or_default();
    let level = match first.value {
        Value::Level(mg_dl) => format!("{} {unit}", unit.show(mg_dl)),
        Value::Below => "LO".to_owned(),
        Value::Above => "HI".to_owned(),
    };
    let at = first.measured_at.at(context.zone).format("%Y-%m-%d %H:%M");
    // Which of several cats it is nothing in the table says.
    let asked = if text.cat.is_some() { "cat, value, unit" } else { "value, unit" };
    Some(format!(
        "The lines below would read it: {} readings, the first one {level}, measured {at} ({}). Are {asked} and time \
         right? Then put them into lowtide.toml, start Lowtide again, and drop the file into the inbox once more. If not, \
         docs/formats.md says what can be changed.\n\n{}",
        readings.len(),
        context.zone,
        written(text)
    ))
}

/// A header and the rows under it, as cells.
struct Grid {
    names: Vec<String>,
    rows: Vec<Vec<String>>,
    /// Everything from the top of the file to the first row, in small letters.
    head: String,
    delimiter: u8,
    skipped: usize,
}

/// Where the time stands, and how it is written.
struct Times {
    places: Vec<usize>,
    format: Option<&'static str>,
}

impl Grid {
    fn of(text: &[u8], delimiter: u8, skipped: usize) -> Option<Self> {
        let (lines, start) = skip(text, skipped);
        let (names, length) = first_row(&text[start..], delimiter)?;
        let named = COLUMNS.contains(&names.len()) && names.iter().all(|name| !name.is_empty());
        if lines != skipped || !named {
            return None;
        }
        let mut reader = reader(&text[start + length..], delimiter);
        let (mut record, mut rows) = (ByteRecord::new(), Vec::new());
        while rows.len() < ROWS_LOOKED_AT && reader.read_byte_record(&mut record).ok()? {
            let cells = record.iter().map(|cell| String::from_utf8_lossy(cell).trim().to_owned());
            rows.push(cells.collect::<Vec<_>>());
        }
        let whole = !rows.is_empty() && rows.iter().all(|row| row.len() == names.len());
        let head = String::from_utf8_lossy(&text[..start + length]).to_lowercase();
        whole.then_some(Self { names, rows, head, delimiter, skipped })
    }

    fn layout(&self) -> Option<LayoutText> {
        let times = self.times()?;
        let value = self.value(&times)?;
        let column = |place: usize| OneOrMany::One(Column::Name(self.names[place].clone()));
        let fields: &[&str] = if times.places.len() == 1 { &["measured_at"] } else { &["date", "time"] };
        let mut columns: std::collections::BTreeMap<String, OneOrMany<Column>> = fields
            .iter()
            .zip(&times.places)
            .map(|(field, place)| ((*field).to_owned(), column(*place)))
            .collect();
        columns.insert("glucose".to_owned(), column(value));
        let used = times.places.iter().chain([&value]).map(|place| self.names[*place].clone());
        Some(LayoutText {
            name: Some("proposed".to_owned()),
            header: used.collect(),
            delimiter: match self.delimiter {
                b',' => None,
                b'\t' => Some("tab".to_owned()),
                other => Some(char::from(other).to_string()),
            },
            decimal_comma: self.cells(value).any(|cell| cell.contains(',')),
            skip_lines: self.skipped,
            columns,
            date_format: times
                .format
                .map_or_else(OneOrMany::default, |format| OneOrMany::One(format.to_owned())),
            unit: Some(self.unit(value).code().to_owned()),
            ..LayoutText::default()
        })
    }

    fn cells(&self, place: usize) -> impl Iterator<Item = &str> {
        self.rows.iter().map(move |row| row[place].as_str())
    }

    /// The first column, or two beside each other, in which every row has a time; none where two ways of writing fit, since
    /// the third of April is not the fourth of March.
    fn times(&self) -> Option<Times> {
        let one = (0..self.names.len()).map(|place| vec![place]);
        let two = (1..self.names.len()).map(|place| vec![place - 1, place]);
        one.chain(two).find_map(|places| {
            let cell =
                |row: &Vec<String>| places.iter().map(|at| row[*at].as_str()).collect::<Vec<_>>().join(" ");
            let cells: Vec<String> = self.rows.iter().map(cell).collect();
            if places.len() == 1 && cells.iter().all(|cell| is_ours(cell)) {
                return Some(Times { places, format: None });
            }
            let fits =
                |format: &&&str| cells.iter().all(|cell| NaiveDateTime::parse_from_str(cell, format).is_ok());
            let mut fitting = FORMATS.iter().filter(fits);
            let format = fitting.next().copied().filter(|_| fitting.next().is_none())?;
            Some(Times { places, format: Some(format) })
        })
    }

    /// The one column of levels; of several the one whose name says so.
    fn value(&self, times: &Times) -> Option<usize> {
        let others = (0..self.names.len()).filter(|place| !times.places.contains(place));
        let levels: Vec<usize> = others.filter(|place| self.cells(*place).all(is_level)).collect();
        let says_so = |place: &&usize| {
            let name = self.names[**place].to_lowercase();
            NAMES.iter().any(|part| name.contains(part))
        };
        let mut named = levels.iter().filter(says_so);
        match (levels.as_slice(), named.next(), named.next()) {
            ([only], _, _) | (_, Some(only), None) => Some(*only),
            _ => None,
        }
    }

    fn unit(&self, value: usize) -> Unit {
        let small = self.cells(value).filter_map(number).all(|level| level < MMOL_MOST);
        match (self.head.contains("mmol"), self.head.contains("mg/dl")) {
            (true, false) => Unit::MmolL,
            (false, true) => Unit::MgDl,
            _ if small => Unit::MmolL,
            _ => Unit::MgDl,
        }
    }
}

fn number(cell: &str) -> Option<f64> {
    cell.replacen(',', ".", 1).parse().ok()
}

/// Whether it is one, in either unit.
fn is_level(cell: &str) -> bool {
    let out = ["lo", "hi", "low", "high"].iter().any(|word| cell.eq_ignore_ascii_case(word));
    out || number(cell).is_some_and(|level| (1.0..=700.0).contains(&level))
}

/// Whether it is read without being told how.
fn is_ours(cell: &str) -> bool {
    let local = ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S"];
    Moment::parse(cell).is_some()
        || local.iter().any(|format| NaiveDateTime::parse_from_str(cell, format).is_ok())
}

/// As it stands in a configuration.
fn written(layout: &LayoutText) -> String {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let mut lines = "[[intake.layout]]\n".to_owned();
    let mut text = |key: &str, value: Option<&str>| {
        if let Some(value) = value {
            let _ = writeln!(lines, "{key} = {}", quoted(value));
        }
    };
    text("name", layout.name.as_deref());
    text("delimiter", layout.delimiter.as_deref());
    text("encoding", layout.encoding.as_deref());
    text("unit", layout.unit.as_deref());
    text("cat", layout.cat.as_deref());
    if let OneOrMany::One(format) = &layout.date_format {
        text("date_format", Some(format));
    }
    let header: Vec<String> = layout.header.iter().map(|name| quoted(name)).collect();
    let _ = writeln!(lines, "header = [{}]", header.join(", "));
    if layout.decimal_comma {
        lines.push_str("decimal_comma = true\n");
    }
    if layout.skip_lines > 0 {
        let _ = writeln!(lines, "skip_lines = {}", layout.skip_lines);
    }
    lines.push_str("[intake.layout.columns]\n");
    for (field, column) in &layout.columns {
        if let OneOrMany::One(Column::Name(name)) = column {
            let _ = writeln!(lines, "{field} = {}", quoted(name));
        }
    }
    lines
}

const BYTES_LOOKED_AT: usize = 1024 * 1024;
const ROWS_LOOKED_AT: usize = 500;
const SKIPPED_MOST: usize = 6;
/// A table that a person has an idea of; one of thousands of columns would be looked at for minutes.
const COLUMNS: std::ops::RangeInclusive<usize> = 2..=50;
/// Where every level is under this the unit is taken for mmol/L, if nothing says which it is: over 36 mmol/L (about 650 mg/dL) no
/// cat stays for long, and no whole table of a cat's mg/dL lies under 36. Chosen by us.
const MMOL_MOST: f64 = 36.0;
/// Parts of names of columns with levels, in small letters.
const NAMES: [&str; 6] = ["gluc", "gluk", "glyc", "wert", "value", "valeur"];
const FORMATS: [&str; 14] = [
    "%d.%m.%Y %H:%M",
    "%d.%m.%Y %H:%M:%S",
    "%d.%m.%y %H:%M",
    "%d/%m/%Y %H:%M",
    "%d/%m/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M",
    "%m/%d/%Y %H:%M:%S",
    "%m/%d/%Y %I:%M %p",
    "%d-%m-%Y %H:%M",
    "%d-%m-%Y %H:%M:%S",
    "%Y/%m/%d %H:%M",
    "%Y/%m/%d %H:%M:%S",
    "%Y-%m-%d %H:%M",
    "%Y-%m-%d %H:%M:%S",
];

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::words::CatName;

    fn context() -> Context {
        Context {
            zone: chrono_tz::Europe::Vienna,
            cats: vec![(CatName::new("pepper").unwrap(), Unit::MgDl)],
            ranges: Vec::new(),
            layouts: Vec::new(),
        }
    }

    /// What is proposed for a table, read back as a configuration and tried on it.
    fn read_by(table: &[u8]) -> Option<(String, Vec<Record>)> {
        #[derive(serde::Deserialize)]
        struct File {
            intake: Intake,
        }
        #[derive(serde::Deserialize)]
        struct Intake {
            layout: Vec<LayoutText>,
        }
        let words = proposal(table, &context())?;
        let file: File = toml::from_str(&words[words.find("[[").unwrap()..]).unwrap();
        let layouts = file.intake.layout.iter().map(|text| Layout::new(text).unwrap()).collect();
        let context = Context { layouts, ..context() };
        let parsed = super::super::parse("export.csv", table, &context).unwrap();
        assert!(parsed.rejects.is_empty(), "{words}");
        Some((words, parsed.records))
    }

    #[test]
    fn what_is_proposed_reads_the_table() {
        for (table, first) in [
            (
                "Zeit;Wert\n31.03.2026 06:00;112\n31.03.2026 06:15;108\n",
                "112 mg/dL, measured 2026-03-31 06:00",
            ),
            (
                "Auszug\n\nDatum;Uhrzeit;Glukose (mmol/L);Bemerkung\n31.03.2026;06:00;6,2;\n31.03.2026;06:15;LO;x\n",
                "6.2 mmol/L, measured 2026-03-31 06:00",
            ),
            (
                "when\tsensor glucose\tbattery\n2026-03-31T06:00:00+02:00\t112\t97\n2026-03-31T06:15:00+02:00\t108\t97\n",
                "112 mg/dL, measured 2026-03-31 06:00",
            ),
            (
                "at,value\n03/31/2026 06:00 AM,112\n03/31/2026 06:15 PM,108\n",
                "112 mg/dL, measured 2026-03-31 06:00",
            ),
            (
                "at,reading\n2026/03/31 06:00,5.1\n2026/03/31 06:15,4.9\n",
                "5.1 mmol/L, measured 2026-03-31 06:00",
            ),
        ] {
            let (words, records) = read_by(table.as_bytes()).unwrap_or_else(|| panic!("nothing for {table}"));
            assert!(words.contains(first), "{words}");
            assert_eq!(records.len(), 2, "{words}");
        }
        let two = Context {
            cats: [context().cats, vec![(CatName::new("mint").unwrap(), Unit::MgDl)]].concat(),
            ..context()
        };
        let words = proposal(b"at;glucose\n31.03.2026 06:00;112\n", &two).unwrap();
        assert!(
            words.contains("Are cat, value, unit and time right?") && words.contains("cat = \"pepper\""),
            "{words}"
        );
        let (words, _) = read_by(b"Zeit;Mess\xfcng wert\n31.03.2026 06:00;112\n").unwrap();
        assert!(words.contains("encoding = \"latin-1\"") && words.contains("Messüng"), "{words}");
    }

    #[test]
    fn what_could_mean_two_things_is_not_guessed() {
        for (table, why) in [
            ("at;glucose\n03/04/2026 06:00;112\n", "the third of April or the fourth of March"),
            ("at;a;b\n31.03.2026 06:00;112;108\n", "two columns of levels"),
            ("at;glucose\n31.03.2026 06:00;112\nsum;112\n", "a row that is none"),
            ("at;note\n31.03.2026 06:00;ate\n", "no level"),
            ("glucose;units\n112;1\n", "no time"),
        ] {
            assert_eq!(proposal(table.as_bytes(), &context()), None, "{why}");
        }
        let wide = |more: usize| {
            let (names, cells) = (";x".repeat(more), ";-".repeat(more));
            format!("at;glucose{names}\n31.03.2026 06:00;112{cells}\n")
        };
        assert!(proposal(wide(48).as_bytes(), &context()).is_some());
        assert_eq!(
            proposal(wide(49).as_bytes(), &context()),
            None,
            "too wide for a person to have an idea of"
        );
    }

    proptest! {
        #[test]
        fn whatever_the_bytes_it_neither_breaks_nor_proposes_what_does_not_read_them(
            table in "([a-z\"\\[;, \\t]{0,6}[;,\\t]){1,3}\n([0-9./: ,;\"LO]{0,24}\n){0,4}", bytes: Vec<u8>
        ) {
            read_by(table.as_bytes());
            read_by(&bytes);
        }
    }
}
