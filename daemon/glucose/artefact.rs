//! Readings that cannot be what they seem: a stuck value, one reading far off its neighbours, a dip from lying on
//! the sensor, scatter far over what glucose can do.
//!
//! In: readings, oldest first, one a minute or one an hour. Out: what is wrong with the newest ones, if something is;
//! everything is judged by time, so that a quick stream is no more suspect than a slow one. It only points: a low is
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

/// So many equal readings are no chance: at the usual noise two neighbours are equal one time in ten ...
const STUCK_COUNT: usize = 9;
/// ... if they go on for so long, minutes, of a sensor that shows whole mg/dL. Both grow with the step in which it shows
/// levels: of one in 0.1 mmol/L calm readings repeat themselves for longer.
const STUCK_MINUTES: f64 = 120.0;
/// The widest step that is reckoned with, mg/dL: a stuck sensor must be found.
const STEP_MOST: f64 = 2.0;
/// What differs by less, mg/dL, is the same level, converted another way.
const SAME: f64 = 0.05;
/// So many steps must have been seen: a few values far apart are no grid.
const STEPS_LEAST: usize = 3;
/// Blood may go so far meanwhile, mg/dL for the square root of a minute, and at most.
const STUCK_SPREAD: f64 = 4.0;
const STUCK_SPREAD_MOST: f64 = 100.0;
/// A dip falls by at least this share of the level within half an hour ...
const DIP_SHARE: f64 = 0.3;
/// ... and faster than this, mg/dL per minute ...
const DIP_RATE: f64 = 2.0;
/// ... out of a level that was not falling faster than this, nor rising as fast as a dip falls, mg/dL per minute.
const CALM_RATE: f64 = 0.7;
/// A dip that lasts longer than this is not the cat's weight.
const DIP_MINUTES_MAX: f64 = 75.0;
/// A spike stands off both neighbours by this share, and by so many mg/dL.
const SPIKE: (f64, f64) = (0.25, 25.0);
/// Mean bend of three readings, as a share of the level, of a sensor that has lost its way.
const NOISY_SHARE: f64 = 0.16;
/// Readings it is judged by: three hours at one in 15 minutes.
const NOISY_COUNT: usize = 12;
/// Neighbours lie within this, minutes ...
const NEIGHBOURS: f64 = 25.0;
/// ... and a change is judged over at least this: one in 15 minutes, and the clocks of sensors.
const APART: f64 = 14.0;

/// What is wrong with the newest of `ring` (oldest first), if something is; of a sensor of that range, mg/dL.
#[must_use]
pub fn artefact(ring: &[Reading], range: [f64; 2]) -> Option<Artefact> {
    let seen = Seen { ring, range };
    stuck(ring).or_else(|| noisy(seen)).or_else(|| spike(seen)).or_else(|| dip(seen))
}

/// Readings, oldest first, as numbers.
#[derive(Clone, Copy)]
struct Seen<'a> {
    ring: &'a [Reading],
    range: [f64; 2],
}

impl Seen<'_> {
    fn level(&self, place: usize) -> f64 {
        number(self.ring[place].value, self.range)
    }
}

/// The last reading at least [`APART`] before the one at `place`.
fn before(ring: &[Reading], place: usize) -> Option<usize> {
    let at = ring.get(place)?.measured_at;
    ring[..place].iter().rposition(|reading| at.minutes_since(reading.measured_at) >= APART)
}

fn stuck(ring: &[Reading]) -> Option<Artefact> {
    stuck_since(ring).map(|since| Artefact::Stuck { since })
}

/// How far blood may be from the one value that the sensor shows, mg/dL: of what it did meanwhile nothing is known. Zero
/// unless the sensor is stuck.
pub(crate) fn stuck_spread(ring: &[Reading], at: Moment) -> f64 {
    let stuck = stuck_since(ring).map_or(0.0, |since| at.minutes_since(since).max(0.0));
    (STUCK_SPREAD * stuck.sqrt()).min(STUCK_SPREAD_MOST)
}

/// Since when the sensor shows one value only, if it does.
fn stuck_since(ring: &[Reading]) -> Option<Moment> {
    let newest = ring.last()?;
    let Value::Level(level) = newest.value else { return None };
    let equal = ring.iter().rev().take_while(|reading| reading.value == Value::Level(level)).count();
    let since = ring[ring.len() - equal].measured_at;
    let long = newest.measured_at.minutes_since(since);
    if equal < STUCK_COUNT || long < STUCK_MINUTES {
        return None;
    }
    let wide = step(&ring[..ring.len() - equal]);
    (long >= STUCK_MINUTES * wide && equal as f64 >= STUCK_COUNT as f64 * wide).then_some(since)
}

/// The step in which a sensor shows levels, mg/dL, by the least one between its readings: from one to [`STEP_MOST`].
fn step(ring: &[Reading]) -> f64 {
    let mut levels: Vec<f64> = ring.iter().filter_map(|reading| reading.value.level()).collect();
    levels.sort_by(f64::total_cmp);
    let steps: Vec<f64> = levels.windows(2).map(|two| two[1] - two[0]).filter(|step| *step > SAME).collect();
    let least = steps.iter().copied().fold(f64::INFINITY, f64::min);
    if steps.len() < STEPS_LEAST { 1.0 } else { least.clamp(1.0, STEP_MOST) }
}

fn noisy(seen: Seen<'_>) -> Option<Artefact> {
    let ring = seen.ring;
    let places = std::iter::successors(ring.len().checked_sub(1), |place| before(ring, *place));
    let part: Vec<usize> = places.take(NOISY_COUNT).collect();
    let oldest = ring[*part.last().filter(|_| part.len() == NOISY_COUNT)?].measured_at;
    if ring[part[0]].measured_at.minutes_since(oldest) > NEIGHBOURS * NOISY_COUNT as f64 {
        return None;
    }
    let mut bends: Vec<f64> = part
        .windows(3)
        .map(|w| {
            let [a, b, c] = [seen.level(w[0]), seen.level(w[1]), seen.level(w[2])];
            (c - 2.0 * b + a).abs() / (a + b + c) * 1.5
        })
        .collect();
    // The median, so that one spike or one dip does not condemn the rest.
    bends.sort_by(f64::total_cmp);
    let median = bends[bends.len() / 2];
    (median > NOISY_SHARE).then_some(Artefact::Noisy { since: oldest })
}

/// A dip that is still on: the newest reading lies far under one that was followed by an impossible fall. The first such
/// fall counts: further ones are the dip itself.
fn dip(seen: Seen<'_>) -> Option<Artefact> {
    let ring = seen.ring;
    let newest = ring.last()?;
    let from = ring
        .partition_point(|reading| newest.measured_at.minutes_since(reading.measured_at) > DIP_MINUTES_MAX);
    let (level, place) = (from..ring.len()).find_map(|place| Some((sudden(seen, place)?, place)))?;
    let down = seen.level(ring.len() - 1) < (1.0 - 0.7 * DIP_SHARE) * seen.level(level);
    (down && calm(seen, level)).then_some(Artefact::Pressure { since: ring[place].measured_at })
}

/// The place of the reading from which there was an impossible fall to that at `place`.
fn sudden(seen: Seen<'_>, place: usize) -> Option<usize> {
    let ring = seen.ring;
    let level = before(ring, place)?;
    let fall = seen.level(level) - seen.level(place);
    let span = ring[place].measured_at.minutes_since(ring[level].measured_at);
    let steep = fall > DIP_SHARE * seen.level(level) && fall / span > DIP_RATE;
    (span <= 2.0 * NEIGHBOURS && steep).then_some(level)
}

/// Whether the level was not falling already, nor a peak, as far as that is known.
fn calm(seen: Seen<'_>, level: usize) -> bool {
    let ring = seen.ring;
    before(ring, level).is_none_or(|earlier| {
        let span = ring[level].measured_at.minutes_since(ring[earlier].measured_at);
        let fall = seen.level(earlier) - seen.level(level);
        span > 2.0 * NEIGHBOURS || (-DIP_RATE..CALM_RATE).contains(&(fall / span))
    })
}

/// The last but one reading stands alone.
fn spike(seen: Seen<'_>) -> Option<Artefact> {
    let first = seen.ring.len().checked_sub(3)?;
    let [a, b, c] = &seen.ring[first..] else { return None };
    let near = |x: &Reading, y: &Reading| y.measured_at.minutes_since(x.measured_at) <= NEIGHBOURS;
    let (before, middle, after) = (seen.level(first), seen.level(first + 1), seen.level(first + 2));
    let off = |side: f64| middle - side;
    let far = |side: f64| off(side).abs() > (SPIKE.0 * side).max(SPIKE.1);
    let alone = near(a, b) && near(b, c) && far(before) && far(after) && off(before) * off(after) > 0.0;
    alone.then_some(Artefact::Spike { at: b.measured_at })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn artefact(ring: &[Reading]) -> Option<Artefact> {
        super::artefact(ring, [40.0, 500.0])
    }
    use crate::words::{ReadingKind, minutes};

    fn series(values: &[f64]) -> Vec<Reading> {
        every(15.0, values)
    }

    fn every(sample_minutes: f64, values: &[f64]) -> Vec<Reading> {
        let start = Moment::parse("2026-03-01T06:00:00Z").unwrap();
        let reading = |(k, value): (usize, &f64)| Reading {
            measured_at: start + minutes(sample_minutes * k as f64),
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

    #[test]
    fn a_dip_that_deepens_is_one_and_is_reckoned_from_its_beginning() {
        let deep = series(&[140.0, 141.0, 139.0, 140.0, 70.0, 39.0]);
        assert_eq!(artefact(&deep), Some(Artefact::Pressure { since: deep[4].measured_at }));
        assert_eq!(artefact(&series(&[180.0, 150.0, 118.0, 80.0, 41.0])), None, "it was falling already");
        let peak = [120.0, 121.0, 120.0, 499.0, 310.0, 121.0, 119.0];
        assert_eq!(artefact(&series(&peak)), None, "a wrong high that goes away");
    }

    /// Ten hours of a calm cat: a slow wave of 8 mg/dL, rounded as sensors round, with and without a little noise.
    fn calm_hours(sample_minutes: f64, noise: f64) -> Vec<Reading> {
        let count = (600.0 / sample_minutes) as usize;
        let level = |k: usize| {
            let dice = f64::from((k as u32).wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5;
            (120.0 + 8.0 * (sample_minutes * k as f64 / 90.0).sin() + 3.4 * noise * dice).round()
        };
        every(sample_minutes, &(0..count).map(level).collect::<Vec<f64>>())
    }

    #[test]
    fn a_calm_cat_is_not_suspect_however_often_it_is_read() {
        for sample in [1.0, 2.0, 5.0, 10.0, 15.0] {
            for noise in [0.0, 2.0, 6.0] {
                let ring = calm_hours(sample, noise);
                for end in 1..=ring.len() {
                    let seen = artefact(&ring[end.saturating_sub(160)..end]);
                    assert_eq!(seen, None, "one in {sample} min, noise {noise}, after {end}");
                }
            }
        }
    }

    #[test]
    fn what_is_wrong_is_seen_however_often_it_is_read() {
        for sample in [1.0, 5.0, 15.0] {
            let per = |minutes: f64| (minutes / sample) as usize;
            let calm: Vec<f64> = (0..per(60.0)).map(|k| 140.0 + (k % 3) as f64).collect();
            let with = |more: Vec<f64>| every(sample, &[calm.clone(), more].concat());
            let stuck = with(vec![150.0; per(120.0) + 1]);
            assert!(matches!(artefact(&stuck), Some(Artefact::Stuck { .. })), "{sample}");
            assert_eq!(artefact(&with(vec![150.0; per(105.0)])), None, "{sample}");
            // Ten minutes down, then half an hour there.
            let down = |k: usize| 140.0 - 7.0 * ((k + 1) as f64 * sample).min(10.0);
            let dip = with((0..per(45.0)).map(down).collect());
            assert!(matches!(artefact(&dip), Some(Artefact::Pressure { .. })), "{sample}");
            let zigzag = |k: usize| {
                if ((k as f64 * sample / 15.0) as usize).is_multiple_of(2) { 130.0 } else { 185.0 }
            };
            let noisy = every(sample, &(0..per(240.0)).map(zigzag).collect::<Vec<f64>>());
            let seen = (1..noisy.len()).filter_map(|end| artefact(&noisy[end.saturating_sub(160)..end]));
            let seen: Vec<Artefact> = seen.filter(|a| matches!(a, Artefact::Noisy { .. })).collect();
            assert!(!seen.is_empty(), "{sample}");
        }
    }
}
