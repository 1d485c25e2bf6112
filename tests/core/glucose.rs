//! Lows, present, ahead and past; falls; highs; and what is called "now".

use lowtide::words::{
    Became, Event, MeterCheck, MeterKind, Reason, SensorEvent, Severity, Value, Verdict, Watch, minutes,
};

use crate::household::{at, cat, household, streaming};
use crate::world::{World, samples};

const NOON: &str = "2026-06-10T10:00:00Z";

/// A streamed cat that has been at `level` for three hours.
fn resting(level: f64) -> World {
    let mut world = World::new(streaming(), at(NOON) - minutes(180.0));
    world.stream_levels(&[level; 12]);
    world
}

#[test]
fn a_low_is_a_warning_to_the_person_on_duty_with_value_trend_and_time() {
    let mut world = resting(120.0);
    world.stream_levels(&[100.0, 80.0, 66.0]);
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Warning, "{}", world.story());
    let text = &world.last("olive").text;
    assert!(text.contains("mg/dL") && text.contains("falling") && text.contains("12:30"), "{text}");
    assert!(text.contains("Rub honey on the gums"), "{text}");
    assert!(world.heard("rowan").is_empty());
}

#[test]
fn a_low_of_a_sensor_in_its_first_day_says_that_it_may_be_the_sensor() {
    for (hours_worn, said) in [(3.0, true), (30.0, false)] {
        let mut world = World::new(streaming(), at(NOON) - minutes(60.0 * hours_worn));
        world.sensor(SensorEvent::Applied);
        world.pass(60.0 * (hours_worn - 1.0));
        world.stream_levels(&[120.0, 100.0, 80.0, 66.0]);
        assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Warning, "{}", world.story());
        let text = &world.last("olive").text;
        assert_eq!(text.contains("The sensor is new, first day: it may be off."), said, "{text}");
    }
}

#[test]
fn under_the_danger_limit_it_is_critical() {
    let mut world = resting(100.0);
    world.stream_levels(&[80.0, 62.0, 48.0]);
    assert_eq!(world.held(Watch::LowNow).unwrap(), ("low-now-danger".into(), Severity::Critical));
}

#[test]
fn below_range_is_critical_and_never_called_a_number() {
    let mut world = resting(80.0);
    world.stream(Value::Below);
    assert_eq!(world.held(Watch::LowNow).unwrap(), ("low-now-below-range".into(), Severity::Critical));
    let text = world.last("olive").text.clone();
    assert!(text.contains("less than it can read") && text.contains("under 40 mg/dL"), "{text}");
    assert!(!text.contains("about 4"), "{text}");
}

#[test]
fn what_was_last_said_of_a_low_does_not_depend_on_looks_that_are_not_in_the_record() {
    for (fall, flat) in (4..16).flat_map(|fall| [2.0, 4.0, 8.0].map(|flat| (f64::from(2 * fall), flat))) {
        let mut world = resting(41.0 + 3.0 * fall + 2.0 * flat);
        let levels = [2.0 * fall, fall, 0.0].map(|over| 41.0 + 2.0 * flat + over);
        world.stream_levels(&levels);
        world.stream_levels(&[41.0 + flat, 41.0]);
        world.stream(Value::Below);
        world.pass(6.0);
        world.answer("olive", Verdict::MeterLow);
        world.pass(9.0);
        for _ in 0..3 {
            // The word of the meter runs out between two of these, and mostly nothing is said then.
            world.stream(Value::Below);
            world.pass(15.0);
        }
        let again = world.restarted();
        assert_eq!(again.cats[&cat()].memory, world.house.cats[&cat()].memory, "{fall} {flat}");
    }
}

#[test]
fn a_meter_check_under_the_plans_meter_limit_is_critical_with_the_plan() {
    let mut world = resting(66.0);
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Warning);
    world.meter(52.0);
    assert_eq!(world.held(Watch::LowNow).unwrap(), ("low-now-meter".into(), Severity::Critical));
    let text = &world.last("olive").text;
    assert!(text.contains("the meter showed 52 mg/dL") && text.contains("Rub honey"), "{text}");
}

#[test]
fn a_meter_check_over_it_drops_a_step_and_says_so() {
    let mut world = resting(70.0);
    world.stream_levels(&[58.0, 46.0]);
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Critical);
    world.meter(85.0);
    let (key, severity) = world.held(Watch::LowNow).unwrap();
    assert_eq!((key.as_str(), severity), ("low-now-meter-above", Severity::Warning), "{}", world.story());
    world.pass(2.0);
    assert!(world.last("olive").text.contains("the meter showed 85 mg/dL"), "{}", world.last("olive").text);
    // Twenty minutes later the sensor counts again.
    world.stream(Value::Level(45.0));
    world.pass(19.0);
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Critical, "{}", world.story());
}

#[test]
fn a_cat_that_rests_near_the_limit_is_told_of_once() {
    let mut world = resting(67.0);
    for level in [67.0, 66.0, 68.0, 67.0, 69.0, 66.0, 67.0, 68.0, 67.0, 66.0, 68.0, 67.0] {
        world.stream_levels(&[level]);
    }
    assert_eq!(world.count(Watch::LowNow, Became::Opened), 1, "{}", world.story());
    assert_eq!(world.heard("olive").len(), 1, "{}", world.story());
    // Falling on from there is news.
    world.stream_levels(&[60.0, 55.0]);
    assert!(world.heard("olive").len() >= 2, "{}", world.story());
}

#[test]
fn when_it_is_over_those_who_heard_of_it_hear_that_it_is_over() {
    let mut world = resting(66.0);
    world.stream_levels(&[80.0, 95.0]);
    assert!(!world.holds(Watch::LowNow), "{}", world.story());
    let last = world.last("olive");
    assert_eq!((last.reason, last.title.as_str()), (Reason::Over, "No longer low: Pepper"));
    assert_eq!(last.severity, Severity::Notice);
}

#[test]
fn a_low_without_newer_readings_is_old_and_then_not_known_but_never_now() {
    let mut world = resting(66.0);
    world.pass(40.0);
    let (key, _) = world.held(Watch::LowNow).unwrap();
    assert_eq!(key, "low-now-old");
    let text = world.last("olive").text.clone();
    assert!(text.contains("is not known") && text.contains("minutes old"), "{text}");
    world.pass(180.0);
    assert!(!world.holds(Watch::LowNow));
    let over = world.carried.iter().find(|c| c.message.reason == Reason::Over).unwrap();
    assert_eq!(over.message.title, "No news since the low: Pepper");
    assert_eq!(over.message.severity, Severity::Warning, "no news is no comfort");
}

#[test]
fn a_meter_check_newer_than_the_last_reading_is_what_an_old_low_speaks_of() {
    let mut world = resting(66.0);
    world.meter(55.0);
    world.pass(25.0);
    let (key, severity) = world.held(Watch::LowNow).unwrap();
    assert_eq!((key.as_str(), severity), ("low-now-old-meter", Severity::Critical), "{}", world.story());
    let text = world.last("olive").text.clone();
    assert!(text.contains("the meter showed 55 mg/dL") && !text.contains("66 mg/dL"), "{text}");
}

#[test]
fn a_low_by_the_meter_stands_without_a_sensor_and_ends_in_words() {
    // No reading at all, and one of ten hours ago.
    for readings in [0, 1] {
        let mut world = World::new(streaming(), at(NOON) - minutes(600.0));
        world.stream_levels(&vec![120.0; readings]);
        world.pass(600.0);
        world.meter(52.0);
        world.pass(25.0);
        let (key, severity) = world.held(Watch::LowNow).unwrap_or_else(|| panic!("{}", world.story()));
        assert_eq!((key.as_str(), severity), ("low-now-old-meter", Severity::Critical));
        assert!(world.last("olive").text.contains("the meter showed 52 mg/dL"), "{}", world.story());
        world.pass(180.0);
        assert!(!world.holds(Watch::LowNow), "{}", world.story());
        let over = world.carried.iter().rfind(|c| c.message.reason == Reason::Over).unwrap();
        assert_eq!(over.message.severity, Severity::Warning);
        assert!(
            over.message.text.contains("the meter showed 52 mg/dL. Nothing newer"),
            "{}",
            over.message.text
        );
    }
}

#[test]
fn a_low_meter_check_that_is_recorded_late_is_told_if_nothing_newer_is_known() {
    let mut world = World::new(streaming(), at(NOON));
    world.pass(60.0);
    let (measured_at, glucose) = (world.now - minutes(40.0), Value::Level(52.0));
    world.event(Event::Meter(MeterCheck { cat: cat(), measured_at, glucose, meter: MeterKind::Pet }));
    let (key, severity) = world.held(Watch::LowNow).unwrap_or_else(|| panic!("{}", world.story()));
    assert_eq!((key.as_str(), severity), ("low-now-old-meter", Severity::Critical));
    world.stream_levels(&[140.0]);
    assert!(!world.holds(Watch::LowNow), "a newer reading settles it: {}", world.story());
}

#[test]
fn a_low_whose_last_reading_is_an_hour_old_when_it_comes_is_told_as_such() {
    let mut world = World::new(household(), at(NOON));
    let readings = samples(at(NOON) - minutes(480.0), at(NOON) - minutes(60.0), 15.0, |t| {
        Value::Level(if t > at(NOON) - minutes(120.0) { 47.0 } else { 120.0 })
    });
    world.scan(readings);
    let (key, severity) = world.held(Watch::LowNow).unwrap();
    assert_eq!((key.as_str(), severity), ("low-now-old", Severity::Critical));
    assert!(!world.holds(Watch::LowFoundLater), "{}", world.story());
    assert!(world.last("olive").text.contains("60 minutes old"), "{}", world.last("olive").text);
}

#[test]
fn a_low_that_ends_in_darkness_hours_ago_is_not_called_over() {
    let mut world = World::new(household(), at(NOON));
    let readings = samples(at(NOON) - minutes(720.0), at(NOON) - minutes(300.0), 15.0, |t| {
        Value::Level(if t > at(NOON) - minutes(360.0) { 55.0 } else { 120.0 })
    });
    world.scan(readings);
    let (key, severity) = world.held(Watch::LowFoundLater).unwrap();
    assert_eq!((key.as_str(), severity), ("low-found-later-open", Severity::Warning));
    world.pass(2.0);
    assert!(world.last("olive").text.contains("What came after is not known"), "{}", world.story());
}

#[test]
fn a_low_that_came_and_went_between_scans_is_a_notice_with_its_bounds() {
    let mut world = World::new(household(), at(NOON));
    world.scan_back(480.0, |t| if (-300.0..=-240.0).contains(&t) { 52.0 } else { 130.0 });
    assert!(!world.holds(Watch::LowNow));
    let (key, severity) = world.held(Watch::LowFoundLater).unwrap();
    assert_eq!((key.as_str(), severity), ("low-found-later", Severity::Notice));
    world.pass(2.0);
    let text = &world.last("olive").text;
    assert!(text.contains("from 07:00 to 08:00, lowest 52 mg/dL"), "{text}");
}

#[test]
fn a_low_that_has_just_ended_before_the_scan_is_found_too() {
    let mut world = World::new(household(), at(NOON));
    world.scan_back(480.0, |t| if (-50.0..=-15.0).contains(&t) { 58.0 } else { 110.0 });
    assert!(world.holds(Watch::LowFoundLater) || world.holds(Watch::LowNow), "{}", world.story());
}

#[test]
fn a_low_that_is_ending_at_the_scan_is_told_of() {
    let mut world = World::new(household(), at(NOON));
    let levels = |t: f64| match t as i64 {
        i64::MIN..=-76 => 120.0,
        -75..=-46 => 45.0,
        -45..=-31 => 48.0,
        -30..=-16 => 56.0,
        _ => 66.0,
    };
    world.scan_back(480.0, levels);
    assert!(world.holds(Watch::LowNow), "{}", world.story());
}

#[test]
fn what_was_told_as_a_low_is_not_found_again_later() {
    let mut world = World::new(household(), at(NOON));
    world.scan_back(480.0, |t| if t > -40.0 { 63.0 } else { 130.0 });
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    world.pass(60.0);
    world.scan_back(60.0, |t| if t < -30.0 { 62.0 } else { 100.0 });
    assert!(!world.holds(Watch::LowNow) && !world.holds(Watch::LowFoundLater), "{}", world.story());
}

#[test]
fn a_low_ahead_says_by_when_how_sure_and_what_to_do() {
    let mut world = resting(150.0);
    world.stream_levels(&[130.0, 108.0, 88.0]);
    assert!(world.count(Watch::LowAhead, Became::Opened) == 1, "{}", world.story());
    let message = world.carried.iter().find(|c| c.message.title.contains("may soon")).unwrap();
    assert!(message.message.text.contains("in 10"), "{}", message.message.text);
    assert!(
        message.message.text.contains("Under 70 mg/dL by 1")
            && message.message.text.contains("perhaps already"),
        "{}",
        message.message.text
    );
}

#[test]
fn a_low_ahead_does_not_flicker() {
    let mut world = resting(110.0);
    // Hovering where the chance is near the setting.
    for _ in 0..4 {
        world.stream_levels(&[92.0, 84.0, 88.0, 82.0, 86.0]);
    }
    assert!(world.count(Watch::LowAhead, Became::Opened) <= 2, "{}", world.story());
}

#[test]
fn a_low_ahead_that_does_not_come_closer_is_called_off() {
    let mut world = resting(150.0);
    world.stream_levels(&[128.0, 105.0, 84.0]);
    assert!(world.holds(Watch::LowAhead) || world.holds(Watch::LowNow), "{}", world.story());
    world.stream_levels(&[95.0, 110.0, 125.0, 140.0]);
    assert!(!world.holds(Watch::LowAhead), "{}", world.story());
    assert!(world.carried.iter().any(|c| c.message.reason == Reason::Over), "{}", world.story());
}

#[test]
fn where_danger_is_as_likely_the_low_ahead_is_critical() {
    let mut world = resting(220.0);
    world.stream_levels(&[185.0, 145.0, 105.0]);
    let critical = world.found.iter().any(|f| {
        f.watch == Watch::LowAhead && f.severity == Severity::Critical && f.key == "low-ahead-danger"
    });
    assert!(critical, "{}", world.story());
}

#[test]
fn a_streamed_fall_that_goes_silent_is_not_left_hanging() {
    let mut world = resting(150.0);
    world.stream_levels(&[130.0, 108.0]);
    world.stream(Value::Level(88.0));
    assert!(world.holds(Watch::LowAhead), "{}", world.story());
    world.pass(45.0);
    assert!(world.last("olive").title.contains("No news since the warning"), "{}", world.story());
}

#[test]
fn after_a_scan_on_the_way_down_another_scan_is_asked_for() {
    let mut world = World::new(household(), at(NOON));
    world.scan_back(480.0, |t| 116.0 - t.max(-60.0) * 0.9);
    world.pass(120.0);
    assert_eq!(world.held(Watch::LowAhead).unwrap().0, "scan-again", "{}", world.story());
    let asked = world.carried.iter().find(|c| c.message.title.contains("scan again")).unwrap();
    assert!(asked.at >= at(NOON) + minutes(15.0), "{}", world.story());
    world.scan_back(120.0, |_| 160.0);
    assert!(!world.holds(Watch::LowAhead), "{}", world.story());
}

#[test]
fn a_steady_cat_is_not_asked_for_again_and_again() {
    let mut world = World::new(household(), at(NOON));
    world.scan_back(480.0, |_| 130.0);
    world.pass(6.0 * 60.0);
    assert!(world.carried.is_empty(), "{}", world.story());
}

#[test]
fn a_low_that_is_likely_but_unseen_is_asked_about_only_while_blood_falls() {
    for (slope, asked) in [(0.0, false), (0.5, false), (-0.7, true)] {
        let mut world = World::new(household(), at(NOON));
        world.scan_back(480.0, |t| 110.0 + slope * t.max(-60.0));
        world.pass(120.0);
        assert_eq!(world.count(Watch::LowAhead, Became::Opened) > 0, asked, "{slope}: {}", world.story());
    }
}

#[test]
fn a_fast_fall_is_told_of_under_its_level_only() {
    let mut world = resting(420.0);
    world.stream_levels(&[375.0, 330.0]);
    assert!(!world.holds(Watch::FallingFast), "{}", world.story());
    world.stream_levels(&[285.0, 240.0, 195.0]);
    assert_eq!(world.count(Watch::FallingFast, Became::Opened), 1, "{}", world.story());
}

#[test]
fn high_for_hours_with_no_dose_recorded_asks_whether_one_was_missed() {
    let mut world = World::new(streaming(), at(NOON));
    let before = world.now - minutes(16.0 * 60.0);
    world.dose(before, "Olive");
    world.stream_levels(&[340.0; 26]);
    assert_eq!(
        world.held(Watch::HighLong).unwrap(),
        ("high-long".into(), Severity::Warning),
        "{}",
        world.story()
    );
    let given = world.now;
    world.dose(given, "Olive");
    assert!(!world.holds(Watch::HighLong));
}

#[test]
fn high_for_hours_says_nothing_while_no_doses_are_recorded_at_all() {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[340.0; 30]);
    assert!(!world.holds(Watch::HighLong), "{}", world.story());
    world.stream_levels(&[340.0; 70]);
    assert_eq!(world.held(Watch::HighLong).unwrap(), ("high-long-dosed".into(), Severity::Notice));
}

#[test]
fn a_high_that_lasts_over_several_scans_is_told_once() {
    let mut world = World::new(household(), at(NOON));
    let before = world.now - minutes(22.0 * 60.0);
    world.dose(before, "Olive");
    for _ in 0..3 {
        world.scan_back(420.0, |_| 350.0);
        world.pass(420.0);
    }
    assert_eq!(world.count(Watch::HighLong, Became::Opened), 1, "{}", world.story());
}

#[test]
fn a_reader_who_thinks_in_mmol_reads_mmol() {
    let mut settings = streaming();
    settings.persons[0].units = lowtide::words::Unit::MmolL;
    let mut world = World::new(settings, at(NOON));
    world.stream_levels(&[120.0, 110.0, 95.0, 80.0, 66.0]);
    let text = world.carried.iter().map(|c| c.message.text.clone()).collect::<Vec<_>>().join("\n");
    assert!(text.contains("mmol/L") && !text.contains("mg/dL"), "{text}");
    // 66 mg/dL are 3.7 mmol/L (18.016 mg/dL each, from glucose's molar mass of 180.16 g/mol).
    assert!(text.contains("the sensor read 3.7 mmol/L"), "{text}");
}

#[test]
fn a_taken_warning_is_not_told_again_until_it_gets_worse() {
    let mut world = resting(66.0);
    world.answer("olive", Verdict::Taken);
    world.forget();
    world.stream_levels(&[66.0, 67.0]);
    assert!(world.carried.is_empty(), "{}", world.story());
    world.stream_levels(&[56.0, 44.0]);
    assert!(
        world.heard("olive").iter().any(|c| c.message.severity == Severity::Critical),
        "{}",
        world.story()
    );
}

#[test]
fn readings_from_the_future_are_set_aside_and_reported() {
    let mut world = resting(120.0);
    let ahead = world.now + minutes(90.0);
    let reading = lowtide::words::Reading {
        measured_at: ahead,
        value: Value::Level(30.0),
        kind: lowtide::words::ReadingKind::History,
    };
    world.scan(vec![reading]);
    assert!(world.holds(Watch::ClockWrong) && !world.holds(Watch::LowNow), "{}", world.story());
    world.pass(100.0);
    assert!(!world.holds(Watch::ClockWrong));
}
