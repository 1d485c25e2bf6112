//! Gathers what the rows of one file gave, and settles at the end what no row can settle alone: which of two
//! instants a local time meant in the hour that comes twice, and whether the whole file is in the wrong unit.

use std::collections::BTreeMap;

use super::{FileError, Parsed, Record, Reject};
use crate::words::{CatName, Moment, ReadingKind, Unit, Unread};

/// Numbers that are taken for mg/dL only because nothing says otherwise.
#[derive(Debug, Default)]
struct Bare {
    /// How many are too low for mg/dL, and could be mmol/L.
    too_low: usize,
    /// How many were taken.
    taken: usize,
    /// Whether each of those is lower than the sensor can read, and could be mmol/L.
    all_odd: bool,
}

#[derive(Debug, Default)]
pub(super) struct Sheet {
    records: Vec<Record>,
    /// Place in `records`, and the later instant that its local time may mean.
    twice: Vec<(usize, Moment)>,
    rejects: Vec<Reject>,
    more_rejects: usize,
    implausible: usize,
    bare: Bare,
    /// By cat, the newest value of a sensor that cannot be read.
    unread: BTreeMap<CatName, (Moment, String)>,
    /// When the file was written, if that is known.
    arrived: Option<Moment>,
    pub(super) scanned_at: Option<Moment>,
}

impl Sheet {
    /// For a file that was written at this time, if that is known.
    pub(super) fn arrived(arrived: Option<Moment>) -> Self {
        Self { arrived, ..Self::default() }
    }

    /// Keeps a record; `second` is the later instant that its time may mean.
    pub(super) fn keep(&mut self, record: Record, second: Option<Moment>) {
        if let Some(second) = second {
            self.twice.push((self.records.len(), second));
        }
        self.records.push(record);
    }

    /// Keeps a bad row with its reason.
    pub(super) fn reject(&mut self, line: usize, text: &str, reason: String) {
        if self.rejects.len() >= REJECTS_MAX {
            self.more_rejects += 1;
            return;
        }
        let text = text.trim_end().chars().take(TEXT_CHARS_MAX).collect();
        // A reason may quote a cell, and a cell may be as long as the file.
        let reason = reason.chars().take(TEXT_CHARS_MAX).collect();
        self.rejects.push(Reject { line, text, reason });
    }

    /// Counts a value that is a number but nothing a sensor or meter shows.
    pub(super) fn implausible(&mut self) {
        self.implausible += 1;
    }

    /// Counts a number without a unit that would be in mg/dL, of a sensor with this range; `taken` if a record comes of it.
    pub(super) fn bare(&mut self, number: Option<f64>, taken: bool, [floor, ceiling]: [f64; 2]) {
        let Some(number) = number else { return };
        let highest = Unit::MmolL.of_mg_dl(ceiling) + MMOL_L_TO_SPARE;
        if taken {
            let odd = number < floor && number <= highest;
            self.bare.all_odd = odd && (self.bare.all_odd || self.bare.taken == 0);
            self.bare.taken += 1;
        } else if (1.0..=highest).contains(&number) {
            self.bare.too_low += 1;
        }
    }

    /// Keeps what a sensor showed in place of a value.
    pub(super) fn unread(&mut self, cat: &CatName, at: Moment, shown: String) {
        let newest = self.unread.entry(cat.clone()).or_default();
        if newest.0 <= at {
            *newest = (at, shown);
        }
    }

    /// How many records there are so far.
    pub(super) fn len(&self) -> usize {
        self.records.len()
    }

    /// Settles what is open.
    ///
    /// # Errors
    /// If most values are in the wrong unit by the look of them, or one is and none looks right: then those that could be
    /// right (22.2 mmol/L read as 22 mg/dL is a false alarm) are not to be trusted either.
    pub(super) fn finish(mut self) -> Result<Parsed, FileError> {
        let values = self.records.iter().filter(|record| is_value(record)).count();
        if values > 0 && self.implausible > values {
            let why = self.rejects.first().map_or("", |reject| reject.reason.as_str());
            return Err(FileError::Broken(format!(
                "{} of {} values are nothing that a sensor or meter shows, so none of them is taken: is the unit \
                 right? The first: {why}",
                self.implausible,
                self.implausible + values
            )));
        }
        let Bare { too_low, taken, all_odd } = self.bare;
        if too_low > 0 && taken > 0 && all_odd {
            return Err(FileError::Broken(format!(
                "its {} numbers without a unit look like mmol/L, not mg/dL: {too_low} of them are too low for mg/dL, and \
                 the others lower than the sensor reads. None of them is taken: say the unit in a column 'unit', or as \
                 unit = \"mmol/L\" in an [[intake.layout]]",
                too_low + taken
            )));
        }
        self.settle_twice();
        if self.more_rejects > 0 {
            let line = self.rejects.last().map_or(0, |reject| reject.line);
            let reason = format!("and {} rows more that are not listed", self.more_rejects);
            self.rejects.push(Reject { line, text: String::new(), reason });
        }
        let unread = std::mem::take(&mut self.unread).into_iter();
        let unread =
            unread.filter(|(cat, (at, _))| !self.records.iter().any(|record| is_newer(record, cat, *at)));
        let unread = unread.map(|(cat, (at, shown))| Unread { cat, at, shown }).collect();
        Ok(Parsed { records: self.records, rejects: self.rejects, unread, scanned_at: self.scanned_at })
    }

    /// Puts each time of the hour that comes twice after the row before it and, where that is possible, in the
    /// first of the two hours. Rows that follow no order stay in the first.
    fn settle_twice(&mut self) {
        if self.twice.is_empty() {
            return;
        }
        let second: BTreeMap<usize, Moment> = self.twice.iter().copied().collect();
        let mut series: BTreeMap<(CatName, Option<String>, u8), Vec<usize>> = BTreeMap::new();
        for (place, record) in self.records.iter().enumerate() {
            series.entry(series_of(record)).or_default().push(place);
        }
        for mut places in series.into_values() {
            match self.direction(&places) {
                Direction::Rising => {}
                Direction::Falling => places.reverse(),
                Direction::Mixed => continue,
            }
            self.settle_series(&places, &second);
            self.settle_by_arrival(&places, &second);
        }
    }

    /// Rows that all stand in the first hour, with nothing before or after it to tell the two apart, are of the second one if
    /// that had come when the file was written, and as of the first they were old even then: a file of one reading is about now.
    fn settle_by_arrival(&mut self, places: &[usize], second: &BTreeMap<usize, Moment>) {
        let later: Option<Vec<Moment>> = places.iter().map(|place| second.get(place).copied()).collect();
        let (Some(arrived), Some(later)) = (self.arrived, later) else { return };
        let first = places.iter().map(|place| self.records[*place].at()).max();
        let in_first = places.iter().zip(&later).all(|(place, later)| self.records[*place].at() < *later);
        let come = later.iter().max().is_some_and(|newest| *newest <= arrived);
        let old = first.is_some_and(|newest| arrived.minutes_since(newest) > OLD_MINUTES);
        if in_first && come && old {
            for (place, later) in places.iter().zip(later) {
                set_at(&mut self.records[*place], later);
            }
        }
    }

    fn settle_series(&mut self, places: &[usize], second: &BTreeMap<usize, Moment>) {
        // The row before: its time as it is written (the first instant), its time as it is settled, its place.
        let mut before: Option<(Moment, Moment, usize)> = None;
        for place in places.iter().copied() {
            let first = self.records[place].at();
            let mut settled = first;
            if let (Some(later), Some((before_written, before_settled, before_place))) =
                (second.get(&place), before)
            {
                let again = before_written == first && says_the_same(&self.records, before_place, place);
                if again {
                    settled = before_settled;
                } else if first <= before_settled && *later > before_settled {
                    settled = *later;
                }
            }
            set_at(&mut self.records[place], settled);
            before = Some((first, settled, place));
        }
    }

    fn direction(&self, places: &[usize]) -> Direction {
        let steps = places.windows(2).map(|pair| {
            let (a, b) = (self.records[pair[0]].at(), self.records[pair[1]].at());
            b.cmp(&a) as i64
        });
        let (mut up, mut down) = (0, 0);
        for step in steps {
            up += i64::from(step > 0);
            down += i64::from(step < 0);
        }
        // A step against the order now and then is a clock that went back. Two rows alone, 02:45 and then 02:00,
        // do not show an order; they stay in the first hour.
        match (up, down) {
            (_, 0) => Direction::Rising,
            (0, _) => Direction::Falling,
            (up, down) if down <= 1 || down * 10 <= up => Direction::Rising,
            (up, down) if up <= 1 || up * 10 <= down => Direction::Falling,
            _ => Direction::Mixed,
        }
    }
}

#[derive(Clone, Copy)]
enum Direction {
    Rising,
    Falling,
    Mixed,
}

fn series_of(record: &Record) -> (CatName, Option<String>, u8) {
    let (sensor, number) = match record {
        Record::Reading { sensor, reading, .. } => {
            (sensor.clone(), if reading.kind == ReadingKind::History { 0 } else { 1 })
        }
        Record::Dose(_) => (None, 2),
        Record::Meter(_) => (None, 3),
        Record::Sensor(_) => (None, 4),
        Record::Spare(_) => (None, 5),
        Record::Note(_) => (None, 6),
    };
    (record.cat().clone(), sensor, number)
}

fn is_value(record: &Record) -> bool {
    matches!(record, Record::Reading { .. } | Record::Meter(_))
}

/// Whether a record is a reading of the cat from this moment on.
fn is_newer(record: &Record, cat: &CatName, at: Moment) -> bool {
    matches!(record, Record::Reading { .. }) && record.cat() == cat && record.at() >= at
}

fn set_at(record: &mut Record, at: Moment) {
    match record {
        Record::Reading { reading, .. } => reading.measured_at = at,
        Record::Dose(dose) => dose.given_at = at,
        Record::Meter(check) => check.measured_at = at,
        Record::Sensor(note) => note.at = at,
        Record::Spare(spare) => spare.at = at,
        Record::Note(note) => note.at = at,
    }
}

/// Whether two records differ in nothing but when they were settled to be.
fn says_the_same(records: &[Record], a: usize, b: usize) -> bool {
    let (mut a, mut b) = (records[a].clone(), records[b].clone());
    set_at(&mut a, Moment::default());
    set_at(&mut b, Moment::default());
    a == b
}

/// A file of nothing but bad rows must not fill the memory.
const REJECTS_MAX: usize = 10_000;
const TEXT_CHARS_MAX: usize = 2000;
/// A file that is written as its readings come has no newest one this old, minutes; chosen by us.
const OLD_MINUTES: f64 = 30.0;
/// A sensor in mmol/L may show so much more than its range in mg/dL says.
const MMOL_L_TO_SPARE: f64 = 0.5;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{Reading, Value};

    /// Readings at these UTC times; a pair is the two instants a local time may mean.
    fn settled(rows: &[(&str, Option<&str>, f64)]) -> Vec<String> {
        let mut sheet = Sheet::default();
        for (first, second, level) in rows {
            let reading = Reading {
                measured_at: Moment::parse(&format!("2026-10-25T{first}:00Z")).unwrap(),
                value: Value::Level(*level),
                kind: ReadingKind::History,
            };
            let cat = CatName::new("pepper").unwrap();
            let second = second.map(|text| Moment::parse(&format!("2026-10-25T{text}:00Z")).unwrap());
            sheet.keep(Record::Reading { cat, sensor: None, received_at: None, reading }, second);
        }
        let parsed = sheet.finish().unwrap();
        parsed.records.iter().map(|record| record.at().to_string()[11..16].to_owned()).collect()
    }

    const HALF: (&str, Option<&str>, f64) = ("00:30", Some("01:30"), 100.0);

    #[test]
    fn rows_in_order_tell_the_two_hours_apart() {
        let rows = [
            ("00:00", Some("01:00"), 100.0),
            HALF,
            ("00:00", Some("01:00"), 100.0),
            HALF,
            ("02:00", None, 100.0),
        ];
        let expected = ["00:00", "00:30", "01:00", "01:30", "02:00"];
        assert_eq!(settled(&rows), expected);
        let mut falling = rows.to_vec();
        falling.reverse();
        let mut got = settled(&falling);
        got.reverse();
        assert_eq!(got, expected, "newest first");
    }

    #[test]
    fn hourly_rows_with_another_value_are_the_second_hour_and_the_same_row_again_is_not() {
        assert_eq!(settled(&[HALF, ("00:30", Some("01:30"), 90.0)]), ["00:30", "01:30"]);
        assert_eq!(settled(&[HALF, HALF, ("00:45", Some("01:45"), 90.0)]), ["00:30", "00:30", "00:45"]);
    }

    #[test]
    fn what_cannot_be_told_is_the_first_hour() {
        assert_eq!(settled(&[HALF, ("02:00", None, 100.0)]), ["00:30", "02:00"]);
        let newest_first_or_not = [("00:45", Some("01:45"), 100.0), ("00:00", Some("01:00"), 90.0)];
        assert_eq!(settled(&newest_first_or_not), ["00:45", "00:00"]);
    }

    #[test]
    fn a_file_of_bad_rows_does_not_fill_the_memory() {
        let mut sheet = Sheet::default();
        for line in 1..=REJECTS_MAX + 5 {
            sheet.reject(line, &"x".repeat(5000), "bad".to_owned());
        }
        let parsed = sheet.finish().unwrap();
        assert_eq!(parsed.rejects.len(), REJECTS_MAX + 1);
        assert_eq!(parsed.rejects[0].text.len(), TEXT_CHARS_MAX);
        assert!(parsed.rejects[REJECTS_MAX].reason.contains("5 rows more"));
    }
}
