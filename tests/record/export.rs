//! Taking everything out and bringing it back.

use std::fs;

use lowtide::record::{BadLine, Damage, Record, RecordError, export, import, merge};
use lowtide::words::{Event, Said, Via};

use super::world::*;

/// A record over three months with everything in it, and its export.
fn exported(folder: &std::path::Path) -> (Told, Vec<u8>) {
    let mut opened = filled(folder, 50);
    let other = lowtide::words::Reading { value: lowtide::words::Value::Below, ..sample(7) };
    tell(&mut opened, at("2026-02-03T00:00:00Z"), Event::Readings(batch(vec![other]))).unwrap();
    tell(&mut opened, at("2026-02-04T00:00:00Z"), dose("2026-02-04T00:00:00Z")).unwrap();
    let bridge = Event::Bridge { cat: pepper(), online: false };
    tell(&mut opened, at("2026-03-04T00:00:00Z"), bridge).unwrap();
    opened.record.sync().unwrap();
    let mut out = Vec::new();
    let mut heard = Vec::new();
    // The record is open: an export needs no lock.
    let done = export(folder, &mut out, |done, total| heard.push((done, total))).unwrap();
    assert_eq!((done.entries, done.last_seq, done.damage), (53, 53, vec![]));
    assert!(heard.is_sorted() && heard.last().is_some_and(|(done, total)| done == total), "{heard:?}");
    (opened.state, out)
}

#[test]
fn a_restored_record_is_the_same_to_the_byte() {
    let (from, to) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (state, out) = exported(from.path());
    let mut bytes = 0;
    let done = import(to.path(), out.as_slice(), |done| bytes = done).unwrap();
    assert_eq!((done.entries, done.damage), (53, vec![]));
    assert!(bytes > out.len() as u64 * 9 / 10);
    let journal = |folder: &std::path::Path| {
        let folder = folder.join("journal");
        names(&folder).into_iter().map(|n| (n.clone(), fs::read(folder.join(n)).unwrap())).collect::<Vec<_>>()
    };
    assert_eq!(journal(to.path()).len(), 3);
    assert_eq!(journal(from.path()), journal(to.path()));
    let back = open(to.path());
    assert_eq!(back.state, state);
    assert!(matches!(back.damage[..], [Damage::StoreRebuilt { .. }]));
    let mut again = Vec::new();
    export(to.path(), &mut again, |_, _| ()).unwrap();
    assert_eq!(again, out);
}

#[test]
fn each_line_of_an_export_is_json() {
    let folder = tempfile::tempdir().unwrap();
    let text = String::from_utf8(exported(folder.path()).1).unwrap();
    let lines: Vec<serde_json::Value> = text.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(lines.len(), 55);
    assert_eq!(lines[0]["lowtide_export"], 1);
    assert_eq!((&lines[1]["seq"], &lines[1]["event"]["what"]), (&1.into(), &"readings".into()));
    assert_eq!((&lines[54]["entries"], &lines[54]["last_seq"]), (&53.into(), &53.into()));
}

#[test]
fn a_restore_does_not_touch_a_record_that_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let (_, out) = exported(folder.path());
    let before = fs::read(journal_file(folder.path(), "2026-02")).unwrap();
    let error = import(folder.path(), out.as_slice(), |_| ()).unwrap_err();
    assert!(matches!(error, RecordError::NotEmpty { .. }) && error.to_string().contains("empty folder"));
    assert_eq!(fs::read(journal_file(folder.path(), "2026-02")).unwrap(), before);
}

#[test]
fn an_export_that_was_cut_short_or_changed_is_noticed_and_the_rest_taken() {
    let folder = tempfile::tempdir().unwrap();
    let text = String::from_utf8(exported(folder.path()).1).unwrap();
    let short: String = text.split_inclusive('\n').take(30).collect();
    let to = tempfile::tempdir().unwrap();
    let done = import(to.path(), short.as_bytes(), |_| ()).unwrap();
    assert_eq!((done.entries, done.damage), (29, vec![Damage::CutShort { entries: 29 }]));
    let to = tempfile::tempdir().unwrap();
    let changed = text.replacen(r#""v":67"#, r#""v":57"#, 1);
    let done = import(to.path(), changed.as_bytes(), |_| ()).unwrap();
    let [Damage::Line { line: 3, why: BadLine::Checksum, .. }] = &done.damage[..] else {
        panic!("{:?}", done.damage)
    };
    assert_eq!(done.entries, 52);
    // The hole shows.
    let verified = Record::verify(to.path());
    assert!(matches!(verified.damage[..], [Damage::Missing { from: 2, until: 2, .. }]), "{verified:?}");
}

#[test]
fn something_else_is_not_imported() {
    for text in
        ["", "measured_at,glucose\n", "{\"seq\":1}\n", "{\"lowtide_export\":2,\"program\":\"9.9.9\"}\n"]
    {
        let folder = tempfile::tempdir().unwrap();
        let error = import(folder.path(), text.as_bytes(), |_| ()).unwrap_err();
        assert!(matches!(error, RecordError::NotAnExport { .. }), "{text:?}: {error}");
    }
}

#[test]
fn merging_adds_what_is_new_once_and_leaves_the_other_household_out() {
    let (from, to) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (_, out) = exported(from.path());
    let mut opened = open_whole(to.path());
    // Half of it is here already.
    tell(&mut opened, at("2026-05-01T00:00:00Z"), readings(0..25)).unwrap();
    let now = at("2026-06-01T00:00:00Z");
    let mut state = opened.state.clone();
    let done = merge(&mut opened.record, now, out.as_slice(), |entry| state.hear(entry), |_| ()).unwrap();
    assert_eq!((done.entries, done.repeated, done.left_out, done.damage), (27, 25, 1, vec![]));
    assert_eq!(held(&opened.record), (0..50).map(sample).collect::<Vec<_>>());
    let done = merge(&mut opened.record, now, out.as_slice(), |_| panic!("nothing is new"), |_| ()).unwrap();
    assert_eq!((done.entries, done.repeated), (0, 52));
    drop(opened);
    let back = open_whole(to.path());
    assert_eq!(back.state, state);
    let verified = Record::verify(to.path());
    assert!(verified.is_sound() && verified.readings == 51, "{verified:?}");
    let via_import = |entry: &lowtide::record::Entry| {
        matches!(&entry.event, Event::Readings(batch) if batch.via == Via::Import)
            && entry.said == Said::default()
    };
    assert_eq!(Record::entries(to.path()).filter_map(Result::ok).filter(via_import).count(), 26);
}

#[test]
fn what_stands_in_the_journal_twice_is_counted() {
    let folder = tempfile::tempdir().unwrap();
    let mut opened = filled(folder.path(), 3);
    // Past the sieve, as a faulty program might.
    opened.record.append(at("2026-01-02T00:00:00Z"), readings(1..4), Said::default());
    opened.record.append(at("2026-01-02T00:00:00Z"), dose("2026-01-02T00:00:00Z"), Said::default());
    opened.record.append(at("2026-01-02T00:00:00Z"), dose("2026-01-02T00:00:00Z"), Said::default());
    opened.record.sync().unwrap();
    let verified = Record::verify(folder.path());
    assert_eq!((verified.doubled, verified.readings, verified.entries), (3, 6, 6));
    assert!(!verified.is_sound());
}
