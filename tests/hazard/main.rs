//! Makes `daemon/glucose/hazard.table` from invented cats of three families, and says how well it does on new cats of
//! them. The two families that judge stay out of it: they are met in the trial alone.
//!
//! `cargo bench --bench hazard -- --write` makes the table anew (some minutes); `-- --across` leaves each family out
//! once and tries the table of the others on it; both print what they measured. Same seeds, same table.
#![allow(clippy::unwrap_used, unreachable_pub)]

mod blend;
#[path = "../trial/feed.rs"]
mod feed;
mod grow;
mod look;

use lowtide::glucose::evidence::{COUNT, NAMES};
use lowtide::glucose::hazard::{HORIZONS, INPUTS, Table};
use lowtide::simulate::cat::Family;

use look::Looks;

/// Seeds of the cats that are learned from; the trial tests on others, from 1 000 000 on.
const FROM: u64 = 0;
/// Seeds and number of the cats that a table is tried on here.
const TRIED_FROM: u64 = 500_000;
const TRIED: u64 = 40;
const TREES: usize = 400;
const RATE: f64 = 0.08;

fn main() {
    let given: Vec<String> = std::env::args().skip(1).filter(|arg| arg != "--bench").collect();
    let has = |flag: &str| given.iter().any(|arg| arg == flag);
    let count = if has("--few") { 40 } else { 240 };
    if has("--across") {
        // Each family that is learned from, left out once: how well does what the others teach hold there?
        for there in Family::LEARNED {
            let here: Vec<Family> = Family::LEARNED.into_iter().filter(|family| *family != there).collect();
            let table = made(&Looks::of_each(&here, FROM, count));
            println!("made from {here:?}, tried on {there:?}:");
            blend::judge(&table, &Looks::of(there, &here, TRIED_FROM, TRIED));
        }
    } else if has("--write") {
        let table = made(&Looks::of_each(&Family::LEARNED, FROM, count));
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/daemon/glucose/hazard.table");
        std::fs::write(path, text(&table)).unwrap();
        println!("written: {path}");
        for family in Family::LEARNED {
            println!("tried on new cats, {family:?}:");
            blend::judge(&table, &Looks::of(family, &Family::LEARNED, TRIED_FROM, TRIED));
        }
    } else {
        println!("cargo bench --bench hazard -- --write | --across [--few]");
    }
}

/// A table from looks: trees from two cats of three, weights from the third.
fn made(looks: &Looks) -> Table {
    let (learn, hold): (Vec<usize>, Vec<usize>) = (0..looks.len()).partition(|k| looks.cats[*k] % 3 != 2);
    let rows = looks.rows(&learn);
    println!(
        "{} looks, {} of them before a low",
        rows.answers.len(),
        rows.answers.iter().filter(|a| **a).count()
    );
    let (base, trees) = grow::grow(&rows, TREES, RATE);
    let mut table = Table {
        ranges: looks.ranges(),
        base: short(base),
        trees,
        blends: [[0.0; INPUTS]; HORIZONS.len()],
        alone: [[0.0, 1.0]; HORIZONS.len()],
        ends: [[-1.0, 1.0]; HORIZONS.len()],
    };
    for tree in &mut table.trees {
        tree.splits.iter_mut().for_each(|split| split.1 = short(split.1));
        tree.leaves.iter_mut().for_each(|leaf| *leaf = short(*leaf));
    }
    blend::fit(&mut table, looks, &hold);
    table
}

fn short(x: f64) -> f64 {
    format!("{x:.5}").parse().unwrap()
}

/// The table as text.
fn text(table: &Table) -> String {
    let mut out = String::from(
        "# What was learned on invented cats about lows ahead; read by daemon/glucose/hazard.rs, explained in docs/estimate.md.\n\
         # Made by: cargo bench --bench hazard -- --write\n# Least and greatest value of each number that was learned from.\n",
    );
    for ([least, most], name) in table.ranges.iter().zip(NAMES) {
        out += &format!("range {least:.4} {most:.4} ;{name}\n");
    }
    out += &format!(
        "# Log-odds before any tree; then trees: seven times number and threshold, eight leaves.\nbase {}\n",
        table.base
    );
    for tree in &table.trees {
        let splits: Vec<String> = tree.splits.iter().map(|(place, at)| format!("{place} {at}")).collect();
        let leaves: Vec<String> = tree.leaves.iter().map(f64::to_string).collect();
        out += &format!("tree {} {}\n", splits.join(" "), leaves.join(" "));
    }
    out += "# Per horizon: weights of one, of the forest's log-odds, of the filter's, and of the filter's for now.\n";
    for (blend, horizon) in table.blends.iter().zip(HORIZONS) {
        let weights = blend.map(|weight| format!("{weight:.5}")).join(" ");
        out += &format!("blend {weights} ; {horizon} min\n");
    }
    out += "# Per horizon, where the forest has no say: weights of one and of the filter's log-odds.\n";
    for (alone, horizon) in table.alone.iter().zip(HORIZONS) {
        out += &format!("alone {:.5} {:.5} ; {horizon} min\n", alone[0], alone[1]);
    }
    out += "# Per horizon: tenth and ninetieth percentile of the end, in the filter's deviations.\n";
    for (end, horizon) in table.ends.iter().zip(HORIZONS) {
        out += &format!("end {:.4} {:.4} ; {horizon} min\n", end[0], end[1]);
    }
    assert_eq!(COUNT, table.ranges.len());
    out
}
