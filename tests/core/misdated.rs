//! Meter checks and notes about the sensor that are dated in the future: they wait, are told, and hide nothing.

use lowtide::words::{
    Became, ClockStep, Event, MeterCheck, MeterKind, Moment, SensorEvent, SensorNote, Severity, Spare, Value,
    Watch, minutes,
};

use crate::household::{at, cat, streaming};
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";
/// Minutes: an hour, a day, twenty days, four years.
const AHEAD: [f64; 4] = [60.0, 1440.0, 20.0 * 1440.0, 4.0 * 525_960.0];

fn check(at: Moment, mg_dl: f64) -> Event {
    let glucose = Value::Level(mg_dl);
    Event::Meter(MeterCheck { cat: cat(), measured_at: at, glucose, meter: MeterKind::Pet })
}

fn note(at: Moment, event: SensorEvent) -> Event {
    Event::Sensor(SensorNote { cat: cat(), at, event })
}

fn streamed(levels: &[f64]) -> World {
    let mut world = World::new(streaming(), at(NOON) - minutes(15.0 * levels.len() as f64));
    world.stream_levels(levels);
    world
}

fn resting() -> World {
    streamed(&[110.0, 112.0, 109.0, 111.0, 110.0, 112.0])
}

fn critical(world: &World) -> bool {
    world.heard("olive").iter().any(|carried| carried.message.severity == Severity::Critical)
}

fn blood(world: &World) -> f64 {
    world.house.cats[&cat()].tracker.estimate(world.now).unwrap().blood
}

fn set_back(world: &mut World, step_minutes: f64) {
    let step = ClockStep { from: world.now, to: world.now - minutes(step_minutes) };
    world.now = step.to;
    world.event(Event::ClockSet(step));
}

#[test]
fn a_check_dated_ahead_does_not_hide_a_low_one_made_now() {
    for ahead in [2.0, 7.0].into_iter().chain(AHEAD) {
        let mut world = resting();
        world.event(check(world.now + minutes(ahead), 120.0));
        world.forget();
        world.pass(1.0);
        world.meter(42.0);
        let held = world.held(Watch::LowNow);
        assert_eq!(held.map(|held| held.1), Some(Severity::Critical), "{ahead} ahead: {}", world.story());
        assert!(critical(&world), "{ahead} ahead: {}", world.story());
    }
}

#[test]
fn a_check_dated_ahead_neither_closes_a_low_nor_stops_the_estimate() {
    for ahead in AHEAD {
        let mut world = streamed(&[150.0, 130.0, 110.0, 90.0, 76.0, 70.0, 64.0]);
        assert!(world.holds(Watch::LowNow), "{}", world.story());
        world.forget();
        world.event(check(world.now + minutes(ahead), 120.0));
        assert!(world.holds(Watch::LowNow), "{ahead} ahead: {}", world.story());
        assert_eq!(world.count(Watch::LowNow, Became::Cleared), 0, "{ahead} ahead: {}", world.story());
        world.stream_levels(&[58.0, 50.0, 44.0]);
        assert!(
            critical(&world) && blood(&world) < 50.0,
            "{ahead} ahead: {} {}",
            blood(&world),
            world.story()
        );
    }
}

#[test]
fn a_wear_or_its_end_dated_ahead_changes_nothing_until_then() {
    let fall = [100.0, 90.0, 80.0, 70.0, 60.0, 48.0];
    let mut usual = resting();
    usual.forget();
    usual.stream_levels(&fall);
    let told = |world: &World| {
        let mut told: Vec<(Moment, Watch, Became, String)> = Vec::new();
        for found in world.found.iter().filter(|found| found.watch != Watch::ClockWrong) {
            told.push((found.at, found.watch, found.became, found.key.clone()));
        }
        told
    };
    assert!(usual.holds(Watch::LowNow) && critical(&usual), "{}", usual.story());
    for ahead in AHEAD {
        for event in [SensorEvent::Applied, SensorEvent::Removed, SensorEvent::Failed, SensorEvent::Error] {
            let mut world = resting();
            world.event(note(world.now + minutes(ahead), event));
            world.forget();
            world.stream_levels(&fall[..3]);
            // Time comes for the one that is an hour ahead.
            if ahead > 60.0 {
                world.stream_levels(&fall[3..]);
                assert_eq!(told(&world), told(&usual), "{event:?} {ahead} ahead");
                assert_eq!(blood(&world), blood(&usual), "{event:?} {ahead} ahead");
            }
        }
    }
}

#[test]
fn the_owner_hears_what_is_dated_when_and_what_to_do() {
    let mut world = resting();
    world.forget();
    let tomorrow = world.now + minutes(1440.0);
    world.event(check(tomorrow, 120.0));
    assert_eq!(world.held(Watch::ClockWrong).unwrap(), ("clock-future-check".into(), Severity::Warning));
    world.pass(3.0);
    let text = world.last("olive").text.clone();
    for words in ["120 mg/dL", "Record it again with the right time", "12:00"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    crate::texts::check(world.last("olive"));
    // Each further one is told once; what stays is not told again.
    for (event, key) in
        [(SensorEvent::Applied, "clock-future-applied"), (SensorEvent::Failed, "clock-future-sensor")]
    {
        let before = world.heard("olive").len();
        world.event(note(tomorrow, event));
        assert_eq!(world.held(Watch::ClockWrong).unwrap().0, key);
        world.pass(3.0);
        assert_eq!(world.heard("olive").len(), before + 1, "{}", world.story());
        crate::texts::check(world.last("olive"));
        world.event(note(tomorrow, event));
        world.stream(Value::Level(111.0));
        world.pass(3.0);
        assert_eq!(world.heard("olive").len(), before + 1, "{}", world.story());
    }
}

#[test]
fn a_low_check_dated_ahead_is_told_at_once_as_one_that_may_be_from_now() {
    let mut world = resting();
    world.event(check(world.now + minutes(1440.0), 42.0));
    assert_eq!(world.held(Watch::ClockWrong).unwrap(), ("clock-future-check-low".into(), Severity::Critical));
    let text = &world.last("olive").text;
    assert!(critical(&world) && text.contains("42 mg/dL") && text.contains("Rub honey"), "{text}");
    crate::texts::check(world.last("olive"));
    let mut checked = resting();
    checked.event(check(checked.now + minutes(1440.0), 42.0));
    checked.pass(5.0);
    checked.meter(105.0);
    assert_eq!(checked.held(Watch::ClockWrong).unwrap().1, Severity::Warning, "{}", checked.story());
    world.pass(181.0);
    assert_eq!(world.held(Watch::ClockWrong).unwrap().1, Severity::Warning, "not for ever");
}

#[test]
fn once_its_time_has_come_it_counts_and_nothing_is_said_any_more() {
    let mut world = resting();
    let tonight = world.now + minutes(180.0);
    world.event(note(tonight - minutes(60.0), SensorEvent::Applied));
    world.event(check(tonight, 80.0));
    world.until(tonight);
    world.stream(Value::Level(110.0));
    let state = world.house.cats[&cat()].clone();
    assert_eq!(state.wear.as_ref().map(|wear| wear.applied), Some(tonight - minutes(60.0)));
    assert_eq!(state.meter.as_ref().map(|check| check.measured_at), Some(tonight));
    assert!(state.memory.misdated.is_empty() && !world.holds(Watch::ClockWrong), "{}", world.story());
    assert!(blood(&world) < 100.0, "{}", blood(&world));
    assert!(critical_since(&world, tonight).is_empty(), "{}", world.story());
}

#[test]
fn one_that_came_before_newer_readings_soothes_no_low_once_its_time_has_come() {
    let mut world = resting();
    world.event(check(world.now + minutes(60.0), 130.0));
    world.stream_levels(&[110.0, 88.0, 66.0]);
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    world.forget();
    world.stream_levels(&[62.0, 58.0, 52.0]);
    assert!(!world.holds(Watch::ClockWrong), "its time has come");
    let softer =
        world.found.iter().any(|found| found.watch == Watch::LowNow && found.severity < Severity::Warning);
    assert!(!softer && blood(&world) < 60.0, "{}", world.story());
    assert_eq!(world.restarted().cats[&cat()], world.house.cats[&cat()]);
}

fn critical_since(world: &World, from: Moment) -> Vec<Moment> {
    let late = world.carried.iter().filter(|c| c.at >= from && c.message.severity == Severity::Critical);
    late.map(|carried| carried.at).collect()
}

#[test]
fn recorded_again_with_the_right_time_it_no_longer_waits() {
    let mut world = resting();
    let tomorrow = world.now + minutes(1440.0);
    world.event(check(tomorrow, 104.0));
    world.event(note(tomorrow, SensorEvent::Applied));
    world.pass(5.0);
    world.event(check(world.now - minutes(10.0), 99.0));
    assert_eq!(world.house.cats[&cat()].memory.misdated.len(), 2, "another value is another check");
    world.event(check(world.now - minutes(10.0), 104.0));
    assert!(world.holds(Watch::ClockWrong));
    world.event(note(world.now - minutes(10.0), SensorEvent::Applied));
    assert!(!world.holds(Watch::ClockWrong), "{}", world.story());
    world.until(tomorrow + minutes(1.0));
    let state = &world.house.cats[&cat()];
    assert!(state.meter.as_ref().unwrap().measured_at < tomorrow);
    assert!(state.wear.as_ref().unwrap().applied < tomorrow);
}

#[test]
fn a_restart_gives_the_same_state_before_and_after_its_time_has_come() {
    let mut world = resting();
    let soon = world.now + minutes(45.0);
    world.event(check(soon, 90.0));
    world.event(note(soon - minutes(5.0), SensorEvent::Applied));
    world.event(note(soon + minutes(2000.0), SensorEvent::Removed));
    for _ in 0..5 {
        // Its time comes at a look at which nothing is found; that look is not in the record.
        world.pass(15.0);
        world.stream(Value::Level(111.0));
        assert_eq!(world.restarted().cats[&cat()], world.house.cats[&cat()], "{}", world.now);
    }
    assert_eq!(world.house.cats[&cat()].memory.misdated.len(), 1);
    let again = world.restarted();
    let kept = serde_json::to_string(&*world.house.cats[&cat()]).unwrap();
    assert_eq!(serde_json::from_str::<lowtide::watch::CatState>(&kept).unwrap(), *again.cats[&cat()]);
}

#[test]
fn a_clock_that_is_set_right_lets_it_in_or_leaves_it_waiting() {
    // This computer's clock is three hours behind, the phone's is right.
    let mut world = resting();
    let right = world.now + minutes(180.0);
    world.event(check(right, 95.0));
    assert!(world.house.cats[&cat()].meter.is_none() && world.holds(Watch::ClockWrong));
    world.until(right + minutes(1.0));
    assert_eq!(world.house.cats[&cat()].meter.as_ref().map(|check| check.measured_at), Some(right));
    assert!(!world.holds(Watch::ClockWrong), "{}", world.story());
    // It runs three hours ahead, and is set back: what came in meanwhile goes back with it.
    let mut world = resting();
    let began = world.now;
    world.until(began + minutes(180.0));
    world.event(check(world.now, 95.0));
    world.event(check(world.now + minutes(1440.0), 120.0));
    world.event(Event::Spare(Spare { cat: cat(), count: 3, at: world.now }));
    world.pass(5.0);
    set_back(&mut world, 180.0);
    let state = &world.house.cats[&cat()];
    assert_eq!(state.meter.as_ref().map(|check| check.measured_at), Some(began));
    assert_eq!(state.memory.misdated.len(), 1);
    assert!(state.memory.misdated[0].came <= world.now);
    assert!(state.spares_at.unwrap() <= world.now);
    assert_eq!(world.restarted().cats[&cat()], *state);
    world.forget();
    world.meter(42.0);
    assert!(critical(&world), "{}", world.story());
}

#[test]
fn spares_counted_by_a_clock_that_is_ahead_are_counted_again() {
    let mut world = resting();
    world.event(Event::Spare(Spare { cat: cat(), count: 3, at: world.now + minutes(1440.0) }));
    world.pass(10.0);
    world.event(Event::Spare(Spare { cat: cat(), count: 1, at: world.now }));
    assert_eq!(world.house.cats[&cat()].spares, Some(1));
}
