//! What was learned on invented cats about lows ahead: a small forest, and how its answer and the filter's
//! become a chance for each horizon. A table of numbers, in `hazard.table`, with the command that made it.
//!
//! In: a row of [`evidence`](super::evidence) and the filter's own chances. Out: a chance, or `None` where the
//! row lies outside of what the table was made from: then the filter's own chance stands.

use std::sync::LazyLock;

use super::evidence::{CORE, COUNT};

/// Horizons for which the table holds weights, minutes.
pub const HORIZONS: [f64; 8] = [15.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 240.0];

/// One tree: three splits from root to leaf, complete. Node k splits into 2k+1 (at most `threshold`, or not
/// known) and 2k+2.
#[derive(Clone, Debug, PartialEq)]
pub struct Tree {
    /// Which number of the row each node looks at, and the threshold.
    pub splits: [(usize, f64); 7],
    /// What each leaf adds to the log-odds.
    pub leaves: [f64; 8],
}

/// Everything that was learned.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Least and greatest value of each number of a row that was learned from.
    pub ranges: [[f64; 2]; COUNT],
    /// Log-odds before any tree.
    pub base: f64,
    /// The trees.
    pub trees: Vec<Tree>,
    /// Per horizon: the weights of what [`inputs`] gives; their sum is the log-odds.
    pub blends: [[f64; INPUTS]; HORIZONS.len()],
    /// Per horizon, where the forest has no say: log-odds = w0 + w1 filter.
    pub alone: [[f64; 2]; HORIZONS.len()],
    /// Per horizon: the tenth and the ninetieth percentile of the end, in the filter's deviations from its mean.
    pub ends: [[f64; 2]; HORIZONS.len()],
}

impl Table {
    /// The table that ships.
    #[must_use]
    pub fn shipped() -> &'static Self {
        static SHIPPED: LazyLock<Table> = LazyLock::new(|| {
            Table::parse(include_str!("hazard.table")).expect("a test reads the table that is compiled in")
        });
        &SHIPPED
    }

    /// Log-odds of a low within an hour, as the forest sees it; `None` if the row lies outside of its range.
    #[must_use]
    pub fn odds(&self, row: &[f64; COUNT]) -> Option<f64> {
        let known = |place: &usize| {
            let [least, most] = self.ranges[*place];
            row[*place].is_nan() || (least..=most).contains(&row[*place])
        };
        let inside = CORE.iter().all(known);
        inside.then(|| self.base + self.trees.iter().map(|tree| tree.answer(row)).sum::<f64>())
    }

    /// The chance of a low within each of [`HORIZONS`], from the forest's log-odds, if it has a say, and the filter's
    /// chances, of being low `now` and until then; never falling, and never over [`SURE`].
    #[must_use]
    pub fn chances(
        &self,
        odds: Option<Odds>,
        now: f64,
        filter: &[f64; HORIZONS.len()],
    ) -> [f64; HORIZONS.len()] {
        let mut most = 0.0_f64;
        std::array::from_fn(|k| {
            let own = log_odds(filter[k]);
            // Nobody has seen such a case: half way between what was measured and the filter's own word, which sees
            // more danger.
            let unseen = 0.5 * (self.alone[k][0] + self.alone[k][1] * own + own);
            let sum = match odds {
                // A cat that was never low can be low for the first time: what it did before may calm the filter's
                // word, not silence it.
                Some(Odds { odds, calm_most }) => {
                    let terms = inputs(odds, own, now).into_iter().zip(self.blends[k]);
                    terms.map(|(input, weight)| input * weight).sum::<f64>().max(unseen - calm_most)
                }
                None => unseen,
            };
            most = most.max((1.0 / (1.0 + (-sum).exp())).min(SURE));
            most
        })
    }

    /// Reads the text form; `None` if anything is wrong with it.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let mut table = Self {
            ranges: [[f64::NAN; 2]; COUNT],
            base: f64::NAN,
            trees: Vec::new(),
            blends: [[f64::NAN; INPUTS]; HORIZONS.len()],
            alone: [[f64::NAN; 2]; HORIZONS.len()],
            ends: [[f64::NAN; 2]; HORIZONS.len()],
        };
        let (mut ranges, mut blends, mut alone, mut ends) = (0, 0, 0, 0);
        for line in text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty()) {
            let (kind, rest) = line.split_once(' ')?;
            let rest = rest.split(" ; ").next()?;
            let numbers: Vec<f64> = rest.split_whitespace().map(str::parse).collect::<Result<_, _>>().ok()?;
            match kind {
                "range" => {
                    *table.ranges.get_mut(ranges)? = numbers.try_into().ok()?;
                    ranges += 1;
                }
                "base" => table.base = *numbers.first()?,
                "tree" => table.trees.push(Tree::of(&numbers)?),
                "blend" => {
                    *table.blends.get_mut(blends)? = numbers.try_into().ok()?;
                    blends += 1;
                }
                "alone" => {
                    *table.alone.get_mut(alone)? = numbers.try_into().ok()?;
                    alone += 1;
                }
                "end" => {
                    *table.ends.get_mut(ends)? = numbers.try_into().ok()?;
                    ends += 1;
                }
                _ => return None,
            }
        }
        let whole = ranges == COUNT && [blends, alone, ends] == [HORIZONS.len(); 3];
        (whole && table.base.is_finite() && !table.trees.is_empty()).then_some(table)
    }
}

impl Tree {
    /// What the tree adds for a row.
    #[must_use]
    pub fn answer(&self, row: &[f64; COUNT]) -> f64 {
        let mut node = 0;
        while let Some((place, threshold)) = self.splits.get(node) {
            // What is not known is not greater than anything: it goes to the left.
            node = 2 * node + 1 + usize::from(row[*place] > *threshold);
        }
        self.leaves[node - self.splits.len()]
    }

    fn of(numbers: &[f64]) -> Option<Self> {
        let (splits, leaves) = numbers.split_at_checked(14)?;
        let mut tree = Self { splits: [(0, 0.0); 7], leaves: leaves.try_into().ok()? };
        for (split, pair) in tree.splits.iter_mut().zip(splits.chunks(2)) {
            let place = pair[0] as usize;
            if place >= COUNT {
                return None;
            }
            *split = (place, pair[1]);
        }
        Some(tree)
    }
}

/// The forest's word on one cat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Odds {
    /// Log-odds of a low within an hour.
    pub odds: f64,
    /// How far they may calm the filter's word, in log-odds ([`calm_most`]).
    pub calm_most: f64,
}

/// How far the forest may calm the filter's word, in log-odds, on a cat of which so many days are known and whose lowest
/// reading of the last days lies so far over the limit.
///
/// A cat that has not been near the limit can be low for the first time, and what was learned from others says little of
/// that: only a little. Else on the first day to about a fifth of the odds, further each day, and without a bound from
/// the fifth on. Chosen by us; a test holds a first fall after half a day to three weeks of rest.
#[must_use]
pub fn calm_most(days_known: usize, lowest_over: Option<f64>) -> f64 {
    if lowest_over.is_none_or(|over| over > NEAR) {
        CALM_UNSEEN
    } else if days_known >= DAYS_WELL_KNOWN {
        f64::INFINITY
    } else {
        1.0 + 0.5 * days_known as f64
    }
}

/// Nobody who has only a sensor that is some five per cent off can be surer than this: of what was said to be surer, not
/// more came (`docs/outlook.md`).
pub const SURE: f64 = 0.9;
/// Near the limit, mg/dL over it.
const NEAR: f64 = 25.0;
const CALM_UNSEEN: f64 = 0.5;
/// From so many days on a cat is known well enough.
const DAYS_WELL_KNOWN: usize = 5;

/// How many numbers a blend weighs.
pub const INPUTS: usize = 4;
/// From here on the filter's chance for now has a say.
const LIFTS: f64 = 0.005;

/// What a blend weighs: one; the forest's log-odds; the filter's; by how much its log-odds of being low `now` lie over those
/// of one in two hundred, for the forest looks for lows to come, and of one that is there the filter knows more.
#[must_use]
pub fn inputs(forest: f64, filter: f64, now: f64) -> [f64; INPUTS] {
    let lift = (log_odds(now) - log_odds(LIFTS)).max(0.0);
    [1.0, forest, filter, lift]
}

/// Log-odds of a chance, kept within what a table can weigh.
#[must_use]
pub fn log_odds(chance: f64) -> f64 {
    let chance = chance.clamp(1e-4, 1.0 - 1e-4);
    (chance / (1.0 - chance)).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(chance: f64, days: usize) -> Odds {
        Odds { odds: log_odds(chance), calm_most: calm_most(days, Some(5.0)) }
    }

    #[test]
    fn the_table_that_ships_can_be_read_and_stays_within_reason() {
        let table = Table::shipped();
        assert!(table.trees.len() >= 50 && table.trees.len() <= 400);
        for blend in table.blends {
            let rises = |from: (f64, f64, f64), to: (f64, f64, f64)| {
                let sum = |(forest, filter, now)| -> f64 {
                    inputs(forest, filter, now).iter().zip(blend).map(|(input, weight)| input * weight).sum()
                };
                sum(to) >= sum(from)
            };
            let steps = [-6.0, -3.0, -1.0, 0.0, 1.0, 2.0, 3.0, 6.0];
            for pair in steps.windows(2) {
                assert!(
                    rises((pair[0], 0.0, 0.1), (pair[1], 0.0, 0.1)),
                    "the forest never speaks against itself"
                );
                assert!(rises((0.0, pair[0], 0.1), (0.0, pair[1], 0.1)), "nor does the filter");
            }
            assert!(rises((0.0, 0.0, 0.1), (0.0, 0.0, 0.5)), "nor of now");
        }
        assert!(table.ends.iter().all(|end| end[0] < 0.0 && end[1] > 0.0));
        assert!(table.ranges.iter().all(|range| range[0] <= range[1]));
    }

    #[test]
    fn a_row_outside_of_what_was_learned_gets_no_answer() {
        let table = Table::shipped();
        let mut row = [f64::NAN; COUNT];
        assert!(table.odds(&row).is_some(), "not known is not outside");
        row[CORE[0]] = 1e6;
        assert_eq!(table.odds(&row), None);
    }

    #[test]
    fn a_cat_known_for_some_days_only_is_not_talked_out_of_its_first_low() {
        // The filter is all but sure; the forest, which knows this cat as never low, says one in a thousand.
        let chances = Table::shipped().chances(Some(said(0.001, 1)), 0.0, &[0.97; HORIZONS.len()]);
        assert!(chances[1] > 0.4 && chances[3] > 0.4, "{chances:?}");
        // Where the filter itself sees little, the forest still calms it.
        let chances = Table::shipped().chances(Some(said(0.001, 1)), 0.0, &[0.2; HORIZONS.len()]);
        assert!(chances[1] < 0.05, "{chances:?}");
        // After a week it is known for what it is.
        let chances = Table::shipped().chances(Some(said(0.001, 8)), 0.0, &[0.97; HORIZONS.len()]);
        assert!(chances[1] < 0.4, "{chances:?}");
    }

    #[test]
    fn chances_never_fall_with_the_horizon() {
        let table = Table::shipped();
        for odds in [-6.0, -1.0, 0.0, 2.0, 7.0] {
            for odds in [Some(Odds { odds, calm_most: calm_most(5, None) }), None] {
                let chances = table.chances(odds, 0.1, &[0.5, 0.4, 0.3, 0.2, 0.1, 0.05, 0.02, 0.01]);
                assert!(chances.is_sorted() && chances.iter().all(|chance| *chance <= SURE), "{chances:?}");
            }
        }
    }

    #[test]
    fn a_spoilt_table_is_refused() {
        assert_eq!(Table::parse("base 1.0\n"), None);
        assert_eq!(Table::parse("what 1 2 3\n"), None);
        let cut: String = include_str!("hazard.table").lines().take(30).collect::<Vec<_>>().join("\n");
        assert_eq!(Table::parse(&cut), None);
    }
}
