//! What Lowtide stands on: every dependency's licence is one that may be shipped, `docs/licences.md` lists them all, and
//! no crate is there in two versions without our knowing. Works offline, from what cargo has on disk.
//!
//! `WRITE=1 cargo test --test hostile licences` writes the page anew. Not covered offline: whether a version has been
//! withdrawn or has a known hole; DEVELOPERS.md names the commands for that.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

/// Permissive, or (MPL) binding for the file only. By SPDX identifier.
const ALLOWED: &[&str] = &[
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MIT",
    "MIT-0",
    "MPL-2.0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Whether one of the ways in which a crate may be used is allowed (SPDX expressions: OR binds weaker than AND; old
/// crates write `/` for OR, and `WITH` an exception only allows more).
fn allowed(expression: &str) -> bool {
    let text = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let words: Vec<&str> = text.split_whitespace().collect();
    let mut place = 0;
    let holds = any(&words, &mut place);
    holds && place == words.len()
}

fn any(words: &[&str], place: &mut usize) -> bool {
    let mut holds = all(words, place);
    while words.get(*place) == Some(&"OR") {
        *place += 1;
        holds |= all(words, place);
    }
    holds
}

fn all(words: &[&str], place: &mut usize) -> bool {
    let mut holds = one(words, place);
    while words.get(*place) == Some(&"AND") {
        *place += 1;
        holds &= one(words, place);
    }
    holds
}

fn one(words: &[&str], place: &mut usize) -> bool {
    let word = words.get(*place).copied().unwrap_or_default();
    *place += 1;
    if word == "(" {
        let holds = any(words, place);
        *place += 1;
        return holds;
    }
    if words.get(*place) == Some(&"WITH") {
        *place += 2;
    }
    ALLOWED.contains(&word)
}

fn metadata() -> Value {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--locked", "--format-version", "1"])
        .args([
            "--filter-platform",
            "x86_64-unknown-linux-gnu",
            "--filter-platform",
            "aarch64-unknown-linux-gnu",
        ])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

struct Crate {
    name: String,
    version: String,
    licence: String,
    source: Option<String>,
}

fn crates(metadata: &Value) -> BTreeMap<String, Crate> {
    let used: BTreeSet<&str> = metadata["resolve"]["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|node| node["id"].as_str().unwrap())
        .collect();
    let text = |package: &Value, key: &str| package[key].as_str().unwrap_or_default().to_owned();
    metadata["packages"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|package| used.contains(package["id"].as_str().unwrap()))
        .map(|package| {
            let found = Crate {
                name: text(package, "name"),
                version: text(package, "version"),
                licence: text(package, "license"),
                source: package["source"].as_str().map(str::to_owned),
            };
            (text(package, "id"), found)
        })
        .collect()
}

/// The crates that end up in the program: reached without dependencies for tests or for building.
fn shipped(metadata: &Value) -> BTreeSet<String> {
    let nodes: BTreeMap<&str, &Value> = metadata["resolve"]["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|node| (node["id"].as_str().unwrap(), node))
        .collect();
    let mut found = BTreeSet::new();
    let mut next = vec![metadata["resolve"]["root"].as_str().unwrap()];
    while let Some(id) = next.pop() {
        if !found.insert(id.to_owned()) {
            continue;
        }
        for dependency in nodes[id]["deps"].as_array().unwrap() {
            let usual = |kind: &Value| kind["kind"].is_null();
            if dependency["dep_kinds"].as_array().unwrap().iter().any(usual) {
                next.push(dependency["pkg"].as_str().unwrap());
            }
        }
    }
    found
}

fn page(metadata: &Value) -> String {
    let (crates, shipped) = (crates(metadata), shipped(metadata));
    let mut page = String::from(
        "# Licences\n\nWhat Lowtide stands on, from `cargo metadata` for Linux on x86-64 and 64-bit ARM. Made by `WRITE=1 cargo test --test\n\
         hostile licences`; a test compares it and refuses a licence that is not on its list.\n\n",
    );
    let mut rows: Vec<_> = crates.iter().filter(|(_, found)| found.name != "lowtide").collect();
    rows.sort_by_key(|(_, found)| (found.name.clone(), found.version.clone()));
    let count = rows.iter().filter(|(id, _)| shipped.contains(*id)).count();
    let _ = writeln!(
        page,
        "{count} crates are in the program; {} more only build or test it.\n",
        rows.len() - count
    );
    page.push_str("| crate | version | licence | where |\n|---|---|---|---|\n");
    for (id, found) in rows {
        let place = if shipped.contains(id) { "program" } else { "build, tests" };
        let _ = writeln!(page, "| {} | {} | {} | {place} |", found.name, found.version, found.licence);
    }
    page
}

#[test]
fn every_dependency_may_be_shipped_and_the_list_is_fresh() {
    let metadata = metadata();
    for found in crates(&metadata).values() {
        assert!(
            allowed(&found.licence),
            "{} {}: '{}' is not allowed here",
            found.name,
            found.version,
            found.licence
        );
        let registry = found.source.as_ref().is_none_or(|source| source.starts_with("registry+"));
        assert!(registry, "{} comes from {:?}, not from a registry", found.name, found.source);
    }
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/licences.md");
    let page = page(&metadata);
    if std::env::var_os("WRITE").is_some() {
        fs::write(&file, &page).unwrap();
    }
    assert_eq!(
        fs::read_to_string(file).unwrap_or_default(),
        page,
        "WRITE=1 cargo test --test hostile licences"
    );
}

#[test]
fn no_crate_of_the_program_is_there_twice_without_our_knowing() {
    let metadata = metadata();
    let shipped = shipped(&metadata);
    let mut versions: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (id, found) in crates(&metadata) {
        if shipped.contains(&id) {
            versions.entry(found.name).or_default().insert(found.version);
        }
    }
    let twice: Vec<String> =
        versions.into_iter().filter(|(_, all)| all.len() > 1).map(|(name, _)| name).collect();
    assert_eq!(twice, TWICE, "a crate more or fewer in two versions; each is code to keep safe twice");
}

/// Crates that are in the program in two versions, because what we use asks for different ones.
const TWICE: &[&str] = &["glam", "phf", "phf_shared", "rustls-webpki", "syn", "winnow"];

#[test]
fn expressions_are_read_as_spdx_reads_them() {
    for good in [
        "MIT",
        "MIT OR GPL-3.0",
        "GPL-2.0/MIT",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception OR GPL-3.0",
        "MIT AND BSD-3-Clause",
    ] {
        assert!(allowed(good), "{good}");
    }
    for bad in
        ["", "GPL-3.0", "MIT AND GPL-3.0", "(MIT OR Apache-2.0) AND GPL-3.0", "MITx", "MIT GPL-3.0", "(MIT"]
    {
        assert!(!allowed(bad), "{bad}");
    }
}
