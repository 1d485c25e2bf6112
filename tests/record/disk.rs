//! A disk that is full or may not be written. The tests start themselves again under a limit or as another user.

use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::path::{Path, PathBuf};
use std::process::Command;

use lowtide::record::{Damage, Record, RecordError};
use lowtide::words::Event;

use super::world::*;

/// An entry of about `kilobytes` KiB.
fn large(kilobytes: u32) -> Event {
    Event::Readings(batch((0..kilobytes * 26).map(sample).collect()))
}

/// In the child: the folder it works on. In the parent: nothing.
fn child_folder() -> Option<PathBuf> {
    std::env::var_os(CHILD).map(PathBuf::from)
}

/// Starts this program again, for one test only, behind some words of shell.
fn again(test: &str, folder: &Path, shell: &str) {
    let program = std::env::current_exe().unwrap();
    let shell = format!("{shell} \"$0\" --exact {test} --nocapture --test-threads 1");
    let mut command = Command::new("sh");
    let ran = command.arg("-c").arg(shell).arg(program).env(CHILD, folder).output().unwrap();
    let said = String::from_utf8_lossy(&ran.stdout) + String::from_utf8_lossy(&ran.stderr);
    assert!(ran.status.success() && said.contains("1 passed"), "{said}");
}

#[test]
fn a_full_disk_drops_only_what_was_not_confirmed_and_the_record_recovers() {
    let Some(folder) = child_folder() else {
        let folder = tempfile::tempdir().unwrap();
        // No file may grow beyond 1 MiB (dash and POSIX count in units of 512 bytes); the signal that would end
        // the program is ignored, as a full disk sends none.
        again(
            "disk::a_full_disk_drops_only_what_was_not_confirmed_and_the_record_recovers",
            folder.path(),
            "trap '' XFSZ; ulimit -f 2048; exec",
        );
        let back = open_whole(folder.path());
        assert_eq!(back.record.last_seq(), 5);
        assert_eq!(held(&back.record).len(), 4);
        return;
    };
    fill_up_and_recover(&folder, large(1500));
}

/// Runs the record against a wall with an entry that does not fit.
fn fill_up_and_recover(folder: &Path, too_large: Event) {
    let mut opened = filled(folder, 3);
    let path = journal_file(folder, "2026-01");
    let good = fs::read(&path).unwrap();
    let before = opened.state.clone();
    for _ in 0..3 {
        tell(&mut opened, at("2026-01-02T00:00:00Z"), dose("2026-01-02T00:00:00Z")).unwrap();
        tell(&mut opened, at("2026-02-02T00:00:00Z"), too_large.clone()).unwrap();
        let error = opened.record.sync().unwrap_err();
        assert!(matches!(&error, RecordError::Io { doing: "write", .. }), "{error}");
        opened.state = before.clone();
        assert_eq!(opened.record.last_seq(), 3);
        assert_eq!(fs::read(&path).unwrap(), good, "the file is cut back");
        assert_eq!(names(&folder.join("journal")), ["2026-01.log"], "the new month's file is taken away");
        assert!(
            opened.record.sift(dose("2026-01-02T00:00:00Z")).is_some(),
            "what was dropped may come again"
        );
        assert_eq!(held(&opened.record).len(), 3);
    }
    tell(&mut opened, at("2026-01-02T00:00:00Z"), dose("2026-01-02T00:00:00Z")).unwrap();
    tell(&mut opened, at("2026-02-02T00:00:00Z"), readings(3..4)).unwrap();
    opened.record.sync().unwrap();
    opened.record.checkpoint(&opened.state).unwrap();
    let verified = Record::verify(folder);
    assert!(verified.is_sound() && verified.entries == 5, "{verified:?}");
}

#[test]
#[ignore = "needs root: mounts a small file system; run with --ignored"]
fn a_real_full_file_system_is_survived_and_left_behind_once_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let mut mount = Command::new("mount");
    assert!(
        mount.args(["-t", "tmpfs", "-o", "size=3m", "none"]).arg(folder.path()).status().unwrap().success()
    );
    let ballast = folder.path().join("ballast");
    let result = std::panic::catch_unwind(|| {
        let data = folder.path().join("data");
        let mut opened = filled(&data, 300);
        opened.record.checkpoint(&opened.state).unwrap();
        let _ = fs::write(&ballast, vec![1; 4 << 20]);
        let before = opened.state.clone();
        let mut refused = 0;
        for quarter in 300..400 {
            tell(&mut opened, sample(quarter).measured_at, readings(quarter..quarter + 1)).unwrap();
            if opened.record.sync().is_err() {
                refused += 1;
                opened.state = before.clone();
            }
        }
        let kept = opened.record.last_seq();
        // The last page of the file still had room for a few.
        assert!(refused > 60 && refused + kept == 400, "{refused} refused, {kept} kept");
        println!("checkpoint on a full disk: {:?}", opened.record.checkpoint(&opened.state));
        println!("{:?}", words(&opened.record.take_damage()));
        fs::remove_file(&ballast).unwrap();
        for quarter in 300..400 {
            tell(&mut opened, sample(quarter).measured_at, readings(quarter..quarter + 1));
        }
        opened.record.checkpoint(&opened.state).unwrap();
        assert_eq!(opened.record.last_seq(), 400);
        assert_eq!(held(&opened.record).len(), 400);
        drop(opened);
        assert_eq!(open_whole(&data).entries_replayed, 0);
        assert!(Record::verify(&data).is_sound());
    });
    assert!(Command::new("umount").arg(folder.path()).status().unwrap().success());
    result.unwrap();
}

#[test]
fn a_store_that_may_not_be_written_is_held_in_memory_until_it_may() {
    let Some(folder) = child_folder() else {
        let folder = tempfile::tempdir().unwrap();
        let mut opened = filled(folder.path(), 300);
        opened.record.checkpoint(&opened.state).unwrap();
        drop(opened);
        // To the superuser nothing is read-only, so that one becomes nobody first.
        let superuser = fs::metadata(folder.path()).unwrap().uid() == 0;
        if superuser {
            give_away(folder.path());
        }
        let become_nobody = "exec setpriv --reuid=65534 --regid=65534 --clear-groups";
        again(
            "disk::a_store_that_may_not_be_written_is_held_in_memory_until_it_may",
            folder.path(),
            if superuser { become_nobody } else { "exec" },
        );
        return;
    };
    let allow = |path: &Path, mode| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    let store = folder.join("store");
    // The data folder may not be changed, the journal's folder in it may.
    for (path, mode) in [(store.join("db"), 0o444), (store.clone(), 0o555), (folder.clone(), 0o555)] {
        allow(&path, mode);
    }
    let mut opened = open(&folder);
    let text = words(&opened.damage).join(" ");
    assert!(opened.damage.iter().any(|d| matches!(d, Damage::StoreInMemory { .. })), "{text}");
    assert!(text.contains("denied") && text.contains("read-only"), "{text}");
    assert_eq!((opened.entries_replayed, held(&opened.record).len()), (300, 300));
    tell(&mut opened, sample(300).measured_at, readings(300..301)).unwrap();
    let refused = opened.record.checkpoint(&opened.state).unwrap_err();
    assert!(matches!(refused, RecordError::Store(_)), "{refused}");
    assert_eq!(opened.record.sift(readings(0..301)), None, "it still knows what it holds");
    for (path, mode) in [(folder.clone(), 0o755), (store.clone(), 0o755), (store.join("db"), 0o644)] {
        allow(&path, mode);
    }
    opened.record.checkpoint(&opened.state).unwrap();
    let state = opened.state.clone();
    drop(opened);
    let back = open_whole(&folder);
    assert_eq!((back.entries_replayed, back.state), (0, state));
}

fn give_away(path: &Path) {
    chown(path, Some(65534), Some(65534)).unwrap();
    if path.is_dir() {
        for name in names(path) {
            give_away(&path.join(name));
        }
    }
}

const CHILD: &str = "LOWTIDE_RECORD_TEST_FOLDER";
