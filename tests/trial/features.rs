//! What the bound sees: everything about the signal that one could think of, as plain numbers.
//!
//! Comes in: looks. Goes out: one row of numbers per look. Nothing of the future, nothing of the truth.

use crate::feed::Look;
use crate::method::Recent;
use lowtide::words::Moment;

/// Names of the columns.
pub const NAMES: [&str; COUNT] = [
    "newest reading",
    "age",
    "lag1",
    "lag2",
    "lag3",
    "lag4",
    "lag6",
    "lag8",
    "last rate",
    "rate before",
    "third rate",
    "fourth rate",
    "bend",
    "bend before",
    "line through 3, +30 min",
    "line through 4, +30 min",
    "line through 6, +30 min",
    "line through 8, +30 min",
    "min 2h",
    "max 2h",
    "min 6h",
    "max 6h",
    "min 12h",
    "min 24h",
    "mean 6h",
    "mean 24h",
    "share under 80, 24 h",
    "share under 80, 7 days",
    "lowest twentieth, 7 days",
    "jitter 6h",
    "hours since dose",
    "hours since the dose before",
    "time of day",
    "hours worn",
    "hours since under 75",
    "usual change here, +15 min",
    "usual change here, +30 min",
    "usual change here, +60 min",
    "usual fall here, 90 min",
    "how alike the days are",
    "change half a day ago, +30 min",
    "fall half a day ago, 90 min",
    "newest + usual change here, +30 min",
    "newest + usual fall here, 90 min",
    "days known",
];
/// Number of columns.
pub const COUNT: usize = 45;
/// Nothing known.
const NONE: f32 = -1e6;

/// Builds the rows of one trace.
#[derive(Clone, Debug, Default)]
pub struct Features {
    recent: Recent,
    doses: Vec<f64>,
    applied: Option<f64>,
    first: Option<Moment>,
    minute_of_day: f64,
}

impl Features {
    /// Takes in a look.
    pub fn take(&mut self, look: &Look) {
        let first = *self.first.get_or_insert(look.now);
        self.recent.take(look, 800);
        self.doses.extend(look.doses.iter().map(|at| at.minutes_since(first)));
        if let Some(at) = look.applied.last() {
            self.applied = Some(at.minutes_since(first));
        }
        self.minute_of_day = f64::from(look.minute % 1440);
    }

    /// The newest value, if there is one that is not too old to say anything.
    pub fn newest(&self) -> Option<f64> {
        let (at, value) = self.recent.points.last()?;
        (self.recent.now - at < 120.0).then_some(*value)
    }

    /// The row of the look taken in last.
    pub fn row(&self) -> Vec<f32> {
        let points = &self.recent.points;
        let now = self.recent.now;
        let Some((at, newest)) = points.last().copied() else { return vec![NONE; COUNT] };
        let back = |k: usize| points.len().checked_sub(k + 1).map(|place| points[place]);
        let mut row = vec![newest as f32, (now - at) as f32];
        row.extend(
            [1, 2, 3, 4, 6, 8].map(|k| back(k).filter(|p| at - p.0 < 200.0).map_or(NONE, |p| p.1 as f32)),
        );
        let rate = |k: usize| {
            let (new, old) = (back(k)?, back(k + 1)?);
            (new.0 - old.0 < 50.0).then(|| (new.1 - old.1) / (new.0 - old.0).max(1.0))
        };
        row.extend((0..4).map(|k| rate(k).map_or(NONE, |r| r as f32)));
        row.extend((0..2).map(|k| rate(k).zip(rate(k + 1)).map_or(NONE, |(a, b)| (a - b) as f32)));
        row.extend([3, 4, 6, 8].map(|n| self.recent.line(n, 30.0).map_or(NONE, |v| v as f32)));
        self.levels(&mut row);
        self.cycle(&mut row, newest);
        row
    }

    /// Level history.
    fn levels(&self, row: &mut Vec<f32>) {
        let (points, now) = (&self.recent.points, self.recent.now);
        let since = |hours: f64| &points[points.partition_point(|p| p.0 < now - hours * 60.0)..];
        let low = |hours| since(hours).iter().fold(f64::INFINITY, |low, p| low.min(p.1));
        let high = |hours| since(hours).iter().fold(0.0_f64, |high, p| high.max(p.1));
        let mean = |hours| since(hours).iter().map(|p| p.1).sum::<f64>() / since(hours).len().max(1) as f64;
        let share = |hours| {
            since(hours).iter().filter(|p| p.1 < 80.0).count() as f64 / since(hours).len().max(1) as f64
        };
        let mut sorted: Vec<f64> = since(168.0).iter().map(|p| p.1).collect();
        sorted.sort_by(f64::total_cmp);
        let lowest = sorted.get(sorted.len() / 20).copied().unwrap_or(f64::from(NONE));
        let six = since(6.0);
        let jitter = six.windows(3).map(|w| (w[2].1 - 2.0 * w[1].1 + w[0].1).abs()).sum::<f64>()
            / six.len().max(3) as f64;
        let all = [
            low(2.0),
            high(2.0),
            low(6.0),
            high(6.0),
            low(12.0),
            low(24.0),
            mean(6.0),
            mean(24.0),
            share(24.0),
            share(168.0),
            lowest,
            jitter,
        ];
        row.extend(all.map(|x| x as f32));
    }

    /// Where in the cycle it is, and what the cat did at this place before.
    fn cycle(&self, row: &mut Vec<f32>, newest: f64) {
        let now = self.recent.now;
        let dose = |k: usize| {
            let at = self.doses.len().checked_sub(k + 1).map(|place| self.doses[place]);
            at.map_or(NONE, |at| ((now - at) / 60.0).min(48.0) as f32)
        };
        let under = self.recent.points.iter().rev().find(|p| p.1 < 75.0);
        row.extend([dose(0), dose(1), (self.minute_of_day / 60.0) as f32]);
        row.push(self.applied.map_or(NONE, |at| ((now - at) / 60.0) as f32));
        row.push(under.map_or(200.0, |p| ((now - p.0) / 60.0) as f32));
        let changes: Vec<[f64; 4]> =
            (1..=6).filter_map(|days| self.change(f64::from(days) * 1440.0)).collect();
        let count = changes.len() as f64;
        let mean = |k: usize| changes.iter().map(|c| c[k]).sum::<f64>() / count;
        let shape: Vec<f64> = (0..4).map(mean).collect();
        let spread = (changes.iter().map(|c| (c[1] - shape[1]).powi(2)).sum::<f64>() / count).sqrt();
        let known = |x: f64| if changes.is_empty() { NONE } else { x as f32 };
        row.extend(shape.iter().map(|x| known(*x)));
        row.push(known(spread));
        let half = self.change(720.0);
        row.push(half.map_or(NONE, |c| c[1] as f32));
        row.push(half.map_or(NONE, |c| c[3] as f32));
        row.push(known(newest + shape[1]));
        row.push(known(newest + shape[3]));
        row.push(count as f32);
    }

    /// How the signal changed after the time so many minutes ago: in 15, 30, 60 min, and the least within 90.
    fn change(&self, ago: f64) -> Option<[f64; 4]> {
        let (points, then) = (&self.recent.points, self.recent.points.last()?.0 - ago);
        let near = |at: f64| {
            let after = points.partition_point(|p| p.0 < at);
            let pick = [after.checked_sub(1).map(|k| points[k]), points.get(after).copied()];
            pick.into_iter()
                .flatten()
                .filter(|p| (p.0 - at).abs() < 20.0)
                .min_by(|a, b| (a.0 - at).abs().total_cmp(&(b.0 - at).abs()))
                .map(|p| p.1)
        };
        let from = near(then)?;
        let (first, last) =
            (points.partition_point(|p| p.0 < then), points.partition_point(|p| p.0 < then + 90.0));
        let least = points[first..last].iter().fold(f64::INFINITY, |low, p| low.min(p.1 - from));
        Some([
            near(then + 15.0)? - from,
            near(then + 30.0)? - from,
            near(then + 60.0)? - from,
            least.min(0.0),
        ])
    }
}
