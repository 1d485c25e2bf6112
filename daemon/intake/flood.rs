//! What goes wrong again and again is counted, not told each time: a program that drops a bad file every minute is to
//! fill neither the record nor anybody's phone. Counts; asks no clock and tells nobody.

use std::collections::BTreeMap;
use std::time::Duration;

use tokio::time::Instant;

/// How one more trouble is to be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Worth {
    /// By itself.
    Alone,
    /// As one of so many within a day.
    Together(u64),
    /// Not at all: that there are many has been said.
    Nothing,
}

/// Counts troubles by kind.
#[derive(Debug, Default)]
pub(super) struct Flood<K> {
    kinds: BTreeMap<K, (Instant, u64)>,
}

impl<K: Ord> Flood<K> {
    /// Counts one more of a kind. The first few of a day are told each by itself, the next one, the 50th, the 500th and so on
    /// with their number.
    pub(super) fn count(&mut self, kind: K, now: Instant) -> Worth {
        self.kinds.retain(|_, (since, _)| is_of_today(*since, now));
        let (_, count) = self.kinds.entry(kind).or_insert((now, 0));
        *count += 1;
        match *count {
            1..=ALONE_MAX => Worth::Alone,
            count if count == ALONE_MAX + 1 || is_step(count) => Worth::Together(count),
            _ => Worth::Nothing,
        }
    }

    /// Whether a kind is counted already, or there is room for one more.
    pub(super) fn has_room_for(&self, kind: &K, now: Instant) -> bool {
        let counted = self.kinds.values().filter(|(since, _)| is_of_today(*since, now)).count();
        counted < KINDS_MAX || self.kinds.contains_key(kind)
    }
}

fn is_of_today(since: Instant, now: Instant) -> bool {
    now.saturating_duration_since(since) < DAY
}

/// What is wrong with a row, in the words of its reason without its values: those stand in quotes or have digits in them.
pub(super) fn kind_of(reason: &str) -> String {
    let words = reason.split('\'').step_by(2).flat_map(str::split_whitespace);
    let words: Vec<&str> = words.filter(|word| !word.contains(|c: char| c.is_ascii_digit())).collect();
    words.join(" ").chars().take(KIND_CHARS_MAX).collect()
}

/// 50, 500, 5000 and so on.
fn is_step(count: u64) -> bool {
    let mut step = ALONE_MAX * 10;
    while step < count {
        step = step.saturating_mul(10);
    }
    step == count
}

/// The first letters of a reason: what is told of one goes into every message that is written anew while it waits.
pub(super) fn brief(reason: &str) -> String {
    let mut chars = reason.chars();
    let mut out: String = chars.by_ref().take(REASON_CHARS_MAX).collect();
    if chars.next().is_some() {
        out.push_str("...");
    }
    out
}

const DAY: Duration = Duration::from_secs(24 * 3600);
/// Chosen by us: what a person may drop in wrongly in an evening, each with its own reason.
const ALONE_MAX: u64 = 5;
const KINDS_MAX: usize = 20;
const REASON_CHARS_MAX: usize = 400;
const KIND_CHARS_MAX: usize = 60;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_few_are_told_each_and_many_by_their_number() {
        let mut flood = Flood::default();
        let start = Instant::now();
        let told: Vec<_> = (0..6000).map(|_| flood.count("rows", start)).collect();
        assert_eq!(told.iter().filter(|worth| **worth == Worth::Alone).count(), 5);
        let together: Vec<_> =
            told.iter().filter(|worth| matches!(worth, Worth::Together(_))).copied().collect();
        assert_eq!(together, [6, 50, 500, 5000].map(Worth::Together));
        assert_eq!(flood.count("another kind", start), Worth::Alone);
        assert_eq!(flood.count("rows", start + DAY), Worth::Alone, "the next day begins anew");
    }

    #[test]
    fn kinds_beyond_so_many_have_no_room_until_the_next_day() {
        let mut flood = Flood::default();
        let start = Instant::now();
        for kind in 0..KINDS_MAX {
            assert!(flood.has_room_for(&kind, start));
            flood.count(kind, start);
        }
        assert!(flood.has_room_for(&0, start) && !flood.has_room_for(&KINDS_MAX, start));
        assert!(flood.has_room_for(&KINDS_MAX, start + DAY));
        flood.count(KINDS_MAX, start + DAY);
        assert_eq!(flood.kinds.len(), 1, "what is of another day is forgotten");
    }

    #[test]
    fn the_same_thing_wrong_is_one_kind_whatever_the_values_are() {
        let kinds =
            ["'5,4' is not a time", "'x 7' is not a time", "-5 mg/dL cannot be", "0.2 mg/dL cannot be"];
        assert_eq!(
            kinds.map(kind_of),
            ["is not a time", "is not a time", "mg/dL cannot be", "mg/dL cannot be"]
        );
        assert_eq!(kind_of(&"\u{e9}".repeat(9000)).chars().count(), KIND_CHARS_MAX);
    }

    #[test]
    fn a_reason_is_told_in_brief() {
        assert_eq!(brief("short"), "short");
        assert_eq!(brief(&"\u{e9}".repeat(9000)).chars().count(), REASON_CHARS_MAX + 3);
    }
}
