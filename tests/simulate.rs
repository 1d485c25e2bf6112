//! Whole worlds with faults, from seeds: nothing false may happen in any of them, and the checks can fail.
#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::Path;

use lowtide::simulate::{Bug, Report, SimulateOptions, simulate};

fn plain(seed: u64, days: u32) -> Report {
    simulate(seed, days, &SimulateOptions::default())
}

/// The number in an environment variable, or the usual one.
fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap())
}

#[test]
fn one_seed_twice_gives_one_trace_byte_for_byte() {
    let options = SimulateOptions { keep_trace: true, ..SimulateOptions::default() };
    let (one, two) = (simulate(3, 2, &options), simulate(3, 2, &options));
    assert!(one.lines.len() > 200, "{} lines", one.lines.len());
    for (number, (a, b)) in one.lines.iter().zip(&two.lines).enumerate() {
        assert_eq!(a, b, "line {number}");
    }
    assert_eq!(one, two);
    assert_ne!(one.trace, simulate(4, 2, &options).trace);
}

/// `FROM=1000 SEEDS=500 DAYS=7 cargo test --release --test simulate in_every_world -- --nocapture` looks further.
#[test]
fn in_every_world_nothing_false_happens_and_everything_ends() {
    let (from, count, days) = (number("FROM", 1), number("SEEDS", 12), number("DAYS", 3));
    let mut failed = Vec::new();
    let (mut turns, mut criticals, mut restarts, mut busiest) = (0, 0, 0, 0);
    for seed in from..from + count {
        let report = plain(seed, days as u32);
        turns += report.turns;
        criticals += report.criticals as u64;
        restarts += report.restarts;
        busiest = busiest.max(report.busiest_hour);
        if report.failure.is_some() {
            failed.push(report.to_string());
        }
    }
    println!(
        "{count} worlds, {turns} turns, {criticals} critical findings, {restarts} restarts, at most {busiest} \
         messages to one person in an hour"
    );
    assert!(failed.is_empty(), "{} of {count} worlds:\n{}", failed.len(), failed.join("\n"));
    // Worlds in which nothing happens prove nothing.
    assert!(turns > 200 * count && criticals > 0 && restarts > count, "the worlds were lived in");
}

#[test]
fn seeds_that_once_failed_stay_well() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/seeds.txt");
    let mut failed = Vec::new();
    for line in fs::read_to_string(path).unwrap().lines().filter(|line| !line.starts_with('#')) {
        let mut parts = line.split_whitespace();
        let (seed, days) = (parts.next().unwrap().parse().unwrap(), parts.next().unwrap().parse().unwrap());
        let report = plain(seed, days);
        if report.failure.is_some() {
            failed.push(format!("{line}\n{report}"));
        }
    }
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

/// How many seeds it takes until the checks see a mistake; the first word of what they saw.
fn seen(bug: Bug) -> Option<(u64, String)> {
    let options = SimulateOptions { bug: Some(bug), ..SimulateOptions::default() };
    (1..=30).find_map(|seed| simulate(seed, 2, &options).failure.map(|failure| (seed, failure.what)))
}

#[test]
fn a_driver_that_takes_repeats_for_new_is_caught() {
    let (seed, what) = seen(Bug::SkipDedup).unwrap();
    assert!(what.contains("twice"), "seed {seed}: {what}");
}

#[test]
fn a_driver_that_forgets_to_wake_the_house_is_caught() {
    let (seed, what) = seen(Bug::ForgetWake).unwrap();
    assert!(!what.contains("fault of its own"), "seed {seed}: {what}");
}

#[test]
fn a_driver_that_drops_a_message_at_a_restart_is_caught() {
    let (seed, what) = seen(Bug::DropMessageAtRestart).unwrap();
    assert!(what.contains("restart") || what.contains("gone"), "seed {seed}: {what}");
}
