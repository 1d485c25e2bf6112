//! Readings that cannot be what they seem: a stuck value, one reading far off its neighbours, a dip from lying on
//! the sensor, scatter far over what glucose can do.
//!
//! In: readings, oldest first. Out: what is wrong with the newest ones, if something is. It only points: a low is
//! believed all the same, and whoever tells of it says that it may be the sensor. All limits are chosen by us: no
//! published limits for cats were found; rates beyond 4 mg/dL per minute are at the edge of the rate error grid
//! for people (Kovatchev et al., Diabetes Care 2004;27:1922).

use serde::{Deserialize, Serialize};

use super::evidence::number;
use crate::words::{Moment, Reading, Value};

/// Readings that cannot be what they seem.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "artefact", rename_all = "kebab-case")]
pub enum Artefact {
    /// A short deep dip: the cat may be lying on the sensor.
    Pressure {
        /// First reading of the dip.
        since: Moment,
    },
    /// One reading far off its neighbours.
    Spike {
        /// That reading.
        at: Moment,
    },
    /// The same value over and over.
    Stuck {
        /// First of the equal readings.
        since: Moment,
    },
    /// Readings scatter far more than glucose can.
    Noisy {
        /// Since when.
        since: Moment,
    },
}

/// So many equal readings are no chance: at the usual noise two neighbours are equal one time in ten.
const STUCK_COUNT: usize = 9;
/// A dip falls by at least this share of the level within half an hour ...
const DIP_SHARE: f64 = 0.3;
/// ... and faster than this, mg/dL per minute ...
const DIP_RATE: f64 = 2.0;
/// ... out of a level that was not falling faster than this, mg/dL per minute.
const CALM_RATE: f64 = 0.7;
/// A dip that lasts longer than this is not the cat's weight.
const DIP_MINUTES_MAX: f64 = 75.0;
/// A spike stands off both neighbours by this share, and by so many mg/dL.
const SPIKE: (f64, f64) = (0.25, 25.0);
/// Mean bend of three readings, as a share of the level, of a sensor that has lost its way.
const NOISY_SHARE: f64 = 0.16;
/// Readings it is judged by: three hours at one in 15 minutes.
const NOISY_COUNT: usize = 12;
/// Neighbours lie within this, minutes.
const NEIGHBOURS: f64 = 25.0;

/// What is wrong with the newest of `ring` (oldest first), if something is.
#[must_use]
pub fn artefact(ring: &[Reading]) -> Option<Artefact> {
    stuck(ring).or_else(|| noisy(ring)).or_else(|| spike(ring)).or_else(|| dip(ring))
}

fn stuck(ring: &[Reading]) -> Option<Artefact> {
    let Value::Level(level) = ring.last()?.value else { return None };
    let equal = ring.iter().rev().take_while(|reading| reading.value == Value::Level(level)).count();
    (equal >= STUCK_COUNT).then(|| Artefact::Stuck { since: ring[ring.len() - equal].measured_at })
}

fn noisy(ring: &[Reading]) -> Option<Artefact> {
    let part = ring.get(ring.len().checked_sub(NOISY_COUNT)?..)?;
    let span = part.last()?.measured_at.minutes_since(part.first()?.measured_at);
    if span > NEIGHBOURS * NOISY_COUNT as f64 {
        return None;
    }
    let mut bends: Vec<f64> = part
        .windows(3)
        .map(|w| {
            let [a, b, c] = [number(w[0].value), number(w[1].value), number(w[2].value)];
            (c - 2.0 * b + a).abs() / (a + b + c) * 1.5
        })
        .collect();
    // The median, so that one spike or one dip does not condemn the rest.
    bends.sort_by(f64::total_cmp);
    let median = bends[bends.len() / 2];
    (median > NOISY_SHARE).then(|| Artefact::Noisy { since: part[0].measured_at })
}

/// A dip that is still on: the newest reading lies far under one that was followed by an impossible fall.
fn dip(ring: &[Reading]) -> Option<Artefact> {
    let newest = ring.last()?;
    let low = number(newest.value);
    for place in (1..ring.len()).rev() {
        let (before, first) = (ring.get(place - 1)?, ring.get(place)?);
        if newest.measured_at.minutes_since(first.measured_at) > DIP_MINUTES_MAX {
            return None;
        }
        let (from, to) = (number(before.value), number(first.value));
        let span = first.measured_at.minutes_since(before.measured_at);
        let sudden =
            span <= 2.0 * NEIGHBOURS && from - to > DIP_SHARE * from && (from - to) / span > DIP_RATE;
        if !sudden {
            continue;
        }
        let calm = place.checked_sub(2).and_then(|k| ring.get(k)).is_none_or(|earlier| {
            let span = before.measured_at.minutes_since(earlier.measured_at);
            span > 2.0 * NEIGHBOURS || (number(earlier.value) - from) / span < CALM_RATE
        });
        return (calm && low < (1.0 - 0.7 * DIP_SHARE) * from)
            .then_some(Artefact::Pressure { since: first.measured_at });
    }
    None
}

/// The last but one reading stands alone.
fn spike(ring: &[Reading]) -> Option<Artefact> {
    let [a, b, c] = ring.get(ring.len().checked_sub(3)?..)? else { return None };
    let near = |x: &Reading, y: &Reading| y.measured_at.minutes_since(x.measured_at) <= NEIGHBOURS;
    let (before, middle, after) = (number(a.value), number(b.value), number(c.value));
    let off = |side: f64| middle - side;
    let far = |side: f64| off(side).abs() > (SPIKE.0 * side).max(SPIKE.1);
    let alone = near(a, b) && near(b, c) && far(before) && far(after) && off(before) * off(after) > 0.0;
    alone.then_some(Artefact::Spike { at: b.measured_at })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{ReadingKind, minutes};

    fn series(values: &[f64]) -> Vec<Reading> {
        let start = Moment::parse("2026-03-01T06:00:00Z").unwrap();
        let reading = |(k, value): (usize, &f64)| Reading {
            measured_at: start + minutes(15.0 * k as f64),
            value: if *value < 40.0 { Value::Below } else { Value::Level(*value) },
            kind: ReadingKind::History,
        };
        values.iter().enumerate().map(reading).collect()
    }

    #[test]
    fn a_stuck_value_is_seen_and_below_range_is_not_stuck() {
        let stuck = series(&[150.0, 144.0, 144.0, 144.0, 144.0, 144.0, 144.0, 144.0, 144.0, 144.0]);
        assert_eq!(artefact(&stuck), Some(Artefact::Stuck { since: stuck[1].measured_at }));
        assert_eq!(artefact(&series(&[60.0, 51.0, 39.0, 39.0, 39.0, 39.0, 39.0, 39.0, 39.0, 39.0])), None);
    }

    #[test]
    fn a_dip_out_of_calm_is_seen_while_it_lasts_and_a_steady_fall_is_not_one() {
        let dip = series(&[180.0, 178.0, 181.0, 102.0, 98.0]);
        assert_eq!(artefact(&dip), Some(Artefact::Pressure { since: dip[3].measured_at }));
        assert_eq!(artefact(&series(&[180.0, 178.0, 181.0, 102.0, 98.0, 171.0, 176.0])), None);
        assert_eq!(artefact(&series(&[250.0, 220.0, 190.0, 160.0, 130.0, 100.0, 72.0])), None);
        assert_eq!(
            artefact(&series(&[180.0, 178.0, 181.0, 102.0, 98.0, 95.0, 93.0, 96.0, 92.0, 90.0])),
            None
        );
    }

    #[test]
    fn one_reading_far_off_is_a_spike() {
        let spike = series(&[120.0, 122.0, 175.0, 121.0]);
        assert_eq!(artefact(&spike), Some(Artefact::Spike { at: spike[2].measured_at }));
        assert_eq!(artefact(&series(&[120.0, 122.0, 135.0, 121.0])), None);
    }

    #[test]
    fn a_sensor_that_scatters_is_noisy() {
        let wild: Vec<f64> = (0..14).map(|k| if k % 2 == 0 { 130.0 } else { 185.0 }).collect();
        assert!(matches!(artefact(&series(&wild)), Some(Artefact::Noisy { .. })));
        let steady: Vec<f64> = (0..14).map(|k| 150.0 + f64::from(k % 3)).collect();
        assert_eq!(artefact(&series(&steady)), None);
        assert_eq!(artefact(&[]), None);
    }
}
