//! A meter check against the sensor: who is believed, for how long, and what people hear of it.

use lowtide::report::{ahead_text, house_status, status_text};
use lowtide::words::{
    Batch, Became, Event, Reading, ReadingKind, Reason, Severity, Value, Verdict, Via, Watch, minutes,
};

use crate::household::{at, cat, streaming};
use crate::texts::check_change;
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

/// A streamed cat that has been at these levels, a quarter of an hour apart, and of which nothing is said any more.
fn after(levels: &[f64]) -> World {
    let mut world = World::new(streaming(), at(NOON) - minutes(15.0 * levels.len() as f64));
    world.stream_levels(levels);
    world.forget();
    world
}

fn key(world: &World) -> Option<(String, Severity)> {
    world.held(Watch::LowNow)
}

fn held(world: &World, wanted: &str, severity: Severity) {
    assert_eq!(key(world), Some((wanted.to_owned(), severity)), "at {}: {}", world.now, world.story());
}

const STANDS: &str = "low-now-meter-stands";

/// What somebody does, and what is said of it.
type LowCheck = (fn(&mut World), &'static str);

/// The three ways in which somebody learns of a low by the meter.
fn low_checks() -> Vec<LowCheck> {
    vec![
        (|world| world.meter(45.0), "the meter showed 45 mg/dL"),
        (|world| world.meter(52.0), "the meter showed 52 mg/dL"),
        (|world| world.answer("olive", Verdict::MeterLow), "Olive measured less than 60 mg/dL"),
    ]
}

#[test]
fn a_low_by_the_meter_is_not_called_off_by_a_sensor_that_never_showed_it() {
    for (check, said) in low_checks() {
        for level in [88.0, 95.0, 110.0, 180.0] {
            let mut world = after(&[level; 8]);
            let checked = world.now;
            check(&mut world);
            assert_eq!(key(&world).unwrap().1, Severity::Critical, "{}", world.story());
            world.pass(5.0);
            while world.now < checked + minutes(155.0) {
                world.stream(Value::Level(level));
                world.pass(15.0);
                let (key, severity) = key(&world).unwrap_or_else(|| panic!("{level}: {}", world.story()));
                assert!(severity >= Severity::Warning, "{key}: {}", world.story());
            }
            assert!(world.carried.iter().all(|c| c.message.reason != Reason::Over), "{}", world.story());
            {
                held(&world, STANDS, Severity::Warning);
                let text = world
                    .heard("olive")
                    .into_iter()
                    .rfind(|c| c.message.title.contains("Meter low, sensor not"));
                let text = &text.unwrap_or_else(|| panic!("{}", world.story())).message.text;
                let shown = format!("The sensor showed {level} mg/dL at 1");
                assert!(
                    [said, &shown, "Check with the meter again"].iter().all(|part| text.contains(part)),
                    "{text}"
                );
                // Three hours after the check nobody knows, and that is what is said.
                world.stream_levels(&[level; 2]);
                assert_eq!(key(&world), None, "{}", world.story());
                let over = &world.carried.iter().rfind(|c| c.message.reason == Reason::Over).unwrap().message;
                assert!(over.title.contains("Not known whether still low"), "{}", over.title);
                assert_eq!(over.severity, Severity::Warning);
                assert!(
                    over.text.contains(said) && over.text.contains("check with the meter"),
                    "{}",
                    over.text
                );
            }
            assert!(
                !world.carried.iter().any(|c| c.message.title.contains("No longer low")),
                "{}",
                world.story()
            );
        }
    }
}

#[test]
fn who_answers_a_low_by_the_meter_is_not_flooded() {
    let mut world = after(&[110.0; 8]);
    world.meter(45.0);
    world.pass(3.0);
    world.answer("olive", Verdict::Taken);
    world.forget();
    for hole in [15.0, 15.0, 15.0, 45.0, 15.0, 45.0, 15.0, 45.0, 15.0, 45.0] {
        world.stream(Value::Level(110.0));
        world.pass(hole);
    }
    // The low that the sensor does not show, its one repeat, and the end; what the sensor foresees by itself is not meant.
    let lows = world.heard("olive").into_iter().filter(|c| !c.message.title.contains(" may "));
    assert!((2..=4).contains(&lows.count()), "{}", world.story());
    assert_eq!(world.count(Watch::LowNow, Became::Opened), 0, "{}", world.story());
}

#[test]
fn another_check_or_a_clear_rise_of_the_same_sensor_ends_it() {
    for (check, _) in low_checks() {
        let mut world = after(&[110.0; 8]);
        check(&mut world);
        world.pass(10.0);
        world.stream_levels(&[111.0, 112.0, 118.0]);
        held(&world, STANDS, Severity::Warning);
        let mut again = world;
        again.meter(92.0);
        assert_eq!(key(&again), None, "{}", again.story());
    }
    let mut world = after(&[110.0; 8]);
    world.meter(45.0);
    world.pass(10.0);
    // Twenty-five to the limit: a rise by that much is not clear, one reading is not enough, two are.
    world.stream_levels(&[130.0, 136.0, 137.0]);
    held(&world, STANDS, Severity::Warning);
    world.stream_levels(&[152.0]);
    held(&world, STANDS, Severity::Warning);
    world.stream_levels(&[156.0]);
    assert_eq!(key(&world), None, "{}", world.story());
    assert_eq!(world.last("olive").title, "No longer low: Pepper");
    // What has ended so does not come back when the sensor sinks a little.
    world.stream_levels(&[140.0, 128.0, 122.0]);
    assert_eq!(key(&world), None, "{}", world.story());
}

#[test]
fn beside_a_sensor_that_agrees_a_low_ends_as_it_did() {
    let mut world = after(&[90.0, 76.0, 66.0, 58.0]);
    world.meter(54.0);
    world.pass(10.0);
    world.stream_levels(&[57.0, 70.0, 86.0, 104.0]);
    assert_eq!(key(&world), None, "{}", world.story());
    assert_eq!(world.last("olive").title, "No longer low: Pepper", "{}", world.story());
}

#[test]
fn a_low_check_recorded_late_is_told_though_the_sensor_shows_none() {
    let mut world = after(&[110.0; 12]);
    let (measured_at, glucose) = (world.now - minutes(40.0), Value::Level(48.0));
    let meter = lowtide::words::MeterKind::Pet;
    world.event(Event::Meter(lowtide::words::MeterCheck { cat: cat(), measured_at, glucose, meter }));
    held(&world, STANDS, Severity::Warning);
    world.pass(2.0);
    assert!(world.last("olive").text.contains("the meter showed 48 mg/dL"), "{}", world.story());
}

#[test]
fn a_sensor_that_falls_is_heard_though_the_meter_stands_against_it() {
    let mut world = after(&[150.0; 8]);
    world.meter(52.0);
    world.stream_levels(&[150.0, 150.0, 151.0, 126.0, 104.0, 84.0]);
    let critical =
        |found: &crate::world::Found| found.watch == Watch::LowAhead && found.became == Became::Opened;
    assert!(world.found.iter().any(critical), "{}", world.story());
}

#[test]
fn a_check_above_the_limit_does_not_lower_a_low_that_came_after_it() {
    let falling = [180.0, 175.0, 160.0, 140.0, 115.0];
    let mut world = after(&falling);
    world.stream(Value::Level(85.0));
    world.meter(82.0);
    world.pass(15.0);
    world.stream(Value::Below);
    held(&world, "low-now-below-range", Severity::Critical);
    // Not so low, but fallen by more than noise: the sensor's warning stands as it is.
    let mut world = after(&falling);
    world.stream(Value::Level(85.0));
    world.meter(82.0);
    world.pass(15.0);
    world.stream(Value::Level(62.0));
    let (key, severity) = key(&world).unwrap_or_else(|| panic!("{}", world.story()));
    assert!(!key.contains("above") && severity >= Severity::Warning, "{key}: {}", world.story());
}

#[test]
fn a_check_above_the_limit_does_not_lower_a_dangerous_reading_that_is_newer_by_a_lag() {
    for (later, wanted) in [(2.0, "low-now-meter-above"), (14.0, "low-now-danger")] {
        let mut world = after(&[80.0, 66.0, 58.0, 54.0]);
        world.stream(Value::Level(52.0));
        world.meter(85.0);
        world.pass(later);
        world.stream(Value::Level(47.0));
        assert_eq!(key(&world).unwrap().0, wanted, "{later}: {}", world.story());
    }
}

#[test]
fn a_low_that_a_check_lowers_to_a_notice_leaves_the_warning_of_what_is_ahead() {
    let mut world = after(&[200.0, 175.0, 148.0, 122.0]);
    world.stream_levels(&[98.0]);
    let ahead = world.held(Watch::LowAhead).unwrap_or_else(|| panic!("{}", world.story()));
    assert_eq!(key(&world), None, "{}", world.story());
    world.stream(Value::Level(84.0));
    world.meter(84.0);
    world.pass(8.0);
    world.stream(Value::Level(69.5));
    held(&world, "low-now-meter-above", Severity::Notice);
    let still = world.held(Watch::LowAhead).unwrap_or_else(|| panic!("{}", world.story()));
    assert!(still.1 >= Severity::Warning && ahead.1 >= Severity::Warning, "{}", world.story());
}

#[test]
fn a_sensor_with_holes_says_once_that_there_is_nothing_newer() {
    for gap in [45.0, 60.0] {
        let mut world = after(&[90.0, 80.0, 70.0, 62.0, 58.0]);
        for _ in 0..12 {
            world.stream(Value::Level(58.0));
            world.pass(gap);
        }
        let old = world.heard("olive").iter().filter(|c| c.message.title.contains("nothing newer")).count();
        assert_eq!(old, 1, "{gap}: {}", world.story());
        // From further down it is said again.
        world.stream(Value::Level(44.0));
        world.pass(gap);
        let old = world.heard("olive").iter().filter(|c| c.message.title.contains("nothing newer")).count();
        assert!(old >= 2, "{gap}: {}", world.story());
    }
}

#[test]
fn a_crossing_that_may_have_come_is_not_given_a_time_and_a_low_names_its_limit() {
    for (language, already, limit) in [
        ("en", "perhaps already", "Low is under 70 mg/dL."),
        ("de", "vielleicht schon jetzt", "Tief heißt unter 70 mg/dL."),
        ("fr", "peut-être déjà", "Bas : sous 70 mg/dL."),
    ] {
        let mut settings = streaming();
        settings.persons[0].language = language.into();
        let mut world = World::new(settings.clone(), at(NOON));
        world.stream_levels(&[110.0, 104.0, 98.0, 92.0, 87.0, 82.0, 78.0, 75.0, 72.0, 69.0, 66.0]);
        let texts = |world: &World| world.carried.iter().map(|c| c.message.text.clone()).collect::<Vec<_>>();
        assert!(texts(&world).iter().any(|text| text.contains(limit)), "{}", world.story());
        let mut near = World::new(settings.clone(), at(NOON));
        near.stream_levels(&[150.0; 12]);
        near.stream_levels(&[130.0, 108.0, 88.0]);
        let said = near
            .journal
            .iter()
            .flat_map(|(now, _, said)| said.changes.iter().map(move |change| (*now, change)));
        let mut seen = 0;
        for (now, change) in said {
            check_change(change, &settings, now);
            seen += usize::from(change.finding.watch == Watch::LowAhead);
        }
        assert!(seen > 0, "{}", near.story());
        // Looked at as late as the estimate says it may have come.
        let open = near.house.open();
        let ahead = open.iter().find(|finding| finding.watch == Watch::LowAhead);
        let ahead = ahead.unwrap_or_else(|| panic!("{}", near.story()));
        let reader = lowtide::tell::Reader::person(&settings.persons[0], &settings, near.now);
        let text = lowtide::tell::what(&reader, &ahead.telling);
        assert!(text.contains(already), "{text}\n{}", near.story());
    }
}

#[test]
fn every_text_of_it_fits_a_lock_screen_in_every_language_and_unit() {
    for units in [lowtide::words::Unit::MgDl, lowtide::words::Unit::MmolL] {
        for (check, _) in low_checks() {
            let mut settings = streaming();
            settings.persons.iter_mut().for_each(|person| person.units = units);
            let mut world = World::new(settings.clone(), at(NOON));
            world.stream_levels(&[110.0; 8]);
            check(&mut world);
            world.stream_levels(&[110.0; 16]);
            assert!(world.found.iter().any(|found| found.key == STANDS), "{}", world.story());
            for (now, _, said) in &world.journal {
                said.changes.iter().for_each(|change| check_change(change, &settings, *now));
            }
        }
    }
}

#[test]
fn the_state_is_the_same_after_a_start() {
    let mut world = after(&[110.0; 8]);
    world.meter(45.0);
    for gap in [15.0, 15.0, 45.0, 60.0, 45.0, 15.0, 60.0, 60.0, 60.0] {
        world.stream(Value::Level(if gap > 45.0 { 62.0 } else { 110.0 }));
        world.pass(gap);
        assert_eq!(
            world.restarted().cats[&cat()].memory,
            world.house.cats[&cat()].memory,
            "{}",
            world.story()
        );
    }
}

/// Found by `no_wake_is_forgotten`: the value ran out a minute before the word, which then spoke for a minute.
#[test]
fn a_word_that_a_value_overrules_does_not_outlive_it() {
    let mut world = World::new(streaming(), at(NOON));
    world.every_minute = true;
    world.meter(60.0);
    world.pass(1.0);
    world.answer("olive", Verdict::MeterLow);
    world.pass(40.0);
    assert_eq!(world.count(Watch::LowNow, Became::Opened), 0, "{}", world.story());
}

#[test]
fn a_scan_that_brings_the_hours_around_the_check_is_weighed_the_same() {
    let mut settings = streaming();
    settings.cats[0].sensor.kind = lowtide::words::SensorKind::Scanned;
    let mut world = World::new(settings, at(NOON));
    world.scan_back(240.0, |_| 110.0);
    world.pass(30.0);
    world.meter(45.0);
    world.pass(40.0);
    let readings = (0..5).map(|k| Reading {
        measured_at: world.now - minutes(60.0 - 15.0 * f64::from(k)),
        value: Value::Level(110.0 + f64::from(k % 2)),
        kind: ReadingKind::History,
    });
    let readings: Vec<Reading> = readings.collect();
    let newest = readings.last().map(|reading| reading.measured_at);
    world.event(Event::Readings(Batch {
        cat: cat(),
        via: Via::Folder,
        source: "scan.csv".into(),
        sensor: None,
        scanned_at: Some(world.now),
        readings,
        repeated: 0,
        conflicts: Vec::new(),
        newest,
    }));
    held(&world, STANDS, Severity::Warning);
}

#[test]
fn beside_a_low_by_the_meter_the_status_names_no_small_chance_of_one() {
    let mut world = after(&[112.0; 8]);
    let shown = |world: &World| status_text(&house_status(&world.house, world.now).unwrap(), &streaming());
    assert!(shown(&world).contains("chance of a low within 60 minutes: "), "{}", shown(&world));
    world.meter(45.0);
    assert_eq!(key(&world).unwrap().1, Severity::Critical, "{}", world.story());
    assert!(!shown(&world).contains("chance of a low"), "{}", shown(&world));
    let ahead = ahead_text(&house_status(&world.house, world.now).unwrap(), &streaming());
    assert!(ahead.contains("A low is open") && ahead.contains(" in 10"), "{ahead}");
}
