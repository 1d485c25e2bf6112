//! Configurations, spoilt. Whoever may write one decides everything anyway; but a slip of the hand, a half copied file
//! or a text from a web page gets an answer with its line, and never a daemon that believes half of it.

use std::fs;
use std::path::Path;

use lowtide::config::{Surroundings, check, examine};
use lowtide::words::Moment;
use proptest::prelude::*;

use crate::mutate::{mutated, rounds};

/// The example, with everything in it that is commented out, and the broken ones of the tests.
fn samples() -> Vec<Vec<u8>> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let example = fs::read_to_string(here.join("config/lowtide.example.toml")).unwrap();
    let open = example
        .lines()
        .map(|line| line.strip_prefix('#').filter(|rest| !rest.starts_with(' ')).unwrap_or(line));
    let mut samples = vec![example.clone().into_bytes(), open.collect::<Vec<_>>().join("\n").into_bytes()];
    for entry in fs::read_dir(here.join("tests/data/config")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|end| end == "toml") {
            samples.push(fs::read(path).unwrap());
        }
    }
    samples.sort();
    assert!(samples.len() > 8, "{}", samples.len());
    samples
}

/// A name that is safe as a topic, a file and a word of a command.
fn is_plain(name: &str) -> bool {
    !name.is_empty()
        && name.len() <= 40
        && name.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b"-_".contains(&b))
}

#[test]
fn what_a_terminal_would_obey_is_not_printed_by_check() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lowtide.toml");
    let example =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("config/lowtide.example.toml"));
    let odd = "called = \"Pep\\u001b[2Jper\\u202e\"";
    let text = example.unwrap().replacen("called = \"Pepper\"", odd, 1);
    assert!(text.contains(odd), "the example has changed");
    fs::write(&path, text).unwrap();
    let surroundings =
        Surroundings { machine_zone: Some("Europe/Vienna".to_owned()), ..Surroundings::default() };
    let checked = check(&path, &surroundings, Moment::parse("2026-03-28T12:00:00Z").unwrap());
    assert!(
        checked.text.contains("Pep [2Jper ") && !checked.text.contains(['\u{1b}', '\u{202e}']),
        "{}",
        checked.text
    );
}

proptest! {
    #![proptest_config(rounds(300))]
    #[test]
    fn a_spoilt_configuration_gets_an_answer_and_no_name_in_it_is_a_path(spoilt in mutated(samples())) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lowtide.toml");
        fs::write(&path, &spoilt).unwrap();
        let surroundings = Surroundings { machine_zone: Some("Europe/Vienna".to_owned()), ..Surroundings::default() };
        let checked = check(&path, &surroundings, Moment::parse("2026-03-28T12:00:00Z").unwrap());
        prop_assert!(!checked.text.is_empty() && checked.exit_code <= 2);
        prop_assert!(!checked.text.chars().any(|c| c.is_control() && c != '\n'), "{:?}", checked.text);
        let Ok(examined) = examine(&path, &surroundings) else { return Ok(()) };
        prop_assert_eq!(checked.exit_code == 0, examined.is_sound());
        let lines = spoilt.iter().filter(|byte| **byte == b'\n').count() + 1;
        for problem in &examined.problems {
            let shown = problem.shown(Path::new("x"));
            let line = shown.strip_prefix("x:").and_then(|rest| rest.split(':').next()?.parse::<usize>().ok());
            prop_assert!(line.is_none_or(|line| line <= lines), "{shown}");
        }
        if let Some(config) = examined.config {
            prop_assert!(config.household.cats.iter().all(|cat| is_plain(cat.name.as_str())));
            prop_assert!(config.household.persons.iter().all(|person| is_plain(person.name.as_str())));
        }
        // Looking at a configuration makes nothing.
        prop_assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
