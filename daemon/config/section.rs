//! Reading one table of the file: typed looks at one key each, that note what is wrong with its line and go on.
//! In: a parsed TOML table. Out: values, and problems on the sheet. Knows no key by name.

use std::cell::RefCell;
use std::fmt::Write as _;
use std::ops::{Range, RangeInclusive};

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::problem::{Problem, ProblemSeverity};

/// The text of the file, and what was noted about it so far.
#[derive(Debug)]
pub(super) struct Sheet<'a> {
    text: &'a str,
    problems: RefCell<Vec<Problem>>,
}

/// A value and the line it stands on.
#[derive(Clone, Debug)]
pub(super) struct At<T> {
    pub(super) value: T,
    pub(super) line: Option<u32>,
}

/// One table of the file; it may be absent, then every key in it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Section<'a> {
    sheet: &'a Sheet<'a>,
    table: Option<&'a DeTable<'a>>,
    /// Dotted path without indexes, as in `cat.plan`.
    path: &'a str,
    /// Whether it is written `[[path]]`.
    repeated: bool,
    line: Option<u32>,
}

impl<'a> Sheet<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        Self { text, problems: RefCell::default() }
    }

    pub(super) fn note(&self, problem: Problem) {
        self.problems.borrow_mut().push(problem);
    }

    /// Everything noted, by line; what concerns the whole file first.
    pub(super) fn into_problems(self) -> Vec<Problem> {
        let mut problems = self.problems.into_inner();
        problems.sort_by(|a, b| (a.line, &a.key).cmp(&(b.line, &b.key)));
        problems.dedup();
        problems
    }

    pub(super) fn line(&self, span: &Range<usize>) -> u32 {
        line_of(self.text, span.start)
    }

    /// The piece of the file under a span, on one line and not too long.
    pub(super) fn piece(&self, span: Range<usize>) -> String {
        let piece = self.text.get(span).unwrap_or_default();
        let first = piece.lines().next().unwrap_or_default();
        let cut = piece.lines().nth(1).is_some() || first.chars().count() > 60;
        let mut shown: String = first.chars().take(60).collect();
        if cut {
            shown.push_str("...");
        }
        shown
    }
}

/// The line, from 1, of a byte offset.
pub(super) fn line_of(text: &str, offset: usize) -> u32 {
    let before = text.as_bytes().get(..offset).unwrap_or(text.as_bytes());
    before.iter().filter(|byte| **byte == b'\n').count() as u32 + 1
}

impl<'a> Section<'a> {
    pub(super) fn root(sheet: &'a Sheet<'a>, table: &'a DeTable<'a>) -> Self {
        Self { sheet, table: Some(table), path: "", repeated: false, line: None }
    }

    pub(super) fn is_present(&self) -> bool {
        self.table.is_some()
    }

    pub(super) fn line(&self) -> Option<u32> {
        self.line
    }

    /// The line of a byte offset into the file.
    pub(super) fn line_at(&self, offset: usize) -> u32 {
        line_of(self.sheet.text, offset)
    }

    /// Every key and value.
    pub(super) fn entries(
        &self,
    ) -> impl Iterator<Item = (&'a Spanned<DeString<'a>>, &'a Spanned<DeValue<'a>>)> + use<'a> {
        self.table.into_iter().flat_map(DeTable::iter)
    }

    /// The key with its section, as messages name it.
    pub(super) fn named(&self, key: &str) -> String {
        match (self.path, self.repeated, key) {
            ("", _, key) => format!("[{key}]"),
            (path, true, "") => format!("[[{path}]]"),
            (path, false, "") => format!("[{path}]"),
            (path, true, key) => format!("[[{path}]] {key}"),
            (path, false, key) => format!("[{path}] {key}"),
        }
    }

    /// The raw value of a key.
    pub(super) fn raw(&self, key: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.table?.iter().find(|(name, _)| name.get_ref().as_ref() == key).map(|(_, value)| value)
    }

    /// Whether the key is written at all, rightly or wrongly.
    pub(super) fn has(&self, key: &str) -> bool {
        self.raw(key).is_some()
    }

    /// The line of the key, or of the section if it is not there.
    pub(super) fn line_of(&self, key: &str) -> Option<u32> {
        let mut keys = self.table.into_iter().flat_map(DeTable::iter);
        let found = keys.find(|(name, _)| name.get_ref().as_ref() == key);
        found.map(|(name, _)| self.sheet.line(&name.span())).or(self.line)
    }

    /// A table inside this one, by its full path.
    pub(super) fn table(&self, path: &'a str) -> Self {
        let key = path.rsplit('.').next().unwrap_or(path);
        let absent = Self { sheet: self.sheet, table: None, path, repeated: false, line: None };
        match self.raw(key).map(Spanned::get_ref) {
            None => absent,
            Some(DeValue::Table(table)) => Self { table: Some(table), line: self.line_of(key), ..absent },
            Some(DeValue::Array(_)) => {
                self.wrong_kind(key, &format!("expected one section [{path}], not several"));
                absent
            }
            Some(_) => {
                self.wrong_kind(key, &format!("expected a section [{path}] with its keys under it"));
                absent
            }
        }
    }

    /// The tables of a `[[path]]` list inside this one.
    pub(super) fn tables(&self, path: &'a str) -> Vec<Self> {
        let key = path.rsplit('.').next().unwrap_or(path);
        let want = format!("expected [[{path}]], with two brackets, for each one");
        match self.raw(key).map(Spanned::get_ref) {
            None => Vec::new(),
            Some(DeValue::Array(items)) => {
                let mut sections = Vec::new();
                for item in items.iter() {
                    if let DeValue::Table(table) = item.get_ref() {
                        let line = Some(self.sheet.line(&item.span()));
                        sections.push(Self {
                            sheet: self.sheet,
                            table: Some(table),
                            path,
                            repeated: true,
                            line,
                        });
                    } else {
                        self.wrong_kind(key, &want);
                    }
                }
                sections
            }
            // Read on as if the second bracket were there, so that what is inside is checked too.
            Some(DeValue::Table(table)) => {
                self.wrong_kind(key, &want);
                let line = self.line_of(key);
                vec![Self { sheet: self.sheet, table: Some(table), path, repeated: true, line }]
            }
            Some(_) => {
                self.wrong_kind(key, &want);
                Vec::new()
            }
        }
    }

    /// A text, with its line; trimmed. An empty one is a problem.
    pub(super) fn text(&self, key: &str) -> Option<At<&'a str>> {
        let raw = self.raw(key)?;
        let line = self.line_of(key);
        match raw.get_ref().as_str().map(str::trim) {
            Some("") => {
                self.wrong(key, "an empty text", "write something or take the line out");
                None
            }
            Some(value) => Some(At { value, line }),
            None => {
                self.wrong_kind(key, "expected a text in quotes");
                None
            }
        }
    }

    /// `true` or `false`.
    pub(super) fn flag(&self, key: &str) -> Option<bool> {
        let raw = self.raw(key)?;
        let flag = raw.get_ref().as_bool();
        if flag.is_none() {
            self.wrong_kind(key, "expected true or false, without quotes");
        }
        flag
    }

    /// A number inside `range`.
    pub(super) fn number(&self, key: &str, range: RangeInclusive<f64>, unit: &str) -> Option<f64> {
        let raw = self.raw(key)?;
        let number = self.number_in(key, raw)?;
        if range.contains(&number) {
            return Some(number);
        }
        self.wrong(key, &number.to_string(), &format!("expected {}", span_text(&range, unit)));
        None
    }

    /// A whole number inside `range`.
    pub(super) fn whole(&self, key: &str, range: RangeInclusive<f64>, unit: &str) -> Option<u32> {
        let number = self.number(key, range.clone(), unit)?;
        if number.fract() == 0.0 {
            return Some(number as u32);
        }
        self.wrong(
            key,
            &number.to_string(),
            &format!("expected a whole number, {}", span_text(&range, unit)),
        );
        None
    }

    /// A list of numbers, each inside `range`.
    pub(super) fn numbers(&self, key: &str, range: RangeInclusive<f64>, unit: &str) -> Option<Vec<f64>> {
        let raw = self.raw(key)?;
        let Some(items) = raw.get_ref().as_array() else {
            self.wrong_kind(key, "expected a list of numbers in brackets, as in [60, 15]");
            return None;
        };
        let mut numbers = Vec::new();
        for item in items.iter() {
            let number = self.number_in(key, item)?;
            if !range.contains(&number) {
                self.wrong(
                    key,
                    &number.to_string(),
                    &format!("expected {} for each", span_text(&range, unit)),
                );
                return None;
            }
            numbers.push(number);
        }
        Some(numbers)
    }

    /// A list of texts, each with its line.
    pub(super) fn texts(&self, key: &str) -> Option<Vec<At<&'a str>>> {
        let raw = self.raw(key)?;
        let want = "expected a list of texts in brackets, as in [\"one\", \"two\"]";
        let Some(items) = raw.get_ref().as_array() else {
            self.wrong_kind(key, want);
            return None;
        };
        let mut texts = Vec::new();
        for item in items.iter() {
            let Some(text) = item.get_ref().as_str() else {
                self.wrong_kind(key, want);
                return None;
            };
            texts.push(At { value: text.trim(), line: Some(self.sheet.line(&item.span())) });
        }
        Some(texts)
    }

    /// One of a few words.
    pub(super) fn choice<T: Copy>(&self, key: &str, choices: &[(&str, T)]) -> Option<T> {
        let text = self.text(key)?.value;
        if let Some((_, choice)) = choices.iter().find(|(word, _)| word.eq_ignore_ascii_case(text)) {
            return Some(*choice);
        }
        let words: Vec<&str> = choices.iter().map(|(word, _)| *word).collect();
        self.wrong(key, &quoted(text), &format!("expected {}{}", one_of(&words), nearest_hint(text, &words)));
        None
    }

    /// Notes an error about a key.
    pub(super) fn wrong(&self, key: &str, found: &str, want: &str) {
        self.note_at(self.line_of(key), key, found, want, ProblemSeverity::Error);
    }

    /// Notes what another room says about a key; it may have found nothing.
    pub(super) fn judged(&self, key: &str, found: &str, want: &str) {
        let found = if found.is_empty() { "nothing".to_owned() } else { quoted(found) };
        self.wrong(key, &found, want);
    }

    /// Notes an error about a key that is not there.
    pub(super) fn missing(&self, key: &str, want: &str) {
        self.wrong(key, "nothing", want);
    }

    /// Notes something worth knowing about a key.
    pub(super) fn advise(&self, key: &str, found: &str, want: &str) {
        self.note_at(self.line_of(key), key, found, want, ProblemSeverity::Advice);
    }

    /// Notes something about a line that is not the key's own.
    pub(super) fn note_at(
        &self,
        line: Option<u32>,
        key: &str,
        found: &str,
        want: &str,
        severity: ProblemSeverity,
    ) {
        self.sheet.note(Problem {
            line,
            key: self.named(key),
            found: found.to_owned(),
            want: want.to_owned(),
            severity,
        });
    }

    /// The value of a key as it is written in the file. Not for secrets.
    pub(super) fn written(&self, key: &str) -> String {
        self.raw(key).map(|raw| self.sheet.piece(raw.span())).unwrap_or_default()
    }

    /// Notes that a value is of another kind than expected, showing it as it is written.
    fn wrong_kind(&self, key: &str, want: &str) {
        let found = match self.raw(key) {
            Some(raw) if matches!(raw.get_ref(), DeValue::Table(_)) => "a section".to_owned(),
            Some(raw) => self.sheet.piece(raw.span()),
            None => "nothing".to_owned(),
        };
        self.wrong(key, &found, want);
    }

    fn number_in(&self, key: &str, raw: &Spanned<DeValue<'_>>) -> Option<f64> {
        let number = match raw.get_ref() {
            DeValue::Integer(whole) => {
                i64::from_str_radix(whole.as_str(), whole.radix()).ok().map(|number| number as f64)
            }
            DeValue::Float(float) => float.as_str().parse::<f64>().ok().filter(|number| number.is_finite()),
            _ => None,
        };
        if number.is_none() {
            // A decimal comma makes no number, so people put it into quotes.
            let text = raw.get_ref().as_str().unwrap_or_default().trim();
            let point = if text.contains(',') { " and with a point" } else { "" };
            let meant = text.replacen(',', ".", 1).parse::<f64>().ok().filter(|number| number.is_finite());
            let meant = meant.map(|number| format!("{point}: {number}")).unwrap_or_default();
            let want = format!("expected a number, without quotes{meant}");
            self.wrong(key, &self.sheet.piece(raw.span()), &want);
        }
        number
    }
}

/// `40 to 500 mg/dL`.
fn span_text(range: &RangeInclusive<f64>, unit: &str) -> String {
    let short = |number: &f64| (number * 1000.0).round() / 1000.0;
    let mut text = format!("{} to {}", short(range.start()), short(range.end()));
    if !unit.is_empty() {
        let _ = write!(text, " {unit}");
    }
    text
}

/// A text as messages show what was found; long ones are cut.
pub(super) fn quoted(text: &str) -> String {
    let cut = if text.chars().count() > 60 { "..." } else { "" };
    format!("\"{}{cut}\"", text.chars().take(60).collect::<String>())
}

/// `"a", "b" or "c"`.
pub(super) fn one_of(words: &[&str]) -> String {
    match words {
        [] => "nothing".to_owned(),
        [only] => format!("\"{only}\""),
        [first @ .., last] => {
            let first: Vec<String> = first.iter().map(|word| format!("\"{word}\"")).collect();
            format!("{} or \"{last}\"", first.join(", "))
        }
    }
}

/// The known word that was probably meant, if one is close enough: at most a third of its letters differ
/// (insertions, deletions, replacements and swapped neighbours count one each), or one begins the other.
pub(super) fn nearest<'w>(text: &str, words: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    let text = text.to_ascii_lowercase().replace('-', "_");
    let distance = |word: &str| {
        let word = word.to_ascii_lowercase().replace('-', "_");
        let begins =
            text.len() >= 3 && (word.starts_with(&text) || text.starts_with(&word) && word.len() >= 3);
        if begins { 1 } else { strsim::damerau_levenshtein(&text, &word) }
    };
    let close = |word: &str, distance: usize| distance * 3 <= word.chars().count().max(3);
    let with = words.into_iter().map(|word| (distance(word), word));
    with.filter(|(distance, word)| close(word, *distance))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, w)| w)
}

/// `; did you mean "low"?`, or nothing.
pub(super) fn nearest_hint(text: &str, words: &[&str]) -> String {
    nearest(text, words.iter().copied()).map(|word| format!("; did you mean \"{word}\"?")).unwrap_or_default()
}
