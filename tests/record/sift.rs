//! The same thing told twice changes nothing: sifting against a model that is slow and obvious.

use std::collections::{BTreeMap, BTreeSet};

use lowtide::record::{Record, export, merge};
use lowtide::words::{
    Batch, Conflict, Dose, Event, MeterCheck, MeterKind, Moment, Reading, ReadingKind, Said, Value, Via,
    minutes,
};
use proptest::prelude::*;

use super::world::*;

/// What is held, as a list for each time and kind in the order in which the values came.
#[derive(Clone, Default)]
struct Model {
    values: BTreeMap<(Moment, ReadingKind), Vec<Value>>,
    batches: BTreeSet<String>,
    entries: u64,
}

impl Model {
    /// What should come out of the sieve, and what is held if that is kept.
    fn sift(&mut self, batch: &Batch) -> Option<Batch> {
        let mut came = batch.readings.clone();
        came.sort_by_key(|reading| (reading.measured_at, reading.kind));
        let mut out = Batch { readings: vec![], newest: came.last().map(|r| r.measured_at), ..batch.clone() };
        for reading in came {
            let held = self.values.entry((reading.measured_at, reading.kind)).or_default();
            match held.first().copied() {
                None => out.readings.push(reading),
                Some(_) if held.contains(&reading.value) => {
                    out.repeated += 1;
                    continue;
                }
                Some(first) => out.conflicts.push(Conflict { came: reading, held: first }),
            }
            held.push(reading.value);
        }
        let name = format!("{:?} {:?} {}", out.scanned_at, out.newest, batch.readings.len());
        let known = self.batches.contains(&name);
        let brings = !out.readings.is_empty() || !out.conflicts.is_empty();
        let tells = out.scanned_at.is_some() || out.via == Via::Folder;
        let kept = brings || (tells && !known);
        if kept {
            self.batches.insert(name);
            self.entries += 1;
        }
        kept.then_some(out)
    }
}

#[derive(Clone, Debug)]
enum Act {
    Batch(Batch),
    Sync,
    Checkpoint,
    /// The process ends without warning; what was not synced is gone.
    Crash,
}

fn a_reading() -> impl Strategy<Value = Reading> {
    let values = prop_oneof![
        Just(Value::Below),
        Just(Value::Level(70.0)),
        Just(Value::Level(95.48268)),
        Just(Value::Above)
    ];
    // Few times around a midnight and far away ones, so that repeats, contradictions and day borders abound.
    let times = prop_oneof![9 => -4_i32..4, 1 => Just(-40_000), 1 => Just(70_000)];
    (times, values, any::<bool>()).prop_map(|(quarter, value, spot)| Reading {
        measured_at: at("2026-01-02T00:00:00Z") + minutes(15.0 * f64::from(quarter)),
        value,
        kind: if spot { ReadingKind::Spot } else { ReadingKind::History },
    })
}

fn an_act() -> impl Strategy<Value = Act> {
    let scanned = prop_oneof![3 => Just(None), 1 => (0_i64..3).prop_map(|n| Some(Moment::from_millis(n)))];
    let via = prop_oneof![Just(Via::Mqtt), Just(Via::Folder)];
    let batches = (proptest::collection::vec(a_reading(), 0..6), scanned, via)
        .prop_map(|(readings, scanned_at, via)| Act::Batch(Batch { scanned_at, via, ..batch(readings) }));
    prop_oneof![12 => batches, 4 => Just(Act::Sync), 1 => Just(Act::Checkpoint), 1 => Just(Act::Crash)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn sifting_does_what_the_obvious_model_does_across_syncs_checkpoints_and_crashes(
        acts in proptest::collection::vec(an_act(), 1..60)
    ) {
        let folder = tempfile::tempdir().unwrap();
        let mut opened = open_whole(folder.path());
        let (mut model, mut safe) = (Model::default(), Model::default());
        for act in acts {
            match act {
                Act::Batch(batch) => {
                    let due = model.sift(&batch).map(Event::Readings);
                    let event = Event::Readings(batch);
                    prop_assert_eq!(opened.record.sift(event.clone()), due);
                    tell(&mut opened, at("2026-01-02T00:00:00Z"), event);
                }
                Act::Sync | Act::Checkpoint => {
                    opened.record.sync().unwrap();
                    if matches!(act, Act::Checkpoint) {
                        opened.record.checkpoint(&opened.state).unwrap();
                    }
                    safe = model.clone();
                }
                Act::Crash => {
                    drop(opened);
                    opened = open_whole(folder.path());
                    model = safe.clone();
                }
            }
            prop_assert_eq!(opened.record.last_seq(), model.entries);
            let due: Vec<Reading> = model.values.iter().map(|((measured_at, kind), values)| Reading {
                measured_at: *measured_at, value: values[0], kind: *kind
            }).collect();
            prop_assert_eq!(held(&opened.record), due);
        }
    }
}

#[test]
fn a_day_is_cut_out_of_the_readings_at_both_ends() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = filled(folder.path(), 200);
    opened.record.checkpoint(&opened.state).unwrap();
    tell(&mut opened, sample(200).measured_at, readings(200..260)).unwrap();
    let (from, until) = (sample(50).measured_at, sample(250).measured_at);
    assert_eq!(opened.record.readings(&pepper(), from, until), (50..250).map(sample).collect::<Vec<_>>());
    assert_eq!(opened.record.readings(&pepper(), until, from), []);
}

#[test]
fn the_same_dose_again_is_nothing_and_another_one_is_something() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = open_whole(folder.path());
    let morning = dose("2026-01-01T07:30:00Z");
    assert_eq!(tell(&mut opened, at("2026-01-01T07:31:00Z"), morning.clone()), Some(1));
    assert_eq!(tell(&mut opened, at("2026-01-01T07:32:00Z"), morning.clone()), None, "before the sync");
    opened.record.sync().unwrap();
    assert_eq!(tell(&mut opened, at("2026-01-01T07:33:00Z"), morning.clone()), None, "after the sync");
    opened.record.checkpoint(&opened.state).unwrap();
    drop(opened);
    let mut opened = open_whole(folder.path());
    assert_eq!(tell(&mut opened, at("2026-01-01T07:34:00Z"), morning), None, "after a start");
    // A second injection by somebody else a minute later is exactly what must not be swallowed.
    assert_eq!(tell(&mut opened, at("2026-01-01T07:35:00Z"), dose("2026-01-01T07:31:00Z")), Some(2));
}

/// A dose or meter check, and what takes it back.
fn by_hand() -> [(Event, Event); 2] {
    let given_at = at("2026-01-09T08:00:00Z");
    let check = MeterCheck {
        cat: pepper(),
        measured_at: given_at,
        glucose: Value::Level(112.0),
        meter: MeterKind::Pet,
    };
    let not_given = Event::Dose(Dose { cat: pepper(), given_at, units: None, by: None, not_given: true });
    let not_made =
        Event::MeterUndone { cat: pepper(), measured_at: given_at, at: at("2026-01-09T09:00:00Z") };
    [(dose("2026-01-09T08:00:30Z"), not_given), (Event::Meter(check), not_made)]
}

#[test]
fn what_was_taken_back_counts_again_by_hand_and_only_by_hand() {
    let folder = tempfile::tempdir().unwrap();
    let now = at("2026-01-09T10:00:00Z");
    let mut entries = 0;
    for (it, back) in by_hand() {
        for round in 0..4 {
            // Across a sync, a start, and a start that makes the store anew.
            let mut opened = open(folder.path());
            for event in [&it, &back] {
                let new = opened.record.sift_by_hand(event.clone());
                assert_eq!(new.as_ref(), Some(event), "round {round}");
                opened.record.append(now, event.clone(), Said::default());
                entries += 1;
                opened.record.sync().unwrap();
                if *event == it {
                    assert_eq!(opened.record.sift_by_hand(it.clone()), None, "told twice, it is there once");
                }
                assert_eq!(
                    opened.record.sift(it.clone()),
                    None,
                    "a file gives nothing back that was taken back"
                );
            }
            if round == 1 {
                opened.record.checkpoint(&opened.state).unwrap();
            }
            drop(opened);
            if round == 2 {
                std::fs::remove_dir_all(folder.path().join("store")).ok();
            }
        }
    }
    let found = Record::verify(folder.path());
    assert!(found.is_sound() && found.entries == entries, "{found:?}");
}

#[test]
fn merging_an_export_repeats_nothing_that_was_taken_back_and_recorded_again() {
    let folder = tempfile::tempdir().unwrap();
    let now = at("2026-01-09T10:00:00Z");
    let (it, back) = by_hand()[0].clone();
    let story = [&it, &back, &it, &back, &it];
    let export_of = |told: &[&Event]| {
        let own = tempfile::tempdir().unwrap();
        let mut opened = open_whole(own.path());
        for event in told {
            opened.record.append(now, (*event).clone(), Said::default());
        }
        opened.record.sync().unwrap();
        let mut out = Vec::new();
        export(own.path(), &mut out, |_, _| {}).unwrap();
        out
    };
    let mut opened = open_whole(folder.path());
    let mut told = 0;
    for (known, new) in [(1, 1), (2, 1), (2, 0), (5, 3), (4, 0), (5, 0)] {
        let text = export_of(&story[..known]);
        let merged = merge(&mut opened.record, now, &text[..], |_| {}, |_| {}).unwrap();
        assert_eq!((merged.entries, merged.damage.len()), (new, 0), "an export of {known} after {told}");
        told += new;
    }
    let held: Vec<Event> = Record::entries(folder.path()).map(|entry| entry.unwrap().event).collect();
    assert_eq!(held.iter().collect::<Vec<_>>(), story);
}

#[test]
fn a_check_that_an_earlier_program_took_back_is_still_read() {
    let line = r#"{"what":"meter-undone","cat":"pepper","measured_at":"2026-01-09T08:00:00Z"}"#;
    let event: Event = serde_json::from_str(line).unwrap();
    assert!(
        matches!(event, Event::MeterUndone { measured_at, .. } if measured_at == at("2026-01-09T08:00:00Z"))
    );
}

#[test]
fn a_file_in_mmol_read_a_second_time_does_not_contradict_itself() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = open_whole(folder.path());
    // Every value with one decimal from 2.2 to 27.8 mmol/L, through the journal and the store.
    let levels = || {
        (22..=278).zip(0..).map(|(tenths, quarter)| Reading {
            value: Value::parse(&format!("{}.{}", tenths / 10, tenths % 10), lowtide::words::Unit::MmolL)
                .unwrap(),
            ..sample(quarter)
        })
    };
    tell(&mut opened, at("2026-01-05T00:00:00Z"), Event::Readings(batch(levels().collect()))).unwrap();
    opened.record.sync().unwrap();
    drop(opened);
    let again = open_whole(folder.path());
    assert_eq!(again.record.sift(Event::Readings(batch(levels().collect()))), None);
}
