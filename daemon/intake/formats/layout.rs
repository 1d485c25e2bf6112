//! A table with other columns than ours, described in the configuration by one `[[intake.layout]]`.
//!
//! [`LayoutText`] is what stands in the configuration, [`Layout`] what has been checked. This file knows what a
//! layout says and which files it is for; `csv.rs` reads tables by it.

use std::collections::BTreeMap;

use chrono_tz::Tz;
use serde::Deserialize;

use super::encoding::Encoding;
use super::field::Field;
use super::time::TimeFormat;
use crate::words::{CatName, ReadingKind, Unit};

/// A column, by its name in the header row or by its number from 1.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(untagged)]
pub enum Column {
    /// By number, the first column being 1.
    Number(usize),
    /// By name; case and surrounding blanks do not matter.
    Name(String),
}

/// One value or a list of them.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(untagged)]
pub enum OneOrMany<T> {
    /// One.
    One(T),
    /// Several, tried in order.
    Many(Vec<T>),
}

impl<T> Default for OneOrMany<T> {
    fn default() -> Self {
        Self::Many(Vec::new())
    }
}

impl<T> OneOrMany<T> {
    fn list(&self) -> &[T] {
        match self {
            Self::One(one) => std::slice::from_ref(one),
            Self::Many(many) => many,
        }
    }
}

/// One `[[intake.layout]]` as it stands in the configuration.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct LayoutText {
    /// What it is called in messages.
    pub name: Option<String>,
    /// File names it is for; `*` stands for any letters, `?` for one. Case does not matter.
    pub files: Option<String>,
    /// Column names that must all stand in the header row for it to apply.
    pub header: Vec<String>,
    /// What separates columns: one character, or `tab`. Default `,`.
    pub delimiter: Option<String>,
    /// Numbers are written with a decimal comma.
    pub decimal_comma: bool,
    /// `utf-8` (default), `utf-16le`, `utf-16be` or `latin-1`. A byte order mark overrides it.
    pub encoding: Option<String>,
    /// Lines before the header row (or before the first row, without one).
    pub skip_lines: usize,
    /// Whether there is a row of column names. Default true.
    pub header_row: Option<bool>,
    /// Our name of a column = its name or number in the table.
    pub columns: BTreeMap<String, OneOrMany<Column>>,
    /// How times are written (strftime), tried in order. Default: RFC 3339 or `2026-03-01 06:15`.
    pub date_format: OneOrMany<String>,
    /// Zone of times without an offset. Default: home's.
    pub zone: Option<String>,
    /// Unit of values without one. Default: the cat's.
    pub unit: Option<String>,
    /// Texts that mean *below range*, besides `LO`.
    pub below: Vec<String>,
    /// Texts that mean *above range*, besides `HI`.
    pub above: Vec<String>,
    /// Whose, when the table does not say.
    pub cat: Option<String>,
    /// Which sensor, when the table does not say.
    pub sensor: Option<String>,
    /// `history` or `spot`, when the table does not say.
    pub kind: Option<String>,
    /// What the texts in the `kind` column mean: text = `history` or `spot`.
    pub kinds: BTreeMap<String, String>,
    /// Only rows in which this column says one of these are read; the others are passed over in silence.
    pub only: BTreeMap<String, Vec<String>>,
}

impl LayoutText {
    /// The keys of an `[[intake.layout]]`, for naming the nearest one.
    pub const KEYS: &'static [&'static str] = &[
        "name",
        "files",
        "header",
        "delimiter",
        "decimal_comma",
        "encoding",
        "skip_lines",
        "header_row",
        "columns",
        "date_format",
        "zone",
        "unit",
        "below",
        "above",
        "cat",
        "sensor",
        "kind",
        "kinds",
        "only",
    ];
}

/// What is wrong with an `[[intake.layout]]`.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{key}: '{found}' is not right: {expected}")]
pub struct LayoutProblem {
    /// The key inside the table.
    pub key: &'static str,
    /// What stands there.
    pub found: String,
    /// What would be right.
    pub expected: String,
}

fn problem(key: &'static str, found: &str, expected: impl Into<String>) -> LayoutProblem {
    LayoutProblem { key, found: found.to_owned(), expected: expected.into() }
}

/// A checked layout.
#[derive(Clone, Debug)]
pub struct Layout {
    pub(super) name: String,
    files: Option<String>,
    header: Vec<String>,
    pub(super) delimiter: u8,
    pub(super) decimal_comma: bool,
    pub(super) encoding: Encoding,
    pub(super) skip_lines: usize,
    pub(super) header_row: bool,
    pub(super) columns: Vec<(Field, Vec<Column>)>,
    pub(super) formats: Vec<TimeFormat>,
    pub(super) zone: Option<Tz>,
    pub(super) unit: Option<Unit>,
    pub(super) below: Vec<String>,
    pub(super) above: Vec<String>,
    pub(super) cat: Option<CatName>,
    pub(super) sensor: Option<String>,
    pub(super) kind: Option<ReadingKind>,
    pub(super) kinds: Vec<(String, ReadingKind)>,
    pub(super) only: Vec<(Column, Vec<String>)>,
}

impl Layout {
    /// Checks what stands in the configuration.
    ///
    /// # Errors
    /// The first thing that is wrong, with its key.
    pub fn new(text: &LayoutText) -> Result<Self, LayoutProblem> {
        if text.files.is_none() && text.header.is_empty() {
            return Err(problem("files", "", "say which files it is for, by 'files' or by 'header'"));
        }
        let columns = columns(text)?;
        let layout = Self {
            name: text.name.clone().or_else(|| text.files.clone()).unwrap_or_else(|| text.header.join(", ")),
            files: text.files.as_ref().map(|files| files.to_lowercase()),
            header: text.header.iter().map(|name| plain(name)).collect(),
            delimiter: delimiter(text)?,
            decimal_comma: text.decimal_comma,
            encoding: text
                .encoding
                .as_deref()
                .map_or(Ok(Encoding::Utf8), |word| Encoding::parse(word).ok_or(word))
                .map_err(|word| problem("encoding", word, "utf-8, utf-16le, utf-16be or latin-1"))?,
            skip_lines: text.skip_lines,
            header_row: text.header_row.unwrap_or(true),
            columns,
            formats: formats(text)?,
            zone: checked("zone", &text.zone, |zone| zone.parse().ok(), "a zone name like Europe/Vienna")?,
            unit: checked("unit", &text.unit, Unit::parse, "mg/dL or mmol/L")?,
            below: text.below.iter().map(|word| plain(word)).collect(),
            above: text.above.iter().map(|word| plain(word)).collect(),
            cat: checked("cat", &text.cat, |cat| CatName::new(cat).ok(), "the name of a cat")?,
            sensor: text.sensor.clone(),
            kind: checked("kind", &text.kind, kind, KINDS)?,
            kinds: kinds(text)?,
            only: text
                .only
                .iter()
                .map(|(column, texts)| {
                    let column = column.parse().map_or_else(|_| Column::Name(column.clone()), Column::Number);
                    (column, texts.iter().map(|text| plain(text)).collect())
                })
                .collect(),
        };
        layout.needs_a_header_for_its_names()?;
        Ok(layout)
    }

    /// Whether it is for files of this name, as far as names say.
    pub(super) fn takes_name(&self, name: &str) -> bool {
        let name = name.to_lowercase();
        let bare = name.strip_suffix(".gz").unwrap_or(&name);
        self.files.as_deref().is_none_or(|files| fits(files, &name) || fits(files, bare))
    }

    /// Whether it was given file names to look for.
    pub(super) fn goes_by_name(&self) -> bool {
        self.files.is_some()
    }

    /// Whether it was given column names to look for.
    pub(super) fn goes_by_header(&self) -> bool {
        !self.header.is_empty()
    }

    /// Whether it is for tables with this header row.
    pub(super) fn takes_header(&self, header: &[String]) -> bool {
        self.header.iter().all(|wanted| header.iter().any(|name| plain(name) == *wanted))
    }

    fn needs_a_header_for_its_names(&self) -> Result<(), LayoutProblem> {
        if self.header_row {
            return Ok(());
        }
        let in_columns = self.columns.iter().flat_map(|(_, columns)| columns);
        let named = in_columns.chain(self.only.iter().map(|(column, _)| column)).find_map(|c| match c {
            Column::Name(name) => Some(name),
            Column::Number(_) => None,
        });
        match named {
            Some(name) => Err(problem("columns", name, "without a header row, columns go by number, from 1")),
            None => Ok(()),
        }
    }
}

fn columns(text: &LayoutText) -> Result<Vec<(Field, Vec<Column>)>, LayoutProblem> {
    let mut out = Vec::new();
    for (key, columns) in &text.columns {
        let field = Field::parse(key).ok_or_else(|| {
            problem("columns", key, format!("a column is one of {}", Field::all_names().join(", ")))
        })?;
        for column in columns.list() {
            if matches!(column, Column::Number(0)) {
                return Err(problem("columns", "0", "columns are counted from 1"));
            }
        }
        out.push((field, columns.list().to_vec()));
    }
    // A layout without columns fixes other things (cat, unit, zone) of files that use our own names.
    Ok(out)
}

fn delimiter(text: &LayoutText) -> Result<u8, LayoutProblem> {
    let given = text.delimiter.as_deref().unwrap_or(",");
    match (given, given.as_bytes()) {
        ("tab", _) => Ok(b'\t'),
        (_, [one]) if !matches!(one, b'"' | b'\r' | b'\n') => Ok(*one),
        _ => Err(problem("delimiter", given, "one ASCII character like ; or the word tab")),
    }
}

fn formats(text: &LayoutText) -> Result<Vec<TimeFormat>, LayoutProblem> {
    text.date_format
        .list()
        .iter()
        .map(|format| TimeFormat::new(format).map_err(|why| problem("date_format", format, why)))
        .collect()
}

fn kinds(text: &LayoutText) -> Result<Vec<(String, ReadingKind)>, LayoutProblem> {
    text.kinds
        .iter()
        .map(|(said, word)| Ok((plain(said), kind(word).ok_or_else(|| problem("kinds", word, KINDS))?)))
        .collect()
}

fn checked<T>(
    key: &'static str,
    found: &Option<String>,
    read: impl Fn(&str) -> Option<T>,
    expected: &str,
) -> Result<Option<T>, LayoutProblem> {
    found.as_deref().map(|text| read(text).ok_or_else(|| problem(key, text, expected))).transpose()
}

/// Reads `history` or `spot`.
pub(super) fn kind(word: &str) -> Option<ReadingKind> {
    match plain(word).as_str() {
        "history" => Some(ReadingKind::History),
        "spot" => Some(ReadingKind::Spot),
        _ => None,
    }
}

/// A text as it is compared: without blanks around it, in lower case.
pub(super) fn plain(text: &str) -> String {
    text.trim().to_lowercase()
}

/// Whether `name` fits `pattern`, in which `*` stands for any letters and `?` for one.
fn fits(pattern: &str, name: &str) -> bool {
    let (pattern, name): (Vec<char>, Vec<char>) = (pattern.chars().collect(), name.chars().collect());
    let (mut p, mut n, mut star) = (0, 0, None);
    while n < name.len() {
        match pattern.get(p) {
            Some('*') => {
                star = Some((p, n));
                p += 1;
            }
            Some(c) if *c == '?' || *c == name[n] => {
                p += 1;
                n += 1;
            }
            _ => match star {
                // The last star takes one letter more.
                Some((at, taken)) => {
                    star = Some((at, taken + 1));
                    p = at + 1;
                    n = taken + 1;
                }
                None => return false,
            },
        }
    }
    pattern[p..].iter().all(|c| *c == '*')
}

const KINDS: &str = "history or spot";

#[cfg(test)]
mod tests {
    use super::*;

    fn layout(toml: &str) -> Result<Layout, LayoutProblem> {
        Layout::new(&toml::from_str::<LayoutText>(toml).unwrap())
    }

    #[test]
    fn stars_and_question_marks_stand_for_letters() {
        for (pattern, name, expected) in [
            ("*.csv", "a.csv", true),
            ("clinic-*.txt", "clinic-2026.txt", true),
            ("clinic-*.txt", "clinic.txt", false),
            ("a?c", "abc", true),
            ("a?c", "ac", false),
            ("*a*b*", "xxaxxbxx", true),
            ("*a*b", "xxaxxbxx", false),
            ("", "", true),
            ("*", "", true),
        ] {
            assert_eq!(fits(pattern, name), expected, "{pattern} {name}");
        }
    }

    #[test]
    fn a_layout_says_which_key_is_wrong_and_what_would_be_right() {
        for (toml, key, part) in [
            ("", "files", "'header'"),
            ("files = '*'\ndelimiter = ';;'", "delimiter", "one ASCII character"),
            ("files = '*'\nencoding = 'klingon'", "encoding", "utf-16le"),
            ("files = '*'\nzone = 'Vienna'", "zone", "Europe/Vienna"),
            ("files = '*'\nunit = 'mg'", "unit", "mmol/L"),
            ("files = '*'\nkind = 'old'", "kind", "spot"),
            ("files = '*'\ndate_format = '%Q'", "date_format", "strftime"),
            ("files = '*'\ncolumns = { glukose = 1 }", "columns", "glucose"),
            ("files = '*'\ncolumns = { glucose = 0 }", "columns", "from 1"),
            ("files = '*'\nheader_row = false\ncolumns = { glucose = 'x' }", "columns", "by number"),
        ] {
            let found = layout(toml).unwrap_err();
            assert_eq!(found.key, key, "{toml}");
            assert!(found.to_string().contains(part), "{found}");
        }
    }

    #[test]
    fn a_layout_goes_by_name_by_header_or_by_both() {
        let both = layout("files = 'Clinic-*'\nheader = ['Datum', 'Wert']").unwrap();
        assert!(both.takes_name("clinic-1.csv") && both.takes_name("CLINIC-1.csv.gz"));
        assert!(!both.takes_name("other.csv"));
        assert!(both.takes_header(&[" wert".into(), "DATUM".into(), "x".into()]));
        assert!(!both.takes_header(&["wert".into()]));
    }
}
