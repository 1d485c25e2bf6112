//! Whatever stands in the file: an answer, never a panic.

use std::fs;

use lowtide::config::{check, examine};
use lowtide::words::Moment;
use proptest::prelude::*;

fn example_lines() -> Vec<String> {
    let text = fs::read_to_string(super::here("config/lowtide.example.toml")).unwrap();
    let setting = |line: &&str| line.contains('=') || line.starts_with('[');
    text.lines()
        .map(|line| line.strip_prefix('#').filter(|rest| !rest.starts_with(' ')).unwrap_or(line))
        .filter(setting)
        .map(str::to_owned)
        .collect()
}

/// Values of every kind, at the ends of what TOML can say.
fn odd_value() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("-1".to_owned()),
        Just("0".to_owned()),
        Just("1e308".to_owned()),
        Just("-1e-308".to_owned()),
        Just("nan".to_owned()),
        Just("inf".to_owned()),
        Just("9223372036854775807".to_owned()),
        Just("0xffffffffffffffffffff".to_owned()),
        Just("true".to_owned()),
        Just("\"\"".to_owned()),
        Just("\"\\u0000\"".to_owned()),
        Just("[]".to_owned()),
        Just("[[], {}]".to_owned()),
        Just("[1e308, -1e308, 3]".to_owned()),
        Just("{ a = { b = 1 } }".to_owned()),
        Just("1979-05-27T07:32:00Z".to_owned()),
        Just("23:59:60".to_owned()),
        Just("\"0 0 0 1 1 * *\"".to_owned()),
        Just("[\"* * * * * *\", \"00:00\"]".to_owned()),
        Just("\"9999-12-31T23:59:59\"".to_owned()),
        Just(format!("\"{}\"", "x".repeat(5000))),
        "\\PC{0,12}".prop_map(|text| format!("{text:?}")),
        "\\PC{0,12}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_file_with_odd_values_gets_an_answer(
        changes in prop::collection::vec((any::<prop::sample::Index>(), odd_value()), 1..6),
        dropped in prop::collection::vec(any::<prop::sample::Index>(), 0..4),
        later in 0_i64..2_000_000_000_000,
    ) {
        let mut lines = example_lines();
        for (index, value) in &changes {
            let place = index.index(lines.len());
            let line = &mut lines[place];
            if let Some((key, _)) = line.split_once('=') {
                *line = format!("{key}= {value}");
            }
        }
        for index in &dropped {
            let gone = index.index(lines.len());
            lines.remove(gone);
        }
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lowtide.toml");
        fs::write(&path, lines.join("\n")).unwrap();
        let checked = check(&path, &super::surroundings(), Moment::from_millis(later));
        prop_assert!(!checked.text.is_empty() && checked.exit_code <= 2);
        if let Ok(examined) = examine(&path, &super::surroundings()) {
            prop_assert_eq!(checked.exit_code == 0, examined.is_sound());
        }
    }

    #[test]
    fn any_bytes_get_an_answer(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lowtide.toml");
        fs::write(&path, bytes).unwrap();
        let checked = check(&path, &super::surroundings(), Moment::from_millis(0));
        prop_assert!(checked.exit_code > 0 && !checked.text.is_empty());
    }
}
