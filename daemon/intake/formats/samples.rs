//! Whole files through [`parse`]: the examples of `docs/formats.md`; in the files beside it tables, JSON with the samples of
//! the standards, damaged ones among them, and any bytes at all.

mod any_bytes;
mod tables;
mod trees;

use super::*;
use crate::words::{ReadingKind, Value};

fn context() -> Context {
    Context {
        zone: chrono_tz::Europe::Vienna,
        cats: vec![(CatName::new("pepper").unwrap(), Unit::MgDl)],
        ranges: Vec::new(),
        layouts: Vec::new(),
    }
}

fn two_cats() -> Context {
    let mut context = context();
    context.cats.push((CatName::new("mia").unwrap(), Unit::MmolL));
    context
}

fn with_layout(toml: &str) -> Context {
    let text: LayoutText = toml::from_str(toml).unwrap();
    Context { layouts: vec![Layout::new(&text).unwrap()], ..context() }
}

fn csv(text: &str) -> Parsed {
    parse("a.csv", text.as_bytes(), &context()).unwrap()
}

/// What went wrong, row by row, with its line.
fn reasons(parsed: &Parsed) -> Vec<String> {
    parsed.rejects.iter().map(|reject| format!("{}: {}", reject.line, reject.reason)).collect()
}

fn readings(parsed: &Parsed) -> Vec<(String, Value)> {
    parsed
        .records
        .iter()
        .map(|record| match record {
            Record::Reading { reading, .. } => (reading.measured_at.to_string(), reading.value),
            other => panic!("{other:?}"),
        })
        .collect()
}

/// Blocks of the page that a comment names: file name, what the comment says, the block.
fn examples(page: &str) -> Vec<(String, String, String)> {
    page.split("<!-- ")
        .skip(1)
        .map(|part| {
            let (said, rest) = part.split_once(" -->\n```").unwrap();
            let (name, counts) = said.split_once(": ").unwrap();
            let block = rest.split_once('\n').unwrap().1.split("```").next().unwrap();
            (name.to_owned(), counts.to_owned(), block.to_owned())
        })
        .collect()
}

#[test]
fn every_example_in_the_documentation_is_read_as_it_says() {
    let page = include_str!("../../../docs/formats.md");
    let toml = page.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    #[derive(serde::Deserialize)]
    struct Page {
        intake: Intake,
    }
    #[derive(serde::Deserialize)]
    struct Intake {
        layout: Vec<LayoutText>,
    }
    let configured: Page = toml::from_str(toml).unwrap();
    let layouts = configured.intake.layout.iter().map(|text| Layout::new(text).unwrap()).collect();
    let context = Context { layouts, ..context() };
    let examples = examples(page);
    assert!(examples.len() >= 11, "{}", examples.len());
    for (name, counts, block) in examples {
        let parsed =
            parse(&name, block.as_bytes(), &context).unwrap_or_else(|error| panic!("{name}: {error}"));
        let plural = |n: usize, word: &str| format!("{n} {word}{}", if n == 1 { "" } else { "s" });
        let found =
            [plural(parsed.records.len(), "record"), plural(parsed.rejects.len(), "reject")].join(", ");
        assert_eq!(found, counts, "{name}: {:?}", parsed.rejects);
    }
}

#[test]
fn the_clinic_example_means_what_it_should() {
    let page = include_str!("../../../docs/formats.md");
    let toml = page.split("[[intake.layout]]\n").nth(1).unwrap().split("```").next().unwrap();
    let context = with_layout(&toml.replace("[intake.layout.columns]", "[columns]"));
    let block = examples(page).into_iter().find(|(name, ..)| name == "clinic-march.txt").unwrap().2;
    let parsed = parse("clinic-march.txt", block.as_bytes(), &context).unwrap();
    let got = readings(&parsed);
    assert_eq!(got[0].0, "2026-03-01T05:00:00Z");
    assert!((got[0].1.level().unwrap() - 111.7).abs() < 0.01, "6.2 mmol/L");
    assert_eq!(got[1].1, Value::Below);
    assert!(
        matches!(&parsed.records[2], Record::Reading { reading, .. } if reading.kind == ReadingKind::Spot)
    );
    assert!(reasons(&parsed)[0].starts_with("8: 'Fehler' is not a glucose value"), "{:?}", parsed.rejects);
}
