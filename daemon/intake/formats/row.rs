//! One row, whatever format it came in, becomes records: the one place that knows what a row must hold.
//!
//! A row may hold several records (a diary line with a meter check, a dose and a note). What is wrong with one
//! of them does not cost the others; the row is then kept and rejected in part, and the reason says so.

use std::borrow::Cow;

use chrono_tz::Tz;

use super::field::Field;
use super::layout::{Layout, kind, plain};
use super::sheet::Sheet;
use super::time::{TimeFormat, When, when};
use super::{Context, Record};
use crate::words::{
    CatName, Dose, MeterCheck, MeterKind, Note, Reading, ReadingKind, SensorEvent, SensorNote, Spare, Unit,
    Value, ValueError,
};

/// What holds for all rows of one file.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rules<'a> {
    pub(super) context: &'a Context,
    pub(super) layout: Option<&'a Layout>,
    /// The table has a meter column and nothing that belongs to a sensor: every value in it is a meter's.
    pub(super) meter_table: bool,
}

/// The cells of one row, by what they hold.
#[derive(Clone, Debug, Default)]
pub(super) struct Cells<'a> {
    cells: [Option<Cow<'a, str>>; Field::COUNT],
    /// The row names a meter, even if it leaves open which.
    pub(super) by_meter: bool,
}

impl<'a> Cells<'a> {
    /// No cells yet; `by_meter` says that the value will be a meter's.
    pub(super) fn new(by_meter: bool) -> Self {
        Self { by_meter, ..Self::default() }
    }

    pub(super) fn set(&mut self, field: Field, text: Cow<'a, str>) {
        self.cells[field as usize] = Some(text);
    }

    /// The text of a cell, if it is not blank.
    pub(super) fn get(&self, field: Field) -> Option<&str> {
        self.cells[field as usize].as_deref().map(str::trim).filter(|text| !text.is_empty())
    }

    /// The first of these cells that is not blank.
    fn first(&self, fields: &[Field]) -> Option<&str> {
        fields.iter().find_map(|field| self.get(*field))
    }

    fn is_blank(&self) -> bool {
        self.cells.iter().flatten().all(|text| text.trim().is_empty())
    }
}

impl<'a> Rules<'a> {
    pub(super) fn zone(&self) -> Tz {
        self.layout.and_then(|layout| layout.zone).unwrap_or(self.context.zone)
    }

    fn formats(&self) -> &'a [TimeFormat] {
        self.layout.map_or(&[], |layout| &layout.formats)
    }

    /// Reads a time as this file writes it.
    pub(super) fn when(&self, text: &str) -> Result<When, String> {
        when(text, self.formats(), self.zone())
    }

    /// The cat of that name and the unit its values are in if they do not say.
    pub(super) fn cat(&self, said: Option<&str>) -> Result<(&'a CatName, Unit), String> {
        let cats = &self.context.cats;
        let known = || cats.iter().map(|(cat, _)| cat.as_str()).collect::<Vec<_>>().join(", ");
        let fixed = self.layout.and_then(|layout| layout.cat.as_ref()).map(CatName::as_str);
        let (cat, unit) = match said.or(fixed) {
            Some(name) => cats
                .iter()
                .find(|(cat, _)| cat.as_str().eq_ignore_ascii_case(name))
                .ok_or_else(|| format!("no cat is called '{}': known here: {}", short(name), known()))?,
            None => match cats.as_slice() {
                [one] => one,
                [] => return Err("no cat is configured".to_owned()),
                _ => {
                    return Err(format!(
                        "does not say which cat: add a column 'cat' with one of {}",
                        known()
                    ));
                }
            },
        };
        Ok((cat, self.layout.and_then(|layout| layout.unit).unwrap_or(*unit)))
    }

    /// Reads a glucose value as this file writes it, and checks that a sensor or meter may have shown it. `range` is what
    /// that can read.
    fn value(&self, text: &str, unit: Unit, range: [f64; 2]) -> Result<Value, NoValue> {
        if let Some(layout) = self.layout
            && !(layout.below.is_empty() && layout.above.is_empty())
        {
            let said = plain(text);
            if layout.below.contains(&said) {
                return Ok(Value::Below);
            }
            if layout.above.contains(&said) {
                return Ok(Value::Above);
            }
        }
        match compared(text) {
            Some((end, rest)) => self.end_of_range(end, rest, (text, unit), range),
            None => self.level(text, unit),
        }
    }

    fn level(&self, text: &str, unit: Unit) -> Result<Value, NoValue> {
        let number = self.number(text).map_err(NoValue::Unreadable)?;
        match Value::parse(&number, unit) {
            Ok(value) => plausible(value, unit, text).map_err(NoValue::Implausible),
            Err(error @ ValueError::Impossible { .. }) => Err(NoValue::Implausible(error.to_string())),
            Err(error) => Err(NoValue::Unreadable(error.to_string())),
        }
    }

    /// Reads `<40`, `< 40 mg/dL` or `>400`: out of range, if the number is where the range ends. Inside of it, it says
    /// neither a level nor that the sensor could not read it.
    fn end_of_range(
        &self,
        end: Value,
        rest: &str,
        (text, unit): (&str, Unit),
        [floor, ceiling]: [f64; 2],
    ) -> Result<Value, NoValue> {
        let digits =
            rest.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ','))).unwrap_or(rest.len());
        let (number, said) = (&rest[..digits], rest[digits..].trim());
        let unit = if said.is_empty() { Some(unit) } else { Unit::parse(said) };
        let Some(unit) = unit else {
            return Err(NoValue::Unreadable(ValueError::NotANumber(short(text)).to_string()));
        };
        let level = self.level(number, unit)?.level();
        let (agrees, reads, limit) = match end {
            Value::Below => (level.is_some_and(|level| level <= floor + ROUNDED_MG_DL), "down", floor),
            _ => (level.is_some_and(|level| level >= ceiling - ROUNDED_MG_DL), "up", ceiling),
        };
        if agrees {
            return Ok(end);
        }
        Err(NoValue::Unreadable(format!(
            "'{}' is no level, and not the end of the range either: it is read {reads} to {} {unit} ('range' in \
             [cat.sensor])",
            short(text),
            unit.show(limit)
        )))
    }

    /// A number with a decimal point.
    fn number<'t>(&self, text: &'t str) -> Result<Cow<'t, str>, String> {
        match (text.contains(','), self.layout.is_some_and(|layout| layout.decimal_comma)) {
            (false, _) => Ok(Cow::Borrowed(text)),
            (true, true) => Ok(Cow::Owned(text.replacen(',', ".", 1))),
            (true, false) => Err(format!(
                "'{}' has a comma in it: write a point, or if a file has decimal commas say decimal_comma = true in an [[intake.layout]]",
                short(text)
            )),
        }
    }
}

/// Which end of the range a text with a comparator speaks of, and what stands behind that.
fn compared(text: &str) -> Option<(Value, &str)> {
    let after = |signs: &[&str]| signs.iter().find_map(|sign| text.strip_prefix(sign)).map(str::trim_start);
    let below = after(&["<=", "=<", "<", "\u{2264}"]).map(|rest| (Value::Below, rest));
    below.or_else(|| after(&[">=", "=>", ">", "\u{2265}"]).map(|rest| (Value::Above, rest)))
}

/// Why a text is not taken for a glucose value.
enum NoValue {
    Unreadable(String),
    /// A number, but nothing a sensor or meter shows: the unit is in doubt.
    Implausible(String),
}

/// Reads one row into `sheet`. Gives what is wrong with it, if anything.
pub(super) fn read(cells: &Cells<'_>, rules: &Rules<'_>, sheet: &mut Sheet) -> Option<String> {
    if cells.is_blank() {
        return None;
    }
    let (cat, unit) = match rules.cat(cells.get(Field::Cat)) {
        Ok(found) => found,
        Err(why) => return Some(why),
    };
    let mut row = Row { cells, rules, cat, unit, sheet, wrong: Vec::new(), found: 0 };
    row.read(Field::Event, |row, text| row.sensor(text));
    row.read(Field::Count, |row, text| row.spare(text));
    row.read(Field::Glucose, |row, text| row.glucose(text));
    if cells.first(&[Field::GivenAt, Field::Units]).is_some() {
        row.part(Row::dose);
    }
    row.read(Field::Text, |row, text| row.note(text));
    row.verdict()
}

struct Row<'a, 'b> {
    cells: &'b Cells<'a>,
    rules: &'b Rules<'b>,
    cat: &'b CatName,
    unit: Unit,
    sheet: &'b mut Sheet,
    wrong: Vec<String>,
    found: usize,
}

impl Row<'_, '_> {
    fn part(&mut self, read: impl FnOnce(&mut Self) -> Result<(), String>) {
        self.found += 1;
        if let Err(why) = read(self) {
            self.wrong.push(why);
        }
    }

    fn read(&mut self, field: Field, read: impl FnOnce(&mut Self, &str) -> Result<(), String>) {
        if let Some(text) = self.cells.get(field) {
            self.part(|row| read(row, text));
        }
    }

    fn verdict(self) -> Option<String> {
        if self.found == 0 {
            let timed = self.cells.first(&[Field::MeasuredAt, Field::Date, Field::At]).is_some();
            return Some(if timed { "has a time but no value" } else { "holds nothing known" }.to_owned());
        }
        (!self.wrong.is_empty()).then(|| self.wrong.join("; "))
    }

    /// The time in one of these columns, or in those for day and time of day.
    fn when(&self, own: &[Field]) -> Result<When, String> {
        if let Some(text) = self.cells.first(own) {
            return self.rules.when(text);
        }
        match (self.cells.get(Field::Date), self.cells.get(Field::Time)) {
            (Some(date), Some(time)) => self.rules.when(&format!("{date} {time}")),
            (Some(one), None) | (None, Some(one)) => self.rules.when(one),
            (None, None) => Err(format!("{} is missing", own.first().map_or("a time", |field| field.word()))),
        }
    }

    fn sensor(&mut self, text: &str) -> Result<(), String> {
        let word = text.to_ascii_lowercase().replace([' ', '_'], "-");
        let event =
            EVENTS.iter().find(|(name, _)| *name == word).map(|(_, event)| *event).ok_or_else(|| {
                let known: Vec<_> = EVENTS.iter().map(|(name, _)| *name).collect();
                format!("'{}' is not a sensor event: expected one of {}", short(text), known.join(", "))
            })?;
        let when = self.when(&[Field::At, Field::MeasuredAt])?;
        let note = SensorNote { cat: self.cat.clone(), at: when.first, event };
        self.sheet.keep(Record::Sensor(note), when.second);
        Ok(())
    }

    fn spare(&mut self, text: &str) -> Result<(), String> {
        let count = text.parse().map_err(|_| format!("'{}' is not a count of spares", short(text)))?;
        let when = self.when(&[Field::At, Field::MeasuredAt])?;
        self.sheet.keep(Record::Spare(Spare { cat: self.cat.clone(), at: when.first, count }), when.second);
        Ok(())
    }

    fn glucose(&mut self, text: &str) -> Result<(), String> {
        let when = self.when(&[Field::MeasuredAt])?;
        let unit = match self.cells.get(Field::Unit) {
            Some(said) => Unit::parse(said)
                .ok_or_else(|| format!("'{}' is not a unit: expected mg/dL or mmol/L", short(said)))?,
            None => self.unit,
        };
        let by_meter =
            self.cells.by_meter || self.rules.meter_table || self.cells.get(Field::Meter).is_some();
        let sensor = self.rules.context.range(self.cat);
        let value = self.rules.value(text, unit, if by_meter { METER_RANGE } else { sensor });
        if unit == Unit::MgDl && self.bare() {
            let number = match &value {
                Ok(value) => value.level(),
                Err(_) => self.rules.number(text).ok().and_then(|number| number.parse().ok()),
            };
            self.sheet.bare(number, value.is_ok(), sensor);
        }
        let value = match value {
            Ok(value) => value,
            Err(NoValue::Unreadable(why)) => {
                if !by_meter {
                    self.sheet.unread(
                        self.cat,
                        when.first,
                        text.chars().filter(|c| !c.is_control()).take(SHOWN_CHARS_MAX).collect(),
                    );
                }
                return Err(why);
            }
            Err(NoValue::Implausible(why)) => {
                self.sheet.implausible();
                return Err(why);
            }
        };
        if by_meter {
            let meter = self.cells.get(Field::Meter).map_or(MeterKind::Unknown, meter_kind);
            let check = MeterCheck { cat: self.cat.clone(), measured_at: when.first, glucose: value, meter };
            self.sheet.keep(Record::Meter(check), when.second);
            return Ok(());
        }
        let layout = self.rules.layout;
        let (kind, kind_wrong) = self.kind();
        let (received_at, received_wrong) = self.received_at(when);
        let sensor = self.cells.get(Field::Sensor).or(layout.and_then(|layout| layout.sensor.as_deref()));
        let sensor = sensor.map(one_line).transpose()?;
        let reading = Reading { measured_at: when.first, value, kind };
        self.sheet.keep(Record::Reading { cat: self.cat.clone(), sensor, received_at, reading }, when.second);
        // A slip beside the reading does not cost the reading.
        self.wrong.extend([kind_wrong, received_wrong].into_iter().flatten());
        Ok(())
    }

    /// Whether nothing in the file says which unit this value is in.
    fn bare(&self) -> bool {
        self.cells.get(Field::Unit).is_none() && self.rules.layout.is_none_or(|layout| layout.unit.is_none())
    }

    fn kind(&self) -> (ReadingKind, Option<String>) {
        let layout = self.rules.layout;
        let usual = layout.and_then(|layout| layout.kind).unwrap_or_default();
        let Some(text) = self.cells.get(Field::Kind) else { return (usual, None) };
        let said = plain(text);
        let own = layout.and_then(|layout| layout.kinds.iter().find(|(word, _)| *word == said));
        match own.map(|(_, kind)| *kind).or_else(|| kind(text)) {
            Some(kind) => (kind, None),
            None => (usual, Some(format!("kept, but '{}' is not a kind: history or spot", short(text)))),
        }
    }

    fn received_at(&self, measured: When) -> (Option<crate::words::Moment>, Option<String>) {
        match self.cells.get(Field::ReceivedAt).map(|text| self.rules.when(text)) {
            None => (None, None),
            // Of two instants that a local time may mean, nothing is received before it is measured.
            Some(Ok(When { first, second })) if first < measured.first => {
                (Some(second.unwrap_or(first)), None)
            }
            Some(Ok(When { first, .. })) => (Some(first), None),
            Some(Err(why)) => (None, Some(format!("kept, but received_at: {why}"))),
        }
    }

    fn dose(&mut self) -> Result<(), String> {
        let units = self.cells.get(Field::Units).map(|text| self.units(text)).transpose()?;
        let when = self.when(&[Field::GivenAt, Field::At, Field::MeasuredAt])?;
        let by = self.cells.get(Field::By).map(one_line).transpose()?;
        let dose = Dose { cat: self.cat.clone(), given_at: when.first, units, by, not_given: false };
        self.sheet.keep(Record::Dose(dose), when.second);
        Ok(())
    }

    fn units(&self, text: &str) -> Result<f64, String> {
        let number: Option<f64> = self.rules.number(text)?.parse().ok();
        number
            .filter(|units| units.is_finite() && *units > 0.0 && *units <= UNITS_MAX)
            .ok_or_else(|| format!("'{}' is not a number of insulin units", short(text)))
    }

    fn note(&mut self, text: &str) -> Result<(), String> {
        let when = self.when(&[Field::At, Field::MeasuredAt, Field::GivenAt])?;
        let by = self.cells.get(Field::By).map(one_line).transpose()?;
        let note = Note { cat: self.cat.clone(), at: when.first, text: text.to_owned(), by };
        self.sheet.keep(Record::Note(note), when.second);
        Ok(())
    }
}

/// A level outside of what any sensor or hand meter shows is nearly always in the other unit, and in the other
/// unit it would be a false alarm or, worse, a low that looks high.
fn plausible(value: Value, unit: Unit, text: &str) -> Result<Value, String> {
    let Some(level) = value.level() else { return Ok(value) };
    if (LEVEL_MIN_MG_DL..=LEVEL_MAX_MG_DL).contains(&level) {
        return Ok(value);
    }
    let other = match unit {
        Unit::MgDl if level < LEVEL_MIN_MG_DL => "; is it in mmol/L?",
        Unit::MmolL if level > LEVEL_MAX_MG_DL => "; is it in mg/dL?",
        _ => "",
    };
    Err(format!("{} {unit} is outside of what sensors and meters show{other}", short(text)))
}

/// A name that goes over several lines has swallowed other rows: a quote was left open.
fn one_line(text: &str) -> Result<String, String> {
    if text.contains(['\n', '\r']) {
        return Err(format!("'{}...' goes over several lines: is a quote left open?", short(text)));
    }
    Ok(text.chars().take(NAME_CHARS_MAX).collect())
}

/// Which kind of meter; a name that says nothing about calibration leaves it open.
fn meter_kind(text: &str) -> MeterKind {
    match text.to_ascii_lowercase().replace([' ', '_'], "-").as_str() {
        "pet" => MeterKind::Pet,
        "human" => MeterKind::Human,
        "whole-blood" => MeterKind::WholeBlood,
        _ => MeterKind::Unknown,
    }
}

fn short(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(40).collect()
}

const EVENTS: &[(&str, SensorEvent)] = &[
    ("applied", SensorEvent::Applied),
    ("error", SensorEvent::Error),
    ("ok", SensorEvent::Ok),
    ("expired", SensorEvent::Expired),
    ("failed", SensorEvent::Failed),
    ("came-off", SensorEvent::CameOff),
    ("removed", SensorEvent::Removed),
];

/// Chosen by us, 2026-11: 700 mg/dL is 38.9 mmol/L, so that any reading from 39 mg/dL up is caught when it is
/// taken for mmol/L, and with 20 mg/dL any up to 19.9 mmol/L the other way round.
const LEVEL_MIN_MG_DL: f64 = 20.0;
const LEVEL_MAX_MG_DL: f64 = 700.0;
/// What hand meters can read, at the widest, mg/dL.
const METER_RANGE: [f64; 2] = [20.0, 600.0];
/// The end of a range in tenths of mmol/L is off by at most so much.
const ROUNDED_MG_DL: f64 = 1.0;
/// Chosen by us: beyond this it is some other number in the wrong column. Says nothing about doses.
const UNITS_MAX: f64 = 100.0;
const NAME_CHARS_MAX: usize = 100;
/// As much of what a sensor showed as is told.
const SHOWN_CHARS_MAX: usize = 20;
