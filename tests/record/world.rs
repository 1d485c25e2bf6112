//! A small household for the tests: a state that remembers what it was told, and events to tell it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use lowtide::record::{Damage, Entry, Opened, Record};
use lowtide::words::{Batch, CatName, Dose, Event, Moment, Reading, ReadingKind, Said, Value, Via, minutes};
use serde::{Deserialize, Serialize};

/// A state: everything it was told, so that two of them are equal only if they were told the same.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Told {
    pub(crate) seqs: Vec<u64>,
    pub(crate) levels: BTreeMap<String, f64>,
}

impl Told {
    pub(crate) fn hear(&mut self, entry: &Entry) {
        self.seqs.push(entry.seq);
        if let Event::Readings(batch) = &entry.event {
            for reading in &batch.readings {
                let key = format!("{} {}", batch.cat, reading.measured_at);
                self.levels.insert(key, reading.value.level().unwrap_or_default());
            }
        }
    }
}

pub(crate) fn open(folder: &Path) -> Opened<Told> {
    Record::open(folder, Told::default, Told::hear).unwrap()
}

/// Opens the record, expects no damage.
pub(crate) fn open_whole(folder: &Path) -> Opened<Told> {
    let opened = open(folder);
    assert_eq!(opened.damage, [], "{:?}", words(&opened.damage));
    opened
}

pub(crate) fn words(damage: &[Damage]) -> Vec<String> {
    damage.iter().map(ToString::to_string).collect()
}

pub(crate) fn at(text: &str) -> Moment {
    Moment::parse(text).unwrap()
}

pub(crate) fn pepper() -> CatName {
    CatName::new("pepper").unwrap()
}

/// The reading of a quarter of an hour, counted from 2026-01-01.
pub(crate) fn sample(quarter: u32) -> Reading {
    Reading {
        measured_at: at("2026-01-01T00:00:00Z") + minutes(15.0 * f64::from(quarter)),
        value: Value::Level(f64::from(60 + quarter * 7 % 200)),
        kind: ReadingKind::History,
    }
}

pub(crate) fn batch(readings: Vec<Reading>) -> Batch {
    Batch {
        cat: pepper(),
        via: Via::Mqtt,
        source: "bridge".into(),
        sensor: None,
        scanned_at: None,
        newest: None,
        readings,
        repeated: 0,
        conflicts: vec![],
    }
}

pub(crate) fn readings(quarters: std::ops::Range<u32>) -> Event {
    Event::Readings(batch(quarters.map(sample).collect()))
}

pub(crate) fn dose(given_at: &str) -> Event {
    Event::Dose(Dose {
        cat: pepper(),
        given_at: at(given_at),
        units: None,
        by: Some("sitter".into()),
        not_given: false,
    })
}

/// Sifts, appends and tells the state; as the daemon does.
pub(crate) fn tell(opened: &mut Opened<Told>, now: Moment, event: Event) -> Option<u64> {
    let event = opened.record.sift(event)?;
    let seq = opened.record.append(now, event.clone(), Said::default());
    opened.state.hear(&Entry { seq, at: now, event, said: Said::default() });
    Some(seq)
}

/// A record with one reading an entry, `count` of them, all synced.
pub(crate) fn filled(folder: &Path, count: u32) -> Opened<Told> {
    let mut opened = open_whole(folder);
    for quarter in 0..count {
        tell(&mut opened, sample(quarter).measured_at, readings(quarter..quarter + 1)).unwrap();
    }
    opened.record.sync().unwrap();
    opened
}

pub(crate) fn held(record: &Record) -> Vec<Reading> {
    record.readings(&pepper(), at("2000-01-01T00:00:00Z"), at("2100-01-01T00:00:00Z"))
}

pub(crate) fn journal_file(folder: &Path, month: &str) -> PathBuf {
    folder.join("journal").join(format!("{month}.log"))
}

/// Names in a folder, sorted.
pub(crate) fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// Copies the data folder as it is on disk now: what a power cut would leave.
pub(crate) fn snapshot(folder: &Path) -> tempfile::TempDir {
    fn copy(from: &Path, to: &Path) {
        fs::create_dir_all(to).unwrap();
        for name in names(from) {
            let (from, to) = (from.join(&name), to.join(&name));
            if from.is_dir() {
                copy(&from, &to);
            } else {
                fs::copy(&from, &to).unwrap();
            }
        }
    }
    let to = tempfile::tempdir().unwrap();
    copy(folder, to.path());
    to
}
