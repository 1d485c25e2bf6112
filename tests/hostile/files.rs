//! Files and messages that are not what they say they are. Every format in `docs/formats.md`, spoilt in every way that
//! `mutate` knows; bombs; nesting without end.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::time::Duration;

use flate2::Compression;
use flate2::write::GzEncoder;
use lowtide::clock::{Clock, MachineClock};
use lowtide::intake::formats::{Context, FileError, Record, parse};
use lowtide::words::{CatName, Unit};
use proptest::prelude::*;

use crate::mutate::{mutated, rounds};

fn context() -> Context {
    Context {
        zone: chrono_tz::Europe::Vienna,
        cats: vec![
            (CatName::new("pepper").unwrap(), Unit::MgDl),
            (CatName::new("mint").unwrap(), Unit::MmolL),
        ],
        ranges: vec![],
        layouts: vec![],
    }
}

/// Every example of the formats' page, and a few of each table.
fn samples() -> Vec<Vec<u8>> {
    let page = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/formats.md")).unwrap();
    let mut samples: Vec<Vec<u8>> = page
        .split("```")
        .skip(1)
        .step_by(2)
        .map(|block| block.split_once('\n').unwrap().1.as_bytes().to_vec())
        .collect();
    assert!(samples.len() >= 8, "docs/formats.md has {} examples", samples.len());
    samples.push(b"measured_at,glucose,unit,cat,kind\n2026-03-01T06:00:00Z,112,mg/dL,pepper,history\n2026-03-01T06:15:00Z,LO,,mint,spot\n".to_vec());
    samples.push(b"given_at,units,by,cat\n2026-03-01T06:00:00Z,1.5,owner,pepper\n".to_vec());
    samples.push(b"at,event,cat\n2026-03-01T06:00:00Z,applied,pepper\n".to_vec());
    samples
}

fn survives(bytes: &[u8]) -> Result<(), TestCaseError> {
    for name in ["a.csv", "a.json", "a.ndjson", "a.csv.gz"] {
        let begun = MachineClock::new();
        let parsed = parse(name, bytes, &context());
        prop_assert!(begun.steady() < Duration::from_secs(5), "{name}: {:?}", begun.steady());
        let Ok(parsed) = parsed else { continue };
        prop_assert!(parsed.records.len() <= bytes.len() + 1, "{name}: more records than bytes");
        for record in &parsed.records {
            let number = match record {
                Record::Reading { reading, .. } => reading.value.level(),
                Record::Meter(check) => check.glucose.level(),
                Record::Dose(dose) => dose.units,
                _ => None,
            };
            prop_assert!(
                number.is_none_or(|number| number.is_finite() && (0.0..2000.0).contains(&number)),
                "{record:?}"
            );
        }
        for reject in &parsed.rejects {
            prop_assert!(reject.text.chars().count() <= 2001 && reject.reason.len() < 20_000, "{reject:?}");
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(rounds(600))]
    #[test]
    fn spoilt_files_are_read_or_refused_and_nothing_else(bytes in mutated(samples())) {
        survives(&bytes)?;
    }
}

#[test]
fn nesting_without_end_is_refused() {
    for (name, open) in
        [("a.json", "["), ("a.json", "{\"readings\":"), ("a.ndjson", "{\"a\":["), ("a.json", "[{\"entry\":[")]
    {
        let text = open.repeat(1_000_000);
        let parsed = parse(name, text.as_bytes(), &context());
        assert!(parsed.is_err() || parsed.is_ok_and(|parsed| parsed.records.is_empty()), "{open}");
    }
}

#[test]
fn a_row_of_megabytes_is_refused_and_the_next_row_is_read() {
    let text = format!(
        "measured_at,glucose,cat\n{},112,pepper\n2026-03-01T06:00:00Z,112,pepper\n",
        "x".repeat(8_000_000)
    );
    let parsed = parse("a.csv", text.as_bytes(), &context()).unwrap();
    assert_eq!((parsed.records.len(), parsed.rejects.len()), (1, 1));
    assert!(parsed.rejects[0].text.len() <= 2010, "{}", parsed.rejects[0].text.len());
}

/// 200 members of 32 MiB each: 6.25 GiB out of 6 MB. Would not fit, and nobody waits for it.
pub fn bomb() -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(&vec![b'0'; 32 * 1024 * 1024]).unwrap();
    encoder.finish().unwrap().repeat(200)
}

#[test]
fn a_bomb_of_many_members_stops_at_the_limit() {
    let begun = MachineClock::new();
    assert!(matches!(parse("a.csv.gz", &bomb(), &context()), Err(FileError::TooBig { .. })));
    assert!(begun.steady() < Duration::from_secs(10), "{:?}", begun.steady());
    // A bomb within a bomb is not opened a second time.
    let mut outer = GzEncoder::new(Vec::new(), Compression::fast());
    outer.write_all(&bomb()[..30_000]).unwrap();
    let twice = outer.finish().unwrap();
    assert!(parse("a.csv.gz", &twice, &context()).is_err());
}
