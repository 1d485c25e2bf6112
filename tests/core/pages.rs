//! `docs/watches.md` is made of the rules' own opening comments and the settings' own defaults.

use std::fs;
use std::path::Path;

use lowtide::words::{SensorSettings, WatchSettings};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The opening comment of a rule's file, as plain paragraphs.
fn opening(file: &str) -> String {
    let text = fs::read_to_string(root().join("daemon/watch/rules").join(format!("{file}.rs"))).unwrap();
    let lines = text.lines().take_while(|line| line.starts_with("//!"));
    let lines: Vec<&str> = lines.map(|line| line.trim_start_matches("//!").trim()).collect();
    lines.join("\n")
}

/// The files in the order in which the rules are asked.
fn files() -> Vec<String> {
    let text = fs::read_to_string(root().join("daemon/watch/rules/mod.rs")).unwrap();
    let table = text.split("const ALL").nth(1).unwrap().split("];").next().unwrap();
    let mut found: Vec<String> = Vec::new();
    for line in table.lines().filter(|line| line.contains("Watch::") && line.contains("::")) {
        let file = line.split(", ").nth(1).unwrap().split("::").next().unwrap().to_owned();
        if !found.contains(&file) {
            found.push(file);
        }
    }
    found
}

fn page() -> String {
    let mut page = String::from(
        "# What Lowtide watches\n\n\
         Made from the opening comments of `daemon/watch/rules/` by `tests/core/pages.rs`; do not edit by hand. To make it\n\
         anew: `LOWTIDE_WRITE_DOCS=1 cargo test --test core pages`.\n\n\
         A watch opens a finding, which may change and clears by itself. A *notice* waits for the morning and is told\n\
         once; a *warning* is told to whoever has the cat; a *critical* one is told at once, again every ten minutes, and\n\
         to more people, until somebody answers. Nothing is called \"now\" unless its reading is younger than two samples\n\
         and the lag of the sensor.\n",
    );
    for file in files() {
        let text = opening(&file);
        let (heads, body) =
            text.split_once(": ").unwrap_or_else(|| panic!("{file}.rs does not open with its watch"));
        let (first, rest) = body.split_at(1);
        let first = first.to_uppercase();
        page.push_str(&format!("\n## {}\n\n{first}{}\n", heads.replace('\n', " "), rest.trim_end()));
    }
    let (watch, sensor) = (WatchSettings::default(), SensorSettings::default());
    page.push_str(
        "\n## Settings they go by, and what holds if nothing is set\n\n| setting | default |\n|---|---|\n",
    );
    for (section, value) in
        [("watch", serde_json::to_value(watch).unwrap()), ("sensor", serde_json::to_value(sensor).unwrap())]
    {
        for (name, value) in value.as_object().unwrap() {
            page.push_str(&format!(
                "| `[cat.{section}] {name}` | {} |\n",
                value.to_string().replace('"', "")
            ));
        }
    }
    page
}

#[test]
fn the_page_about_the_watches_is_fresh() {
    let path = root().join("docs/watches.md");
    let page = page();
    if std::env::var_os("LOWTIDE_WRITE_DOCS").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, &page).unwrap();
    }
    let kept = fs::read_to_string(&path).unwrap_or_default();
    assert!(kept == page, "docs/watches.md is stale: LOWTIDE_WRITE_DOCS=1 cargo test --test core pages");
}

#[test]
fn every_rule_has_a_paragraph_that_says_when_it_speaks() {
    assert!(files().len() >= 13, "{:?}", files());
    for file in files() {
        assert!(opening(&file).len() > 120, "{file}");
    }
}
