//! What one reading of the sensor, and one meter check, teaches about the state.
//!
//! In: a belief and a value. Out: the belief after it. A reading is (1 + gain error) fluid + wandering error + grain; a
//! meter check is blood + the meter's own error.

use nalgebra::RowSVector;
use serde::{Deserialize, Serialize};

use super::dynamics::{BLOOD, GAIN, GAIN_MINUTES, INTERSTITIAL, Nature, SIZE, WANDER};
use super::kalman::{Belief, Learned, Side, Sight};
use crate::words::{MeterKind, Moment, Value};

/// A meter check as the filter uses it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Check {
    pub(crate) at: Moment,
    pub(crate) value: Value,
    pub(crate) meter: MeterKind,
}

/// How a reading shows the state.
pub(crate) fn sight(nature: &Nature, prior: &Belief<SIZE>) -> Sight<SIZE> {
    let (fluid, gain) = (prior.mean[INTERSTITIAL], 1.0 + prior.mean[GAIN]);
    let spread = nature.wander_spread_at(fluid);
    let mut row = RowSVector::<f64, SIZE>::zeros();
    row[INTERSTITIAL] = gain;
    row[WANDER] = spread;
    row[GAIN] = fluid;
    // Readings alone cannot tell a wrong gain from another level: only meter checks teach it.
    let mut learns = [1.0; SIZE];
    learns[GAIN] = 0.0;
    let expected = fluid * gain + spread * prior.mean[WANDER];
    Sight { row, expected, noise: nature.grain_variance(fluid), learns }
}

/// What one reading of a sensor of that `range` (mg/dL) teaches.
pub(crate) fn read(nature: &Nature, range: [f64; 2], prior: &Belief<SIZE>, value: Value) -> Learned<SIZE> {
    read_up_to(FAR_OFF, nature, range, prior, value)
}

/// The same of a reading that is doubted.
pub(crate) fn hardly_read(
    nature: &Nature,
    range: [f64; 2],
    prior: &Belief<SIZE>,
    value: Value,
) -> Belief<SIZE> {
    read_up_to(DOUBTED, nature, range, prior, value).belief
}

fn read_up_to(
    most: f64,
    nature: &Nature,
    range: [f64; 2],
    prior: &Belief<SIZE>,
    value: Value,
) -> Learned<SIZE> {
    let sight = sight(nature, prior);
    let bounded = |side: Side, bound: f64| {
        let outside = if side == Side::Over { sight.expected < bound } else { sight.expected > bound };
        let sight = if outside { tempered(prior, sight, bound, most) } else { sight };
        prior.bounded(&sight, bound, side)
    };
    let learned = match value {
        Value::Level(level) if level > range[0] && level < range[1] => {
            prior.seen(&tempered(prior, sight, level, most), level)
        }
        Value::Level(level) if level >= range[1] => bounded(Side::Over, range[1]),
        Value::Above => bounded(Side::Over, range[1]),
        Value::Below | Value::Level(_) => bounded(Side::Under, range[0]),
    };
    Learned { belief: within_life(range, &learned.belief), ..learned }
}

/// The same belief, cut at what blood holds in a living cat. A reading out of range does not say how far out: without
/// this, each further one pushes blood on, and the rate with it, into what no cat survives.
pub(crate) fn within_life(range: [f64; 2], belief: &Belief<SIZE>) -> Belief<SIZE> {
    let least = LIFE[0].min(0.5 * range[0]);
    let most = LIFE[1].max(1.4 * range[1]);
    cut(&cut(belief, least, Side::Over), most, Side::Under)
}

/// The belief that blood lies on one side of a bound. It says nothing of the sensor's gain.
fn cut(belief: &Belief<SIZE>, bound: f64, side: Side) -> Belief<SIZE> {
    let deviation = belief.covariance[(BLOOD, BLOOD)].max(1e-9).sqrt();
    let inside = (belief.mean[BLOOD] - bound) * if side == Side::Over { 1.0 } else { -1.0 };
    if inside > PLAIN * deviation {
        return *belief;
    }
    let mut row = RowSVector::<f64, SIZE>::zeros();
    row[BLOOD] = 1.0;
    let mut learns = [1.0; SIZE];
    learns[GAIN] = 0.0;
    let sight = Sight { row, expected: belief.mean[BLOOD], noise: 0.0, learns };
    belief.bounded(&sight, bound, side).belief
}

/// What blood holds in a living cat, mg/dL. Chosen by us: hand meters end at about 20 and 600, and nothing further out
/// would make anybody act otherwise.
const LIFE: [f64; 2] = [15.0, 700.0];

/// An interval that reaches past what a living cat's blood holds, moved inside as wide as it is, mg/dL. Carried straight on for
/// hours, a fall ends far under it.
pub(crate) fn survivable([from, to]: [f64; 2]) -> [f64; 2] {
    let by = (LIFE[0] - from).max(0.0) - (to - LIFE[1]).max(0.0);
    [from, to].map(|end| (end + by).clamp(LIFE[0], LIFE[1]))
}

/// So many deviations inside of a bound, cutting there changes nothing.
const PLAIN: f64 = 6.0;

/// A reading off by more than `most` deviations is believed only so far: its noise is raised until it is off by that
/// much. One spike or dip then moves the estimate a little.
fn tempered(belief: &Belief<SIZE>, sight: Sight<SIZE>, value: f64, most: f64) -> Sight<SIZE> {
    let variance = (sight.row * belief.covariance * sight.row.transpose()).x + sight.noise;
    let wanted = ((value - sight.expected) / most).powi(2);
    Sight { noise: sight.noise + (wanted - variance).max(0.0), ..sight }
}

/// So many deviations off, a reading is doubted ...
pub(crate) const FAR_OFF: f64 = 6.0;
/// ... and moves the estimate no more than one that is so many off. Both chosen by us.
const DOUBTED: f64 = 2.0;

/// What a meter check teaches. A meter that shows less or more than it can read gives a bound, which says nothing of the
/// sensor's gain.
///
/// A check far from what was expected teaches the gain less, by the square of how far ([`FAR`]): it may be a slip of the
/// hand. And people check when the sensor looks low, when it is likelier than at other times to read too low for the moment, the
/// cat lying on it for one. So one that finds blood higher there tells more often of an error that passes than of the gain
/// that stays for the wear, and teaches the gain less already where it is not so far off. Blood is taken from it in full.
pub(crate) fn checked(belief: &Belief<SIZE>, check: &Check) -> Belief<SIZE> {
    // A whole-blood meter reads lower than the plasma the sensor is made for, by how much in a cat nobody has told:
    // its checks are shown, never reckoned with.
    if check.meter == MeterKind::WholeBlood {
        return *belief;
    }
    let mut row = RowSVector::<f64, SIZE>::zeros();
    row[BLOOD] = 1.0;
    let bounded = |bound: f64, side: Side| {
        let mut learns = [1.0; SIZE];
        learns[GAIN] = 0.0;
        let noise = check_deviation(check, bound).powi(2);
        belief.bounded(&Sight { row, expected: belief.mean[BLOOD], noise, learns }, bound, side).belief
    };
    match check.value {
        Value::Level(level) => {
            let (expected, noise) = (belief.mean[BLOOD], check_deviation(check, level).powi(2));
            let off = (level - expected).abs() / (belief.covariance[(BLOOD, BLOOD)] + noise).sqrt();
            let far = if expected < LOOKS_LOW && level > expected { FAR_OVER_A_LOW } else { FAR };
            let mut learns = [1.0; SIZE];
            learns[GAIN] = (far / off.max(far)).powi(2);
            belief.seen(&Sight { row, expected, noise, learns }, level).belief
        }
        Value::Below => bounded(METER_RANGE[0], Side::Under),
        Value::Above => bounded(METER_RANGE[1], Side::Over),
    }
}

/// From so many deviations on a check teaches the gain less ...
const FAR: f64 = 2.5;
/// ... from so many if it finds blood over an estimate that looks low ...
const FAR_OVER_A_LOW: f64 = 1.0;
/// ... which is one under this, mg/dL. All chosen on training cats whose household checks daily or when it is told of a low, with
/// sensors of two qualities (`docs/estimate.md`).
const LOOKS_LOW: f64 = 90.0;
/// The least and the most that a hand meter shows, mg/dL: 20 and 600 are usual; chosen by us.
pub(crate) const METER_RANGE: [f64; 2] = [20.0, 600.0];

/// After a long gap the sensor is still the same one: what was taught of its gain fades, and its doubt grows to that of
/// `belief`, of which nothing was taught.
pub(crate) fn keep_gain(belief: &mut Belief<SIZE>, last: &Belief<SIZE>, gap_minutes: f64) {
    let keep = (-gap_minutes / GAIN_MINUTES).exp();
    let known = (belief.covariance[(GAIN, GAIN)] - last.covariance[(GAIN, GAIN)]).max(0.0);
    belief.mean[GAIN] = keep * last.mean[GAIN];
    belief.covariance[(GAIN, GAIN)] -= keep * keep * known;
}

/// Log likelihood of a reading in range, before it comes, without the constant; `None` for one out of range.
pub(crate) fn likelihood(
    nature: &Nature,
    range: [f64; 2],
    prior: &Belief<SIZE>,
    value: Value,
) -> Option<f64> {
    let level = value.level().filter(|level| *level > range[0] && *level < range[1])?;
    let sight = sight(nature, prior);
    let variance = (sight.row * prior.covariance * sight.row.transpose()).x + sight.noise;
    Some(-0.5 * ((level - sight.expected).powi(2) / variance + variance.ln()))
}

/// The same of a meter check; `None` for one that teaches nothing.
pub(crate) fn check_likelihood(prior: &Belief<SIZE>, check: &Check) -> Option<f64> {
    let level = check.value.level().filter(|_| check.meter != MeterKind::WholeBlood)?;
    let variance = prior.covariance[(BLOOD, BLOOD)] + check_deviation(check, level).powi(2);
    Some(-0.5 * ((level - prior.mean[BLOOD]).powi(2) / variance + variance.ln()))
}

/// ISO 15197:2013 lets a hand meter be 15 mg/dL or 15 % off in one case of 20: about 1.96 deviations. Meters that are
/// not made for cats get twice the spread.
fn check_deviation(check: &Check, level: f64) -> f64 {
    let doubt = if check.meter == MeterKind::Pet { 1.0 } else { 2.0 };
    doubt * (15.0_f64).max(0.15 * level) / 1.96
}
