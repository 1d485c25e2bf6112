//! What lies just under the limit, in a house that asks for fewer warnings: it waits for one more reading, and nothing
//! else does.

use lowtide::glucose::alarm::Style;
use lowtide::words::{
    Became, Event, Household, MeterCheck, MeterKind, SensorKind, Severity, Value, Watch, minutes,
};

use crate::household::{at, cat, streaming};
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

fn house(style: Style) -> Household {
    let mut house = streaming();
    house.cats[0].watch.low_ahead_chance = style.threshold();
    house
}

/// A streamed cat that has rested for days, now close to the limit.
fn resting(style: Style, level: f64) -> World {
    let days = 3;
    let mut world = World::new(house(style), at(NOON) - minutes(1440.0 * f64::from(days)));
    let wave: Vec<f64> = (0..96 * days).map(|k| 92.0 + 8.0 * (f64::from(k) / 7.0).sin()).collect();
    world.stream_levels(&wave);
    world.stream_levels(&[84.0, 80.0, 78.0, 76.0, 75.0, level]);
    world.forget();
    world
}

fn opened(world: &World) -> usize {
    world.count(Watch::LowNow, Became::Opened)
}

#[test]
fn one_reading_just_under_the_limit_waits_where_fewer_warnings_are_asked_for() {
    for (style, told) in [(Style::Sooner, 1), (Style::Balanced, 1), (Style::Fewer, 0)] {
        let mut world = resting(style, 75.0);
        world.stream_levels(&[68.0]);
        assert_eq!(opened(&world), told, "{style:?}: {}", world.story());
        world.stream_levels(&[76.0, 77.0, 78.0]);
        assert_eq!(opened(&world), told, "{style:?}: {}", world.story());
        assert_eq!(world.count(Watch::LowFoundLater, Became::Opened), 0, "{}", world.story());
    }
}

#[test]
fn the_next_reading_that_says_the_same_is_told_and_says_since_when() {
    let mut world = resting(Style::Fewer, 75.0);
    world.stream_levels(&[68.0]);
    let first = world.now - minutes(15.0);
    world.stream_levels(&[68.0]);
    assert_eq!(opened(&world), 1, "{}", world.story());
    let found = world.house.cats[&cat()].open(Watch::LowNow).unwrap();
    assert!(found.since <= first + minutes(1.0), "{:?} after {first:?}", found.since);
}

#[test]
fn what_is_deeper_or_follows_a_warning_or_stays_unanswered_does_not_wait() {
    for (level, severity) in [(60.0, Severity::Warning), (48.0, Severity::Critical)] {
        let mut world = resting(Style::Fewer, 75.0);
        world.stream_levels(&[level]);
        assert_eq!(world.held(Watch::LowNow).map(|held| held.1), Some(severity), "{}", world.story());
    }
    let mut below = resting(Style::Fewer, 75.0);
    below.stream(Value::Below);
    assert_eq!(opened(&below), 1, "{}", below.story());
    // The sensor falls silent: nobody has said it yet.
    let mut silent = resting(Style::Fewer, 75.0);
    silent.stream_levels(&[68.0]);
    assert_eq!(opened(&silent), 0);
    silent.pass(40.0);
    assert_eq!(silent.held(Watch::LowNow).unwrap().0, "low-now-old", "{}", silent.story());
    // A fall is as likely as that to go on.
    let mut falling = resting(Style::Fewer, 100.0);
    falling.stream_levels(&[88.0, 77.0, 67.0]);
    assert_eq!(opened(&falling), 1, "{}", falling.story());
}

#[test]
fn a_check_with_the_meter_settles_it_and_a_sensor_that_is_scanned_never_waits() {
    let mut checked = resting(Style::Fewer, 75.0);
    checked.stream_levels(&[68.0]);
    checked.event(Event::Meter(MeterCheck {
        cat: cat(),
        measured_at: checked.now,
        glucose: Value::Level(58.0),
        meter: MeterKind::Pet,
    }));
    assert_eq!(opened(&checked), 1, "{}", checked.story());
    let mut house = house(Style::Fewer);
    house.cats[0].sensor.kind = SensorKind::Scanned;
    let mut scanned = World::new(house, at(NOON) - minutes(480.0));
    scanned.scan_back(32.0, |_| 75.0);
    scanned.pass(100.0);
    scanned.scan_back(6.0, |back| if back < 1.0 { 68.0 } else { 75.0 });
    assert_eq!(opened(&scanned), 1, "{}", scanned.story());
}

#[test]
fn what_waited_before_a_silence_hides_no_low_that_is_delivered_after_it() {
    let mut world = resting(Style::Fewer, 75.0);
    world.stream_levels(&[68.0]);
    let silent = world.now;
    world.pass(480.0);
    world.forget();
    // The bridge is back and delivers one by one what the sensor has kept: hours over the limit, then a low.
    for k in 0..20 {
        let measured_at = silent + minutes(15.0 * f64::from(k));
        let level = if (8..16).contains(&k) { 62.0 } else { 95.0 };
        world.deliver(measured_at, Value::Level(level));
        world.pass(1.0);
    }
    world.pass(60.0);
    let told = world.count(Watch::LowFoundLater, Became::Opened) + opened(&world);
    assert!(told >= 1, "{}", world.story());
}

#[test]
fn a_sensor_that_reads_each_minute_waits_as_long() {
    let mut world = resting(Style::Fewer, 75.0);
    let begun = world.now;
    while opened(&world) == 0 && world.now < begun + minutes(40.0) {
        world.stream(Value::Level(68.0));
        world.pass(1.0);
    }
    let waited = world.now.minutes_since(begun);
    assert!((11.0..=15.0).contains(&waited), "{waited}: {}", world.story());
}
