//! Any bytes at all, and those that look like something: read or refused, and nothing lost on the way into events.

use proptest::prelude::*;

use super::*;
use crate::words::{Event, Via};

fn contexts() -> Vec<Context> {
    vec![
        context(),
        two_cats(),
        with_layout(
            "files = '*'\ndelimiter = ';'\ndecimal_comma = true\ndate_format = ['%d.%m.%Y %H:%M', 'unix-seconds']\n\
             below = ['<']\nskip_lines = 1\ncolumns = { date = 1, time = 2, glucose = [3, 4] }\nheader_row = false",
        ),
        with_layout("files = '*'\nencoding = 'utf-16be'\nheader = ['glucose']"),
    ]
}

/// Letters that make something happen, so that more than the first check is reached.
fn texts() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop::sample::select(vec![
        "measured_at",
        "glucose",
        "given_at",
        "units",
        "at",
        "event",
        "cat",
        "unit",
        "readings",
        ",",
        ";",
        "\n",
        "\r\n",
        "\"",
        "\"\"",
        "{",
        "}",
        "[",
        "]",
        ":",
        "null",
        "112",
        "5,6",
        "LO",
        "-1",
        "1e999",
        "NaN",
        "2026-10-25 02:30",
        "2026-03-01T06:00:00Z",
        "9999999999999999",
        "pepper",
        "resourceType",
        "Observation",
        "Bundle",
        "entry",
        "body",
        "header",
        "blood_glucose",
        "valueQuantity",
        "\u{fe}\u{ff}",
        "\0",
        "\u{1F408}",
    ]);
    prop::collection::vec(piece, 0..60).prop_map(|pieces| pieces.concat().into_bytes())
}

fn survives(bytes: &[u8]) -> Result<(), TestCaseError> {
    for context in contexts() {
        for name in ["a.csv", "a.json", "a.ndjson", "a.csv.gz", "a", ""] {
            let Ok(parsed) = parse(name, bytes, &context) else { continue };
            for record in &parsed.records {
                let level = match record {
                    Record::Reading { reading, .. } => reading.value.level(),
                    Record::Meter(check) => check.glucose.level(),
                    Record::Dose(dose) => dose.units,
                    _ => None,
                };
                prop_assert!(level.is_none_or(|number| number.is_finite() && number > 0.0));
            }
            let count = parsed.records.iter().filter(|r| matches!(r, Record::Reading { .. })).count();
            let events = parsed.into_events(Via::Folder, name);
            let mut kept = 0;
            for (_, event) in &events {
                if let Event::Readings(batch) = event {
                    kept += batch.readings.len() + batch.repeated as usize;
                    let rising = |pair: &[Reading]| {
                        (pair[0].measured_at, pair[0].kind) < (pair[1].measured_at, pair[1].kind)
                    };
                    prop_assert!(batch.readings.windows(2).all(rising));
                }
            }
            prop_assert_eq!(kept, count, "no reading is lost on the way into events");
        }
    }
    Ok(())
}

proptest! {
    #[test]
    fn never_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        survives(&bytes)?;
    }

    #[test]
    fn that_look_like_something_never_panic(bytes in texts()) {
        survives(&bytes)?;
    }

    #[test]
    fn after_a_good_header_never_panic(rest in texts()) {
        survives(&[b"measured_at,glucose,unit,cat\n".as_slice(), &rest].concat())?;
        survives(&[b"[{\"measured_at\":\"".as_slice(), &rest].concat())?;
    }

    #[test]
    fn a_table_we_write_is_the_table_we_read(
        rows in prop::collection::vec((0_i64..4_000_000_000, 20_u32..=700), 1..50)
    ) {
        let mut text = "measured_at,glucose\n".to_owned();
        for (seconds, level) in &rows {
            text += &format!("{},{level}\n", Moment::from_millis(seconds * 1000));
        }
        let parsed = parse("a.csv", text.as_bytes(), &context()).unwrap();
        let got: Vec<_> = readings(&parsed);
        let expected: Vec<_> = rows
            .iter()
            .map(|(s, level)| (Moment::from_millis(s * 1000).to_string(), Value::Level(f64::from(*level))))
            .collect();
        prop_assert_eq!(got, expected);
    }
}
