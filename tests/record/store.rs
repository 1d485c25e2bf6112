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

#[test]
fn a_store_that_is_still_held_for_a_moment_is_waited_for_and_not_set_aside() {
    let folder = tempfile::tempdir().unwrap();
    let state = with_history(folder.path()).state;
    let held = fs::File::open(folder.path().join("store/db")).unwrap();
    held.lock().unwrap();
    let holder = std::thread::spawn(move || {
        std::thread::sleep(std::time::Duration::from_millis(300));
        drop(held);
    });
    let back = open_whole(folder.path());
    holder.join().unwrap();
    assert_eq!(back.entries_replayed, 41);
    assert_same(&back, &state);
}

#[test]
fn a_crash_before_the_first_checkpoint_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let opened = filled(folder.path(), 200);
    let after = snapshot(folder.path());
    let back = open_whole(after.path());
    assert_eq!((back.entries_replayed, &back.state), (200, &opened.state));
}

#[test]
fn a_checkpoint_includes_what_was_appended_and_not_synced_yet() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = filled(folder.path(), 3);
    tell(&mut opened, sample(3).measured_at, readings(3..4)).unwrap();
    opened.record.checkpoint(&opened.state).unwrap();
    let after = snapshot(folder.path());
    let back = open_whole(after.path());
    assert_eq!((back.entries_replayed, back.record.last_seq()), (0, 4));
    assert_eq!(back.state, opened.state);
}

#[test]
fn a_state_that_no_longer_reads_is_derived_anew_and_the_old_store_kept() {
    #[derive(serde::Serialize, serde::Deserialize, Default)]
    struct Other {
        something_else: u32,
    }
    let folder = tempfile::tempdir().unwrap();
    drop(with_history(folder.path()));
    let told = |state: &mut Other, _: &lowtide::record::Entry| state.something_else += 1;
    let other = lowtide::record::Record::open(folder.path(), Other::default, told).unwrap();
    assert_eq!(other.state.something_else, 341);
    let [Damage::StoreSetAside { kept_in, .. }] = &other.damage[..] else { panic!("{:?}", other.damage) };
    assert!(kept_in.join("db").is_file());
}

#[test]
fn a_store_that_is_ahead_of_a_restored_older_journal_is_not_believed() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = filled(folder.path(), 100);
    opened.record.checkpoint(&opened.state).unwrap();
    drop(opened);
    let path = journal_file(folder.path(), "2026-01");
    let text = fs::read_to_string(&path).unwrap();
    let older: String = text.split_inclusive('\n').take(51).collect();
    fs::write(&path, older).unwrap();
    let back = open(folder.path());
    assert!(matches!(back.damage[..], [Damage::StoreSetAside { .. }]), "{:?}", words(&back.damage));
    assert_eq!(held(&back.record), (0..50).map(sample).collect::<Vec<_>>());
    assert!(back.record.sift(readings(50..51)).is_some(), "what the journal lost can come again");
    drop(back);
    // The journal gone altogether: the store is kept aside as well, for it is all there is.
    fs::remove_dir_all(folder.path().join("journal")).unwrap();
    let back = open(folder.path());
    assert!(matches!(back.damage[..], [Damage::StoreSetAside { .. }]), "{:?}", words(&back.damage));
    assert_eq!(back.record.last_seq(), 0);
}

#[test]
fn a_half_written_snapshot_of_the_store_does_not_matter() {
    let folder = tempfile::tempdir().unwrap();
    let state = with_history(folder.path()).state;
    for text in [vec![], vec![0; 40], b"half a snapshot".to_vec()] {
        let half = snapshot(folder.path());
        fs::write(half.path().join("store/snap.0000000000000123.generating"), &text).unwrap();
        fs::write(half.path().join("store/snap.0000000000000456"), &text).unwrap();
        let back = open(half.path());
        assert_same(&back, &state);
        assert!(back.damage.iter().all(Damage::is_of_store), "{:?}", words(&back.damage));
    }
}

#[test]
fn whatever_is_overwritten_in_the_store_the_same_state_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let state = with_history(folder.path()).state;
    let mut dice = oorandom::Rand32::new(20_261_125);
    let (mut noticed, rounds) = (0, CORRUPTIONS);
    for round in 0..rounds {
        let hurt = snapshot(folder.path());
        let store = hurt.path().join("store");
        let files: Vec<String> =
            names(&store).into_iter().filter(|name| store.join(name).is_file()).collect();
        let path = store.join(&files[dice.rand_range(0..files.len() as u32) as usize]);
        let mut bytes = fs::read(&path).unwrap();
        if round % 4 == 0 {
            bytes.truncate(dice.rand_range(0..bytes.len() as u32) as usize);
        } else {
            // Most of the file is room that is not used yet, so its beginning is hurt more often.
            let end = (bytes.len() as u32).min(if round % 4 == 1 { u32::MAX } else { 40_000 });
            let start = dice.rand_range(0..end) as usize;
            let length = 1 << dice.rand_range(0..12);
            for byte in bytes.iter_mut().skip(start).take(length) {
                *byte = dice.rand_u32() as u8;
            }
        }
        fs::write(&path, bytes).unwrap();
        let back = open(hurt.path());
        assert!(back.damage.iter().all(Damage::is_of_store), "{:?}", words(&back.damage));
        noticed += usize::from(!back.damage.is_empty());
        assert_same(&back, &state);
    }
    assert!(noticed * 4 > rounds, "only {noticed} of {rounds} were noticed: is the store hurt at all?");
}

#[test]
fn a_file_in_the_place_of_the_store_is_moved_aside() {
    let folder = tempfile::tempdir().unwrap();
    let state = with_history(folder.path()).state;
    fs::remove_dir_all(folder.path().join("store")).unwrap();
    fs::write(folder.path().join("store"), "not a folder").unwrap();
    let back = open(folder.path());
    let [Damage::StoreSetAside { kept_in, .. }] = &back.damage[..] else { panic!("{:?}", back.damage) };
    assert_eq!(fs::read_to_string(kept_in).unwrap(), "not a folder");
    assert_same(&back, &state);
}

#[test]
fn checkpoints_come_due_by_count_and_by_time_and_not_without_news() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = open_whole(folder.path());
    assert!(!opened.record.checkpoint_due(at("2030-01-01T00:00:00Z")), "nothing came, nothing is written");
    tell(&mut opened, sample(0).measured_at, readings(0..1)).unwrap();
    assert!(!opened.record.checkpoint_due(at("2026-01-01T05:59:00Z")));
    assert!(opened.record.checkpoint_due(at("2026-01-01T06:00:00Z")));
    opened.record.checkpoint(&opened.state).unwrap();
    assert!(!opened.record.checkpoint_due(at("2026-01-02T00:00:00Z")));
    for quarter in 1..=256 {
        assert!(!opened.record.checkpoint_due(sample(0).measured_at), "{quarter}");
        tell(&mut opened, sample(0).measured_at, readings(quarter..quarter + 1)).unwrap();
    }
    assert!(opened.record.checkpoint_due(sample(0).measured_at));
}

const CORRUPTIONS: usize = 48;
