//! What every method of telling a low ahead looks like to the trial, and the textbook ones.
//!
//! Raw threshold, straight line, constant-velocity Kalman filter (Palerm & Bequette, J Diabetes Sci Technol
//! 2007;1(5):624-629) and a bank of regressions made into a chance of crossing (after Cameron et al., J Diabetes
//! Sci Technol 2008;2(4):612-621), each from its description and fitted on the training cats only.

use lowtide::simulate::cat::Trace;
use lowtide::words::{Moment, Value};

use crate::feed::{Feed, Look, Wish, walk};
use crate::score::{LOW, Said, Truth};

/// Something that looks at readings and says how alarming they are.
pub trait Method {
    /// Takes in a look; gives how alarming it is, higher is worse, or `None` if it has nothing to say.
    fn look(&mut self, look: &Look) -> Option<f64>;

    /// Whether it says that glucose is low now.
    fn low_now(&self) -> bool;

    /// When it wants another scan.
    fn scan_again(&self) -> Option<Moment> {
        None
    }
}

/// Lets a method see one trace. Gives what it said and how many scans it caused.
pub fn listen(trace: &Trace, feed: Feed, method: &mut dyn Method) -> (Said, usize) {
    let mut said = Said::default();
    let extra = walk(trace, feed, |look| {
        if let Some(score) = method.look(look) {
            said.looks.push((look.minute, score as f32));
        }
        if method.low_now() {
            said.low_now.push(look.minute);
        }
        Wish { scan: method.scan_again(), check: method.low_now() }
    });
    (said, extra)
}

/// A value as a number; out of range becomes a number a little outside.
pub fn number(value: Value) -> f64 {
    match value {
        Value::Below => 37.0,
        Value::Level(level) => level,
        Value::Above => 505.0,
    }
}

/// The newest readings: minutes since some start, and values.
#[derive(Clone, Debug, Default)]
pub struct Recent {
    start: Option<Moment>,
    /// Time in minutes and value in mg/dL, oldest first, rising in time.
    pub points: Vec<(f64, f64)>,
    /// The time of the last look.
    pub now: f64,
}

impl Recent {
    /// Takes in a look, keeps the newest `keep` readings; says whether there was anything new.
    pub fn take(&mut self, look: &Look, keep: usize) -> bool {
        let start = *self.start.get_or_insert(look.now);
        self.now = look.now.minutes_since(start);
        let mut fresh = false;
        for reading in &look.new {
            let at = reading.measured_at.minutes_since(start);
            if self.points.last().is_none_or(|(last, _)| at > *last) {
                self.points.push((at, number(reading.value)));
                fresh = true;
            }
        }
        let surplus = self.points.len().saturating_sub(keep);
        self.points.drain(..surplus);
        fresh
    }

    /// Whether the newest reading is under the limit and not old.
    pub fn low_now(&self) -> bool {
        self.points.last().is_some_and(|(at, value)| *value < f64::from(LOW) && self.now - at <= 40.0)
    }

    /// Least-squares line through the newest `count` readings, carried to `ahead` minutes after now; `None` if
    /// there are not that many within twice their usual span.
    pub fn line(&self, count: usize, ahead: f64) -> Option<f64> {
        let points = &self.points[self.points.len().checked_sub(count)?..];
        if self.now - points[0].0 > 30.0 * count as f64 {
            return None;
        }
        let n = count as f64;
        let (mean_t, mean_v) = points.iter().fold((0.0, 0.0), |(t, v), p| (t + p.0 / n, v + p.1 / n));
        let (up, down) = points.iter().fold((0.0, 0.0), |(up, down), (t, v)| {
            (up + (t - mean_t) * (v - mean_v), down + (t - mean_t) * (t - mean_t))
        });
        Some(mean_v + up / down.max(1e-9) * (self.now + ahead - mean_t))
    }
}

/// Alarm when the reading itself is under a threshold.
#[derive(Clone, Debug, Default)]
pub struct Raw {
    recent: Recent,
}

impl Method for Raw {
    fn look(&mut self, look: &Look) -> Option<f64> {
        self.recent.take(look, 1).then(|| self.recent.points.last().map(|(_, value)| -value)).flatten()
    }

    fn low_now(&self) -> bool {
        self.recent.low_now()
    }
}

/// Alarm when the straight line through the last three readings is under a threshold 30 min ahead.
#[derive(Clone, Debug, Default)]
pub struct Line {
    recent: Recent,
}

impl Method for Line {
    fn look(&mut self, look: &Look) -> Option<f64> {
        let fresh = self.recent.take(look, 3);
        let newest = self.recent.points.last()?.1;
        fresh.then(|| -self.recent.line(3, 30.0).unwrap_or(newest))
    }

    fn low_now(&self) -> bool {
        self.recent.low_now()
    }
}

/// Constant-velocity Kalman filter on the sensor signal: glucose and its rate, driven by a random walk of the
/// rate's rate of change, carried ahead along the line.
#[derive(Clone, Debug)]
pub struct ConstantVelocity {
    recent: Recent,
    ahead: f64,
    /// Intensity of the driving noise over the measurement variance.
    drive: f64,
    state: Option<([f64; 2], [[f64; 2]; 2], f64)>,
}

impl ConstantVelocity {
    /// Carried this many minutes ahead, with this ratio of intensity (per minute cubed) to measurement variance.
    pub fn new(ahead: f64, drive: f64) -> Self {
        Self { recent: Recent::default(), ahead, drive, state: None }
    }

    fn update(&mut self, at: f64, value: f64) {
        let Some(([g, v], p, before)) = self.state.filter(|(.., before)| at - before < 180.0) else {
            self.state = Some(([value, 0.0], [[1.0, 0.0], [0.0, 0.02]], at));
            return;
        };
        let dt = at - before;
        let q = self.drive;
        let p00 = p[0][0] + dt * (p[0][1] + p[1][0]) + dt * dt * p[1][1] + q * dt.powi(3) / 3.0;
        let p01 = p[0][1] + dt * p[1][1] + q * dt * dt / 2.0;
        let p11 = p[1][1] + q * dt;
        let (k0, k1) = (p00 / (p00 + 1.0), p01 / (p00 + 1.0));
        let miss = value - (g + dt * v);
        self.state = Some((
            [g + dt * v + k0 * miss, v + k1 * miss],
            [[p00 * (1.0 - k0), p01 * (1.0 - k0)], [p01 * (1.0 - k0), p11 - k1 * p01]],
            at,
        ));
    }
}

impl Method for ConstantVelocity {
    fn look(&mut self, look: &Look) -> Option<f64> {
        let before = self.recent.points.last().map_or(f64::NEG_INFINITY, |(at, _)| *at);
        if !self.recent.take(look, 40) {
            return None;
        }
        let new: Vec<_> = self.recent.points.iter().filter(|(at, _)| *at > before).copied().collect();
        for (at, value) in new {
            self.update(at, value);
        }
        let ([g, v], _, at) = self.state?;
        Some(-(g + v * (self.recent.now - at + self.ahead)))
    }

    fn low_now(&self) -> bool {
        self.recent.low_now()
    }
}

/// Lines through windows of several lengths, carried over several horizons; their errors on the training cats
/// give each a chance of being under the limit, and a logistic regression makes one chance of crossing of them.
#[derive(Clone, Debug)]
pub struct Crossing {
    recent: Recent,
    fit: CrossingFit,
}

/// What [`Crossing`] learned on the training cats.
#[derive(Clone, Debug)]
pub struct CrossingFit {
    spread: Vec<f64>,
    weights: Vec<f64>,
}

/// Readings in the window, minutes ahead.
const BANK: [(usize, f64); 8] =
    [(2, 15.0), (2, 30.0), (3, 15.0), (3, 30.0), (4, 15.0), (4, 30.0), (6, 15.0), (6, 30.0)];

impl Crossing {
    /// With what was learned.
    pub fn new(fit: &CrossingFit) -> Self {
        Self { recent: Recent::default(), fit: fit.clone() }
    }

    fn lines(recent: &Recent) -> Option<Vec<f64>> {
        let newest = recent.points.last()?.1;
        Some(BANK.iter().map(|(count, ahead)| recent.line(*count, *ahead).unwrap_or(newest)).collect())
    }
}

impl CrossingFit {
    /// Learns from traces.
    pub fn learn(traces: &[Trace], truths: &[Truth]) -> Self {
        let mut rows: Vec<(Vec<f64>, Vec<f64>, bool)> = Vec::new();
        for (trace, truth) in traces.iter().zip(truths) {
            let mut recent = Recent::default();
            walk(trace, Feed::Streamed, |look| {
                if recent.take(look, 6)
                    && let Some(lines) = Crossing::lines(&recent)
                {
                    let at = look.minute as usize;
                    let future = |ahead: f64| truth.blood.get(at + ahead as usize).map(|b| f64::from(*b));
                    let blood: Option<Vec<f64>> = BANK.iter().map(|(_, ahead)| future(*ahead)).collect();
                    if let Some(blood) = blood {
                        let crosses = truth.blood[at..=at + 30].iter().any(|b| *b < LOW);
                        rows.push((lines, blood, crosses));
                    }
                }
                None::<Moment>
            });
        }
        let count = rows.len().max(1) as f64;
        let near = |line: f64| line < 140.0;
        let spread: Vec<f64> = (0..BANK.len())
            .map(|k| {
                let errors: Vec<f64> =
                    rows.iter().filter(|r| near(r.0[k])).map(|r| (r.0[k] - r.1[k]).powi(2)).collect();
                (errors.iter().sum::<f64>() / errors.len().max(1) as f64).sqrt().max(1.0)
            })
            .collect();
        let mut fit = Self { spread, weights: vec![0.0; BANK.len() + 1] };
        let rows: Vec<(Vec<f64>, f64)> = rows
            .iter()
            .map(|(lines, _, crosses)| (fit.inputs(lines), f64::from(u8::from(*crosses))))
            .collect();
        // Batch gradient descent with a momentum: slow but without a choice to make.
        let mut speed = vec![0.0; fit.weights.len()];
        for _ in 0..300 {
            let mut slope = vec![0.0; fit.weights.len()];
            for (inputs, label) in &rows {
                let miss = fit.chance(inputs) - label;
                slope.iter_mut().zip(inputs).for_each(|(s, x)| *s += miss * x / count);
            }
            for k in 0..slope.len() {
                speed[k] = 0.9 * speed[k] - 0.5 * slope[k];
                fit.weights[k] += speed[k];
            }
        }
        fit
    }

    fn inputs(&self, lines: &[f64]) -> Vec<f64> {
        let standard =
            lines.iter().zip(&self.spread).map(|(line, sd)| ((f64::from(LOW) - line) / sd).clamp(-6.0, 6.0));
        standard.chain([1.0]).collect()
    }

    fn chance(&self, inputs: &[f64]) -> f64 {
        let sum: f64 = self.weights.iter().zip(inputs).map(|(w, x)| w * x).sum();
        1.0 / (1.0 + (-sum).exp())
    }
}

impl Method for Crossing {
    fn look(&mut self, look: &Look) -> Option<f64> {
        if !self.recent.take(look, 6) {
            return None;
        }
        Some(self.fit.chance(&self.fit.inputs(&Self::lines(&self.recent)?)))
    }

    fn low_now(&self) -> bool {
        self.recent.low_now()
    }
}
