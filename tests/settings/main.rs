//! Configurations: broken ones get messages that name line, key, what was found and what would be right; sound
//! ones become settings. Each `tests/data/config/NAME.toml` has its messages beside it in `NAME.expected`, word
//! for word: a change there is reviewed like code. All of them are invented.
#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use lowtide::config::{ConfigError, Surroundings, examine};

mod secrets;
mod sound;
mod wild;
mod words;

fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// A machine in Vienna whose environment holds one secret.
fn surroundings() -> Surroundings {
    Surroundings {
        variables: BTreeMap::from([("MAIL_PASSWORD".to_owned(), "correct horse".to_owned())]),
        machine_zone: Some("Europe/Vienna".to_owned()),
        now: None,
    }
}

/// What is said about a file, with only its name for its path.
fn said(path: &Path) -> String {
    let name = PathBuf::from(path.file_name().unwrap());
    let lines: Vec<String> = match examine(path, &surroundings()) {
        Ok(examined) => examined.problems.iter().map(|problem| problem.shown(&name)).collect(),
        Err(ConfigError::Unreadable { why, .. }) => {
            why.iter().map(|why| format!("{}{why}", name.display())).collect()
        }
        Err(error) => panic!("examine gave {error}"),
    };
    let folder = path.parent().unwrap().to_str().unwrap();
    lines.join("\n").replace(folder, "FOLDER") + "\n"
}

#[test]
fn every_broken_file_gets_exactly_its_messages() {
    let mut wrong = Vec::new();
    let mut count = 0;
    let mut files: Vec<_> =
        fs::read_dir(here("tests/data/config")).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    for path in files.iter().filter(|path| path.extension().is_some_and(|e| e == "toml")) {
        count += 1;
        let said = said(path);
        if std::env::var_os("REWRITE").is_some() {
            fs::write(path.with_extension("expected"), &said).unwrap();
        }
        let expected = fs::read_to_string(path.with_extension("expected")).unwrap_or_default();
        if said != expected {
            wrong.push(format!("{}\n--- expected\n{expected}--- said\n{said}", path.display()));
        }
    }
    assert!(count >= 8, "only {count} files");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_file_that_is_not_there_says_so() {
    let error = examine(&here("tests/data/config/none.toml"), &surroundings()).unwrap_err();
    assert!(matches!(error, ConfigError::Unreadable { .. }));
    let text = error.to_string();
    assert!(text.contains("none.toml: cannot be read: No such file"), "{text}");
}

#[test]
fn a_file_in_another_encoding_is_unreadable_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("latin.toml");
    fs::write(&path, b"# one\n[[person]]\nname = \"j\xf6rg\"\n").unwrap();
    let text = examine(&path, &surroundings()).unwrap_err().to_string();
    assert!(text.ends_with("latin.toml:3: not UTF-8 text: save the file as UTF-8"), "{text}");
}
