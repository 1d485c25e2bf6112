//! The house keeps its own rules: which room may use which, opening comments, file and function sizes.
#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::{Path, PathBuf};

/// Room, and the rooms it may use. `words` may be used by all.
const ARROWS: &[(&str, &[&str])] = &[
    ("words", &[]),
    ("clock", &[]),
    ("almanac", &[]),
    ("glucose", &[]),
    ("tell", &[]),
    ("secret", &[]),
    ("tls", &[]),
    ("token", &[]),
    ("intake", &["secret", "tls", "token"]),
    ("notify", &["secret", "tls", "token"]),
    ("watch", &["glucose", "almanac"]),
    ("duty", &["tell", "almanac"]),
    ("turn", &["watch", "duty", "glucose", "tell"]),
    ("report", &["turn", "watch", "duty", "glucose", "tell", "almanac"]),
    ("record", &["turn"]),
    ("page", &["intake", "record", "report", "secret", "tell", "token", "turn", "almanac"]),
    ("config", &["glucose", "intake", "notify", "page", "secret", "tls", "duty", "tell", "almanac"]),
    ("round", &["turn"]),
    (
        "run",
        &[
            "clock", "config", "intake", "notify", "page", "record", "report", "round", "secret", "tls",
            "token", "turn",
        ],
    ),
    ("simulate", &["round", "turn", "record", "intake", "watch", "duty", "glucose", "tell"]),
    ("replay", &["turn", "record", "intake", "tell", "glucose", "watch", "duty", "config"]),
    (
        "demo",
        &[
            "turn", "record", "simulate", "tell", "run", "clock", "watch", "duty", "notify", "config",
            "page", "intake", "token",
        ],
    ),
    (
        "command",
        &[
            "config", "clock", "report", "run", "tls", "replay", "simulate", "demo", "record", "intake",
            "tell", "notify", "turn", "watch", "duty", "glucose", "almanac",
        ],
    ),
    ("main", &["command", "tls"]),
];

/// Rooms without I/O, clock, chance or async: none of these may be named in them.
const PURE: &[&str] =
    &["words", "glucose", "tell", "watch", "duty", "turn", "round", "report", "token", "almanac"];
const FORBIDDEN_IN_PURE: &[&str] = &[
    "std::fs",
    "std::net",
    "std::env",
    "std::thread",
    "tokio",
    "tracing::",
    "oorandom",
    "sled",
    "reqwest",
    "async fn",
    "SystemTime",
    "Instant::",
];

const FILE_LINES_MAX: usize = 600;
const FUNCTION_LINES_MAX: usize = 70;

fn sources() -> Vec<(PathBuf, String)> {
    fn walk(dir: &Path, out: &mut Vec<(PathBuf, String)>) {
        let mut entries: Vec<_> = fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect();
        entries.sort();
        for path in entries {
            if path.is_dir() {
                walk(&path, out);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = fs::read_to_string(&path).unwrap();
                out.push((path, text));
            }
        }
    }
    let mut out = Vec::new();
    walk(&Path::new(env!("CARGO_MANIFEST_DIR")).join("daemon"), &mut out);
    assert!(out.len() > 5, "the sources were not found");
    out
}

fn room(path: &Path) -> String {
    let inside = path.strip_prefix(Path::new(env!("CARGO_MANIFEST_DIR")).join("daemon")).unwrap();
    inside.components().next().unwrap().as_os_str().to_str().unwrap().trim_end_matches(".rs").to_owned()
}

/// The part of a file before its own tests.
fn without_tests(text: &str) -> &str {
    text.split("#[cfg(test)]\nmod tests").next().unwrap()
}

fn rooms_used(line: &str) -> Vec<String> {
    let code = line.split("//").next().unwrap();
    let mut used = Vec::new();
    for start in ["crate::", "lowtide::"] {
        for part in code.split(start).skip(1) {
            if let Some(list) = part.strip_prefix('{') {
                used.extend(
                    list.split('}')
                        .next()
                        .unwrap()
                        .split(',')
                        .map(|p| p.trim().split("::").next().unwrap().to_owned()),
                );
            } else {
                used.push(part.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect());
            }
        }
    }
    used
}

#[test]
fn every_arrow_is_in_the_table() {
    let mut wrong = Vec::new();
    for (path, text) in sources() {
        let room = room(&path);
        if room == "lib" {
            continue;
        }
        let Some((_, allowed)) = ARROWS.iter().find(|(name, _)| *name == room) else {
            wrong.push(format!("{}: room '{room}' is not in the table", path.display()));
            continue;
        };
        for (number, line) in without_tests(&text).lines().enumerate() {
            for used in rooms_used(line) {
                let known = ARROWS.iter().any(|(name, _)| *name == used);
                if known && used != room && used != "words" && !allowed.contains(&used.as_str()) {
                    wrong.push(format!("{}:{}: {room} must not use {used}", path.display(), number + 1));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn pure_rooms_are_pure() {
    let mut wrong = Vec::new();
    for (path, text) in sources().into_iter().filter(|(path, _)| PURE.contains(&room(path).as_str())) {
        for (number, line) in without_tests(&text).lines().enumerate() {
            let code = line.split("//").next().unwrap();
            for bad in FORBIDDEN_IN_PURE.iter().filter(|bad| code.contains(**bad)) {
                wrong.push(format!("{}:{}: '{bad}' in a pure room", path.display(), number + 1));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_opens_with_what_it_is_for_and_is_not_too_long() {
    let mut wrong = Vec::new();
    for (path, text) in sources() {
        if !text.starts_with("//!") {
            wrong.push(format!("{}: no opening comment", path.display()));
        }
        let lines = text.lines().count();
        if lines > FILE_LINES_MAX {
            wrong.push(format!("{}: {lines} lines, at most {FILE_LINES_MAX}", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_function_is_too_long() {
    let mut wrong = Vec::new();
    for (path, text) in sources() {
        let mut open: Option<(usize, usize, String)> = None;
        for (number, line) in text.lines().enumerate() {
            let indent = line.len() - line.trim_start().len();
            let code = line.trim_start();
            let begins = [
                "fn ",
                "pub fn ",
                "pub(crate) fn ",
                "pub(super) fn ",
                "async fn ",
                "pub async fn ",
                "pub(crate) async fn ",
                "pub(super) async fn ",
                "const fn ",
                "pub const fn ",
            ]
            .iter()
            .any(|start| code.starts_with(start));
            if begins {
                open = Some((number, indent, code.to_owned()));
            } else if let Some((start, depth, name)) = &open
                && indent == *depth
                && code.starts_with('}')
            {
                if number - start > FUNCTION_LINES_MAX {
                    wrong.push(format!("{}:{}: {} lines: {name}", path.display(), start + 1, number - start));
                }
                open = None;
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_checks_can_fail() {
    assert_eq!(rooms_used("use crate::{run::X, record};"), ["run", "record"]);
    assert_eq!(rooms_used("    let x = crate::notify::ntfy::send();"), ["notify"]);
    assert!(rooms_used("// crate::run is not used").is_empty());
}
