//! What is held already: so that the same thing told twice changes nothing. Comes in: events as their sources
//! sent them. Goes out: what is new in them.
//!
//! Three layers are asked in turn: what was appended but is not safe on disk yet, what is safe in the journal
//! but not in the store yet, and the store. Everything here follows from the journal and can be made anew from it.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

use serde::Serialize;
use sha2::{Digest, Sha256};

use super::block::{Block, Day, Fit, day_of};
use super::store::{Key, Store};
use crate::words::{Batch, CatName, Conflict, Event, Moment, Reading, Via};

/// The first eight bytes of a SHA-256, enough to tell a household's records apart.
pub(super) type Mark = u64;

/// What is held, in three layers.
pub(super) struct Index {
    pub(super) store: Store,
    synced: Layer,
    waiting: Layer,
    /// Marks of the newest batches that are safe in the journal, oldest first.
    batches: VecDeque<Mark>,
}

/// Days that differ from the layer below, each of them whole.
#[derive(Default)]
struct Layer {
    blocks: BTreeMap<(CatName, Day), Block>,
    /// In the order in which they came, so that what was taken back can be told from what was recorded again.
    marks: BTreeMap<(CatName, Day), Vec<Mark>>,
    batches: Vec<Mark>,
}

impl Index {
    /// On top of a store.
    pub(super) fn over(store: Store) -> Self {
        let batches = store.batches().into();
        Self { store, synced: Layer::default(), waiting: Layer::default(), batches }
    }

    /// What is new in an event; `None` if there is nothing new in it and it says nothing by having come.
    pub(super) fn sift(&self, event: Event) -> Option<Event> {
        match event {
            Event::Readings(batch) => self.sift_batch(batch).map(Event::Readings),
            event => match record_of(&event) {
                Some((cat, at)) if self.marks(cat, day_of(at)).contains(&mark(&event)) => None,
                _ => Some(event),
            },
        }
    }

    /// The same for what a person records: once it was taken back, the very same counts again, and can be taken back again.
    /// What a source tells twice does not: a file dropped in again gives no dose back that was not given.
    pub(super) fn sift_by_hand(&self, event: Event) -> Option<Event> {
        if undone_of(&event).is_some() || self.is_taken_back(&event) { Some(event) } else { self.sift(event) }
    }

    /// How often the record has exactly this.
    pub(super) fn times_held(&self, event: &Event) -> usize {
        let Some((cat, at)) = record_of(event) else { return 0 };
        let own = mark(event);
        self.marks(cat, day_of(at)).iter().filter(|held| **held == own).count()
    }

    /// Whether this is held, and has been taken back since it was recorded last.
    fn is_taken_back(&self, event: &Event) -> bool {
        let (kind, cat, at) = match event {
            Event::Dose(dose) if !dose.not_given => (DOSE, &dose.cat, dose.given_at),
            Event::Meter(check) => (METER, &check.cat, check.measured_at),
            _ => return false,
        };
        let (marks, own) = (self.marks(cat, day_of(at)), mark(event));
        let taken_back = [-1, 0, 1].map(|off| mark(&Undone(kind, minute_of(at) + off)));
        let last = |wanted: &[Mark]| marks.iter().rposition(|held| wanted.contains(held));
        last(&[own]).is_some() && last(&taken_back) > last(&[own])
    }

    fn sift_batch(&self, batch: Batch) -> Option<Batch> {
        let Batch { cat, via, source, sensor, scanned_at, readings, repeated, conflicts, newest } = batch;
        let mut came: Vec<Reading> =
            readings.into_iter().chain(conflicts.into_iter().map(|conflict| conflict.came)).collect();
        // Stable, so that of two values for the same time the first in the source counts.
        came.sort_by_key(|reading| (reading.measured_at, reading.kind));
        let newest = newest.max(came.last().map(|reading| reading.measured_at));
        let mut new = Batch {
            cat,
            via,
            source,
            sensor,
            scanned_at,
            readings: Vec::with_capacity(came.len()),
            repeated,
            conflicts: Vec::new(),
            newest,
        };
        for day in came.chunk_by(|a, b| day_of(a.measured_at) == day_of(b.measured_at)) {
            let mut block = self.block(&new.cat, day_of(day[0].measured_at)).into_owned();
            for reading in day {
                match block.put(*reading) {
                    Fit::New => new.readings.push(*reading),
                    Fit::Repeated => new.repeated += 1,
                    Fit::Conflict(held) => new.conflicts.push(Conflict { came: *reading, held }),
                }
            }
        }
        let brings = !new.readings.is_empty() || !new.conflicts.is_empty();
        // A scan or a file that brings nothing new still says that somebody looked, unless it is the same again.
        let tells = new.scanned_at.is_some() || new.via == Via::Folder;
        let told = || {
            let mark = batch_mark(&new);
            self.batches.contains(&mark) || self.waiting.batches.contains(&mark)
        };
        (brings || (tells && !told())).then_some(new)
    }

    /// Takes in what an event adds, as something that is not safe on disk yet.
    pub(super) fn take_in(&mut self, event: &Event) {
        if let Event::Readings(batch) = event {
            for reading in batch.readings.iter().chain(batch.conflicts.iter().map(|conflict| &conflict.came))
            {
                self.take_in_reading(&batch.cat, *reading);
            }
            let mark = batch_mark(batch);
            if !self.batches.contains(&mark) && !self.waiting.batches.contains(&mark) {
                self.waiting.batches.push(mark);
            }
        } else if let Some((cat, at)) = record_of(event) {
            let (day, mark) = (day_of(at), mark(event));
            let mut marks = self.marks(cat, day).into_owned();
            let undone = undone_of(event);
            if undone.is_some() || self.is_taken_back(event) || !marks.contains(&mark) {
                marks.push(mark);
                marks.extend(undone);
                self.waiting.marks.insert((cat.clone(), day), marks);
            }
        }
    }

    fn take_in_reading(&mut self, cat: &CatName, reading: Reading) {
        let key = (cat.clone(), day_of(reading.measured_at));
        if !self.waiting.blocks.contains_key(&key) {
            let block = self.block(cat, key.1).into_owned();
            self.waiting.blocks.insert(key.clone(), block);
        }
        if let Some(block) = self.waiting.blocks.get_mut(&key) {
            block.put(reading);
        }
    }

    /// What was taken in is safe on disk now.
    pub(super) fn settle(&mut self) {
        let Layer { blocks, marks, batches } = std::mem::take(&mut self.waiting);
        self.synced.blocks.extend(blocks);
        self.synced.marks.extend(marks);
        self.batches.extend(batches);
        let over = self.batches.len().saturating_sub(BATCHES_KEPT);
        self.batches.drain(..over);
    }

    /// What was taken in since the last `settle` did not reach the disk, so it is not held.
    pub(super) fn forget(&mut self) {
        self.waiting = Layer::default();
    }

    /// What the store does not have yet, as it is to be written there.
    pub(super) fn unsaved(&self) -> Vec<(Key, Vec<u8>)> {
        let blocks = self.synced.blocks.iter();
        let blocks = blocks.map(|((cat, day), block)| (Key::Block(cat.clone(), *day), block.pack(*day)));
        let marks = self.synced.marks.iter();
        let marks = marks.map(|((cat, day), marks)| (Key::Marks(cat.clone(), *day), pack_marks(marks)));
        let batches = pack_marks(self.batches.iter());
        blocks.chain(marks).chain([(Key::Batches, batches)]).collect()
    }

    /// Days held in memory only.
    pub(super) fn unsaved_days(&self) -> usize {
        self.synced.blocks.len() + self.synced.marks.len()
    }

    /// The store has everything that is safe in the journal.
    pub(super) fn saved(&mut self) {
        self.synced = Layer::default();
    }

    /// The readings that count from `from` until before `until`, oldest first.
    pub(super) fn readings(&self, cat: &CatName, from: Moment, until: Moment) -> Vec<Reading> {
        let days = (day_of(from), day_of(until));
        let mut all: BTreeSet<Day> = self.store.days(cat, days.0, days.1).into_iter().collect();
        for layer in [&self.synced, &self.waiting] {
            let span = (cat.clone(), days.0)..=(cat.clone(), days.1);
            if days.0 <= days.1 {
                all.extend(layer.blocks.range(span).map(|((_, day), _)| *day));
            }
        }
        let inside = |reading: &Reading| from <= reading.measured_at && reading.measured_at < until;
        let mut out = Vec::new();
        for day in all {
            out.extend(self.block(cat, day).held().copied().filter(inside));
        }
        out
    }

    fn block(&self, cat: &CatName, day: Day) -> Cow<'_, Block> {
        let key = (cat.clone(), day);
        match self.waiting.blocks.get(&key).or_else(|| self.synced.blocks.get(&key)) {
            Some(block) => Cow::Borrowed(block),
            None => Cow::Owned(self.store.block(cat, day)),
        }
    }

    fn marks(&self, cat: &CatName, day: Day) -> Cow<'_, [Mark]> {
        let key = (cat.clone(), day);
        match self.waiting.marks.get(&key).or_else(|| self.synced.marks.get(&key)) {
            Some(marks) => Cow::Borrowed(marks),
            None => Cow::Owned(self.store.marks(cat, day)),
        }
    }
}

/// For events that are records of their own: whose, and of when.
fn record_of(event: &Event) -> Option<(&CatName, Moment)> {
    match event {
        Event::Dose(dose) => Some((&dose.cat, dose.given_at)),
        Event::Meter(check) => Some((&check.cat, check.measured_at)),
        Event::MeterUndone { cat, measured_at, .. } => Some((cat, *measured_at)),
        Event::Sensor(note) => Some((&note.cat, note.at)),
        Event::Spare(spare) => Some((&spare.cat, spare.at)),
        Event::Note(note) => Some((&note.cat, note.at)),
        Event::Unread(unread) => Some((&unread.cat, unread.at)),
        Event::Household { .. }
        | Event::Readings(_)
        | Event::Bridge { .. }
        | Event::Answer(_)
        | Event::Refused { .. }
        | Event::Outcome { .. }
        | Event::Health(_)
        | Event::ClockSet(_)
        | Event::Tick => None,
    }
}

/// The mark that an event leaves which takes something back, beside its own.
fn undone_of(event: &Event) -> Option<Mark> {
    match event {
        Event::Dose(dose) if dose.not_given => Some(mark(&Undone(DOSE, minute_of(dose.given_at)))),
        Event::MeterUndone { measured_at, .. } => Some(mark(&Undone(METER, minute_of(*measured_at)))),
        _ => None,
    }
}

/// What was taken back, and the minute it was recorded for.
#[derive(Serialize)]
struct Undone(&'static str, i64);

fn minute_of(at: Moment) -> i64 {
    at.millis().div_euclid(60_000)
}

/// The mark of a batch: the same before and after sifting, and whatever door it came through, so that the
/// journal alone is enough to know it again.
fn batch_mark(batch: &Batch) -> Mark {
    #[derive(Serialize)]
    struct Batched<'a>(&'a CatName, &'a Option<String>, Option<Moment>, Option<Moment>, u64);
    let came = batch.readings.iter().chain(batch.conflicts.iter().map(|conflict| &conflict.came));
    let newest = batch.newest.max(came.map(|reading| reading.measured_at).max());
    let count = batch.readings.len() as u64 + batch.conflicts.len() as u64 + u64::from(batch.repeated);
    mark(&Batched(&batch.cat, &batch.sensor, batch.scanned_at, newest, count))
}

fn mark(what: &impl Serialize) -> Mark {
    let text = serde_json::to_vec(what).expect("events have text keys and no fallible parts");
    let hash = Sha256::digest(&text);
    let mut first = [0; 8];
    first.copy_from_slice(&hash[..8]);
    Mark::from_be_bytes(first)
}

fn pack_marks<'a>(marks: impl IntoIterator<Item = &'a Mark>) -> Vec<u8> {
    marks.into_iter().flat_map(|mark| mark.to_be_bytes()).collect()
}

/// Unpacks marks as the store holds them. `None` if these are not marks.
pub(super) fn unpack_marks(bytes: &[u8]) -> Option<Vec<Mark>> {
    let (marks, []) = bytes.as_chunks::<8>() else { return None };
    Some(marks.iter().map(|mark| Mark::from_be_bytes(*mark)).collect())
}

const DOSE: &str = "dose not given";
const METER: &str = "check not made";
/// How many batches are known again. Chosen by us: at one scan every 8 hours that is most of a year.
const BATCHES_KEPT: usize = 1000;
