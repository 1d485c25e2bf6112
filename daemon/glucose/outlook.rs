//! What blood glucose is likely to do next: the filter's walk ahead, weighed against what was learned.
//!
//! The walk gives a first-passage chance from the model alone. The forest, where its inputs are of a kind it has
//! seen, gives the odds of a low within an hour from how the fall bends, where in the cycle it happens and what
//! this cat usually does there. Per horizon the table weighs the two. Elsewhere the walk stands alone.

use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};

use super::dynamics::{BLOOD, Nature, RATE, SIZE};
use super::habit::Habit;
use super::hazard::{HORIZONS, Odds, Table};
use super::kalman::{Belief, Step};
use super::passage::{Passage, passage};
use super::sensor;
use crate::words::{Moment, minutes};

/// What blood glucose is likely to do next.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outlook {
    /// Chance that blood is or goes under the limit at any time up to the end, 0 to 1.
    pub chance: f64,
    /// When it goes under if it does: as likely before as after. `None` if the chance is under one in a hundred.
    pub crossing: Option<Moment>,
    /// Expected blood glucose at the end, mg/dL.
    pub blood_at_end: f64,
    /// Its standard deviation, mg/dL.
    pub sd_at_end: f64,
    /// Blood glucose at the end lies in here in 8 cases of 10, mg/dL.
    pub interval80: [f64; 2],
}

/// What the filter alone says of each of [`HORIZONS`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Walk {
    /// Chance of being under the limit now.
    pub now: f64,
    /// Chance of being under the limit at any time until then.
    pub chances: [f64; HORIZONS.len()],
    /// Mean and deviation of blood then, mg/dL.
    pub ends: [(f64, f64); HORIZONS.len()],
}

/// What the cat does by nature and by habit from one instant on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Course<'a> {
    pub(crate) nature: &'a Nature,
    pub(crate) habit: &'a Habit,
    pub(crate) doses: &'a [Moment],
    /// See the tracker's field of that name.
    pub(crate) surprise: f64,
    pub(crate) now: Moment,
}

impl Course<'_> {
    /// The usual rate so many minutes on, from that level, mg/dL per minute.
    fn drift(&self, after: f64, level: f64) -> f64 {
        self.habit.usual(self.doses, self.now + minutes(after)).drift(level)
    }
}

/// The chances from one instant on.
#[derive(Clone, Debug)]
pub(crate) struct Ahead<'a> {
    course: Course<'a>,
    belief: Belief<SIZE>,
    walk: Passage,
    /// Cumulative hazard (-ln of the chance of no low) at each of [`HORIZONS`].
    blended: [f64; HORIZONS.len()],
}

/// Step of the walk, minutes; divides every horizon.
const LOOK_MINUTES: f64 = 5.0;
/// The standard normal distribution has a tenth beyond this.
const DECILE: f64 = 1.281_551_565_544_6;

impl<'a> Ahead<'a> {
    /// From `belief` on, against `limit`, for as far as `ahead_minutes`, by the walk alone.
    pub(crate) fn new(course: &Course<'a>, belief: Belief<SIZE>, ahead_minutes: f64, limit: f64) -> Self {
        let reach = ahead_minutes.clamp(LOOK_MINUTES, 24.0 * 60.0);
        let last = HORIZONS.iter().copied().find(|h| *h >= reach).unwrap_or(reach);
        let count = (reach.max(last) / LOOK_MINUTES).ceil() as usize;
        let walk = walked(course, &belief, count, limit);
        let blended = HORIZONS.map(|horizon| hazard(at_minute(&walk, horizon)));
        Self { course: *course, belief, walk, blended }
    }

    /// The same weighed against what was learned; `odds` is the forest's word, if it has one.
    pub(crate) fn weighed(mut self, odds: Option<Odds>) -> Self {
        self.blended = Table::shipped().chances(odds, self.now(), &self.walk()).map(hazard);
        self
    }

    /// The chance of being under the limit at any time within so many minutes.
    pub(crate) fn chance(&self, within: f64) -> f64 {
        let first = hazard(at_minute(&self.walk, 0.0)).min(self.blended[0]);
        let (mut before, mut from) = (0.0, first);
        for (horizon, to) in HORIZONS.iter().zip(&self.blended) {
            if within <= *horizon {
                let share = (within - before) / (horizon - before);
                return 1.0 - (-(from + share * (to - from))).exp();
            }
            (before, from) = (*horizon, *to);
        }
        // Past the table's horizons the walk goes on, as strongly as it agreed with the table at the last one.
        let own = |minute: f64| hazard(at_minute(&self.walk, minute));
        let trust = (from / own(before).max(1e-9)).clamp(0.1, 1.0);
        1.0 - (-(from + trust * (own(within) - own(before)))).exp()
    }

    /// The first minute, in steps of five, by which the chance has reached `wanted`.
    pub(crate) fn reaches(&self, wanted: f64, within: f64) -> Option<f64> {
        let steps = (within / LOOK_MINUTES).ceil() as usize;
        let looks = Passage {
            minutes: (0..=steps).map(|k| (k as f64 * LOOK_MINUTES).min(within)).collect(),
            chance: (0..=steps).map(|k| self.chance((k as f64 * LOOK_MINUTES).min(within))).collect(),
        };
        looks.reaches(wanted)
    }

    /// The belief at the end of so many minutes, in steps of at most half an hour.
    fn end(&self, ahead_minutes: f64) -> Belief<SIZE> {
        let count = (ahead_minutes / 30.0).ceil().max(1.0);
        let span = ahead_minutes / count;
        (0..count as usize).fold(self.belief, |belief, k| {
            let from = [belief.mean[BLOOD], belief.mean[RATE]];
            belief.after(&self.course.nature.step(span, from, self.course.drift(k as f64 * span, from[0])))
        })
    }

    /// The walk's own chance at each of [`HORIZONS`], not weighed against anything.
    pub(crate) fn walk(&self) -> [f64; HORIZONS.len()] {
        HORIZONS.map(|horizon| at_minute(&self.walk, horizon))
    }

    /// The walk's chance of being under the limit now.
    pub(crate) fn now(&self) -> f64 {
        at_minute(&self.walk, 0.0)
    }

    /// Mean and deviation of blood after so many minutes, by the filter and by how well the cat is foreseen.
    pub(crate) fn spread(&self, ahead_minutes: f64) -> (f64, f64) {
        let end = self.end(ahead_minutes);
        let deviation = end.covariance[(BLOOD, BLOOD)].max(0.0).sqrt() * self.course.surprise.sqrt();
        (end.mean[BLOOD], deviation)
    }

    /// Where blood lies after so many minutes in 8 cases of 10, mg/dL; never narrower than it was before.
    fn interval(&self, ahead_minutes: f64) -> [f64; 2] {
        // How far off the ends lie was measured, in deviations: fewer for the longer spans. From a belief that is wide
        // to begin with, the deviation grows more slowly than that.
        let wide = |span: f64, deviation: f64| {
            let [low, high] = ends(span);
            deviation * (high - low)
        };
        let sooner = HORIZONS.iter().filter(|horizon| **horizon < ahead_minutes);
        let widest = sooner.map(|horizon| wide(*horizon, self.spread(*horizon).1)).fold(0.0, f64::max);
        let (mean, deviation) = self.spread(ahead_minutes);
        let stretch = (widest / wide(ahead_minutes, deviation).max(1e-9)).max(1.0);
        ends(ahead_minutes).map(|end| mean + stretch * end * deviation)
    }

    /// The outlook over so many minutes from `now`.
    pub(crate) fn outlook(&self, ahead_minutes: f64, now: Moment) -> Outlook {
        let ahead_minutes = ahead_minutes.clamp(0.0, 24.0 * 60.0);
        let chance = self.chance(ahead_minutes);
        let crossing = if chance < 0.01 { None } else { self.reaches(chance * 0.5, ahead_minutes) };
        let interval80 = sensor::survivable(self.interval(ahead_minutes));
        Outlook {
            chance,
            crossing: crossing.map(|after| now + minutes(after)),
            blood_at_end: 0.5 * (interval80[0] + interval80[1]),
            sd_at_end: (interval80[1] - interval80[0]) / (2.0 * DECILE),
            interval80,
        }
    }
}

/// The walk of blood and rate against a limit.
fn walked(course: &Course<'_>, belief: &Belief<SIZE>, count: usize, limit: f64) -> Passage {
    let nature = course.nature;
    // Only the size of the noise and the drift change from step to step.
    let unit = nature.step(LOOK_MINUTES, [0.0, 0.0], 0.0);
    let quiet = nature.rate_variance(LOOK_MINUTES, 0.0, 0.0);
    let step = Step {
        transition: unit.transition.fixed_view::<2, 2>(BLOOD, BLOOD).into_owned(),
        offset: SVector::<f64, 2>::zeros(),
        noise: unit.noise.fixed_view::<2, 2>(BLOOD, BLOOD).into_owned(),
    };
    let start = Belief {
        mean: belief.mean.fixed_rows::<2>(BLOOD).into_owned(),
        covariance: SMatrix::<f64, 2, 2>::from(belief.covariance.fixed_view::<2, 2>(BLOOD, BLOOD)),
    };
    let pushed = nature.step(LOOK_MINUTES, [0.0, 0.0], 1.0).offset.fixed_rows::<2>(BLOOD).into_owned();
    passage(&start, 0, limit, (count, LOOK_MINUTES), 0.0, |k, at| {
        let louder = nature.rate_variance(LOOK_MINUTES, at.mean[0], at.mean[1]) / quiet;
        let drift = course.drift(k as f64 * LOOK_MINUTES, at.mean[0]);
        Step { noise: step.noise * louder, offset: pushed * drift, ..step }
    })
}

/// The walk's chance at a minute, linear between its steps, level after its end.
fn at_minute(walk: &Passage, minute: f64) -> f64 {
    let place = (minute / LOOK_MINUTES).max(0.0);
    let before = (place as usize).min(walk.chance.len() - 1);
    let after = (before + 1).min(walk.chance.len() - 1);
    walk.chance[before] + (place - before as f64).min(1.0) * (walk.chance[after] - walk.chance[before])
}

/// Percentiles of the end over so many minutes, linear between the table's horizons.
fn ends(ahead_minutes: f64) -> [f64; 2] {
    let table = &Table::shipped().ends;
    let (mut before, mut from) = (0.0, table[0]);
    for (horizon, to) in HORIZONS.iter().zip(table) {
        if ahead_minutes <= *horizon {
            let share = (ahead_minutes - before) / (horizon - before);
            return std::array::from_fn(|k| from[k] + share * (to[k] - from[k]));
        }
        (before, from) = (*horizon, *to);
    }
    from
}

fn hazard(chance: f64) -> f64 {
    -(1.0 - chance.clamp(0.0, 1.0 - 1e-9)).ln()
}
