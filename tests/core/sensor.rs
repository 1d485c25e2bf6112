//! The sensor itself: silent, not started, ending; spares.

use lowtide::words::{Became, Event, SensorEvent, Severity, Spare, Unread, Value, Watch, minutes};

use crate::household::{at, cat, household, quiet, streaming};
use crate::world::{World, samples};

const NOON: &str = "2026-06-10T10:00:00Z";

fn applied_days_ago(world: &mut World, days: f64) {
    let at = world.now - minutes(days * 1440.0);
    let note = lowtide::words::SensorNote { cat: cat(), at, event: SensorEvent::Applied };
    world.event(Event::Sensor(note));
}

#[test]
fn a_scan_that_brings_nothing_new_means_that_the_sensor_has_stopped() {
    let mut world = World::new(household(), at(NOON));
    applied_days_ago(&mut world, 8.5);
    world.event(Event::Spare(Spare { cat: cat(), at: world.now, count: 2 }));
    world.scan_back(480.0, |_| 150.0);
    world.pass(240.0);
    let old = world.now - minutes(200.0);
    let readings = samples(at(NOON), old, 15.0, |_| lowtide::words::Value::Level(150.0));
    world.scan(readings);
    let (key, severity) = world.held(Watch::SensorSilent).unwrap();
    assert_eq!((key.as_str(), severity), ("sensor-silent-scan", Severity::Warning));
    world.pass(2.0);
    let text = &world.last("olive").text;
    assert!(text.contains("Day 9 of 14") && text.contains("2 spares"), "{text}");
    // A dead sensor has no window to remind of.
    world.forget();
    world.until(at(NOON) + minutes(16.0 * 60.0));
    assert_eq!(world.count(Watch::WindowClosing, Became::Opened), 0, "{}", world.story());
    assert_eq!(world.count(Watch::WindowClosed, Became::Opened), 0, "{}", world.story());
}

#[test]
fn a_source_that_reports_an_error_is_told_with_what_can_still_be_saved() {
    let mut world = World::new(household(), at(NOON));
    applied_days_ago(&mut world, 3.0);
    world.scan_back(480.0, |_| 150.0);
    world.sensor(SensorEvent::Error);
    assert_eq!(world.held(Watch::SensorSilent).unwrap().0, "sensor-silent-error");
    world.pass(2.0);
    assert!(
        world.last("olive").text.contains("can still save the last 8 hours"),
        "{}",
        world.last("olive").text
    );
    world.sensor(SensorEvent::Ok);
    assert!(!world.holds(Watch::SensorSilent));
}

fn shows(world: &mut World, ago: f64) {
    let at = world.now - minutes(ago);
    world.event(Event::Unread(Unread { cat: cat(), at, shown: "ERR3".into() }));
}

#[test]
fn a_newest_value_that_cannot_be_read_is_told_until_there_is_one_that_can() {
    let mut world = World::new(household(), at(NOON));
    applied_days_ago(&mut world, 3.0);
    world.scan_back(480.0, |_| 150.0);
    shows(&mut world, 5.0);
    assert!(!world.holds(Watch::SensorSilent), "there is a newer one: {}", world.story());
    world.pass(90.0);
    shows(&mut world, 70.0);
    assert!(!world.holds(Watch::SensorSilent), "it is old: {}", world.story());
    shows(&mut world, 2.0);
    assert_eq!(world.held(Watch::SensorSilent).unwrap(), ("sensor-silent-unread".into(), Severity::Warning));
    assert_eq!(world.restarted(), world.house);
    world.pass(2.0);
    let text = &world.last("olive").text;
    assert!(
        text.contains("At 13:28 the sensor showed \"ERR3\" and no value. The last value is from 12:00"),
        "{text}"
    );
    world.scan_back(90.0, |_| 150.0);
    assert!(!world.holds(Watch::SensorSilent), "{}", world.story());
}

#[test]
fn a_stream_is_given_the_time_of_its_next_reading_and_warm_up_is_none_of_it() {
    for mended in [true, false] {
        let mut world = World::new(streaming(), at(NOON));
        applied_days_ago(&mut world, 3.0);
        world.stream_levels(&[150.0; 6]);
        shows(&mut world, 0.0);
        world.pass(15.0);
        assert!(!world.holds(Watch::SensorSilent), "{}", world.story());
        if !mended {
            shows(&mut world, 0.0);
        } else {
            world.stream(Value::Level(150.0));
        }
        world.pass(8.0);
        let held = world.held(Watch::SensorSilent).map(|(key, _)| key);
        assert_eq!(held.as_deref(), (!mended).then_some("sensor-silent-unread"), "{}", world.story());
    }
    let mut world = World::new(household(), at(NOON));
    world.scan_back(480.0, |_| 150.0);
    applied_days_ago(&mut world, 0.01);
    world.pass(20.0);
    shows(&mut world, 0.0);
    assert!(!world.holds(Watch::SensorSilent), "a new sensor says nothing yet: {}", world.story());
}

#[test]
fn a_value_that_cannot_be_read_wakes_while_glucose_is_low_and_not_otherwise() {
    let night = at("2026-06-10T22:00:00Z");
    for (level, woken) in [(60.0, true), (150.0, false)] {
        let mut world = World::new(household(), night);
        applied_days_ago(&mut world, 3.0);
        world.scan_back(480.0, |_| level);
        world.pass(20.0);
        world.forget();
        shows(&mut world, 0.0);
        assert_eq!(world.held(Watch::SensorSilent).unwrap().0, "sensor-silent-unread");
        world.pass(5.0);
        let told = world.heard("olive").iter().any(|carried| carried.message.text.contains("ERR3"));
        assert_eq!(told, woken, "{level}: {}", world.story());
    }
}

#[test]
fn a_sensor_that_came_off_early_is_told_and_one_at_its_end_is_not() {
    for (days, early) in [(9.0, true), (13.99, false)] {
        let mut world = World::new(household(), at(NOON));
        applied_days_ago(&mut world, days);
        world.scan_back(480.0, |_| 150.0);
        world.sensor(SensorEvent::CameOff);
        assert_eq!(world.holds(Watch::SensorSilent), early, "after {days} days");
    }
}

#[test]
fn a_streamed_sensor_that_is_overdue_is_blamed_only_while_its_bridge_is_there() {
    for (bridge, key) in
        [(Some(true), "sensor-silent"), (Some(false), "sensor-silent-bridge"), (None, "sensor-silent-bridge")]
    {
        let mut world = World::new(streaming(), at(NOON));
        if let Some(online) = bridge {
            world.event(Event::Bridge { cat: cat(), online });
        }
        world.stream_levels(&[150.0; 6]);
        world.pass(60.0);
        assert_eq!(world.held(Watch::SensorSilent).unwrap().0, key, "{}", world.story());
        world.forget();
        world.stream_levels(&[150.0]);
        assert!(!world.holds(Watch::SensorSilent));
        assert_eq!(world.last("olive").title, "Readings are back: Pepper");
    }
}

#[test]
fn silence_after_the_warm_up_is_found_without_anything_happening() {
    let mut world = World::new(streaming(), at(NOON));
    world.sensor(SensorEvent::Applied);
    world.stream_levels(&[150.0]);
    world.pass(180.0);
    assert!(world.holds(Watch::SensorSilent), "{}", world.story());
}

#[test]
fn a_new_sensor_without_readings_after_its_warm_up_is_told_once_and_by_one_watch() {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[150.0; 4]);
    world.sensor(SensorEvent::Applied);
    world.pass(240.0);
    assert!(world.holds(Watch::SensorNotStarted), "{}", world.story());
    assert!(!world.holds(Watch::SensorSilent), "{}", world.story());
    world.stream_levels(&[150.0]);
    assert!(!world.holds(Watch::SensorNotStarted));
}

#[test]
fn the_end_of_a_sensor_is_told_two_days_and_half_a_day_before_at_waking_hours() {
    // It ends on 24 June at 05:00 in Vienna: 48 hours before is 05:00, in the night; so the evening before.
    let mut world = World::new(household(), at("2026-06-10T03:00:00Z"));
    world.sensor(SensorEvent::Applied);
    while world.now < at("2026-06-24T03:00:00Z") {
        world.pass(180.0);
        world.scan_back(180.0, |_| 150.0);
    }
    let heard: Vec<_> =
        world.heard("olive").into_iter().filter(|c| c.message.title.contains("ends soon")).collect();
    let times: Vec<_> = heard.iter().map(|c| c.at).collect();
    assert_eq!(times, [at("2026-06-21T20:01:00Z"), at("2026-06-23T15:01:00Z")], "{}", world.story());
    assert!(heard[1].message.text.contains("It ends at 05:00 tomorrow"), "{}", heard[1].message.text);
}

#[test]
fn what_waits_for_the_morning_says_today_in_the_morning() {
    // The reminder 12 hours before falls at 23:00, when Olive sleeps already but did not when it was planned.
    let mut settings = household();
    settings.persons[0].quiet = None;
    let mut world = World::new(settings.clone(), at("2026-06-10T09:00:00Z"));
    world.sensor(SensorEvent::Applied);
    world.until(at("2026-06-23T20:50:00Z"));
    world.forget();
    settings.persons[0].quiet = quiet("22:30", "06:30");
    world.settings(settings);
    world.until(at("2026-06-24T04:40:00Z"));
    for heard in world.heard("olive") {
        assert!(!heard.message.text.contains("tomorrow"), "{}", world.story());
    }
}

#[test]
fn few_spares_are_told_to_the_owner_and_once_per_count() {
    let mut world = World::new(household(), at(NOON));
    world.event(Event::Spare(Spare { cat: cat(), at: world.now, count: 2 }));
    assert!(!world.holds(Watch::SparesLow));
    world.sensor(SensorEvent::Applied);
    world.pass(5.0);
    assert!(world.last("olive").text.contains("One unused sensor is left"), "{}", world.story());
    let heard = world.carried.len();
    world.scan_back(30.0, |_| 140.0);
    world.pass(300.0);
    assert_eq!(world.carried.len(), heard, "{}", world.story());
}

#[test]
fn a_sensor_whose_days_are_over_is_told_until_there_is_a_new_one() {
    // It ends at 05:00 in Vienna; Olive sleeps until 06:30.
    let mut world = World::new(household(), at("2026-06-10T03:00:00Z"));
    world.sensor(SensorEvent::Applied);
    world.until(at("2026-06-24T02:55:00Z"));
    world.forget();
    world.until(at("2026-06-24T06:00:00Z"));
    let heard = world.heard("olive");
    // At getting up, and once more, as nobody answered.
    let times: Vec<_> = heard.iter().map(|heard| heard.at).collect();
    assert_eq!(times, [at("2026-06-24T04:31:00Z"), at("2026-06-24T05:02:00Z")], "{}", world.story());
    assert_eq!(heard[0].message.title, "Sensor has ended: Pepper");
    assert!(heard[0].message.text.contains("reached its end at 05:00"), "{}", heard[0].message.text);
    world.sensor(SensorEvent::Applied);
    assert!(!world.holds(Watch::SensorSilent), "{}", world.story());
}

#[test]
fn a_sensor_that_was_taken_off_on_purpose_is_not_told() {
    let mut world = World::new(household(), at("2026-06-10T08:00:00Z"));
    world.sensor(SensorEvent::Applied);
    world.pass(1440.0);
    world.sensor(SensorEvent::Removed);
    world.forget();
    world.pass(15.0 * 1440.0);
    assert!(world.heard("olive").is_empty(), "{}", world.story());
}

#[test]
fn what_a_sensor_still_sends_while_it_is_taken_off_does_not_show_that_it_is_on() {
    for (sample, sends) in [(1.0, 4.0), (1.0, 12.0), (5.0, 12.0)] {
        let mut settings = streaming();
        settings.cats[0].sensor.sample_minutes = sample;
        let mut world = World::new(settings, at(NOON));
        world.sensor(SensorEvent::Applied);
        world.pass(180.0);
        world.stream(Value::Level(150.0));
        world.forget();
        world.sensor(SensorEvent::Removed);
        world.pass(sends);
        world.stream(Value::Level(151.0));
        world.pass(600.0);
        assert!(world.carried.is_empty(), "{sample} {sends}: {}", world.story());
    }
}

#[test]
fn a_sensor_put_on_before_the_spares_were_counted_is_not_taken_off_them() {
    let mut world = World::new(household(), at(NOON));
    world.event(Event::Spare(Spare { cat: cat(), at: world.now, count: 2 }));
    applied_days_ago(&mut world, 1.0);
    assert_eq!(world.house.cats[&cat()].spares, Some(2));
    world.sensor(SensorEvent::Applied);
    assert_eq!(world.house.cats[&cat()].spares, Some(1));
}

/// How often the silence of a streamed sensor was told over a night, by how late each of its readings comes.
fn silences(late: impl Fn(usize) -> f64) -> (usize, World) {
    let mut world = World::new(streaming(), at("2026-06-10T18:00:00Z"));
    world.stream_levels(&[150.0; 4]);
    let begun = world.now;
    let mut arrivals: Vec<_> = (0..48)
        .map(|k| {
            let measured = begun + minutes(15.0 * k as f64);
            (measured + minutes(late(k)), measured)
        })
        .collect();
    arrivals.sort();
    for (arrives, measured) in arrivals {
        world.until(arrives.max(world.now));
        world.deliver(measured, Value::Level(150.0 + (measured.millis() / 900_000 % 3) as f64));
    }
    (world.count(Watch::SensorSilent, Became::Opened), world)
}

#[test]
fn a_bridge_that_delivers_every_reading_late_is_told_once_in_a_night() {
    for late in [20.0, 35.0, 46.0, 50.0, 55.0, 61.0, 90.0, 200.0] {
        let (told, world) = silences(|_| late);
        assert_eq!(told, usize::from(late > 45.0), "{late}: {}", world.story());
        let (told, world) = silences(|k| late + [0.0, 7.0, -5.0, 12.0, -9.0][k % 5]);
        assert!(told <= 1, "{late}: {}", world.story());
    }
}

#[test]
fn a_silence_is_over_once_a_late_bridge_has_delivered_steadily_for_hours() {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[150.0; 4]);
    let late = |world: &mut World, count: u32| {
        for k in 0..count {
            world.deliver(world.now - minutes(35.0), Value::Level(150.0 + f64::from(k % 3)));
            world.pass(15.0);
        }
    };
    world.pass(240.0);
    late(&mut world, 6);
    assert!(world.holds(Watch::SensorSilent), "{}", world.story());
    late(&mut world, 6);
    assert!(!world.holds(Watch::SensorSilent), "{}", world.story());
    assert_eq!(world.count(Watch::SensorSilent, Became::Opened), 1, "{}", world.story());
    assert_eq!(world.restarted().cats[&cat()].memory, world.house.cats[&cat()].memory);
    assert_eq!(world.restarted().cats[&cat()].open, world.house.cats[&cat()].open);
    // A silence after that is one of its own.
    world.forget();
    world.pass(60.0);
    assert_eq!(world.count(Watch::SensorSilent, Became::Opened), 1, "{}", world.story());
    assert!(!world.heard("olive").is_empty(), "{}", world.story());
}

#[test]
fn a_bridge_that_comes_and_goes_during_a_silence_is_told_once_of_each() {
    let mut world = World::new(streaming(), at(NOON));
    world.event(Event::Bridge { cat: cat(), online: true });
    world.stream_levels(&[150.0; 4]);
    world.pass(60.0);
    for k in 0..24 {
        world.event(Event::Bridge { cat: cat(), online: k % 2 == 1 });
        world.pass(5.0);
    }
    let titles: Vec<_> = world.heard("olive").iter().map(|heard| heard.message.title.clone()).collect();
    assert!(titles.len() <= 3, "{titles:?}");
    // The next silence is told anew.
    world.stream_levels(&[150.0; 2]);
    world.forget();
    world.pass(60.0);
    assert_eq!(world.heard("olive").len(), 1, "{}", world.story());
    world.event(Event::Bridge { cat: cat(), online: false });
    world.pass(5.0);
    assert_eq!(world.heard("olive").len(), 2, "{}", world.story());
}

#[test]
fn what_an_old_sensor_showed_is_not_held_against_a_new_one() {
    let mut world = World::new(streaming(), at(NOON));
    applied_days_ago(&mut world, 3.0);
    world.stream_levels(&[150.0; 6]);
    shows(&mut world, 0.0);
    world.pass(10.0);
    world.sensor(SensorEvent::Applied);
    world.pass(100.0);
    shows(&mut world, 0.0);
    world.pass(10.0);
    assert!(!world.holds(Watch::SensorSilent), "a single one: {}", world.story());
    world.pass(15.0);
    assert_eq!(world.held(Watch::SensorSilent).unwrap().0, "sensor-silent-unread", "{}", world.story());
}

#[test]
fn what_comes_late_after_an_outage_does_not_end_a_silence_and_begin_it_again() {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[150.0; 4]);
    let away = world.now;
    world.pass(240.0);
    assert!(world.holds(Watch::SensorSilent), "{}", world.story());
    world.forget();
    for k in 0..14 {
        world.deliver(away + minutes(15.0 * f64::from(k)), Value::Level(150.0 + f64::from(k % 3)));
        world.pass(0.5);
    }
    // The bridge went again before it had delivered what is of now.
    world.pass(120.0);
    assert_eq!(world.count(Watch::SensorSilent, Became::Cleared), 0, "{}", world.story());
    world.stream_levels(&[150.0]);
    assert!(!world.holds(Watch::SensorSilent), "{}", world.story());
    assert_eq!(world.last("olive").title, "Readings are back: Pepper");
}

#[test]
fn a_wrong_note_that_the_sensor_ended_makes_its_silence_no_less_told() {
    for event in [SensorEvent::CameOff, SensorEvent::Failed, SensorEvent::Removed, SensorEvent::Expired] {
        let mut world = World::new(streaming(), at(NOON));
        world.sensor(SensorEvent::Applied);
        world.stream_levels(&[150.0; 8]);
        world.sensor(event);
        world.stream_levels(&[150.0; 8]);
        assert!(!world.holds(Watch::SensorSilent), "{event:?}: {}", world.story());
        world.forget();
        world.pass(70.0);
        assert_eq!(world.held(Watch::SensorSilent).unwrap().0, "sensor-silent-bridge", "{event:?}");
        assert_eq!(world.heard("olive").len(), 1, "{event:?}: {}", world.story());
        // What is noted then is what counts.
        world.stream_levels(&[150.0; 2]);
        world.sensor(SensorEvent::Removed);
        world.forget();
        world.pass(300.0);
        assert!(world.carried.is_empty(), "{event:?}: {}", world.story());
    }
}

#[test]
fn a_sensor_that_lasts_longer_than_its_days_is_watched_until_it_stops() {
    let mut world = World::new(streaming(), at(NOON));
    applied_days_ago(&mut world, 13.9);
    world.stream_levels(&[150.0; 40]);
    let ended =
        world.heard("olive").iter().any(|carried| carried.message.title.to_lowercase().contains("ended"));
    assert!(!ended && !world.holds(Watch::SensorSilent), "{}", world.story());
    world.pass(60.0);
    assert_eq!(world.held(Watch::SensorSilent).unwrap().0, "sensor-silent-bridge", "{}", world.story());
    let mut world = World::new(streaming(), at(NOON));
    applied_days_ago(&mut world, 13.9);
    world.stream_levels(&[150.0; 10]);
    world.pass(45.0);
    assert_eq!(world.held(Watch::SensorSilent).unwrap().0, "sensor-ended", "{}", world.story());
}

#[test]
fn after_a_wrong_note_the_scan_window_is_kept_and_the_next_scans_are_named() {
    let mut world = World::new(household(), at(NOON));
    world.sensor(SensorEvent::Applied);
    world.pass(240.0);
    world.sensor(SensorEvent::Removed);
    world.pass(60.0);
    world.scan_back(120.0, |_| 150.0);
    let status = lowtide::report::cat_status(&world.house, &cat(), world.now).unwrap();
    assert!(status.scans.is_some() && status.applied == Some(at(NOON)), "{status:?}");
    world.forget();
    world.pass(9.0 * 60.0);
    assert_eq!(world.count(Watch::WindowClosed, Became::Opened), 1, "{}", world.story());
}
