//! The scan window: reminders, bedtime, losses, gaps, over both clock changes.

use lowtide::words::{Became, Severity, Watch, minutes};

use crate::household::{at, duty, household, person, quiet};
use crate::world::World;

/// A world in which a full scan was just made.
fn scanned(now: &str) -> World {
    let mut world = World::new(household(), at(now));
    world.scan_back(480.0, |_| 160.0);
    assert!(world.found.is_empty(), "{}", world.story());
    world
}

#[test]
fn a_reminder_comes_an_hour_and_a_quarter_hour_before_the_window_closes() {
    let mut world = scanned("2026-06-10T06:00:00Z");
    world.pass(8.0 * 60.0 - 61.0);
    assert_eq!(world.carried.len(), 0, "{}", world.story());
    world.pass(59.0);
    let heard = world.heard("olive");
    let times: Vec<_> = heard.iter().map(|carried| carried.at).collect();
    assert_eq!(times, [at("2026-06-10T13:01:00Z"), at("2026-06-10T13:46:00Z")], "{}", world.story());
    // Vienna is two hours ahead of UTC in June.
    assert!(heard[0].message.text.contains("before 16:00"), "{}", heard[0].message.text);
    assert_eq!(heard[0].message.severity, Severity::Warning);
}

#[test]
fn a_scan_withdraws_the_reminder_that_is_still_on_its_way() {
    let mut world = scanned("2026-06-10T06:00:00Z");
    world.until(at("2026-06-10T13:00:20Z"));
    assert_eq!(world.said.len(), 1);
    world.scan_back(420.0, |_| 160.0);
    world.pass(30.0);
    assert_eq!(world.withdrawn, [world.said[0].id.clone()]);
    assert!(world.carried.is_empty(), "{}", world.story());
    assert_eq!(world.count(Watch::WindowClosing, Became::Cleared), 1);
}

#[test]
fn a_window_that_closes_in_the_night_is_reminded_of_before_bed() {
    let mut world = scanned("2026-06-10T17:00:00Z");
    world.until(at("2026-06-11T03:00:00Z"));
    // It closes at 03:00 in Vienna; bed is at 22:30, which is 20:30 UTC.
    let heard = world.heard("olive");
    let times: Vec<_> = heard.iter().map(|carried| carried.at).collect();
    assert_eq!(times, [at("2026-06-10T19:31:00Z"), at("2026-06-10T20:16:00Z")], "{}", world.story());
    let text = &heard[0].message.text;
    assert!(text.contains("A scan at 22:30 holds until 06:30 tomorrow"), "{text}");
    // Then at getting up, half an hour before eight hours have passed, and at bedtime.
    assert!(text.contains("after that: 06:30 tomorrow, 14:00 tomorrow, 21:30 tomorrow."), "{text}");
}

#[test]
fn who_scans_in_the_evening_is_left_in_peace_until_the_morning() {
    let mut world = scanned("2026-06-10T20:00:00Z");
    world.until(at("2026-06-11T04:00:00Z"));
    assert!(world.carried.is_empty(), "{}", world.story());
}

#[test]
fn a_night_longer_than_the_memory_says_which_stretch_will_be_lost() {
    let mut settings = household();
    settings.persons[0].quiet = quiet("22:00", "08:00");
    let mut world = World::new(settings, at("2026-06-10T14:00:00Z"));
    world.scan_back(480.0, |_| 160.0);
    world.until(at("2026-06-10T19:30:00Z"));
    let text = &world.heard("olive")[0].message.text;
    assert!(text.contains("from 22:00 to 00:00"), "{text}");
}

#[test]
fn every_lost_reading_is_counted_and_the_next_scan_reports_the_gap() {
    let mut world = scanned("2026-06-10T06:00:00Z");
    world.until(at("2026-06-10T14:31:00Z"));
    let held = world.held(Watch::WindowClosed).unwrap();
    assert_eq!(held, ("window-closed".to_owned(), Severity::Warning));
    assert!(world.last("olive").text.contains("one is lost"), "{}", world.last("olive").text);
    let open = world.house.open();
    let lost =
        &open.iter().find(|finding| finding.watch == Watch::WindowClosed).unwrap().telling.args["lost"];
    assert_eq!(*lost, lowtide::words::Arg::Count(3));
    // At 15:00 the sensor holds the last eight hours: 07:15 to 15:00 (local times two hours on).
    world.until(at("2026-06-10T15:00:00Z"));
    world.scan_back(480.0, |_| 160.0);
    assert!(!world.holds(Watch::WindowClosed));
    world.pass(2.0);
    let text = &world.last("olive").text;
    assert!(text.contains("Between 08:00 and 09:15 4 readings are missing"), "{text}");
}

#[test]
fn the_window_is_eight_hours_whatever_the_clocks_do() {
    // The European Union's clocks change on the last Sundays of March and October at 01:00 UTC (directive 2000/84/EC).
    for (scan, text) in [
        // 23:00 to 08:00 on the wall is eight hours in spring,
        ("2026-03-28T22:00:00Z", "08:00"),
        // 23:00 to 06:00 in autumn.
        ("2026-10-24T21:00:00Z", "06:00"),
    ] {
        let mut settings = household();
        settings.persons[0].quiet = None;
        let mut world = World::new(settings, at(scan));
        world.scan_back(480.0, |_| 160.0);
        world.until(at(scan) + minutes(8.0 * 60.0 + 1.0));
        let heard = world.heard("olive");
        assert_eq!(heard[0].at, at(scan) + minutes(7.0 * 60.0 + 1.0), "{}", world.story());
        assert!(heard[0].message.title.contains(text), "{}", heard[0].message.title);
        let closed = world.found.iter().find(|found| found.watch == Watch::WindowClosed).unwrap();
        assert_eq!(closed.at, at(scan) + minutes(8.0 * 60.0));
    }
}

#[test]
fn bedtime_follows_the_clock_of_whoever_has_the_cat() {
    // The sitter is in Lisbon, an hour behind Vienna: bed at 22:30 there is 23:30 at home, 21:30 UTC.
    let mut settings = household();
    let mut sitter = person("Rowan");
    sitter.timezone = chrono_tz::Europe::Lisbon;
    settings.persons[1] = sitter;
    settings.duty = vec![duty("rowan", "2026-06-01T00:00:00Z", "2026-06-20T00:00:00Z")];
    let mut world = World::new(settings, at("2026-06-10T17:00:00Z"));
    world.scan_back(480.0, |_| 160.0);
    world.until(at("2026-06-11T03:00:00Z"));
    let heard = world.heard("rowan");
    assert_eq!(heard[0].at, at("2026-06-10T20:31:00Z"), "{}", world.story());
    assert!(heard[0].message.text.contains("A scan at 22:30"), "{}", heard[0].message.text);
    assert!(world.heard("olive").is_empty());
}

#[test]
fn who_takes_the_cat_over_in_the_evening_is_reminded_by_their_own_bedtime() {
    let mut settings = household();
    settings.persons[0].quiet = None;
    settings.duty = vec![duty("rowan", "2026-06-10T18:00:00Z", "2026-06-20T00:00:00Z")];
    let mut world = World::new(settings, at("2026-06-10T17:00:00Z"));
    world.scan_back(480.0, |_| 160.0);
    world.until(at("2026-06-11T03:00:00Z"));
    assert_eq!(world.heard("rowan")[0].at, at("2026-06-10T19:31:00Z"), "{}", world.story());
}

#[test]
fn a_sensor_with_a_long_memory_is_still_reminded_of_before_the_night() {
    let mut settings = household();
    settings.cats[0].sensor.memory_hours = 24.0;
    // Scanned in the night, so that the night which counts is the next one.
    let mut world = World::new(settings, at("2026-06-10T02:00:00Z"));
    world.scan_back(480.0, |_| 160.0);
    world.until(at("2026-06-10T20:30:00Z"));
    assert_eq!(world.heard("olive").len(), 2, "{}", world.story());
    assert_eq!(world.heard("olive")[0].at, at("2026-06-10T19:31:00Z"));
}

#[test]
fn readings_lost_in_the_night_are_told_in_the_morning_with_the_count_of_the_morning() {
    let mut world = scanned("2026-06-10T17:00:00Z");
    world.until(at("2026-06-11T05:00:00Z"));
    let last = world.last("olive");
    assert!(world.heard("olive").last().unwrap().at >= at("2026-06-11T04:30:00Z"), "{}", world.story());
    // Closed at 01:00 UTC, told just after 04:30: 15 are lost by then.
    assert!(last.text.contains("15 are lost"), "{}", last.text);
    assert!(last.text.contains("Not scanned since 19:00 yesterday"), "{}", last.text);
    let told = world.carried.iter().filter(|c| c.message.text.contains("lost so far")).count();
    assert_eq!(told, 1, "{}", world.story());
}

#[test]
fn a_fresh_installation_on_an_old_wear_has_lost_nothing() {
    let mut world = World::new(household(), at("2026-06-10T06:00:00Z"));
    let applied = world.now - minutes(5.0 * 1440.0);
    let event = lowtide::words::SensorEvent::Applied;
    let note = lowtide::words::SensorNote { cat: crate::household::cat(), at: applied, event };
    world.event(lowtide::words::Event::Sensor(note));
    assert!(!world.holds(Watch::WindowClosed), "{}", world.story());
}

#[test]
fn a_streamed_sensor_has_no_window() {
    let mut world = World::new(crate::household::streaming(), at("2026-06-10T06:00:00Z"));
    world.stream_levels(&[150.0; 8]);
    world.pass(24.0 * 60.0);
    assert_eq!(world.count(Watch::WindowClosing, Became::Opened), 0);
    assert_eq!(world.count(Watch::WindowClosed, Became::Opened), 0);
}
