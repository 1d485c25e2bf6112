//! What happens when the store is lost, stale, damaged or not writable: the same state comes back.

use std::fs;
use std::path::Path;

use lowtide::record::{Damage, Opened};

use super::world::*;

/// A record with a checkpoint in the middle; gives what it held.
fn with_history(folder: &Path) -> Opened<Told> {
    let mut opened = filled(folder, 300);
    opened.record.checkpoint(&opened.state).unwrap();
    for quarter in 300..340 {
        tell(&mut opened, sample(quarter).measured_at, readings(quarter..quarter + 1)).unwrap();
    }
    tell(&mut opened, at("2026-01-09T08:00:00Z"), dose("2026-01-09T08:00:00Z")).unwrap();
    opened.record.sync().unwrap();
    opened
}

/// Whether what came back is what was there, sifting included.
fn assert_same(back: &Opened<Told>, state: &Told) {
    assert_eq!(&back.state, state);
    assert_eq!(held(&back.record), (0..340).map(sample).collect::<Vec<_>>());
    assert_eq!(back.record.sift(readings(0..340)), None, "all of it is held");
    assert_eq!(back.record.sift(dose("2026-01-09T08:00:00Z")), None, "the dose is held");
    assert!(back.record.sift(readings(340..341)).is_some());
}

#[test]
fn a_start_loads_the_checkpoint_and_recalls_only_what_came_after_it() {
    let folder = tempfile::tempdir().unwrap();
    let opened = with_history(folder.path());
    let after = snapshot(folder.path());
    let back = open_whole(after.path());
    assert_eq!(back.entries_replayed, 41);
    assert_same(&back, &opened.state);
}

#[test]
fn a_deleted_store_is_made_anew_from_the_journal() {
    let folder = tempfile::tempdir().unwrap();
    let state = with_history(folder.path()).state;
    fs::remove_dir_all(folder.path().join("store")).unwrap();
    let back = open(folder.path());
    assert!(matches!(back.damage[..], [Damage::StoreRebuilt { .. }]), "{:?}", words(&back.damage));
    assert_eq!(back.entries_replayed, 341);
    assert_same(&back, &state);
    drop(back);
    let again = open_whole(folder.path());
    assert_eq!(again.entries_replayed, 0, "the rebuilt store was kept");
    assert_same(&again, &state);
}
