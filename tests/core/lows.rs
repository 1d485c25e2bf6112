//! No low that becomes known goes untold: whatever comes late, in pieces, or by a wrong clock.

use lowtide::words::{Became, Message, Reason, Severity, Value, Watch, minutes};

use crate::household::{at, cat, streaming};
use crate::world::{World, samples};

const NOON: &str = "2026-06-10T10:00:00Z";

/// The meter shows a low that the sensor, fresh then, does not; after one more reading the sensor says nothing more.
#[test]
fn a_low_by_the_meter_ends_when_its_time_is_over_though_the_sensor_went_quiet_before() {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[112.0, 110.0, 111.0]);
    world.meter(42.0);
    world.pass(15.0);
    world.stream(Value::Level(110.0));
    let quiet = world.now;
    world.until(at(NOON) + minutes(45.0 + 179.0));
    assert_eq!(world.held(Watch::LowNow).unwrap().0, "low-now-meter-stands", "{}", world.story());
    assert!(world.now > quiet);
    world.pass(2.0);
    assert_eq!(world.count(Watch::LowNow, Became::Cleared), 1, "{}", world.story());
    assert_eq!(world.found.last().unwrap().key, "low-now-meter-stands", "{}", world.story());
}

/// A bridge that delivers each reading, one in 15 minutes, so many minutes late.
fn late(delay: f64, levels: &[f64]) -> World {
    let mut world = World::new(streaming(), at(NOON));
    deliver_late(&mut world, delay, levels);
    world
}

fn deliver_late(world: &mut World, delay: f64, levels: &[f64]) {
    for level in levels {
        world.deliver(world.now - minutes(delay), Value::Level(*level));
        world.pass(15.0);
    }
}

/// What was told of lows, and how: not that one is over.
fn lows(world: &World) -> Vec<(Reason, Severity)> {
    let watches = [Watch::LowNow, Watch::LowFoundLater];
    let of_low = |message: &Message| {
        message.findings.iter().any(|id| id.watch().is_some_and(|w| watches.contains(&w)))
    };
    let heard = world.carried.iter().map(|carried| &carried.message);
    let said = heard.filter(|message| of_low(message) && message.reason != Reason::Over);
    said.map(|message| (message.reason, message.severity)).collect()
}

#[test]
fn a_low_known_from_late_readings_only_is_told_again_when_it_gets_deeper() {
    let mut world = late(50.0, &[110.0, 100.0, 90.0, 80.0, 74.0, 68.0, 68.0, 67.0]);
    assert_eq!(
        world.held(Watch::LowNow).unwrap(),
        ("low-now-old".into(), Severity::Warning),
        "{}",
        world.story()
    );
    world.forget();
    deliver_late(&mut world, 50.0, &[66.0, 65.0, 66.0]);
    assert!(lows(&world).is_empty(), "{}", world.story());
    deliver_late(&mut world, 50.0, &[60.0, 56.0, 55.0, 56.0]);
    assert_eq!(lows(&world), [(Reason::More, Severity::Warning)], "{}", world.story());
    world.forget();
    deliver_late(&mut world, 50.0, &[52.0, 47.0]);
    assert_eq!(
        world.held(Watch::LowNow).unwrap(),
        ("low-now-old".into(), Severity::Critical),
        "{}",
        world.story()
    );
    assert_eq!(lows(&world)[0], (Reason::Worse, Severity::Critical), "{}", world.story());
}

#[test]
fn late_readings_that_show_a_recovery_end_it_and_the_next_low_is_told() {
    let mut world = late(50.0, &[110.0, 100.0, 90.0, 80.0, 74.0, 68.0, 66.0, 67.0]);
    world.forget();
    deliver_late(&mut world, 50.0, &[90.0, 105.0, 110.0, 112.0]);
    assert!(!world.holds(Watch::LowNow), "{}", world.story());
    deliver_late(&mut world, 50.0, &[100.0, 85.0, 72.0, 66.0, 65.0]);
    assert_eq!(lows(&world), [(Reason::First, Severity::Warning)], "{}", world.story());
}

#[test]
fn below_range_in_late_readings_is_critical() {
    let mut world = late(50.0, &[110.0, 90.0, 74.0, 66.0]);
    world.deliver(world.now - minutes(50.0), Value::Below);
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Critical, "{}", world.story());
}

/// A low is told, then the bridge is away for so long; what it brings then is delivered in one file or one by one.
fn outage(hours: f64, one_by_one: bool, level: impl Fn(f64) -> f64) -> World {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[110.0, 100.0, 90.0, 80.0, 72.0, 66.0]);
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    let last = world.now - minutes(15.0);
    world.pass(60.0 * hours);
    world.forget();
    let readings = samples(last, world.now, 15.0, |t| Value::Level(level(t.minutes_since(last))));
    if one_by_one {
        for reading in readings {
            world.deliver(reading.measured_at, reading.value);
            world.pass(0.1);
        }
    } else {
        world.bring(cat(), readings);
    }
    world.pass(90.0);
    world
}

#[test]
fn a_second_low_within_an_outage_is_told_beside_the_one_that_was_told_before() {
    for hours in [2.0, 5.0] {
        for one_by_one in [false, true] {
            for depth in [62.0, 45.0] {
                let world = outage(hours, one_by_one, |t| match t {
                    ..30.0 => 66.0,
                    60.0..100.0 => depth,
                    _ => 110.0,
                });
                assert!(!lows(&world).is_empty(), "{hours} {one_by_one} {depth}: {}", world.story());
            }
        }
    }
}

#[test]
fn what_was_told_before_an_outage_is_not_told_again_after_it() {
    for hours in [1.0, 2.0] {
        for one_by_one in [false, true] {
            let world = outage(hours, one_by_one, |t| if t < 40.0 { 65.0 } else { 110.0 });
            assert!(lows(&world).is_empty(), "{hours} {one_by_one}: {}", world.story());
        }
    }
}

#[test]
fn a_low_after_a_hole_in_which_the_one_before_ended_is_told() {
    let world = outage(2.0, false, |t| if (20.0..=100.0).contains(&t) { 110.0 } else { 62.0 });
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Warning, "{}", world.story());
    assert_eq!(lows(&world).len(), 1, "{}", world.story());
}

#[test]
fn how_low_it_was_in_the_hole_is_told_though_it_is_known_to_be_low() {
    let world = outage(1.0, false, |t| if (20.0..40.0).contains(&t) { 44.0 } else { 64.0 });
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Warning, "{}", world.story());
    let told = world.heard("olive").iter().any(|carried| carried.message.text.contains("lowest 44 mg/dL"));
    assert!(told, "{}", world.story());
    crate::texts::check(world.last("olive"));
}
