//! Tests of the pairs, through the tracker that keeps them.

use proptest::prelude::*;

use super::*;
use crate::glucose::Tracker;
use crate::words::{CatName, ReadingKind};

fn start() -> Moment {
    Moment::parse("2026-03-01T06:00:00Z").unwrap()
}

fn sensor() -> SensorSettings {
    SensorSettings { lag_minutes: 10.0, ..SensorSettings::default() }
}

fn at(minute: f64) -> Moment {
    start() + minutes(minute)
}

fn reading(minute: f64, value: Value) -> Reading {
    Reading { measured_at: at(minute), value, kind: ReadingKind::History }
}

/// A reading each quarter of an hour, from a saw between 100 and 240.
fn saw(count: usize) -> Vec<Reading> {
    let level = |k: usize| 100.0 + 20.0 * ((k % 14) as f64 - 7.0).abs();
    (0..count).map(|k| reading(15.0 * k as f64, Value::Level(level(k)))).collect()
}

fn check(minute: f64, glucose: Value, meter: MeterKind) -> MeterCheck {
    MeterCheck { cat: CatName::new("pepper").unwrap(), measured_at: at(minute), glucose, meter }
}

fn pet(minute: f64, level: f64) -> MeterCheck {
    check(minute, Value::Level(level), MeterKind::Pet)
}

fn said(readings: &[Reading], wears: &[Moment], minute: f64) -> Option<Value> {
    let series = Series { before: None, readings, wears };
    Compared::of(&pet(minute, 120.0), &Matching::of(&sensor()), &series).sensor
}

/// By hand: from 200 to 170 in a quarter of an hour; ten minutes of it are 20 mg/dL.
#[test]
fn a_check_is_compared_with_the_sensor_one_lag_later() {
    let readings =
        [(0.0, 200.0), (15.0, 170.0), (30.0, 160.0)].map(|(t, level)| reading(t, Value::Level(level)));
    assert_eq!(said(&readings, &[], 0.0), Some(Value::Level(180.0)));
    assert_eq!(said(&readings, &[], 5.0), Some(Value::Level(170.0)));
    assert_eq!(said(&readings, &[], -10.0), Some(Value::Level(200.0)), "a reading at that very time");
    assert_eq!(said(&readings, &[], -11.0), None, "nothing before");
    assert_eq!(said(&readings, &[], 20.5), None, "nothing after, yet");
}

#[test]
fn nothing_is_compared_over_a_gap_or_from_one_sensor_to_the_next() {
    let readings =
        [(0.0, 200.0), (35.0, 170.0), (71.0, 160.0)].map(|(t, level)| reading(t, Value::Level(level)));
    assert!(said(&readings, &[], 5.0).is_some() && said(&readings, &[], 40.0).is_none());
    assert_eq!(said(&readings, &[at(20.0)], 5.0), None, "another sensor was put on between");
    assert!(said(&readings, &[at(0.0)], 5.0).is_some(), "the same sensor, from its first reading on");
}

#[test]
fn what_is_out_of_range_is_counted_and_is_no_number() {
    let mut tracker = Tracker::new(&sensor());
    let low = |k| reading(15.0 * f64::from(k), if k == 9 { Value::Level(40.0) } else { Value::Below });
    tracker.add(&saw(8));
    tracker.add(&[low(8), low(9), low(10)]);
    tracker.meter(&pet(20.0, 150.0));
    tracker.meter(&check(35.0, Value::Below, MeterKind::Pet));
    tracker.meter(&check(35.0, Value::Above, MeterKind::Human));
    tracker.meter(&pet(122.0, 45.0));
    tracker.meter(&pet(125.0, 45.0));
    tracker.meter(&pet(600.0, 90.0));
    let tally = Tally::of(tracker.pairs().checks());
    assert_eq!((tally.out_of_range, tally.unmatched), (4, 1), "{tally:?}");
    assert_eq!(tally.kinds.len(), 1);
    assert_eq!((tally.kinds[0].meter, tally.kinds[0].pairs), (MeterKind::Pet, 1));
}

/// The worked example of `agreement`, as it comes out of a tracker.
#[test]
fn kinds_of_meters_are_never_mixed_and_few_pairs_give_no_figures() {
    let worked = [52, 68, 75, 90, 110, 150, 180, 220, 300, 380].map(f64::from);
    let read = [60, 61, 83, 84, 120, 141, 195, 201, 330, 352].map(f64::from);
    let mut tracker = Tracker::new(&sensor());
    for (k, (reference, level)) in worked.into_iter().zip(read).enumerate() {
        let minute = 60.0 * k as f64;
        let steady = |t: f64| reading(minute + t, Value::Level(level));
        tracker.add(&[steady(0.0), steady(15.0), steady(30.0)]);
        tracker.meter(&pet(minute + 10.0, reference));
        if k < 4 {
            tracker.meter(&check(
                minute + 12.0,
                Value::Level(reference - 10.0 * f64::from(k as u8)),
                MeterKind::WholeBlood,
            ));
        }
    }
    let tally = Tally::of(tracker.pairs().checks());
    let kinds: Vec<(MeterKind, usize)> = tally.kinds.iter().map(|kind| (kind.meter, kind.pairs)).collect();
    assert_eq!(kinds, [(MeterKind::Pet, 10), (MeterKind::WholeBlood, 4)]);
    let found = tally.kinds[0].figures.unwrap();
    assert!((tally.kinds[0].bias - 0.2).abs() < 1e-9);
    assert!((found.mard - 0.092441093478).abs() < 1e-9);
    assert!((found.limits.unwrap()[1] - 33.9185833365).abs() < 1e-9);
    assert_eq!((found.within_iso, found.clarke_ab, found.parkes_ab), (1.0, 1.0, 1.0));
    // Differences 8, -7, 8, -6 and 0, 10, 20, 30 more.
    assert!((tally.kinds[1].bias - 15.75).abs() < 1e-9);
    assert_eq!(tally.kinds[1].figures, None);
}

#[test]
fn a_pair_waits_for_a_scan_hours_later_and_outlives_its_readings() {
    let mut tracker = Tracker::new(&sensor());
    let readings = saw(400);
    tracker.add(&readings[..8]);
    tracker.meter(&pet(110.0, 111.0));
    assert_eq!(Tally::of(tracker.pairs().checks()).unmatched, 1, "no reading after it yet");
    tracker.add(&readings[8..32]);
    let made = tracker.pairs().checks()[0];
    assert_eq!(made.pair(), Some((111.0, 120.0)));
    for reading in &readings[32..] {
        tracker.add(&[*reading]);
    }
    assert!(tracker.recent()[0].measured_at > at(125.0), "the readings are gone");
    assert_eq!(tracker.pairs().checks(), [made]);
    // Recorded two days late: it is kept and said, but its readings are no longer here.
    tracker.meter(&pet(50.0, 90.0));
    assert_eq!(Tally::of(tracker.pairs().checks()).unmatched, 1);
    for k in 0..100 {
        tracker.meter(&pet(4000.0 + 20.0 * f64::from(k), 130.0));
    }
    assert_eq!(tracker.pairs().checks().len(), HELD);
    assert_eq!(tracker.pairs().checks()[HELD - 1].at, at(5980.0));
}

#[test]
fn a_check_between_what_has_left_and_what_is_held_still_finds_both() {
    let mut tracker = Tracker::new(&sensor());
    tracker.add(&saw(300));
    let oldest = tracker.recent()[0].measured_at.minutes_since(start());
    tracker.meter(&pet(oldest - 15.0, 130.0));
    let all = saw(300);
    assert_eq!(tracker.pairs().checks()[0].sensor, said(&all, &[], oldest - 15.0));
    assert!(tracker.pairs().checks()[0].sensor.is_some());
}

#[derive(Clone, Debug)]
enum Came {
    Reading(Reading),
    Check(MeterCheck),
    Wear(Moment),
}

fn take(tracker: &mut Tracker, came: &Came) {
    match came {
        Came::Reading(reading) => {
            tracker.add(&[*reading]);
        }
        Came::Check(check) => tracker.meter(check),
        Came::Wear(at) => tracker.new_wear(*at),
    }
}

fn happened() -> Vec<Came> {
    let mut all: Vec<Came> = saw(60).into_iter().map(Came::Reading).collect();
    all.extend([reading(200.0, Value::Below), reading(404.0, Value::Level(190.0))].map(Came::Reading));
    all.extend([95.0, 190.0, 300.0, 398.0, 640.0].map(|t| Came::Check(pet(t, 100.0 + t / 10.0))));
    all.extend(
        [MeterKind::Human, MeterKind::Pet].map(|kind| Came::Check(check(300.0, Value::Level(99.0), kind))),
    );
    all.push(Came::Wear(at(407.0)));
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]
    #[test]
    fn the_order_of_arrival_changes_no_pair(order in Just(happened()).prop_shuffle()) {
        let (mut straight, mut crossed) = (Tracker::new(&sensor()), Tracker::new(&sensor()));
        happened().iter().for_each(|came| take(&mut straight, came));
        order.iter().for_each(|came| take(&mut crossed, came));
        prop_assert_eq!(straight.pairs().checks(), crossed.pairs().checks());
        prop_assert_eq!(straight.pairs().checks().len(), 7);
        prop_assert_eq!(Tally::of(straight.pairs().checks()).unmatched, 1, "the one across two sensors");
    }
}

/// A week and a half, streamed, scanned six hours late, or brought in as one file: the same pairs as from the record.
#[test]
fn the_state_makes_the_same_pairs_as_the_record() {
    let readings = saw(1000);
    let checks: Vec<MeterCheck> = (0..30).map(|k| pet(33.0 + 493.0 * f64::from(k), 150.0)).collect();
    let wears: Vec<Moment> = vec![at(0.0), at(5000.0)];
    let series = Series { before: None, readings: &readings, wears: &wears };
    let record: Vec<Compared> =
        checks.iter().map(|check| Compared::of(check, &Matching::of(&sensor()), &series)).collect();
    assert!(record.iter().all(|one| one.pair().is_some()));
    for batch in [1, 24, 1000] {
        let mut tracker = Tracker::new(&sensor());
        let mut from = start() - minutes(1.0);
        for chunk in readings.chunks(batch) {
            // Typed at once, while the readings around them come with the next scan.
            let until = chunk[chunk.len() - 1].measured_at;
            let here = |at: &Moment| *at > from && *at <= until;
            wears.iter().filter(|worn| here(worn)).for_each(|worn| tracker.new_wear(*worn));
            checks.iter().filter(|check| here(&check.measured_at)).for_each(|check| tracker.meter(check));
            tracker.add(chunk);
            from = until;
        }
        assert_eq!(tracker.pairs().checks(), record, "{batch} at once");
    }
}

#[test]
fn a_clock_that_is_set_back_takes_the_pairs_with_it() {
    let mut tracker = Tracker::new(&sensor());
    tracker.add(&saw(20));
    tracker.meter(&pet(20.0, 150.0));
    tracker.meter(&pet(200.0, 160.0));
    let before: Vec<Option<(f64, f64)>> = tracker.pairs().checks().iter().map(Compared::pair).collect();
    // Ahead by a day from the beginning on.
    let to = start() - minutes(1440.0);
    tracker.set_back(ClockStep { from: start(), to });
    let times: Vec<Moment> = tracker.pairs().checks().iter().map(|one| one.at).collect();
    assert_eq!(times, [to + minutes(20.0), to + minutes(200.0)]);
    let after: Vec<Option<(f64, f64)>> = tracker.pairs().checks().iter().map(Compared::pair).collect();
    assert_eq!(before, after);
}

#[test]
fn the_correction_says_on_which_checks_it_rests() {
    let readings: Vec<Reading> = (0..40).map(|k| reading(15.0 * f64::from(k), Value::Level(200.0))).collect();
    let mut tracker = Tracker::new(&sensor());
    tracker.add(&readings);
    let now = at(600.0);
    tracker.meter(&check(100.0, Value::Level(150.0), MeterKind::WholeBlood));
    tracker.meter(&check(130.0, Value::Below, MeterKind::Pet));
    assert_eq!(tracker.correction(now), None, "neither teaches the filter anything");
    tracker.meter(&pet(200.0, 180.0));
    tracker.meter(&pet(300.0, 180.0));
    tracker.meter(&check(400.0, Value::Level(180.0), MeterKind::Human));
    let found = tracker.correction(now).unwrap();
    assert_eq!(found.taught, Taught { pet: 2, human: 1, unknown: 0 });
    assert!(found.error > 0.03 && found.error_sd > 0.0 && found.error_sd < 0.08, "{found:?}");
    assert_eq!(tracker.correction(now + minutes(11.0 * 60.0)), Some(found));
    assert_eq!(tracker.correction(now + minutes(13.0 * 60.0)), None, "forgotten by the next reading");
    tracker.new_wear(at(590.0));
    assert_eq!(tracker.correction(now), None);
    tracker.meter(&pet(596.0, 180.0));
    assert_eq!(tracker.correction(now), None, "the new sensor has not read yet");
    tracker.add(&[660.0, 675.0].map(|t| reading(t, Value::Level(200.0))));
    tracker.meter(&check(676.0, Value::Level(180.0), MeterKind::Human));
    assert_eq!(tracker.correction(at(690.0)).unwrap().taught, Taught { human: 1, ..Taught::default() });
}

#[test]
fn two_meters_at_the_same_drop_of_blood_both_count_whichever_is_typed_first() {
    let pair = [MeterKind::Pet, MeterKind::Human].map(|kind| check(300.0, Value::Level(180.0), kind));
    let found = [[0, 1], [1, 0]].map(|order| {
        let mut tracker = Tracker::new(&sensor());
        tracker.add(&saw(40));
        order.iter().for_each(|k| tracker.meter(&pair[*k]));
        tracker.correction(at(600.0)).unwrap()
    });
    assert_eq!(found[0], found[1]);
    assert_eq!(found[0].taught, Taught { pet: 1, human: 1, unknown: 0 });
}

#[test]
fn a_state_that_was_kept_before_there_was_a_book_of_pairs_still_loads() {
    let mut tracker = Tracker::new(&sensor());
    tracker.add(&saw(40));
    tracker.meter(&pet(100.0, 130.0));
    let mut old = serde_json::to_value(&tracker).unwrap();
    old.as_object_mut().unwrap().remove("pairs").unwrap();
    for known in ["head", "before"] {
        old[known].as_object_mut().map(|known| known.remove("taught"));
    }
    let mut back: Tracker = serde_json::from_value(old).unwrap();
    assert!(back.pairs().checks().is_empty());
    back.set_sensor(&sensor());
    assert_eq!(back, tracker);
}
