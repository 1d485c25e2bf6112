//! The proof of the outlook: invented cats, textbook methods, our own, and a bound, scored alike.
//!
//! `cargo bench --bench trial -- --help` says how to run it. What counts as what stands in `score.rs`.
#![allow(clippy::unwrap_used, unreachable_pub)]

mod ahead;
mod bound;
mod ceiling;
mod checked;
mod contest;
mod cost;
mod estimate;
mod features;
mod feed;
mod forest;
mod measure;
mod method;
mod ours;
mod picture;
mod print;
mod report;
mod score;

use lowtide::simulate::cat::{Family, Options, PUBLISHED_OFF};

use contest::{Cats, Fitted, TEST_FROM, TRAINING_FROM, contest};
use feed::Feed;
use forest::Growth;
use report::Size;

const USAGE: &str = "The proof of the outlook, on invented cats.

  cargo bench --bench trial -- --quick             ours and the textbook methods on 60 cats
  cargo bench --bench trial -- --quick --bound     the same with the learned bound
  cargo bench --bench trial -- --quick --scanned   the same for a scanned sensor
  cargo bench --bench trial -- --quick --asked     scanned, and scanned again by day when asked to
  cargo bench --bench trial -- --quick --missing   with half of the readings missing
  cargo bench --bench trial -- --quick --curve     the same on the second simulator
  cargo bench --bench trial -- --quick --swing     the same on the third one
  cargo bench --bench trial -- --quick --regime    the same on the fourth one, which judges
  cargo bench --bench trial -- --estimate          the estimate and the chances alone, on training cats
  cargo bench --bench trial -- --ceiling           how near a regression told the truth could bring the estimate
  cargo bench --bench trial -- --checked           what meter checks bring, on training cats
  cargo bench --bench trial -- --checked --off     the same with sensors as far off as was published of cats
  cargo bench --bench trial -- --cost              what a reading and an outlook cost
  cargo bench --bench trial -- --write             everything; rewrites docs/outlook.md and its pictures
  cargo bench --bench trial -- --write --small     the same on few cats, to see whether it works
";

fn main() {
    let given: Vec<String> = std::env::args().skip(1).filter(|arg| arg != "--bench").collect();
    let has = |flag: &str| given.iter().any(|arg| arg == flag);
    if has("--quick") {
        quick(&has);
    } else if has("--estimate") {
        estimate::print(30);
    } else if has("--ceiling") {
        ceiling::print(80);
    } else if has("--checked") {
        checked::print(60, if has("--off") { PUBLISHED_OFF } else { 1.0 });
    } else if has("--cost") {
        cost::print();
    } else if has("--write") {
        let growth = Growth { trees: 150, depth: 5, rate: 0.07 };
        let full = Size { training: 120, test: 100, world: 30, growth };
        let small = Size { training: 40, test: 20, world: 8, growth: Growth { trees: 40, ..growth } };
        if let Err(problem) = report::write(if has("--small") { small } else { full }) {
            eprintln!("{problem}");
            std::process::exit(1);
        }
    } else {
        print!("{USAGE}");
    }
}

fn quick(has: &dyn Fn(&str) -> bool) {
    let feed = match (has("--scanned"), has("--asked")) {
        (_, true) => Feed::ScannedWhenAsked,
        (true, _) => Feed::Scanned,
        _ => Feed::Streamed,
    };
    // The fifth is met with everything else only: what is at work on the filter does not look at it.
    let families = [("--curve", Family::Curve), ("--swing", Family::Swing), ("--regime", Family::Regime)];
    let family = families.into_iter().find(|(flag, _)| has(flag)).map_or(Family::Depot, |(_, family)| family);
    let growth = has("--bound").then_some(Growth { trees: 120, depth: 5, rate: 0.08 });
    let training = Cats::new(TRAINING_FROM, if growth.is_some() { 120 } else { 40 }, &Options::default());
    let missing = if has("--missing") { 0.5 } else { 0.0 };
    let test = Cats::new(TEST_FROM, 60, &Options { family, missing, ..Options::default() });
    let fitted = Fitted::on(&training, feed, growth);
    let outcome = contest(&test, &fitted, feed);
    print::cats(&test);
    print::methods(&outcome);
    print::ruled(&outcome.ruled);
    print::measure(&outcome.measure);
    if let Some(forest) = fitted.bound() {
        print::importances(forest);
    }
}
