//! What meter checks and new sensors teach, and for how long.

use super::*;
use crate::glucose::pairs::Correction;

#[test]
fn a_meter_check_sharpens_the_estimate_and_a_new_wear_forgets_its_lesson() {
    let readings: Vec<Reading> = (0..40).map(|k| reading(15.0 * f64::from(k), Value::Level(200.0))).collect();
    let mut tracker = Tracker::new(&sensor(8.0));
    tracker.add(&readings[..20]);
    let before = tracker.estimate(start() + minutes(286.0)).unwrap();
    tracker.meter(&check(286.0, 180.0));
    let after = tracker.estimate(start() + minutes(286.0)).unwrap();
    assert!(after.blood_sd < before.blood_sd && after.blood < before.blood);
    let mut renewed = tracker.clone();
    renewed.new_wear(start() + minutes(290.0));
    tracker.add(&readings);
    renewed.add(&readings);
    let end = start() + minutes(600.0);
    assert!(tracker.estimate(end).unwrap().blood < renewed.estimate(end).unwrap().blood - 0.3);
}

/// Five hours of readings at a level and a check after them: how far off the estimate it is, and what it teaches of the sensor.
fn taught(level: f64, check_level: f64) -> (f64, Correction) {
    let readings: Vec<Reading> =
        (0..20).map(|k| reading(15.0 * f64::from(k), Value::Level(level + f64::from(k % 2)))).collect();
    let mut tracker = Tracker::new(&sensor(8.0));
    tracker.add(&readings);
    let at = start() + minutes(286.0);
    let before = tracker.estimate(at).unwrap();
    tracker.meter(&check(286.0, check_level));
    let after = tracker.estimate(at).unwrap();
    let off = check_level - before.blood;
    // Blood is what the meter says, however far off.
    assert!((after.blood - before.blood) / off > 0.25 && after.blood_sd < 0.9 * before.blood_sd, "{after:?}");
    (off, tracker.correction(at).unwrap())
}

/// The cat lay on the sensor: it reads 75, the meter 120. The sensor is not off by a third for it.
#[test]
fn a_check_far_over_a_low_estimate_teaches_little_of_the_sensor() {
    let (near, far) = (taught(75.0, 82.0), taught(75.0, 125.0));
    let each = |(off, found): &(f64, Correction)| -found.error / off;
    assert!(each(&near) > 0.0 && each(&far) > 0.0, "{near:?} {far:?}");
    assert!(each(&far) < 0.5 * each(&near) && far.1.error_sd > near.1.error_sd, "{near:?} {far:?}");
}

/// Where nothing looks low nobody checked because of what the sensor happened to show, and under a low estimate the cat that
/// lies on it would make it worse.
#[test]
fn any_other_check_teaches_in_full_of_the_sensor_unless_it_looks_like_a_slip() {
    for (level, one, two) in [(180.0, 190.0, 225.0), (180.0, 170.0, 135.0), (75.0, 70.0, 52.0)] {
        let each = |(off, found): (f64, Correction)| -found.error / off;
        let (one, two) = (each(taught(level, one)), each(taught(level, two)));
        assert!(one > 0.0 && (two / one - 1.0).abs() < 0.25, "{level}: {one} {two}");
    }
    let (off, slip) = taught(180.0, 18.0);
    assert!(slip.error.abs() < 0.1, "a digit too few: {off} {slip:?}");
}

/// Again and again the same, it is believed of the sensor too.
#[test]
fn what_every_check_says_is_believed_of_the_sensor() {
    let mut tracker = Tracker::new(&sensor(8.0));
    for k in 0..9 {
        let at = 240.0 * f64::from(k);
        let more: Vec<Reading> =
            (1..17).map(|n| reading(at - 1.0 + 15.0 * f64::from(n), Value::Level(75.0))).collect();
        if k > 0 {
            tracker.meter(&check(at, 110.0));
        }
        tracker.add(&more);
    }
    let known = tracker.correction(tracker.newest().unwrap().measured_at).unwrap();
    assert!(known.error < 2.0 * taught(75.0, 110.0).1.error && known.error < -0.05, "{known:?}");
}

/// A curve by hand, a check an hour for a day and a half: each still counts when a late reading has all walked again.
#[test]
fn a_curve_by_hand_is_kept_through_a_walk() {
    let level = |k: u32| 150.0 + 40.0 * (f64::from(k) / 15.0).sin();
    let mut readings: Vec<Reading> =
        (0..150).map(|k| reading(15.0 * f64::from(k), Value::Level(level(k).round()))).collect();
    let late = readings.remove(100);
    let mut tracker = Tracker::new(&sensor(10.0));
    for reading in &readings {
        tracker.add(&[*reading]);
        let minute = reading.measured_at.minutes_since(start());
        if minute % 60.0 == 0.0 {
            tracker.meter(&check(minute + 1.0, level((minute / 15.0) as u32) * 0.92));
        }
    }
    let end = start() + minutes(15.0 * 149.0);
    let before = tracker.correction(end).unwrap();
    // All but the one at the very first reading.
    assert_eq!(before.taught.checks(), 37);
    tracker.add(&[late]);
    let after = tracker.correction(end).unwrap();
    assert_eq!(after.taught.checks(), 37, "{after:?}");
    assert!((after.error - before.error).abs() < 0.005 && after.error > 0.05, "{before:?} {after:?}");
}

/// Readings each quarter of an hour from `from` on for so many days, with a check of `blood` every six hours if given.
fn live(tracker: &mut Tracker, from: f64, days: u32, level: f64, blood: Option<f64>) -> f64 {
    for k in 0..96 * days {
        let at = from + 15.0 * f64::from(k);
        tracker.add(&[reading(at, Value::Level(level + f64::from(k % 3)))]);
        if let Some(blood) = blood.filter(|_| k % 24 == 12) {
            tracker.meter(&check(at + 1.0, blood));
        }
    }
    from + 15.0 * f64::from(96 * days)
}

#[test]
fn a_new_sensor_noted_days_late_is_not_corrected_by_what_was_taught_of_the_old_one() {
    let mut tracker = Tracker::new(&sensor(10.0));
    tracker.new_wear(start());
    let changed = live(&mut tracker, 15.0, 6, 96.0, Some(122.0));
    let old = tracker.correction(start() + minutes(changed - 15.0)).unwrap();
    assert!(old.error < -0.1, "{old:?}");
    let noted = live(&mut tracker, changed, 2, 110.0, None);
    assert!(tracker.before.unwrap().at > start() + minutes(changed), "it left the ring");
    tracker.new_wear(start() + minutes(changed));
    let now = start() + minutes(noted - 15.0);
    assert_eq!(tracker.correction(now), None);
    assert!((tracker.estimate(now).unwrap().blood - 111.0).abs() < 4.0, "{:?}", tracker.estimate(now));
    // An older wear that is noted after it takes nothing from the present one.
    let end = live(&mut tracker, noted, 3, 110.0, Some(100.0));
    let now = start() + minutes(end - 15.0);
    let known = tracker.correction(now).unwrap();
    tracker.new_wear(start() + minutes(changed - 1440.0));
    let kept = tracker.correction(now).unwrap();
    assert!((kept.error - known.error).abs() < 1e-4 && kept.taught == known.taught, "{kept:?} {known:?}");
}

#[test]
fn where_nobody_notes_sensors_what_was_taught_of_one_gives_way_to_what_is_taught_of_the_next() {
    let mut tracker = Tracker::new(&sensor(10.0));
    let mut from = 0.0;
    for round in 0..4 {
        let error = if round % 2 == 0 { 0.15 } else { -0.12 };
        from = live(&mut tracker, from, 10, (120.0_f64 * (1.0 + error)).round(), Some(121.0));
        let known = tracker.correction(start() + minutes(from - 15.0)).unwrap();
        assert!((known.error - error).abs() < 4.0 * known.error_sd, "{round}: {known:?} is not {error}");
        assert!(known.error * error > 0.0 && known.error_sd > 0.012, "{round}: {known:?}");
    }
    // Without checks its doubt is that of any sensor, as ever.
    let mut unchecked = Tracker::new(&sensor(10.0));
    live(&mut unchecked, 0.0, 10, 120.0, None);
    let doubt = unchecked.head.unwrap().belief.covariance[(GAIN, GAIN)].sqrt();
    assert!((doubt - unchecked.nature.gain_spread).abs() < 1e-3, "{doubt}");
}

#[test]
fn a_check_that_is_entered_again_for_the_same_minute_is_corrected() {
    let readings: Vec<Reading> =
        (0..20).map(|k| reading(15.0 * f64::from(k), Value::Level(110.0 + f64::from(k % 2)))).collect();
    let after = |entered: &[f64]| {
        let mut tracker = Tracker::new(&sensor(10.0));
        tracker.add(&readings);
        entered.iter().for_each(|level| tracker.meter(&check(286.0, *level)));
        tracker
    };
    let (corrected, right, wrong) = (after(&[31.0, 113.0]), after(&[113.0]), after(&[31.0]));
    assert_eq!(corrected.head, right.head);
    assert_ne!(wrong.head, right.head);
}

#[test]
fn on_its_first_day_a_sensor_is_doubted_more_and_what_a_check_teaches_then_fades() {
    let readings: Vec<Reading> =
        (0..200).map(|k| reading(15.0 * f64::from(k), Value::Level(200.0 + f64::from(k % 2)))).collect();
    let mut old = Tracker::new(&sensor(8.0));
    let mut young = Tracker::new(&sensor(8.0));
    young.new_wear(start());
    old.add(&readings[..12]);
    young.add(&readings[..12]);
    let at = start() + minutes(180.0);
    let (settled, first_day) = (old.estimate(at).unwrap(), young.estimate(at).unwrap());
    assert!(first_day.blood_sd > 1.05 * settled.blood_sd, "{first_day:?} {settled:?}");
    young.meter(&check(180.0, 170.0));
    let taught = young.correction(young.newest().unwrap().measured_at).unwrap().error;
    young.add(&readings);
    let kept = young.correction(young.newest().unwrap().measured_at).unwrap().error;
    assert!(taught > 0.04 && kept > 0.0 && kept < 0.9 * taught, "{taught} {kept}");
}

#[test]
fn the_first_day_of_a_sensor_is_known_and_ends() {
    let mut tracker = Tracker::new(&sensor(8.0));
    assert!(!tracker.first_day(start()), "nobody noted when it was put on");
    tracker.new_wear(start());
    let after = |hours: f64| tracker.first_day(start() + minutes(60.0 * hours));
    assert!(after(0.0) && after(23.9) && !after(24.1) && !after(-1.0));
}

#[test]
fn a_meter_that_shows_less_or_more_than_it_can_read_moves_the_estimate_its_way() {
    let checked = |level: f64, glucose: Value, meter: MeterKind| {
        let mut tracker = Tracker::new(&sensor(10.0));
        let readings: Vec<Reading> =
            (0..12).map(|k| reading(15.0 * f64::from(k), Value::Level(level + f64::from(k % 2)))).collect();
        tracker.add(&readings);
        let before = tracker.estimate(start() + minutes(170.0)).unwrap();
        tracker.meter(&MeterCheck { glucose, meter, ..check(170.0, 100.0) });
        (before, tracker.estimate(start() + minutes(170.0)).unwrap(), tracker)
    };
    for meter in [MeterKind::Pet, MeterKind::Human, MeterKind::Unknown] {
        let (before, after, tracker) = checked(100.0, Value::Below, meter);
        assert!(after.blood < before.blood - 25.0 && after.blood > 10.0, "{meter:?} {before:?} {after:?}");
        assert!(tracker.outlook(start() + minutes(170.0), 60.0, 70.0).unwrap().chance > 0.5);
        assert_eq!(tracker.correction(start() + minutes(170.0)), None, "a bound teaches no gain");
        let (before, after, _) = checked(430.0, Value::Above, meter);
        assert!(after.blood > before.blood + 15.0 && after.blood < 700.0, "{meter:?} {before:?} {after:?}");
    }
    let (before, after, _) = checked(100.0, Value::Below, MeterKind::WholeBlood);
    assert_eq!(before, after, "it is never reckoned with");
}

#[test]
fn what_was_taught_of_a_sensor_outlasts_a_long_gap_and_fades_and_not_a_new_wear() {
    let level = |k: u32| 200.0 + f64::from(k % 2);
    let series = |from: f64| -> Vec<Reading> {
        (0..12).map(|k| reading(from + 15.0 * f64::from(k), Value::Level(level(k)))).collect()
    };
    let taught = |worn: Option<f64>| {
        let mut tracker = Tracker::new(&sensor(10.0));
        worn.iter().for_each(|worn| tracker.new_wear(start() + minutes(*worn)));
        tracker.add(&series(0.0));
        tracker.meter(&check(165.0, 170.0));
        tracker.add(&series(180.0));
        tracker
    };
    let tracker = taught(Some(-8.0 * 1440.0));
    let known = |tracker: &Tracker, at: f64| tracker.correction(start() + minutes(at));
    let before = known(&tracker, 345.0).unwrap();
    let mut errors = vec![before.error];
    for hours in [11.0, 20.0, 60.0] {
        let mut later = tracker.clone();
        let from = 345.0 + 60.0 * hours;
        later.add(&series(from));
        let after = known(&later, from + 165.0).unwrap();
        assert!(
            after.error > 0.3 * before.error && after.error_sd >= before.error_sd,
            "{hours} h: {after:?}"
        );
        errors.push(after.error);
        let mut renewed = tracker.clone();
        renewed.new_wear(start() + minutes(from - 10.0));
        renewed.add(&series(from));
        assert_eq!(known(&renewed, from + 165.0), None, "{hours} h");
        let mut fresh = Tracker::new(&sensor(10.0));
        fresh.new_wear(start() + minutes(from - 10.0));
        fresh.add(&series(from));
        let blood = |tracker: &Tracker| tracker.estimate(start() + minutes(from + 165.0)).unwrap().blood;
        assert!(
            (blood(&renewed) - blood(&fresh)).abs() < 0.5 && blood(&later) < blood(&fresh) - 2.0,
            "{hours} h"
        );
    }
    let mut unknown = taught(None);
    unknown.add(&series(345.0 + 60.0 * 20.0));
    assert_eq!(known(&unknown, 345.0 + 60.0 * 20.0 + 165.0), None, "nobody notes when a sensor is put on");
    assert!(errors.windows(2).all(|pair| pair[1] <= pair[0] + 1e-12), "{errors:?}");
}

#[test]
fn a_check_by_a_meter_for_people_moves_blood_less_than_one_by_a_meter_for_pets_and_leaves_it_less_sure() {
    let readings: Vec<Reading> =
        (0..20).map(|k| reading(15.0 * f64::from(k), Value::Level(120.0 + f64::from(k % 2)))).collect();
    let mut tracker = Tracker::new(&sensor(10.0));
    tracker.add(&readings);
    let at = start() + minutes(286.0);
    let before = tracker.estimate(at).unwrap();
    let after = |meter: MeterKind| {
        let mut tracker = tracker.clone();
        tracker.meter(&MeterCheck { meter, ..check(286.0, 140.0) });
        tracker.estimate(at).unwrap()
    };
    let (pet, human) = (after(MeterKind::Pet), after(MeterKind::Human));
    let share = (human.blood - before.blood) / (pet.blood - before.blood);
    assert!((0.2..0.65).contains(&share), "{share}: {before:?} {human:?} {pet:?}");
    assert!(
        pet.blood_sd < human.blood_sd && human.blood_sd < before.blood_sd,
        "{before:?} {human:?} {pet:?}"
    );
    assert_eq!(after(MeterKind::Unknown), human, "of a meter that nobody named no more is expected");
}

#[test]
fn after_days_without_readings_a_correction_counts_for_less_and_is_doubted_more_but_not_forgotten() {
    let series = |from: f64| -> Vec<Reading> {
        (0..12).map(|k| reading(from + 15.0 * f64::from(k), Value::Level(200.0 + f64::from(k % 2)))).collect()
    };
    let mut tracker = Tracker::new(&sensor(10.0));
    tracker.new_wear(start() - minutes(4.0 * 1440.0));
    tracker.add(&series(0.0));
    let doubt_of_any = tracker.head.unwrap().belief.covariance[(GAIN, GAIN)].sqrt();
    tracker.meter(&check(165.0, 180.0));
    tracker.add(&series(180.0));
    let after = |hours: f64| {
        let mut later = tracker.clone();
        let from = 345.0 + 60.0 * hours;
        later.add(&[reading(from, Value::Level(200.0))]);
        later.correction(start() + minutes(from)).unwrap()
    };
    let (before, night, days, week) = (after(1.0), after(13.0), after(72.0), after(140.0));
    let told = format!("{doubt_of_any}: {before:?} {night:?} {days:?} {week:?}");
    assert!(night.error > 0.8 * before.error && days.error < 0.75 * night.error, "{told}");
    assert!(week.error > 0.0 && week.error < 0.75 * days.error, "{told}");
    assert!(before.error_sd < night.error_sd && night.error_sd < days.error_sd, "{told}");
    assert!(days.error_sd < week.error_sd && week.error_sd < doubt_of_any, "{told}");
    assert!(night.error_sd < 0.5 * (before.error_sd + doubt_of_any), "{told}");
}
