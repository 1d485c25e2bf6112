//! A meter check that is taken back: nothing of it remains, and who was told of a low by it hears so.

use lowtide::words::{Became, Event, Moment, Reason, Severity, Value, Watch, minutes};

use crate::household::{at, cat, streaming};
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

/// A streamed cat that has been at 110 mg/dL for two hours.
fn steady() -> World {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[110.0; 8]);
    world
}

fn undo(world: &mut World, measured_at: Moment) {
    world.event(Event::MeterUndone { cat: cat(), measured_at, at: world.now });
}

#[test]
fn a_wrong_check_that_is_taken_back_ends_the_low_that_rests_on_it_and_says_so() {
    let mut world = steady();
    world.meter(32.0);
    assert_eq!(world.held(Watch::LowNow).unwrap(), ("low-now-meter".into(), Severity::Critical));
    let wrong = world.now;
    world.pass(2.0);
    undo(&mut world, wrong + minutes(0.5));
    assert!(!world.holds(Watch::LowNow), "{}", world.story());
    world.pass(2.0);
    let last = world.last("olive");
    assert_eq!(last.reason, Reason::Over, "{}", world.story());
    assert!(last.text.contains("was taken back. Blood about 110 mg/dL"), "{}", last.text);
    assert_eq!(world.house.cats[&cat()].meter, None);
    assert_eq!(world.restarted().cats[&cat()], world.house.cats[&cat()]);
}

#[test]
fn the_estimate_forgets_a_check_that_is_taken_back() {
    let (mut wrong, clean) = (steady(), steady());
    wrong.meter(72.0);
    let checked = wrong.now;
    wrong.stream_levels(&[110.0; 4]);
    let mut clean = clean;
    clean.stream_levels(&[110.0; 4]);
    let blood = |world: &World| world.house.cats[&cat()].tracker.estimate(world.now).unwrap().blood;
    let beside = |world: &World| world.house.cats[&cat()].tracker.pairs().checks().len();
    assert!((blood(&wrong) - blood(&clean)).abs() > 2.0, "{} {}", blood(&wrong), blood(&clean));
    undo(&mut wrong, checked);
    assert_eq!(blood(&wrong), blood(&clean));
    assert_eq!(beside(&wrong), 0);
}

#[test]
fn the_check_before_counts_again_and_one_of_another_minute_stays() {
    let mut world = steady();
    world.meter(95.0);
    world.pass(5.0);
    world.meter(31.0);
    let wrong = world.now;
    undo(&mut world, wrong - minutes(3.0));
    assert!(world.holds(Watch::LowNow), "no check of that minute: {}", world.story());
    undo(&mut world, wrong);
    assert!(!world.holds(Watch::LowNow), "{}", world.story());
    let held = world.house.cats[&cat()].meter.as_ref().map(|check| check.glucose);
    assert_eq!(held, Some(Value::Level(95.0)));
}

#[test]
fn a_low_that_the_sensor_shows_too_stays_a_low() {
    let mut world = steady();
    world.stream_levels(&[95.0, 82.0, 72.0, 64.0]);
    world.meter(40.0);
    world.pass(1.0);
    let wrong = world.now - minutes(1.0);
    undo(&mut world, wrong);
    assert_eq!(
        world.held(Watch::LowNow).unwrap(),
        ("low-now".into(), Severity::Warning),
        "{}",
        world.story()
    );
    assert_eq!(world.count(Watch::LowNow, Became::Cleared), 0, "{}", world.story());
}

#[test]
fn a_check_dated_ahead_by_mistake_can_be_taken_back_before_its_time() {
    let mut world = steady();
    world.now = world.now + minutes(1.0);
    let ahead = world.now + minutes(600.0);
    let glucose = Value::Level(40.0);
    let meter = lowtide::words::MeterKind::Pet;
    world.event(Event::Meter(lowtide::words::MeterCheck { cat: cat(), measured_at: ahead, glucose, meter }));
    undo(&mut world, ahead);
    world.stream_levels(&[110.0; 44]);
    assert_eq!(world.count(Watch::LowNow, Became::Opened), 0, "{}", world.story());
    assert_eq!(world.house.cats[&cat()].meter, None);
}

/// At night and without a sensor nobody knows what it is now: whoever was woken by the low is woken by that as well.
#[test]
fn a_check_that_is_taken_back_where_no_reading_is_known_is_no_comfort() {
    let mut world = World::new(streaming(), at("2026-06-10T23:00:00Z"));
    world.meter(32.0);
    let wrong = world.now;
    world.pass(2.0);
    undo(&mut world, wrong);
    world.pass(2.0);
    let last = world.heard("olive").pop().unwrap();
    assert_eq!((last.message.reason, last.message.severity), (Reason::Over, Severity::Warning));
    assert_eq!(last.at, wrong + minutes(3.0), "{}", world.story());
    assert!(last.message.text.contains("There is no reading."), "{}", last.message.text);
    assert_eq!(world.restarted().ledger, world.house.ledger);
}
