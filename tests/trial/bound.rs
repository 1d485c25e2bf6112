//! The bound: how well a learned predictor does that sees everything and explains nothing.
//!
//! Trained on the training cats, it says what the signal holds. It is not shipped: it would have to be believed.

use lowtide::simulate::cat::Trace;

use crate::features::{Features, NAMES};
use crate::feed::{Feed, Look, walk};
use crate::forest::{Forest, Growth};
use crate::method::Method;
use crate::score::{COMES_TRUE_WITHIN, LOW, Truth};

/// Over this no low comes within an hour often enough to be learned.
const TOO_HIGH: f64 = 260.0;

/// Learns the chance of an alarm coming true from traces.
pub fn learn(traces: &[Trace], truths: &[Truth], feed: Feed, growth: Growth) -> Forest {
    let mut columns: Vec<Vec<f32>> = vec![Vec::new(); NAMES.len()];
    let mut labels = Vec::new();
    for (trace, truth) in traces.iter().zip(truths) {
        let mut features = Features::default();
        walk(trace, feed, |look| {
            features.take(look);
            let from = look.minute as usize;
            let ahead = truth.blood.get(from..=from + COMES_TRUE_WITHIN);
            if let (Some(ahead), Some(true)) = (ahead, features.newest().map(|v| v < TOO_HIGH)) {
                for (column, x) in columns.iter_mut().zip(features.row()) {
                    column.push(x);
                }
                labels.push(ahead.iter().any(|b| *b < LOW));
            }
            None::<lowtide::words::Moment>
        });
    }
    Forest::learn(&columns, &labels, growth)
}

/// The columns that brought most, best first.
pub fn what_it_saw(forest: &Forest) -> Vec<(&'static str, f64)> {
    let mut seen: Vec<_> = NAMES.iter().copied().zip(forest.importances()).collect();
    seen.sort_by(|a, b| b.1.total_cmp(&a.1));
    seen
}

/// The learned predictor at work.
#[derive(Clone, Debug)]
pub struct Bound<'a> {
    forest: &'a Forest,
    features: Features,
}

impl<'a> Bound<'a> {
    /// With a grown forest.
    pub fn new(forest: &'a Forest) -> Self {
        Self { forest, features: Features::default() }
    }
}

impl Method for Bound<'_> {
    fn look(&mut self, look: &Look) -> Option<f64> {
        self.features.take(look);
        let newest = self.features.newest()?;
        Some(if newest < TOO_HIGH { self.forest.odds(&self.features.row()) } else { -20.0 })
    }

    fn low_now(&self) -> bool {
        self.features.newest().is_some_and(|value| value < f64::from(LOW))
    }
}
