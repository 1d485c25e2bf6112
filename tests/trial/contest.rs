//! All methods on the same cats in one run.

use lowtide::glucose::alarm::Style;
use lowtide::simulate::cat::{Options, Trace, simulate};

use crate::bound::{self, Bound};
use crate::feed::Feed;
use crate::forest::{Forest, Growth};
use crate::measure::Measure;
use crate::method::{ConstantVelocity, Crossing, CrossingFit, Line, Method, Raw, listen};
use crate::ours::{MEASURED_MINUTES, Ours, SETTINGS, Watched};
use crate::score::{Said, Tally, Truth, best_within, sweep};

/// Cats and what is true of them.
#[derive(Debug)]
pub struct Cats {
    /// Their traces.
    pub traces: Vec<Trace>,
    /// Their blood and lows.
    pub truths: Vec<Truth>,
}

/// Seeds of the cats that anything may be fitted on begin here ...
pub const TRAINING_FROM: u64 = 0;
/// ... and those of the cats that are scored begin here.
pub const TEST_FROM: u64 = 1_000_000;
/// Days of each cat.
pub const DAYS: u32 = 28;

impl Cats {
    /// So many cats from a seed on.
    pub fn new(from: u64, count: u64, options: &Options) -> Self {
        let seeds: Vec<u64> = (from..from + count).collect();
        let both = in_two(&seeds, |seed| {
            let trace = simulate(*seed, DAYS, options);
            let truth = Truth::of(&trace);
            (trace, truth)
        });
        let (traces, truths) = both.into_iter().unzip();
        Self { traces, truths }
    }
}

/// What was fitted on the training cats.
#[derive(Debug)]
pub struct Fitted {
    crossing: CrossingFit,
    drives: [(f64, f64); 2],
    bound: Option<Forest>,
}

/// Ratios of driving to measurement noise that the constant-velocity filter is tried with.
const DRIVES: [f64; 7] = [1e-7, 3e-7, 1e-6, 3e-6, 1e-5, 1e-4, 1e-3];

impl Fitted {
    /// Fits the textbook methods for a feed, and grows the bound if wanted.
    pub fn on(cats: &Cats, feed: Feed, growth: Option<Growth>) -> Self {
        let few = cats.traces.len().min(80);
        let (traces, truths) = (&cats.traces[..few], &cats.truths[..few]);
        let crossing = CrossingFit::learn(traces, truths);
        let drives = [15.0, 30.0].map(|ahead| {
            let worth = |drive: f64| {
                let said = hear(traces, feed, || ConstantVelocity::new(ahead, drive));
                best_within(&sweep(truths, &said), AIM).map_or(0.0, |(_, tally)| tally.warned_share())
            };
            let best = DRIVES.iter().map(|drive| (*drive, worth(*drive))).max_by(|a, b| a.1.total_cmp(&b.1));
            (ahead, best.map_or(DRIVES[0], |b| b.0))
        });
        let bound = growth.map(|growth| bound::learn(&cats.traces, &cats.truths, feed, growth));
        Self { crossing, drives, bound }
    }

    /// The grown bound, if it was wanted.
    pub fn bound(&self) -> Option<&Forest> {
        self.bound.as_ref()
    }
}

/// False alarms per cat-week at which methods are compared.
pub const AIM: f64 = 2.0;

/// One method's line in the table.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Its name in the table.
    pub name: String,
    /// All points of its curve.
    pub curve: Vec<(f32, Tally)>,
    /// Scans asked for per cat and day.
    pub asked: f64,
}

impl Entry {
    /// The point that is compared.
    pub fn best(&self) -> Option<&(f32, Tally)> {
        best_within(&self.curve, AIM)
    }
}

/// Everything that came out of one contest.
#[derive(Debug)]
pub struct Outcome {
    /// The methods, textbook ones first.
    pub entries: Vec<Entry>,
    /// How good the house's numbers were.
    pub measure: Measure,
    /// The shipped alarm rule with each setting.
    pub ruled: Vec<Ruled>,
}

/// The shipped alarm rule with one setting.
#[derive(Clone, Debug)]
pub struct Ruled {
    /// The setting.
    pub style: Style,
    /// How it did: warned of and told by `low-ahead` or `low-now`; alarms and false alarms of `low-ahead`.
    pub tally: Tally,
    /// False alarms of `low-now`.
    pub false_now: usize,
}

/// What came of the house's own method.
#[derive(Debug)]
pub struct Own {
    /// What it said of each cat.
    pub said: Vec<Said>,
    /// How good its numbers were.
    pub measure: Measure,
    /// Scans, or meter checks, that it caused per cat and day.
    pub asked: f64,
    /// Its watches, with each setting.
    pub ruled: Vec<Ruled>,
}

/// Names of the two entries that are not textbook methods.
pub const OURS: &str = "Lowtide";
/// The learned predictor.
pub const BOUND: &str = "the bound (learned, sees everything)";

/// Runs all methods on the same cats.
pub fn contest(cats: &Cats, fitted: &Fitted, feed: Feed) -> Outcome {
    let mut entries = Vec::new();
    let mut enter = |name: &str, said: &[Said], asked: f64| {
        entries.push(Entry { name: name.into(), curve: sweep(&cats.truths, said), asked });
    };
    enter("raw threshold", &hear(&cats.traces, feed, Raw::default), 0.0);
    enter("straight line, 30 min", &hear(&cats.traces, feed, Line::default), 0.0);
    for (ahead, drive) in fitted.drives {
        let said = hear(&cats.traces, feed, || ConstantVelocity::new(ahead, drive));
        enter(&format!("constant velocity, {ahead} min"), &said, 0.0);
    }
    enter("chance of crossing", &hear(&cats.traces, feed, || Crossing::new(&fitted.crossing)), 0.0);
    let own = ours(cats, feed);
    enter(OURS, &own.said, own.asked);
    if let Some(forest) = &fitted.bound {
        enter(BOUND, &hear(&cats.traces, feed, || Bound::new(forest)), 0.0);
    }
    Outcome { entries, measure: own.measure, ruled: own.ruled }
}

/// Adds a bound that learned elsewhere.
pub fn enter_bound(outcome: &mut Outcome, name: &str, cats: &Cats, forest: &Forest, feed: Feed) {
    let said = hear(&cats.traces, feed, || Bound::new(forest));
    outcome.entries.push(Entry { name: name.into(), curve: sweep(&cats.truths, &said), asked: 0.0 });
}

/// The house's own method alone.
pub fn ours(cats: &Cats, feed: Feed) -> Own {
    let both: Vec<_> = cats.traces.iter().zip(&cats.truths).collect();
    let heard = in_two(&both, |(trace, truth)| {
        let mut method = Ours::new(feed);
        let (said, extra) = listen(trace, feed, &mut method);
        let mut measure = Measure::default();
        measure.add(truth, &method.beliefs, MEASURED_MINUTES);
        let tallies = method.watched.map(|watched| by_the_watches(truth, &watched));
        (said, measure, extra, tallies)
    });
    let days = cats.traces.len() as f64 * f64::from(DAYS);
    let mut own = Own {
        said: Vec::new(),
        measure: Measure::default(),
        asked: 0.0,
        ruled: SETTINGS.map(|style| Ruled { style, tally: Tally::default(), false_now: 0 }).into(),
    };
    for (said, measure, extra, tallies) in heard {
        own.said.push(said);
        own.measure.merge(&measure);
        own.asked += extra as f64 / days;
        for (ruled, tally) in own.ruled.iter_mut().zip(tallies) {
            ruled.tally.add(tally.0);
            ruled.false_now += tally.1;
        }
    }
    own
}

/// What the watches of one house said, and how often `low-now` was wrong.
fn by_the_watches(truth: &Truth, watched: &Watched) -> (Tally, usize) {
    let ahead = Tally::of(truth, &watched.ahead, &[]);
    let tally = Tally {
        alarms: ahead.alarms,
        false_alarms: ahead.false_alarms,
        far_alarms: ahead.far_alarms,
        ..Tally::of(truth, &watched.told, &watched.now)
    };
    (tally, Tally::of(truth, &watched.now, &[]).false_alarms)
}

fn hear<M: Method>(traces: &[Trace], feed: Feed, method: impl Fn() -> M + Sync) -> Vec<Said> {
    in_two(traces, |trace| listen(trace, feed, &mut method()).0)
}

/// Works through a list on two threads, in order.
pub fn in_two<T: Sync, R: Send>(list: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let (first, second) = list.split_at(list.len() / 2);
    std::thread::scope(|scope| {
        let other = scope.spawn(|| second.iter().map(&work).collect::<Vec<_>>());
        let mut all: Vec<R> = first.iter().map(&work).collect();
        all.extend(other.join().expect("the second half only computes"));
        all
    })
}
