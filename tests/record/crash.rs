//! What a power cut, a bad sector or a second program does to the journal.

use std::fs;

use lowtide::record::{BadLine, Damage, Record, RecordError};

use super::journal_1;
use super::world::*;

#[test]
fn what_was_synced_is_there_after_a_power_cut_and_what_was_not_is_not_claimed() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = filled(folder.path(), 20);
    tell(&mut opened, sample(20).measured_at, readings(20..21)).unwrap();
    let after = snapshot(folder.path());
    let back = open_whole(after.path());
    assert_eq!(held(&back.record), (0..20).map(sample).collect::<Vec<_>>());
    assert_eq!(back.entries_replayed, 20);
    assert_eq!(back.record.last_seq(), 20);
}

#[test]
fn a_torn_last_line_is_cut_off_kept_aside_and_reported_wherever_it_tore() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 3));
    let whole = fs::read(journal_file(folder.path(), "2026-01")).unwrap();
    let last = whole[..whole.len() - 1].iter().rposition(|b| *b == b'\n').unwrap() + 1;
    for end in last + 1..whole.len() {
        let torn = snapshot(folder.path());
        fs::write(journal_file(torn.path(), "2026-01"), &whole[..end]).unwrap();
        fs::remove_dir_all(torn.path().join("store")).unwrap();
        let mut opened = open(torn.path());
        let Damage::Torn { line: 4, bytes, kept_in, .. } = &opened.damage[0] else {
            panic!("{:?}", opened.damage)
        };
        assert_eq!(*bytes, (end - last) as u64);
        assert_eq!(fs::read(kept_in).unwrap(), whole[last..end]);
        assert_eq!(opened.state.seqs, [1, 2]);
        // The source sends it again, and it gets its place.
        assert_eq!(tell(&mut opened, sample(2).measured_at, readings(2..3)), Some(3));
        opened.record.sync().unwrap();
        assert_eq!(fs::read(journal_file(torn.path(), "2026-01")).unwrap(), whole);
    }
}

#[test]
fn zeros_that_a_file_system_left_at_the_end_are_a_torn_line() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 3));
    let path = journal_file(folder.path(), "2026-01");
    let mut bytes = fs::read(&path).unwrap();
    bytes.extend([0; 5000]);
    bytes.push(b'\n');
    fs::write(&path, bytes).unwrap();
    let opened = open(folder.path());
    assert!(matches!(opened.damage[..], [Damage::Torn { line: 5, bytes: 5001, .. }]), "{:?}", opened.damage);
    assert_eq!(opened.record.last_seq(), 3);
}

#[test]
fn a_file_that_was_only_just_begun_is_begun_again() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 3));
    for text in ["", "lowtide-jour", "lowtide-journal 1 2026-02 deadbeef\n", "\0\0\0\n\0"] {
        fs::write(journal_file(folder.path(), "2026-02"), text).unwrap();
        let mut opened = open(folder.path());
        assert_eq!(opened.record.last_seq(), 3, "{text:?}");
        assert_eq!(tell(&mut opened, at("2026-02-01T00:00:00Z"), dose("2026-02-01T00:00:00Z")), Some(4));
        opened.record.sync().unwrap();
        drop(opened);
        assert_eq!(open_whole(folder.path()).record.last_seq(), 4);
        fs::remove_file(journal_file(folder.path(), "2026-02")).unwrap();
        fs::remove_dir_all(folder.path().join("store")).unwrap();
    }
}

#[test]
fn a_flipped_byte_in_the_middle_is_found_and_named_and_the_rest_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 40));
    let path = journal_file(folder.path(), "2026-01");
    let whole = fs::read(&path).unwrap();
    // Line 1 is the header, so entry 17 stands in line 18.
    let start = whole.iter().enumerate().filter(|(_, b)| **b == b'\n').nth(16).unwrap().0 + 1;
    let mut flipped = whole.clone();
    flipped[start + 60] ^= 0x04;
    fs::write(&path, flipped).unwrap();
    fs::remove_dir_all(folder.path().join("store")).unwrap();
    let opened = open(folder.path());
    let named = Damage::Line { file: path, line: 18, seq: Some(17), why: BadLine::Checksum };
    assert_eq!(opened.damage.iter().filter(|damage| !damage.is_of_store()).collect::<Vec<_>>(), [&named]);
    let rest: Vec<u64> = (1..=40).filter(|seq| *seq != 17).collect();
    assert_eq!(opened.state.seqs, rest);
    assert_eq!(opened.record.last_seq(), 40);
    // The lost reading is not held, so a source that still has it can bring it again.
    assert!(opened.record.sift(readings(16..17)).is_some() && opened.record.sift(readings(15..16)).is_none());
}

#[test]
fn a_line_without_end_is_passed_over_and_named_and_the_rest_is_kept() {
    let endless = vec![b'7'; 17 * 1024 * 1024];
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 4));
    let file = journal_file(folder.path(), "2026-01");
    let whole = fs::read(&file).unwrap();
    let middle = whole.iter().position(|b| *b == b'\n').unwrap() + 1;
    // In the middle, where a sector was written over.
    let damaged = [&whole[..middle], &endless, b"\n", &whole[middle..]].concat();
    fs::write(&file, damaged).unwrap();
    fs::remove_dir_all(folder.path().join("store")).unwrap();
    let found = Record::verify(folder.path());
    let Damage::Line { line: 2, why: BadLine::TooLong(bytes), .. } = found.damage[0] else {
        panic!("{found:?}")
    };
    assert_eq!((bytes, found.entries), (endless.len() as u64 + 1, 4));
    let opened = open(folder.path());
    assert_eq!((opened.state.seqs.as_slice(), opened.record.last_seq()), ([1, 2, 3, 4].as_slice(), 4));
    assert!(words(&opened.damage)[0].contains("no entry is that long"), "{:?}", words(&opened.damage));
    drop(opened);
    // At the end, where a file system left it.
    fs::write(&file, [&whole[..], &endless].concat()).unwrap();
    fs::remove_dir_all(folder.path().join("store")).unwrap();
    let opened = open(folder.path());
    let Damage::Torn { line: 6, bytes, kept_in, .. } = &opened.damage[0] else {
        panic!("{:?}", opened.damage)
    };
    assert_eq!((*bytes, fs::metadata(kept_in).unwrap().len()), (endless.len() as u64, endless.len() as u64));
    assert_eq!(fs::read(&file).unwrap(), whole);
}

#[test]
fn a_line_that_stands_twice_counts_once_and_is_named() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 4));
    let file = journal_file(folder.path(), "2026-01");
    let text = fs::read_to_string(&file).unwrap();
    let mut lines: Vec<&str> = text.lines().collect();
    lines.insert(4, lines[2]);
    fs::write(&file, lines.join("\n") + "\n").unwrap();
    fs::remove_dir_all(folder.path().join("store")).unwrap();
    let opened = open(folder.path());
    assert!(matches!(opened.damage[0], Damage::Order { line: 5, seq: 2, .. }), "{:?}", opened.damage);
    assert_eq!(opened.state.seqs, [1, 2, 3, 4]);
    assert_eq!(held(&opened.record).len(), 4);
}

#[test]
fn a_stretch_of_rubbish_is_a_few_words_and_not_a_flood() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 4));
    let file = journal_file(folder.path(), "2026-01");
    let whole = fs::read(&file).unwrap();
    let middle = whole.iter().position(|b| *b == b'\n').unwrap() + 1;
    fs::write(&file, [&whole[..middle], "rubbish\n\n".repeat(50_000).as_bytes(), &whole[middle..]].concat())
        .unwrap();
    fs::remove_dir_all(folder.path().join("store")).unwrap();
    let opened = open(folder.path());
    assert_eq!(opened.state.seqs, [1, 2, 3, 4]);
    let told = words(&opened.damage);
    assert!(told.len() < 10, "{} of them: {:?}", told.len(), &told[..10]);
    let last = told.iter().filter(|text| text.contains("lines 7 to 100001 cannot be used either")).count();
    assert_eq!(last, 1, "{told:?}");
}

#[test]
fn a_lost_line_is_noticed_by_its_number() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 5));
    let path = journal_file(folder.path(), "2026-01");
    let text = fs::read_to_string(&path).unwrap();
    let without: String = text.split_inclusive('\n').filter(|line| !line.starts_with("3 ")).collect();
    fs::write(&path, without).unwrap();
    let found: Vec<_> = Record::entries(folder.path()).filter_map(Result::err).collect();
    assert_eq!(found, [Damage::Missing { file: path, line: 4, from: 3, until: 3 }]);
}

#[test]
fn a_damaged_first_line_of_a_file_does_not_hide_its_entries() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 5));
    let path = journal_file(folder.path(), "2026-01");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replacen("journal", "jpurnal", 1)).unwrap();
    let opened = open(folder.path());
    assert_eq!(opened.damage, [Damage::Header { file: path }]);
    assert_eq!(opened.state.seqs, [1, 2, 3, 4, 5]);
}

#[test]
fn a_journal_of_a_newer_program_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir_all(folder.path().join("journal")).unwrap();
    let text = "lowtide-journal 9 2026-01";
    let text = format!("{text} {:08x}\nsomething new\n", crc32fast::hash(text.as_bytes()));
    fs::write(journal_file(folder.path(), "2026-01"), &text).unwrap();
    let Err(error) = Record::open(folder.path(), Told::default, Told::hear) else { panic!("it was opened") };
    assert!(matches!(error, RecordError::Newer { version: 9, .. }) && error.to_string().contains("update"));
    assert_eq!(fs::read_to_string(journal_file(folder.path(), "2026-01")).unwrap(), text);
}

#[test]
fn a_month_has_a_file_and_time_that_steps_back_does_not_reopen_an_old_one() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = open_whole(folder.path());
    for (now, given) in [
        ("2026-01-31T23:59:59.999Z", "2026-01-31T08:00:00Z"),
        ("2026-02-01T00:00:00Z", "2026-01-31T20:00:00Z"),
        ("2026-01-15T00:00:00Z", "2026-02-01T08:00:00Z"),
        ("2026-04-01T00:00:00Z", "2026-02-01T20:00:00Z"),
    ] {
        tell(&mut opened, at(now), dose(given)).unwrap();
    }
    opened.record.sync().unwrap();
    tell(&mut opened, at("2026-05-01T00:00:00Z"), dose("2026-05-01T00:00:00Z")).unwrap();
    opened.record.sync().unwrap();
    assert_eq!(
        names(&folder.path().join("journal")),
        ["2026-01.log", "2026-02.log", "2026-04.log", "2026-05.log"]
    );
    let lines = |month| fs::read_to_string(journal_file(folder.path(), month)).unwrap().lines().count();
    assert_eq!(["2026-01", "2026-02", "2026-04", "2026-05"].map(lines), [2, 3, 2, 2]);
    let state = opened.state.clone();
    drop(opened);
    assert_eq!(open_whole(folder.path()).state, state);
}

#[test]
fn only_one_at_a_time_may_write_and_anybody_may_read() {
    let folder = tempfile::tempdir().unwrap();
    let opened = filled(folder.path(), 3);
    let Err(error) = Record::open(folder.path(), Told::default, Told::hear) else { panic!("opened twice") };
    assert!(matches!(error, RecordError::Locked { .. }), "{error}");
    assert_eq!(Record::entries(folder.path()).count(), 3);
    drop(opened);
    open_whole(folder.path());
}

#[test]
fn a_line_is_text_that_a_pager_shows() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 1));
    let text = fs::read_to_string(journal_file(folder.path(), "2026-01")).unwrap();
    let (header, line) = text.split_once('\n').unwrap();
    assert!(header.starts_with("lowtide-journal 1 2026-01 "), "{header}");
    let body = r#"{"event":{"what":"readings","cat":"pepper","via":"mqtt","source":"bridge","readings":[{"t":"2026-01-01T00:00:00Z","v":60}],"newest":"2026-01-01T00:00:00Z"}}"#;
    let crc = crc32fast::hash(format!("1 2026-01-01T00:00:00Z {body}").as_bytes());
    assert_eq!(line, format!("1 {crc:08x} 2026-01-01T00:00:00Z {body}\n"));
}

#[test]
fn what_was_said_in_words_that_are_not_known_any_more_does_not_take_the_event_with_it() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path(), 2));
    let path = journal_file(folder.path(), "2026-01");
    let mut text = fs::read_to_string(&path).unwrap();
    let body = r#"{"event":{"what":"dose","cat":"pepper","given_at":"2026-01-01T08:00:00Z"},"said":{"messages":[{"sung":true}]}}"#;
    let crc = crc32fast::hash(format!("3 2026-01-01T08:01:00Z {body}").as_bytes());
    text += &format!("3 {crc:08x} 2026-01-01T08:01:00Z {body}\n");
    fs::write(&path, text).unwrap();
    let opened = open(folder.path());
    let [Damage::Line { line: 4, seq: Some(3), why: BadLine::SaidMeaning(_), .. }] = &opened.damage[..]
    else {
        panic!("{:?}", opened.damage)
    };
    assert_eq!(opened.state.seqs, [1, 2, 3]);
}

#[test]
fn a_journal_of_the_first_format_still_reads() {
    // Written by version 0.1.0 in format 1 and never changed since.
    let kept = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/journal-1");
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir_all(folder.path().join("journal")).unwrap();
    for name in names(&kept) {
        fs::copy(kept.join(&name), folder.path().join("journal").join(&name)).unwrap();
    }
    let verified = Record::verify(folder.path());
    assert!(verified.is_sound(), "{:?}", words(&verified.damage));
    assert_eq!((verified.files, verified.entries, verified.readings), (2, 12, 7));
    let events: Vec<_> = Record::entries(folder.path()).map(|entry| entry.unwrap().event).collect();
    assert_eq!(events[0], journal_1::events()[0]);
    assert_eq!(events, journal_1::events());
}
