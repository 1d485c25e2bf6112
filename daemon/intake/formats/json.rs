//! JSON and NDJSON: one object, an array of them, or an object with `readings`; one object a line in NDJSON.
//! Each object is a record with our field names, or FHIR, or Open mHealth, whichever it looks like.

use std::borrow::Cow;
use std::fmt;

use serde::Deserializer as _;
use serde::de::{MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Value as Json};

use super::encoding::{self, Encoding};
use super::field::Field;
use super::row::{self, Cells, Rules};
use super::sheet::Sheet;
use super::{FileError, Parsed, fhir, omh};
use crate::words::Moment;

/// Reads one JSON text. An array is read item by item: what comes before a break in it is kept.
///
/// # Errors
/// If it is no JSON.
pub(super) fn read(bytes: &[u8], rules: &Rules<'_>, arrived: Option<Moment>) -> Result<Parsed, FileError> {
    let text = encoding::text(bytes, Encoding::Utf8)?;
    let text = without_nan(&text);
    let mut sheet = Sheet::arrived(arrived);
    let mut reader = serde_json::Deserializer::from_slice(&text);
    let mut items = Items { rules, sheet: &mut sheet, count: 0 };
    let outcome = reader.deserialize_any(&mut items).and_then(|()| reader.end());
    let count = items.count;
    if let Err(error) = outcome {
        let why = format!("the JSON is broken or cut off: {error}");
        if sheet.len() == 0 {
            return Err(FileError::Broken(why));
        }
        sheet.reject(count + 1, "", format!("{why}; what comes before it is kept"));
    }
    sheet.finish()
}

/// Reads one JSON object a line. Blank lines are passed over.
///
/// # Errors
/// If it is no text, or no line of it is JSON.
pub(super) fn read_lines(
    bytes: &[u8],
    rules: &Rules<'_>,
    arrived: Option<Moment>,
) -> Result<Parsed, FileError> {
    let text = encoding::text(bytes, Encoding::Utf8)?;
    let text = without_nan(&text);
    let mut sheet = Sheet::arrived(arrived);
    for (number, line) in text.split(|byte| *byte == b'\n').enumerate() {
        let line = line.trim_ascii();
        if line.is_empty() {
            continue;
        }
        match serde_json::from_slice(line) {
            Ok(Json::Object(object)) => item(&object, rules, &mut sheet, number + 1),
            Ok(_) => sheet.reject(number + 1, &String::from_utf8_lossy(line), NOT_AN_OBJECT.to_owned()),
            Err(error) => {
                let why = format!("the line is not JSON: {error}");
                sheet.reject(number + 1, &String::from_utf8_lossy(line), why);
            }
        }
    }
    sheet.finish()
}

/// Some programs write `NaN` or `Infinity` where they have no number. JSON has no such words, and one of them would cost
/// everything that comes after it: it is read as nothing.
fn without_nan(text: &[u8]) -> Cow<'_, [u8]> {
    if !NO_NUMBERS.iter().any(|word| text.windows(word.len()).any(|part| part == *word)) {
        return Cow::Borrowed(text);
    }
    let (mut out, mut at, mut quoted) = (Vec::with_capacity(text.len()), 0, false);
    while let Some(byte) = text.get(at) {
        let word = NO_NUMBERS.iter().find(|word| !quoted && text[at..].starts_with(word));
        if let Some(word) = word {
            out.extend_from_slice(b"null");
            at += word.len();
            continue;
        }
        if quoted && *byte == b'\\' {
            out.push(*byte);
            at += 1;
        }
        out.extend(text.get(at));
        // A line end closes what an earlier line of NDJSON left open.
        quoted = match byte {
            b'"' => !quoted,
            b'\n' => false,
            _ => quoted,
        };
        at += 1;
    }
    Cow::Owned(out)
}

/// One object, whatever it is.
fn item(object: &Map<String, Json>, rules: &Rules<'_>, sheet: &mut Sheet, line: usize) {
    if object.contains_key("resourceType") {
        fhir::read(object, rules, sheet, line);
    } else if object.contains_key("blood_glucose") || object.contains_key("body") {
        reject_if(omh::read(object, rules, sheet), object, sheet, line);
    } else if let Some(readings) = object.get("readings") {
        scan(object, readings, rules, sheet);
    } else {
        reject_if(flat(&[object], rules, sheet), object, sheet, line);
    }
}

fn reject_if(wrong: Option<String>, object: &Map<String, Json>, sheet: &mut Sheet, line: usize) {
    if let Some(why) = wrong {
        sheet.reject(line, &shown(object), why);
    }
}

/// An object with `readings`: what stands beside them holds for each of them that does not say otherwise.
fn scan(object: &Map<String, Json>, readings: &Json, rules: &Rules<'_>, sheet: &mut Sheet) {
    let Json::Array(readings) = readings else {
        sheet.reject(1, &shown(object), "'readings' must be a list of objects".to_owned());
        return;
    };
    match object.get("scanned_at").map(|at| at.as_str().ok_or_else(|| "is not a text".to_owned())) {
        None => {}
        Some(text) => match text.and_then(|text| rules.when(text)) {
            Ok(when) => sheet.scanned_at = Some(when.first),
            Err(why) => sheet.reject(1, "", format!("scanned_at: {why}; the readings are kept")),
        },
    }
    for (number, reading) in readings.iter().enumerate() {
        let Json::Object(inner) = reading else {
            sheet.reject(number + 1, &reading.to_string(), NOT_AN_OBJECT.to_owned());
            continue;
        };
        reject_if(flat(&[inner, object], rules, sheet), inner, sheet, number + 1);
    }
}

/// A record with our field names, looked for in each of these objects in turn.
fn flat(objects: &[&Map<String, Json>], rules: &Rules<'_>, sheet: &mut Sheet) -> Option<String> {
    let mut cells = Cells::default();
    // The outermost first, so that what stands nearer overrides it.
    for object in objects.iter().rev() {
        for (name, value) in *object {
            let Some(field) = Field::of_column(name) else { continue };
            cells.by_meter |= field == Field::Meter;
            let text = match value {
                Json::Null => continue,
                Json::String(text) => Cow::Borrowed(text.as_str()),
                Json::Number(number) => Cow::Owned(number.to_string()),
                Json::Bool(_) | Json::Array(_) | Json::Object(_) => {
                    return Some(format!("'{name}' must be a text or a number"));
                }
            };
            cells.set(field, text);
        }
    }
    let before = sheet.len();
    let wrong = row::read(&cells, rules, sheet);
    if wrong.is_none() && sheet.len() == before {
        return Some("holds nothing known: expected fields like 'measured_at' and 'glucose'".to_owned());
    }
    wrong
}

fn shown(object: &Map<String, Json>) -> String {
    serde_json::to_string(object).unwrap_or_default()
}

/// Takes a JSON text apart while it is being read, so that an array of a year is never all in memory.
struct Items<'a, 'b> {
    rules: &'a Rules<'a>,
    sheet: &'b mut Sheet,
    count: usize,
}

impl<'de> Visitor<'de> for &mut Items<'_, '_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object or a list of objects")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<(), A::Error> {
        while let Some(next) = items.next_element::<Json>()? {
            self.count += 1;
            match &next {
                Json::Object(object) => item(object, self.rules, self.sheet, self.count),
                other => self.sheet.reject(self.count, &other.to_string(), NOT_AN_OBJECT.to_owned()),
            }
        }
        Ok(())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<(), A::Error> {
        let mut object = Map::new();
        while let Some((name, value)) = entries.next_entry()? {
            object.insert(name, value);
        }
        self.count = 1;
        item(&object, self.rules, self.sheet, 1);
        Ok(())
    }
}

const NO_NUMBERS: [&[u8]; 3] = [b"-Infinity", b"Infinity", b"NaN"];
const NOT_AN_OBJECT: &str = "is not an object like {\"measured_at\": ..., \"glucose\": ...}";
