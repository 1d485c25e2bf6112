//! Tests of the tracker.

use super::*;
use crate::words::{CatName, MeterKind, ReadingKind, SensorKind, Value};

fn sensor(lag_minutes: f64) -> SensorSettings {
    SensorSettings {
        kind: SensorKind::Scanned,
        sample_minutes: 15.0,
        memory_hours: 8.0,
        wear_days: 14.0,
        warm_up_minutes: 60.0,
        range: [40.0, 500.0],
        lag_minutes,
        price: None,
        currency: None,
    }
}

fn start() -> Moment {
    Moment::parse("2026-03-01T06:00:00Z").unwrap()
}

fn reading(minute: f64, value: Value) -> Reading {
    Reading { measured_at: start() + minutes(minute), value, kind: ReadingKind::History }
}

/// Fluid readings of blood that rests at 250 and then falls by `rate` a minute, one in 15 minutes.
fn falling(count: usize, rate: f64, lag: f64) -> (Vec<Reading>, f64) {
    let (mut fluid, mut blood) = (250.0_f64, 250.0_f64);
    let mut out = Vec::new();
    for k in 0..count {
        for _ in 0..150 {
            if k > 8 {
                blood -= rate * 0.1;
            }
            fluid += (blood - fluid) / lag * 0.1;
        }
        out.push(reading(15.0 * k as f64, Value::Level(fluid.round())));
    }
    (out, blood)
}

fn check(minute: f64, level: f64) -> MeterCheck {
    MeterCheck {
        cat: CatName::new("pepper").unwrap(),
        measured_at: start() + minutes(minute),
        glucose: Value::Level(level),
        meter: MeterKind::Pet,
    }
}

#[test]
fn while_blood_falls_the_estimate_runs_ahead_of_the_sensor() {
    for lag in [5.0, 8.0, 12.0, 20.0] {
        let (readings, blood) = falling(14, 1.5, lag);
        let mut tracker = Tracker::new(&sensor(lag));
        assert_eq!(tracker.add(&readings), 14);
        let newest = tracker.newest().unwrap();
        let raw = newest.value.level().unwrap() - blood;
        let estimate = tracker.estimate(newest.measured_at).unwrap();
        assert!(
            (estimate.blood - blood).abs() < 0.6 * raw,
            "lag {lag}: {} for {blood}, raw {raw}",
            estimate.blood
        );
        assert!(estimate.rate_per_min < -0.7, "lag {lag}: {}", estimate.rate_per_min);
    }
}

#[test]
fn the_order_of_arrival_changes_nothing() {
    let (readings, _) = falling(30, 1.0, 8.0);
    let mut straight = Tracker::new(&sensor(8.0));
    for reading in &readings {
        straight.add(&[*reading]);
    }
    straight.meter(&check(200.0, 240.0));
    let mut crossed = Tracker::new(&sensor(8.0));
    crossed.add(&readings[20..]);
    crossed.meter(&check(200.0, 240.0));
    let mut older = readings[..20].to_vec();
    older.reverse();
    assert_eq!(crossed.add(&older), 20);
    assert_eq!(crossed.add(&readings), 0, "repeats are not taken");
    let (a, b) = (straight.estimate(start() + minutes(500.0)), crossed.estimate(start() + minutes(500.0)));
    assert!((a.unwrap().blood - b.unwrap().blood).abs() < 1e-9);
    assert_eq!(straight.smoothed().len(), 30);
}

#[test]
fn what_is_held_stays_bounded_and_survives_json() {
    let mut tracker = Tracker::new(&sensor(8.0));
    for k in 0..2000 {
        let level = 150.0 + 60.0 * (f64::from(k) / 10.0).sin();
        tracker.add(&[reading(15.0 * f64::from(k), Value::Level(level.round()))]);
        tracker.dose(start() + minutes(15.0 * f64::from(k)));
        tracker.meter(&check(15.0 * f64::from(k) + 5.0, level.round()));
    }
    assert_eq!(tracker.recent().len(), RING);
    assert_eq!(tracker.add(&[reading(10.0, Value::Below)]), 0, "older than the ring");
    let text = serde_json::to_string(&tracker).unwrap();
    assert!(text.len() < 64 * 1024, "{}", text.len());
    let back: Tracker = serde_json::from_str(&text).unwrap();
    assert_eq!(back, tracker);
}

#[test]
fn below_range_says_lower_than_the_bound_itself() {
    let (mut readings, _) = falling(20, 1.0, 8.0);
    readings.truncate(18);
    let mut at_bound = Tracker::new(&sensor(8.0));
    at_bound.add(&readings);
    let mut lower = at_bound.clone();
    at_bound.add(&[reading(270.0, Value::Level(41.0))]);
    lower.add(&[reading(270.0, Value::Below)]);
    let at = start() + minutes(270.0);
    assert!(lower.estimate(at).unwrap().blood < at_bound.estimate(at).unwrap().blood);
}

#[test]
fn an_outlook_on_a_fall_sees_the_low_and_one_on_a_plateau_does_not() {
    let mut tracker = Tracker::new(&sensor(8.0));
    assert_eq!(tracker.outlook(start(), 30.0, 70.0), None);
    let (readings, _) = falling(16, 1.5, 8.0);
    tracker.add(&readings[..8]);
    let calm = tracker.outlook(start() + minutes(105.0), 30.0, 70.0).unwrap();
    assert!(calm.chance < 0.01 && calm.crossing.is_none(), "{calm:?}");
    tracker.add(&readings);
    let now = start() + minutes(225.0);
    let fall = tracker.outlook(now, 30.0, 70.0).unwrap();
    assert!(fall.chance > 0.05 && fall.crossing.is_some(), "{fall:?}");
    let later = tracker.outlook(now, 120.0, 70.0).unwrap();
    assert!(later.chance >= fall.chance && later.sd_at_end > fall.sd_at_end);
    let scan = tracker.scan_again(now, 70.0, 0.1).unwrap();
    assert!(scan >= now + minutes(15.0) && scan < now + minutes(150.0));
}

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

/// The cat lay on the sensor: it read 60, the meter 120. Blood is what the meter says; the sensor is not off by half for it.
#[test]
fn a_check_that_is_far_off_is_believed_and_teaches_little_of_the_sensor() {
    let readings: Vec<Reading> =
        (0..20).map(|k| reading(15.0 * f64::from(k), Value::Level(120.0 + f64::from(k % 2)))).collect();
    let taught = |level: f64| {
        let mut tracker = Tracker::new(&sensor(8.0));
        tracker.add(&readings);
        let before = tracker.estimate(start() + minutes(286.0)).unwrap();
        tracker.meter(&check(286.0, level));
        let after = tracker.estimate(start() + minutes(286.0)).unwrap();
        let off = level - before.blood;
        assert!(
            after.blood - before.blood > 0.25 * off && after.blood_sd < 0.9 * before.blood_sd,
            "{after:?}"
        );
        let correction = tracker.correction(start() + minutes(286.0)).unwrap();
        (correction.error / off, correction)
    };
    let (near, far) = (taught(132.0), taught(170.0));
    assert!(near.0 < 0.0 && far.0 < 0.0, "{near:?} {far:?}");
    // Were it believed of the sensor as of blood, it would teach three quarters as much for each mg/dL.
    assert!(far.0 > 0.4 * near.0 && far.1.error_sd > near.1.error_sd, "{near:?} {far:?}");
    // Again and again the same, it is believed of the sensor too.
    let mut lasting = Tracker::new(&sensor(8.0));
    lasting.add(&readings);
    for k in 0..8 {
        let at = 286.0 + 240.0 * f64::from(k);
        let more: Vec<Reading> =
            (1..17).map(|n| reading(at - 1.0 + 15.0 * f64::from(n), Value::Level(120.0))).collect();
        lasting.meter(&check(at, 170.0));
        lasting.add(&more);
    }
    let known = lasting.correction(lasting.newest().unwrap().measured_at).unwrap();
    assert!(known.error < 3.0 * far.1.error && known.error < -0.05, "{known:?} after {far:?}");
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
fn readings_that_crowd_are_no_proofs_of_their_own() {
    let doubt = |every: f64| {
        let mut tracker = Tracker::new(&sensor(10.0));
        let count = (480.0 / every) as usize;
        let all: Vec<Reading> = (0..=count).map(|k| reading(every * k as f64, Value::Level(90.0))).collect();
        tracker.add(&all);
        let known = tracker.belief(start() + minutes(480.0)).unwrap().covariance[(BLOOD, BLOOD)].sqrt();
        (known, tracker.surprise)
    };
    let (quarter, five, minute) = (doubt(15.0), doubt(5.0), doubt(1.0));
    for often in [five, minute] {
        assert!((0.9..=1.2).contains(&(often.0 / quarter.0)), "{often:?} {quarter:?}");
        assert_eq!(often.1, 1.0, "that the next minute is like this one is no measure of anything");
    }
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
    assert!(first_day.blood_sd > 1.1 * settled.blood_sd, "{first_day:?} {settled:?}");
    young.meter(&check(180.0, 170.0));
    let taught = young.correction(young.newest().unwrap().measured_at).unwrap().error;
    young.add(&readings);
    let kept = young.correction(young.newest().unwrap().measured_at).unwrap().error;
    assert!(taught > 0.04 && kept > 0.0 && kept < 0.75 * taught, "{taught} {kept}");
}

#[test]
fn the_first_day_of_a_sensor_is_known_and_ends() {
    let mut tracker = Tracker::new(&sensor(8.0));
    assert!(!tracker.first_day(start()), "nobody noted when it was put on");
    tracker.new_wear(start());
    let after = |hours: f64| tracker.first_day(start() + minutes(60.0 * hours));
    assert!(after(0.0) && after(23.9) && !after(24.1) && !after(-1.0));
}

/// Blood that falls by 2 mg/dL a minute from 300, after three hours of rest, behind a lag as set: raw readings show it 20
/// mg/dL too high, whatever the level.
#[test]
fn in_a_steep_fall_from_high_up_the_estimate_is_off_by_less_than_a_quarter_of_the_reading() {
    let (mut fluid, mut blood, mut tracker) = (300.0, 300.0, Tracker::new(&sensor(10.0)));
    let (mut off, mut raw_off) = (0.0, 0.0);
    for minute in 0..285 {
        if minute % 15 == 0 {
            tracker.add(&[reading(f64::from(minute), Value::Level(f64::round(fluid)))]);
            if minute >= 225 {
                off += tracker.estimate(start() + minutes(f64::from(minute))).unwrap().blood - blood;
                raw_off += f64::round(fluid) - blood;
            }
        }
        blood -= if minute >= 180 { 2.0 } else { 0.0 };
        fluid += (blood - fluid) / 10.0;
    }
    assert!(raw_off > 60.0 && f64::abs(off) < 0.25 * raw_off, "{off} of {raw_off}");
}

#[test]
fn the_fit_is_told_in_words_once_something_was_tried() {
    let mut tracker = Tracker::new(&sensor(8.0));
    assert!(tracker.fit_in_words().is_empty());
    let readings: Vec<Reading> =
        (0..40).map(|k| reading(15.0 * f64::from(k), Value::Level(150.0 + f64::from(k % 3)))).collect();
    tracker.add(&readings);
    let lines = tracker.fit_in_words();
    assert!(lines.len() == 1 && lines[0].starts_with("sensor noise: as usual"), "{lines:?}");
}

/// The estimate at each of these readings, one in 15 minutes, as it was when that one was the newest.
fn followed(values: &[Value]) -> Vec<Estimate> {
    let mut tracker = Tracker::new(&sensor(10.0));
    let take = |(k, value): (usize, &Value)| {
        let reading = reading(15.0 * k as f64, *value);
        tracker.add(&[reading]);
        tracker.estimate(reading.measured_at).unwrap()
    };
    values.iter().enumerate().map(take).collect()
}

#[test]
fn hours_out_of_range_push_blood_no_further_than_a_cat_survives_and_are_soon_forgotten() {
    for (before, out, back) in
        [(90.0, Value::Below, 80.0), (70.0, Value::Below, 95.0), (400.0, Value::Above, 380.0)]
    {
        let mut values = vec![Value::Level(before); 8];
        values.extend([out; 32]);
        values.extend([Value::Level(back); 2]);
        let estimates = followed(&values);
        for (value, estimate) in values.iter().zip(&estimates) {
            let said = format!("{value:?}: {estimate:?}");
            assert!(estimate.blood > 10.0 && estimate.blood < 800.0, "{said}");
            // As wide as what lies between the range and what a cat survives, and no wider.
            let width = if out == Value::Below { 4.0..20.0 } else { 12.0..80.0 };
            assert!(width.contains(&estimate.blood_sd), "{said}");
        }
        let low = estimates[39].rate_per_min.abs() < 0.5 && estimates[39].rate_sd > 0.15;
        assert!(low, "a long stay shows no way: {:?}", estimates[39]);
        assert!((estimates[41].blood - back).abs() < 0.06 * back, "{back}: {:?}", estimates[41]);
    }
}

#[test]
fn an_old_fall_is_not_carried_on_under_what_a_cat_survives() {
    let mut tracker = Tracker::new(&sensor(10.0));
    for (k, level) in [150.0, 130.0, 108.0, 86.0, 64.0, 43.0].iter().enumerate() {
        tracker.add(&[reading(15.0 * k as f64, Value::Level(*level))]);
    }
    let later = tracker.estimate(start() + minutes(75.0 + 40.0)).unwrap();
    assert!(later.blood > 15.0 && later.blood_sd > 1.0, "{later:?}");
}

fn values(text: &str) -> Vec<Value> {
    let value = |word: &str| Value::parse(word, crate::words::Unit::MgDl).unwrap();
    text.split_whitespace().map(value).collect()
}

#[test]
fn one_wrong_reading_moves_the_estimate_little_and_is_soon_forgotten() {
    for (text, odd) in [
        ("110 112 108 105 HI 104 105", 4),
        ("110 112 108 105 499 104 105", 4),
        ("140 141 139 140 LO 140 141", 4),
        ("250 252 248 250 60 251 249", 4),
        ("250 252 248 250 60 251 249 60 250 251", 7),
        ("420 425 430 425 90 428 425", 4),
    ] {
        let values = values(text);
        let estimates = followed(&values);
        let before = values[odd - 1].level().unwrap();
        assert!((estimates[odd].blood - before).abs() < 0.1 * before + 5.0, "{text}: {:?}", estimates[odd]);
        assert!(estimates[odd].blood_sd > 40.0, "it may be right: {text}: {:?}", estimates[odd]);
        let (last, value) = (estimates.last().unwrap(), values.last().unwrap().level().unwrap());
        assert!((last.blood - value).abs() < 0.05 * value, "{text}: {last:?}");
        assert!(last.rate_per_min.abs() < 0.8 && last.blood_sd < 0.2 * value, "{text}: {last:?}");
    }
}

#[test]
fn two_readings_that_agree_are_believed_however_far_they_are_from_what_went_before() {
    for (text, blood) in [
        ("250 252 248 250 60 58", 58.0),
        ("120 121 120 300 302", 302.0),
        ("120 122 118 120 300 499", 499.0),
        ("110 108 105 90 HI 499", 499.0),
        ("90 91 90 HI HI 95 92", 92.0),
        ("140 141 139 70 LO 72 138 140 141", 141.0),
        ("180 178 181 102 98 171 176", 176.0),
        ("140 141 140 LO LO", 35.0),
        ("120 118 120 HI HI", 570.0),
    ] {
        let last = *followed(&values(text)).last().unwrap();
        assert!((last.blood - blood).abs() < 0.06 * blood + 3.0, "{text}: {last:?}");
        // What lay between was no motion of blood.
        assert!(last.rate_per_min.abs() < 2.5, "{text}: {last:?}");
    }
}

#[test]
fn a_wrong_high_hides_no_low() {
    let mut tracker = Tracker::new(&sensor(10.0));
    for (k, value) in values("110 112 108 105 90 HI 68 60 55").iter().enumerate() {
        let reading = reading(15.0 * k as f64, *value);
        tracker.add(&[reading]);
        let estimate = tracker.estimate(reading.measured_at).unwrap();
        assert!(estimate.blood > 40.0 && estimate.blood < 115.0, "{value:?}: {estimate:?}");
        let outlook = tracker.outlook(reading.measured_at, 60.0, 70.0).unwrap();
        assert!(k < 6 || outlook.chance > 0.5, "{value:?}: {outlook:?}");
    }
}

#[test]
fn a_low_that_is_doubted_is_as_likely_as_not() {
    for low in ["LO", "44", "60"] {
        let mut tracker = Tracker::new(&sensor(10.0));
        for (k, value) in values(&format!("180 181 180 179 180 {low}")).iter().enumerate() {
            tracker.add(&[reading(15.0 * k as f64, *value)]);
        }
        let outlook = tracker.outlook(start() + minutes(75.0), 60.0, 70.0).unwrap();
        assert!(outlook.chance >= 0.5 && outlook.chance < 0.7, "{low}: {outlook:?}");
    }
}

#[test]
fn what_is_doubted_survives_a_restart_and_history_is_smooth_on_either_side_of_a_jump() {
    let series: Vec<Reading> = values("120 121 120 122 300 302 301 300")
        .iter()
        .enumerate()
        .map(|(k, value)| reading(15.0 * k as f64, *value))
        .collect();
    let mut tracker = Tracker::new(&sensor(10.0));
    tracker.add(&series[..5]);
    assert!(tracker.doubts());
    let text = serde_json::to_string(&tracker).unwrap();
    let mut again: Tracker = serde_json::from_str(&text).unwrap();
    tracker.add(&series[5..]);
    again.add(&series[5..]);
    assert_eq!(again, tracker);
    assert!(!tracker.doubts());
    for (estimate, reading) in tracker.smoothed().iter().zip(&series) {
        let level = reading.value.level().unwrap();
        assert!(level == 300.0 || (estimate.blood - level).abs() < 12.0, "{level}: {estimate:?}");
    }
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
fn after_a_clock_that_ran_ahead_a_fit_goes_on_learning() {
    let mut tracker = Tracker::new(&sensor(8.0));
    let wave = |k: usize| 150.0 + [0.0, 9.0, -8.0, 5.0, -7.0][k % 5];
    let of = |from: f64, count: usize| -> Vec<Reading> {
        (0..count).map(|k| reading(from + 15.0 * k as f64, Value::Level(wave(k)))).collect()
    };
    let ahead = 9.0 * 1440.0;
    tracker.add(&of(ahead, 40));
    let then = start() + minutes(ahead + 600.0);
    tracker.set_back(ClockStep { from: then, to: start() });
    let before = tracker.fit()[0].count;
    tracker.add(&of(15.0, 40));
    assert!(tracker.fit()[0].count > before + 20, "{} after {before}", tracker.fit()[0].count);
}

#[test]
fn a_sensor_that_reads_often_has_as_long_a_history_and_one_that_reads_each_minute_a_bounded_one() {
    for (every, held) in [(15.0, 160), (5.0, 480), (1.0, 640)] {
        let mut tracker = Tracker::new(&sensor(8.0));
        let count = (60.0 * 60.0 / every) as usize;
        let all: Vec<Reading> =
            (0..count).map(|k| reading(every * k as f64, Value::Level(150.0 + (k % 7) as f64))).collect();
        tracker.add(&all);
        assert_eq!(tracker.recent().len(), held, "every {every} min");
    }
}
