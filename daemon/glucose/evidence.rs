//! What the series shows about a low ahead, as a row of numbers: what the learned hazard is asked with.
//!
//! All levels are counted from the limit, so that one table serves every limit. A number that is not known is
//! NaN, which every tree of the table sends to the left.

use super::dynamics::{BLOOD, Nature, RATE, SIZE};
use super::habit::{Habit, near};
use super::kalman::Belief;
use crate::words::{Moment, Reading, Value};

macro_rules! evidence {
    ($($(#[doc = $doc:literal])* $place:ident,)*) => {
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        #[repr(usize)]
        enum Place { $($place,)* }

        /// What each number of a row is, in order.
        pub const NAMES: &[&str] = &[$(concat!($($doc),*),)*];
    };
}

evidence! {
    /// blood estimate over the limit
    Above,
    /// doubt of the blood estimate
    BloodDoubt,
    /// rate of blood per minute
    Rate,
    /// doubt of the rate
    RateDoubt,
    /// expected blood over the limit in 30 min
    In30,
    /// the same in deviations
    Reach30,
    /// expected blood over the limit in 60 min
    In60,
    /// the same in deviations
    Reach60,
    /// newest reading over the limit
    Raw,
    /// age of the newest reading, minutes
    Age,
    /// change per minute over the last 15 min
    Slope15,
    /// change per minute over the last 30 min
    Slope30,
    /// change per minute over the last hour
    Slope60,
    /// change per minute over the last two hours
    Slope120,
    /// how the last 15 min differ from those before, per minute
    Bend15,
    /// how the last 30 min differ from those before, per minute
    Bend30,
    /// lowest of two hours over the limit
    Low2,
    /// lowest of six hours over the limit
    Low6,
    /// lowest of a day over the limit
    Low24,
    /// highest of six hours over the limit
    High6,
    /// mean of six hours over the limit
    Mean6,
    /// mean of a day over the limit
    Mean24,
    /// share of a day within 10 mg/dL of the limit or under
    Near24,
    /// mean of the lowest readings of the last days over the limit
    DayLows,
    /// lowest reading of the last days over the limit
    DayLowest,
    /// hours since the last dose
    Dose,
    /// hours since the dose before
    DoseBefore,
    /// usual change after a dose in 30 min
    Shape30,
    /// usual change after a dose in 60 min
    Shape60,
    /// usual change after a dose in 90 min
    Shape90,
    /// spread of the usual change after a dose
    ShapeSpread,
    /// weight of the usual change after a dose
    ShapeWeight,
    /// usual change at this time of day in 60 min
    Clock60,
    /// weight of the usual change at this time of day
    ClockWeight,
    /// change in 60 min this time yesterday
    Yesterday60,
    /// lowest change within 90 min this time yesterday
    YesterdayLeast,
    /// change in 60 min half a day ago
    HalfDay60,
    /// unrest of the readings of six hours
    Unrest,
    /// hours since the sensor was put on
    Wear,
    /// hours since a reading within 5 mg/dL of the limit or under
    SinceNear,
    /// expected blood in 60 min with the usual change
    Shaped60,
    /// expected blood in 90 min with the usual change
    Shaped90,
    /// the limit
    Limit,
    /// how badly the cat is foreseen
    Surprise,
    /// factor on the sensor's noise
    Noise,
}

/// The numbers outside of whose learned range nothing learned may speak. Any other number may lie further out than
/// any that was learned from: a tree answers it as it answers the furthest it knows.
pub(crate) const CORE: [usize; 8] = [
    Place::Above as usize,
    Place::BloodDoubt as usize,
    Place::Rate as usize,
    Place::RateDoubt as usize,
    Place::Raw as usize,
    Place::Age as usize,
    Place::Slope15 as usize,
    Place::Limit as usize,
];

/// How many numbers a row has.
pub const COUNT: usize = NAMES.len();

/// What is known of a cat, as far as a row needs it.
pub(crate) struct Known<'a> {
    pub(crate) ring: &'a [Reading],
    /// The sensor's range, mg/dL.
    pub(crate) range: [f64; 2],
    pub(crate) doses: &'a [Moment],
    pub(crate) wears: &'a [Moment],
    pub(crate) habit: &'a Habit,
    pub(crate) nature: &'a Nature,
    /// See the tracker's field of that name.
    pub(crate) surprise: f64,
    /// Factor on the sensor's noise, as fitted.
    pub(crate) noise: f64,
    /// The belief at `now`.
    pub(crate) belief: Belief<SIZE>,
}

/// One row of numbers in the order of [`NAMES`]; all NaN without readings.
#[must_use]
pub(crate) fn row(known: &Known<'_>, limit: f64, now: Moment) -> [f64; COUNT] {
    let mut row = [f64::NAN; COUNT];
    let Some(newest) = known.ring.last() else { return row };
    let (at, raw) = (newest.measured_at, number(newest.value, known.range));
    let mut put = |place: Place, value: f64| row[place as usize] = value;
    filter(known, limit, now, &mut put);
    put(Place::Raw, raw - limit);
    // The cats that were learned from were looked at a minute after each reading; there is nothing in that minute.
    put(Place::Age, now.minutes_since(at).max(1.0));
    put(Place::Limit, limit);
    put(Place::Surprise, known.surprise);
    put(Place::Noise, known.noise);
    slopes(known, at, raw, &mut put);
    levels(known, at, limit, &mut put);
    if let Some((mean, least)) = known.habit.day_lows() {
        put(Place::DayLows, mean - limit);
        put(Place::DayLowest, least - limit);
    }
    cycle(known, limit, at, now, &mut put);
    row
}

/// What the filter says.
fn filter(known: &Known<'_>, limit: f64, now: Moment, put: &mut impl FnMut(Place, f64)) {
    let belief = &known.belief;
    let deviation = |belief: &Belief<SIZE>, place: usize| belief.covariance[(place, place)].max(0.0).sqrt();
    put(Place::Above, belief.mean[BLOOD] - limit);
    put(Place::BloodDoubt, deviation(belief, BLOOD));
    put(Place::Rate, belief.mean[RATE]);
    put(Place::RateDoubt, deviation(belief, RATE));
    for (span, mean, reach) in [(30.0, Place::In30, Place::Reach30), (60.0, Place::In60, Place::Reach60)] {
        let drift = known.habit.usual(known.doses, now).drift(belief.mean[BLOOD]);
        let then = belief.after(&known.nature.step(span, [belief.mean[BLOOD], belief.mean[RATE]], drift));
        put(mean, then.mean[BLOOD] - limit);
        put(reach, (then.mean[BLOOD] - limit) / deviation(&then, BLOOD).max(1.0));
    }
}

/// How the readings have moved.
fn slopes(known: &Known<'_>, at: Moment, raw: f64, put: &mut impl FnMut(Place, f64)) {
    let back = |span: f64| near(known.ring, at, -span, known.range).unwrap_or(f64::NAN);
    let (b15, b30, b60) = (back(15.0), back(30.0), back(60.0));
    put(Place::Slope15, (raw - b15) / 15.0);
    put(Place::Slope30, (raw - b30) / 30.0);
    put(Place::Slope60, (raw - b60) / 60.0);
    put(Place::Slope120, (raw - back(120.0)) / 120.0);
    put(Place::Bend15, (raw - 2.0 * b15 + b30) / 15.0);
    put(Place::Bend30, (raw - 2.0 * b30 + b60) / 30.0);
}

/// How low and high the readings have been.
fn levels(known: &Known<'_>, at: Moment, limit: f64, put: &mut impl FnMut(Place, f64)) {
    let ring = known.ring;
    let number = |value| number(value, known.range);
    let since =
        |hours: f64| &ring[ring.partition_point(|r| at.minutes_since(r.measured_at) > hours * 60.0)..];
    let low = |part: &[Reading]| part.iter().map(|r| number(r.value)).fold(f64::INFINITY, f64::min);
    let mean = |part: &[Reading]| part.iter().map(|r| number(r.value)).sum::<f64>() / part.len() as f64;
    let (six, day) = (since(6.0), since(24.0));
    put(Place::Low2, low(since(2.0)) - limit);
    put(Place::Low6, low(six) - limit);
    put(Place::Low24, low(day) - limit);
    put(Place::High6, six.iter().map(|r| number(r.value)).fold(0.0, f64::max) - limit);
    put(Place::Mean6, mean(six) - limit);
    put(Place::Mean24, mean(day) - limit);
    let close = day.iter().filter(|r| number(r.value) < limit + 10.0).count();
    put(Place::Near24, close as f64 / day.len() as f64);
    let turns = six.windows(3).map(|w| {
        let [a, b, c] = [number(w[0].value), number(w[1].value), number(w[2].value)];
        (c - 2.0 * b + a).abs() / (b + 50.0)
    });
    put(Place::Unrest, turns.sum::<f64>() / six.len().max(3) as f64);
    let close = ring.iter().rev().find(|r| number(r.value) < limit + 5.0);
    put(Place::SinceNear, close.map_or(60.0, |r| at.minutes_since(r.measured_at) / 60.0));
}

/// Where in the cycle it is, and what the cat usually does there.
fn cycle(known: &Known<'_>, limit: f64, at: Moment, now: Moment, put: &mut impl FnMut(Place, f64)) {
    let mut given = known.doses.iter().rev().filter(|dose| **dose <= now);
    for place in [Place::Dose, Place::DoseBefore] {
        if let Some(dose) = given.next() {
            put(place, (now.minutes_since(*dose) / 60.0).min(48.0));
        }
    }
    let level = known.belief.mean[BLOOD].clamp(20.0, 600.0);
    let usual = known.habit.after_dose(known.doses, now);
    let clock = known.habit.at_time_of_day(now);
    let change = usual.changes.map(|change| level * change.exp_m1());
    put(Place::Shape30, change[0]);
    put(Place::Shape60, change[1]);
    put(Place::Shape90, change[2]);
    put(Place::ShapeSpread, level * usual.spread);
    put(Place::ShapeWeight, usual.weight);
    put(Place::Clock60, level * clock.changes[1].exp_m1());
    put(Place::ClockWeight, clock.weight);
    let better = if usual.weight > 0.0 { usual } else { clock };
    put(Place::Shaped60, level * better.changes[1].exp() - limit);
    put(Place::Shaped90, level * better.changes[2].exp() - limit);
    let then = |ago: f64, span: f64| near(known.ring, at, span - ago, known.range);
    if let Some(from) = then(1440.0, 0.0) {
        put(Place::Yesterday60, then(1440.0, 60.0).map_or(f64::NAN, |to| to - from));
        let first = known.ring.partition_point(|r| at.minutes_since(r.measured_at) > 1440.0);
        let next = known.ring[first..].iter().take_while(|r| at.minutes_since(r.measured_at) >= 1350.0);
        put(Place::YesterdayLeast, next.map(|r| number(r.value, known.range) - from).fold(0.0, f64::min));
    }
    if let Some((from, to)) = then(720.0, 0.0).zip(then(720.0, 60.0)) {
        put(Place::HalfDay60, to - from);
    }
    let worn = known.wears.iter().rev().find(|wear| **wear <= now);
    put(Place::Wear, worn.map_or(f64::NAN, |wear| now.minutes_since(*wear) / 60.0));
}

/// A value as a number: out of the sensor's range becomes one a little outside of it, mg/dL.
pub(crate) fn number(value: Value, range: [f64; 2]) -> f64 {
    match value {
        Value::Below => range[0] - 3.0,
        Value::Level(level) => level,
        Value::Above => range[1] + 5.0,
    }
}
