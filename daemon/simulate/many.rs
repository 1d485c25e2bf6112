//! Many worlds, on a few threads. Comes in: a first seed, how many, days. Goes out: a [`Sum`], the same however many
//! threads there were.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use super::report::{Report, SimulateOptions, Tally};
use super::world::simulate;

/// What many worlds were like, taken together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sum {
    /// How many worlds.
    pub worlds: u64,
    /// Turns of the house.
    pub turns: u64,
    /// Readings in the journals.
    pub readings: u64,
    /// Messages decided on.
    pub messages: u64,
    /// Critical findings.
    pub criticals: u64,
    /// Worlds in which there was at least one.
    pub critical_worlds: u64,
    /// Times a daemon was started anew.
    pub restarts: u64,
    /// The most messages that one person was sent within an hour.
    pub busiest_hour: usize,
    /// Cats times days lived.
    pub cat_days: f64,
    /// Faults that struck, by kind.
    pub injected: Tally,
    /// How often each thing that must be true was looked at.
    pub checked: Tally,
    /// Reports of the worlds in which something was wrong, by seed.
    pub failed: Vec<Report>,
}

impl Sum {
    fn add(&mut self, report: Report) {
        self.worlds += 1;
        self.turns += report.turns;
        self.readings += report.readings as u64;
        self.messages += report.messages as u64;
        self.criticals += report.criticals as u64;
        self.critical_worlds += u64::from(report.criticals > 0);
        self.restarts += report.restarts;
        self.busiest_hour = self.busiest_hour.max(report.busiest_hour);
        self.cat_days += report.cat_days;
        for (sum, part) in [(&mut self.injected, &report.injected), (&mut self.checked, &report.checked)] {
            for (what, count) in part {
                *sum.entry(what).or_default() += count;
            }
        }
        if report.failure.is_some() {
            self.failed.push(report);
        }
    }
}

impl fmt::Display for Sum {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} worlds, {:.1} cat-years, {} turns, {} readings, {} messages, {} critical findings in {} worlds, \
             {} restarts, at most {} messages to one person in an hour, {} failed",
            self.worlds,
            self.cat_days / 365.25,
            self.turns,
            self.readings,
            self.messages,
            self.criticals,
            self.critical_worlds,
            self.restarts,
            self.busiest_hour,
            self.failed.len()
        )?;
        tallied(f, "faults that struck:", &self.injected)?;
        tallied(f, "looked at after each turn, at each restart and in the end:", &self.checked)
    }
}

pub(super) fn tallied(f: &mut fmt::Formatter<'_>, head: &str, tally: &Tally) -> fmt::Result {
    writeln!(f, "{head}")?;
    tally.iter().try_for_each(|(what, count)| writeln!(f, "  {count:>9} {what}"))
}

/// Lives the worlds of `count` seeds from `from` on; `done` hears of each, in no order.
#[must_use]
pub fn simulate_many(
    (from, count): (u64, u64),
    days: u32,
    options: &SimulateOptions,
    threads: usize,
    done: &(dyn Fn() + Sync),
) -> Sum {
    let next = AtomicU64::new(0);
    let reports = Mutex::new(BTreeMap::new());
    std::thread::scope(|scope| {
        for _ in 0..threads.max(1) {
            scope.spawn(|| {
                loop {
                    let place = next.fetch_add(1, Ordering::Relaxed);
                    if place >= count {
                        return;
                    }
                    let report = simulate(from.saturating_add(place), days, options);
                    reports.lock().expect("a world catches its own panics").insert(place, report);
                    done();
                }
            });
        }
    });
    let mut sum = Sum::default();
    // Added by seed, so that sums of fractions do not depend on who was first.
    let reports = reports.into_inner().expect("a world catches its own panics");
    reports.into_values().for_each(|report| sum.add(report));
    sum
}
