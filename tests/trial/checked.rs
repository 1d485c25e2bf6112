//! What meter checks bring: the house's own method on the same cats, with a household that checks and one that does not.

use std::fmt::Write as _;

use lowtide::glucose::alarm::Style;
use lowtide::simulate::cat::{Family, Options};

use crate::contest::{AIM, Cats, ours};
use crate::feed::{Checks, Feed};
use crate::measure::LEVELS;
use crate::report::NAMES;
use crate::score::{best_within, sweep};

/// Seeds that nothing was grown on, nor are scored anywhere.
const FROM: u64 = 700_000;

/// When the household checks, and in words.
const HOUSES: [(Feed, &str); 4] = [
    (Feed::Streamed, "never"),
    (Feed::Checked(Checks::WhenTold), "when told"),
    (Feed::Checked(Checks::Daily), "daily"),
    (Feed::Checked(Checks::DailyAndWhenTold), "daily and when told"),
];

/// Prints the table of so many cats of each family that may be learned from, with sensors as they are or `off` times as far
/// off.
pub fn print(count: u64, off: f64) {
    println!("{}", table(&Family::LEARNED, FROM, count, off));
}

/// One line for each family and household.
pub fn table(families: &[Family], from: u64, count: u64, off: f64) -> String {
    let mut text = String::from(
        "A check when told comes ten minutes after \"low now\", by day only, and no more often than every two hours; a daily one at half past \
         seven. The meter is as good as ISO 15197:2013 asks for.\n\n\
         | simulator | the household checks | checks a week | warned 15 min ahead, at most 2 false a week | `balanced`: warned | told within \
         30 min | told before it was over | false `low-ahead` a week | false `low-now` a week | root mean square error, blood under 100 | \
         higher | worst tenth of the chance off by |\n|---|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|\n",
    );
    for family in families {
        let cats = Cats::new(from, count, &Options { family: *family, off, ..Options::default() });
        let place = Family::ALL.iter().position(|one| one == family).expect("it is one of all");
        HOUSES.iter().for_each(|house| line(&mut text, NAMES[place], &cats, house));
    }
    text.push('\n');
    text
}

fn line(text: &mut String, simulator: &str, cats: &Cats, (feed, when): &(Feed, &str)) {
    let own = ours(cats, *feed);
    let curve = sweep(&cats.truths, &own.said);
    let best = best_within(&curve, AIM).map_or(0.0, |(_, tally)| tally.warned_share());
    let percent = |x: f64| format!("{:.0} %", 100.0 * x);
    let balanced = own.ruled.iter().find(|one| one.style == Style::Balanced).expect("a setting of three");
    let tally = &balanced.tally;
    let daily =
        if matches!(feed, Feed::Checked(Checks::Daily | Checks::DailyAndWhenTold)) { 7.0 } else { 0.0 };
    let higher = own.measure.over(LEVELS[0]);
    let _ = writeln!(
        text,
        "| {simulator} | {when} | {:.1} | {} | {} | {} | {} | {:.2} | {:.2} | {:.1} mg/dL | {:.1} mg/dL | {:.3} |",
        daily + 7.0 * own.asked,
        percent(best),
        percent(tally.warned_share()),
        percent(tally.caught_share()),
        percent(tally.caught_at_all_share()),
        tally.false_per_week(),
        balanced.false_now as f64 / tally.weeks.max(1e-9),
        own.measure.rms()[0].1,
        higher,
        own.measure.worst_bin(),
    );
}
