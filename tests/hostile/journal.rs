//! The record's own texts, spoilt: journal files and exports. Reading them never panics, and what was not touched is
//! still there.

use std::fs;
use std::path::Path;

use lowtide::record::{Entry, Record, export, import};
use lowtide::words::{CatName, Event, Moment, Said, Spare};
use proptest::prelude::*;
use serde::{Deserialize, Serialize};

use crate::mutate::{mutated, rounds};

#[derive(Clone, Debug, Default, Serialize, Deserialize)]
struct Count(u64);

fn journal() -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/journal-1");
    ["2026-01.log", "2026-02.log"]
        .map(|name| (name.to_owned(), fs::read(folder.join(name)).unwrap()))
        .to_vec()
}

fn laid_out(files: &[(String, Vec<u8>)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("journal")).unwrap();
    for (name, bytes) in files {
        fs::write(folder.path().join("journal").join(name), bytes).unwrap();
    }
    folder
}

fn exported() -> Vec<u8> {
    let folder = laid_out(&journal());
    let mut text = Vec::new();
    export(folder.path(), &mut text, |_, _| ()).unwrap();
    text
}

fn open(folder: &Path) -> Option<Record> {
    let count = |state: &mut Count, _: &Entry| state.0 += 1;
    Record::open(folder, Count::default, count).ok().map(|opened| opened.record)
}

proptest! {
    #![proptest_config(rounds(60))]
    #[test]
    fn a_spoilt_journal_is_opened_and_goes_on_or_is_refused(
        spoilt in mutated(vec![journal().remove(1).1])
    ) {
        let mut files = journal();
        let untouched = String::from_utf8(files[0].1.clone()).unwrap().lines().count() - 1;
        files[1].1 = spoilt;
        let folder = laid_out(&files);
        let read = Record::entries(folder.path()).filter(Result::is_ok).count();
        prop_assert!(read >= untouched, "{read} of {untouched} entries of the month before");
        let _ = Record::verify(folder.path());
        if let Some(mut record) = open(folder.path()) {
            let cat = CatName::new("pepper").unwrap();
            let at = Moment::parse("2026-03-05T00:00:00Z").unwrap();
            record.append(at, Event::Spare(Spare { cat, at, count: 7 }), Said::default());
            record.sync().unwrap();
            drop(record);
            let last = Record::entries(folder.path()).filter_map(Result::ok).last().unwrap();
            prop_assert!(matches!(last.event, Event::Spare(Spare { count: 7, .. })), "{last:?}");
        }
    }

    #[test]
    fn a_spoilt_export_is_restored_as_far_as_it_goes(spoilt in mutated(vec![exported()])) {
        let folder = tempfile::tempdir().unwrap();
        let Ok(imported) = import(folder.path(), spoilt.as_slice(), |_| ()) else { return Ok(()) };
        // Whatever is missing is said, either now or by whoever looks at the record.
        let sound = Record::verify(folder.path()).is_sound();
        prop_assert!(sound || !imported.damage.is_empty());
        let read = Record::entries(folder.path()).filter(Result::is_ok).count() as u64;
        prop_assert_eq!(read, imported.entries);
    }
}

#[test]
fn an_export_whose_line_never_ends_is_refused_before_it_fills_the_memory() {
    let folder = tempfile::tempdir().unwrap();
    let mut text = exported();
    text.truncate(text.iter().position(|byte| *byte == b'\n').unwrap() + 1);
    // A reader that asks for no more than it needs never sees the end of this.
    let endless = std::io::BufReader::new(std::io::Read::chain(text.as_slice(), std::io::repeat(b'x')));
    let error = import(folder.path(), endless, |_| ()).unwrap_err().to_string();
    assert!(error.contains("line"), "{error}");
}
