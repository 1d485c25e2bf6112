//! However late readings come, in whatever order and in what pieces: a low that becomes known is told, and how low it was.

use lowtide::words::{Moment, Reading, ReadingKind, Reason, Severity, Value, Watch, minutes};

use crate::household::{at, cat, streaming};
use crate::world::World;

const EVENING: &str = "2026-06-10T16:00:00Z";
/// Readings of one night.
const COUNT: usize = 44;
/// Minutes from when a low is known until it is told at the latest: what comes late waits for what else may come.
const SOON: f64 = 75.0;

struct Dice(oorandom::Rand32);

impl Dice {
    fn up_to(&mut self, count: usize) -> usize {
        self.0.rand_range(0..count as u32) as usize
    }
}

/// How readings come.
#[derive(Clone, Copy, Debug)]
enum Way {
    /// All of them so many minutes late.
    Late(f64),
    /// Each one by up to so many minutes.
    Jitter(usize),
    /// None from the one of this count on for so many samples; then all of them, so many minutes apart, or in one file.
    Outage { from: usize, samples: usize, apart: Option<f64> },
}

/// The level of each reading, with two lows in the night, and where these are.
fn night(dice: &mut Dice) -> (Vec<f64>, Vec<(usize, usize)>) {
    let mut levels: Vec<f64> = (0..COUNT).map(|k| 112.0 + (k % 4) as f64).collect();
    let mut lows = Vec::new();
    let second = 20 + dice.up_to(8);
    for begins in [6 + dice.up_to(4), second] {
        let depth = [66.0, 62.0, 57.0, 46.0, 42.0][dice.up_to(5)];
        let lasts = 2 + dice.up_to(4);
        for k in 0..lasts {
            levels[begins + k] = depth + (k % 2) as f64;
        }
        for (k, level) in [(1, 76.0), (2, 90.0), (3, 101.0)] {
            levels[begins - k] = level;
            levels[begins + lasts - 1 + k] = level;
        }
        lows.push((begins, begins + lasts));
    }
    (levels, lows)
}

/// When each reading comes; those of one moment come in one file.
fn arrivals(way: Way, begun: Moment, dice: &mut Dice) -> Vec<Moment> {
    let measured = |k: usize| begun + minutes(15.0 * k as f64);
    (0..COUNT)
        .map(|k| match way {
            Way::Late(late) => measured(k) + minutes(late),
            Way::Jitter(most) => measured(k) + minutes(dice.up_to(most) as f64),
            Way::Outage { from, samples, apart } if (from..from + samples).contains(&k) => {
                measured(from + samples) + minutes(apart.unwrap_or(0.0) * (k - from) as f64)
            }
            Way::Outage { .. } => measured(k),
        })
        .collect()
}

fn check(seed: u64, way: Way) -> Result<(), String> {
    let mut dice = Dice(oorandom::Rand32::new(seed));
    let (levels, lows) = night(&mut dice);
    let mut house = streaming();
    // A notice of the past waits for the morning.
    house.persons[0].quiet = None;
    let mut world = World::new(house, at(EVENING));
    let begun = world.now;
    let comes = arrivals(way, begun, &mut dice);
    let mut moments = comes.clone();
    moments.sort();
    moments.dedup();
    for moment in moments {
        world.until(moment.max(world.now));
        let readings: Vec<Reading> = (0..COUNT)
            .filter(|k| comes[*k] == moment)
            .map(|k| Reading {
                measured_at: begun + minutes(15.0 * k as f64),
                value: Value::Level(levels[k]),
                kind: ReadingKind::History,
            })
            .collect();
        world.bring(cat(), readings);
    }
    world.pass(3.0 * 60.0);
    for (from, until) in lows {
        let first = comes[from..until].iter().min().copied().unwrap_or(begun);
        let pairs = (from + 1..until).map(|k| comes[k - 1].max(comes[k]));
        let deep = (from..until).filter(|k| levels[*k] < 50.0).map(|k| comes[k]);
        let Some(known) = pairs.chain(deep).min() else { continue };
        let lowest = levels[from..until].iter().copied().fold(f64::INFINITY, f64::min);
        let told: Vec<_> = world
            .heard("olive")
            .into_iter()
            .filter(|carried| carried.at >= first && carried.at <= known + minutes(SOON))
            .filter(|carried| carried.message.reason != Reason::Over)
            .filter(|carried| {
                let watches = carried.message.findings.iter().filter_map(|id| id.watch());
                watches.into_iter().any(|watch| [Watch::LowNow, Watch::LowFoundLater].contains(&watch))
            })
            .map(|carried| &carried.message)
            .collect();
        let says = |text: &str| text.contains(&format!("lowest {lowest:.0} mg/dL"));
        let deep = told.iter().any(|m| m.severity == Severity::Critical || says(&m.text));
        if told.is_empty() || lowest < 50.0 && !deep {
            let what = format!("seed {seed}, {way:?}: the low of {lowest} known at {known} is not told");
            return Err(format!("{what}\n{}", world.story()));
        }
    }
    Ok(())
}

#[test]
fn every_low_that_becomes_known_is_told_and_how_low_it_was() {
    let mut failed = Vec::new();
    for seed in 1..=2 {
        let mut ways: Vec<Way> = [0.0, 20.0, 38.0, 45.0, 60.0, 90.0].map(Way::Late).into();
        ways.extend([30, 60, 90].map(Way::Jitter));
        for apart in [None, Some(0.1), Some(1.5)] {
            for (from, samples) in [(5, 3), (10, 8), (9, 20), (4, 34)] {
                ways.push(Way::Outage { from, samples, apart });
            }
        }
        failed.extend(ways.into_iter().filter_map(|way| check(seed, way).err()));
    }
    assert!(failed.is_empty(), "{} failed:\n{}", failed.len(), failed.join("\n"));
}
