//! The figures of a stretch of time: lowest, highest, mean, time below, inside and above the plan's range, and how
//! many of the readings that were due are held. Readings come in; numbers in mg/dL and minutes go out.
//!
//! Everything is weighted by time along straight lines between neighbouring readings (the trapezoidal rule). Nothing
//! is bridged over a gap: time without readings counts nowhere. What the sensor could not read stands at the end of
//! its range, and the mean then says that it is a bound.

use crate::watch::completeness;
use crate::words::{Moment, Reading, SensorSettings, Value};

/// How far a mean can be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// All of it was read.
    Exact,
    /// Some was below the sensor's range: the true one is lower.
    AtMost,
    /// Some was above the sensor's range: the true one is higher.
    AtLeast,
    /// Both.
    About,
}

impl Bound {
    /// The word used in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Exact => "exact",
            Self::AtMost => "at-most",
            Self::AtLeast => "at-least",
            Self::About => "about",
        }
    }
}

/// What a stretch of time comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// It begins.
    pub from: Moment,
    /// It ends.
    pub until: Moment,
    /// Share of the readings that were due that are held, 0 to 1.
    pub held: f64,
    /// The lowest reading, the first of them.
    pub lowest: Option<Reading>,
    /// The highest reading, the first of them.
    pub highest: Option<Reading>,
    /// Mean by time, mg/dL, and how far it can be trusted; `None` without two neighbouring readings.
    pub mean: Option<(f64, Bound)>,
    /// Minutes below the plan's low.
    pub below_minutes: f64,
    /// Minutes inside the plan's range.
    pub inside_minutes: f64,
    /// Minutes above the plan's high; none if the plan gives no high.
    pub above_minutes: f64,
}

/// The plan's range, mg/dL.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Under this it is low.
    pub low: f64,
    /// Over this it is high.
    pub high: Option<f64>,
}

/// The figures of the readings from `from` to `until`, both ends included: the reading at which one cycle ends is
/// also the one at which the next begins.
///
/// `readings` are rising in time.
#[must_use]
pub fn figures(
    readings: &[Reading],
    from: Moment,
    until: Moment,
    range: Range,
    sensor: &SensorSettings,
) -> Figures {
    let inside: Vec<Reading> =
        readings.iter().filter(|r| r.measured_at >= from && r.measured_at <= until).copied().collect();
    let mut figures = Figures {
        from,
        until,
        held: completeness(readings, from, until, sensor.sample_minutes),
        lowest: first_by(&inside, |a, b| level(a, sensor) < level(b, sensor)),
        highest: first_by(&inside, |a, b| level(a, sensor) > level(b, sensor)),
        mean: None,
        below_minutes: 0.0,
        inside_minutes: 0.0,
        above_minutes: 0.0,
    };
    let (mut area, mut time) = (0.0, 0.0);
    for piece in pieces(&inside, sensor.sample_minutes) {
        for pair in piece.windows(2) {
            let minutes = pair[1].measured_at.minutes_since(pair[0].measured_at);
            let (a, b) = (level(&pair[0], sensor), level(&pair[1], sensor));
            area += minutes * (a + b) / 2.0;
            time += minutes;
            let below = share_under(a, b, range.low) * minutes;
            let above = range.high.map_or(0.0, |high| (1.0 - share_under(a, b, high)) * minutes);
            figures.below_minutes += below;
            figures.above_minutes += above;
            figures.inside_minutes += minutes - below - above;
        }
    }
    let bound = match (
        inside.iter().any(|r| r.value == Value::Below),
        inside.iter().any(|r| r.value == Value::Above),
    ) {
        (false, false) => Bound::Exact,
        (true, false) => Bound::AtMost,
        (false, true) => Bound::AtLeast,
        (true, true) => Bound::About,
    };
    figures.mean = (time > 0.0).then(|| (area / time, bound));
    figures
}

/// A reading as a level in mg/dL; what is out of range stands at the range's end.
#[must_use]
pub(super) fn level(reading: &Reading, sensor: &SensorSettings) -> f64 {
    match reading.value {
        Value::Level(mg_dl) => mg_dl,
        Value::Below => sensor.range[0],
        Value::Above => sensor.range[1],
    }
}

/// The readings in pieces without a gap: two readings further apart than two and a half samples are not neighbours.
pub(super) fn pieces(readings: &[Reading], sample_minutes: f64) -> Vec<&[Reading]> {
    let near = |a: &Reading, b: &Reading| b.measured_at.minutes_since(a.measured_at) <= 2.5 * sample_minutes;
    readings.chunk_by(near).collect()
}

fn first_by(readings: &[Reading], better: impl Fn(&Reading, &Reading) -> bool) -> Option<Reading> {
    let mut best: Option<Reading> = None;
    for reading in readings {
        if best.is_none_or(|best| better(reading, &best)) {
            best = Some(*reading);
        }
    }
    best
}

/// The share of a straight line from `a` to `b` that lies under `limit`, 0 to 1.
fn share_under(a: f64, b: f64, limit: f64) -> f64 {
    let (low, high) = (a.min(b), a.max(b));
    if high < limit {
        return 1.0;
    }
    if low >= limit {
        return 0.0;
    }
    (limit - low) / (high - low)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{ReadingKind, minutes};
    use proptest::prelude::*;

    fn reading(hours: f64, value: Value) -> Reading {
        let measured_at = Moment::from_millis(0) + minutes(hours * 60.0);
        Reading { measured_at, value, kind: ReadingKind::History }
    }

    fn sensor(sample_minutes: f64) -> SensorSettings {
        SensorSettings { sample_minutes, ..SensorSettings::default() }
    }

    const WORKED: [(f64, f64); 7] =
        [(0.0, 320.0), (2.0, 250.0), (4.0, 160.0), (6.0, 95.0), (8.0, 110.0), (10.0, 190.0), (12.0, 290.0)];

    fn at(hours: f64) -> Moment {
        Moment::from_millis(0) + minutes(hours * 60.0)
    }

    /// A curve with a value every two hours, worked by hand: the trapezoids are 570, 410, 255, 205, 300 and 480 mg/dL
    /// hours, together 2220 in 12 h, so 185. It goes under 200 at 2 + 2 * 50/90 = 3.111 h and over it again at
    /// 10 + 2 * 10/100 = 10.2 h: 7.0889 h. Under 256 (80 % of the first value) from 2 * 64/70 = 1.8286 h to
    /// 10 + 2 * 66/100 = 11.32 h: 9.4914 h.
    #[test]
    fn a_curve_comes_to_what_it_comes_to_by_hand() {
        let readings: Vec<Reading> = WORKED.iter().map(|(h, v)| reading(*h, Value::Level(*v))).collect();
        let range = Range { low: 200.0, high: Some(256.0) };
        let found = figures(&readings, at(0.0), at(12.0), range, &sensor(120.0));
        assert_eq!(found.mean, Some((185.0, Bound::Exact)));
        let lowest = found.lowest.unwrap();
        assert_eq!((lowest.value, lowest.measured_at), (Value::Level(95.0), at(6.0)));
        assert_eq!(found.highest.unwrap().value, Value::Level(320.0));
        assert!((found.below_minutes / 60.0 - 7.088_888_888_9).abs() < 1e-9, "{found:?}");
        assert!((found.above_minutes / 60.0 - (12.0 - 9.491_428_571_4)).abs() < 1e-9, "{found:?}");
        assert_eq!(found.held, 1.0);
    }

    #[test]
    fn a_gap_counts_nowhere_and_bounds_are_said() {
        let readings = [
            reading(0.0, Value::Level(100.0)),
            reading(0.25, Value::Below),
            // Six hours without anything.
            reading(6.25, Value::Level(300.0)),
            reading(6.5, Value::Level(300.0)),
        ];
        let range = Range { low: 70.0, high: Some(250.0) };
        let found = figures(&readings, at(0.0), at(8.0), range, &sensor(15.0));
        // (100 + 40) / 2 for a quarter of an hour, 300 for another.
        assert_eq!(found.mean, Some((185.0, Bound::AtMost)));
        assert!((found.below_minutes - 7.5).abs() < 1e-9 && found.above_minutes == 15.0, "{found:?}");
        assert_eq!(found.lowest.unwrap().value, Value::Below);
        assert_eq!(found.held, 4.0 / 32.0);
        let nothing = figures(&[], at(0.0), at(8.0), range, &sensor(15.0));
        assert_eq!((nothing.mean, nothing.lowest, nothing.held), (None, None, 0.0));
    }

    /// The same by brute force: a thousand points along each line.
    fn by_force(readings: &[Reading], limit: f64) -> (f64, f64) {
        let (mut sum, mut under, mut count) = (0.0, 0.0, 0.0);
        for pair in readings.windows(2) {
            let (a, b) = (pair[0].value.level().unwrap(), pair[1].value.level().unwrap());
            for step in 0..1000 {
                let value = a + (b - a) * (f64::from(step) + 0.5) / 1000.0;
                sum += value;
                count += 1.0;
                under += f64::from(u8::from(value < limit));
            }
        }
        (sum / count, under / count)
    }

    proptest! {
        #[test]
        fn mean_and_shares_agree_with_a_fine_sampling(values in prop::collection::vec(41.0_f64..499.0, 2..40)) {
            let readings: Vec<Reading> = values.iter().enumerate()
                .map(|(n, v)| reading(n as f64 * 0.25, Value::Level(*v))).collect();
            let until = readings.last().unwrap().measured_at;
            let range = Range { low: 150.0, high: None };
            let found = figures(&readings, at(0.0), until, range, &sensor(15.0));
            let (mean, under) = by_force(&readings, 150.0);
            let whole = until.minutes_since(at(0.0));
            prop_assert!((found.mean.unwrap().0 - mean).abs() < 1e-6);
            prop_assert!((found.below_minutes / whole - under).abs() < 2e-3);
            prop_assert!((found.below_minutes + found.inside_minutes - whole).abs() < 1e-6);
        }
    }
}
