//! How a low ends: not by one reading, nor by a step over the limit and back, and not later than it is over.

use lowtide::words::{Became, Reason, Severity, Value, Verdict, Watch};

use crate::household::{at, streaming};
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

/// A streamed cat that shows these values, one in 15 minutes, exactly.
fn shown(levels: &[f64]) -> World {
    let mut world = World::new(streaming(), at(NOON));
    show(&mut world, levels);
    world
}

fn show(world: &mut World, levels: &[f64]) {
    for level in levels {
        world.deliver(world.now, Value::Level(*level));
        world.pass(15.0);
    }
}

#[test]
fn a_cat_that_rests_at_the_limit_is_told_of_once() {
    let mut world = shown(&[96.0, 90.0, 84.0, 78.0, 73.0, 69.0, 68.0, 69.0]);
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    show(&mut world, &[71.0, 72.0, 71.0, 69.0, 72.0, 71.0, 72.0, 69.0, 71.0, 72.0]);
    assert_eq!(world.count(Watch::LowNow, Became::Opened), 1, "{}", world.story());
    assert_eq!(world.count(Watch::LowNow, Became::Cleared), 0, "{}", world.story());
    let low = |title: &str| title.starts_with("Glucose is low");
    let told = world.heard("olive").iter().filter(|carried| low(&carried.message.title)).count();
    assert_eq!(told, 1, "{}", world.story());
    show(&mut world, &[78.0, 84.0, 88.0]);
    assert_eq!(world.count(Watch::LowNow, Became::Cleared), 1, "{}", world.story());
}

#[test]
fn whoever_has_taken_a_danger_is_not_called_again_because_it_rests_there() {
    let mut world = shown(&[80.0, 72.0, 64.0, 57.0, 51.0, 48.0]);
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Critical, "{}", world.story());
    world.answer("olive", Verdict::Taken);
    world.forget();
    show(&mut world, &[55.0, 48.0]);
    assert!(world.heard("olive").is_empty(), "{}", world.story());
    // A rise counts.
    show(&mut world, &[60.0, 64.0]);
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Warning, "{}", world.story());
}

#[test]
fn one_reading_over_the_limit_ends_no_low_and_one_well_over_it_does() {
    for (level, ended) in [(78.0, 0), (82.0, 0), (110.0, 1)] {
        let mut world = shown(&[90.0, 82.0, 75.0, 68.0, 64.0, 63.0, 63.0]);
        show(&mut world, &[level]);
        assert_eq!(world.count(Watch::LowNow, Became::Cleared), ended, "{level}: {}", world.story());
        if ended == 0 {
            show(&mut world, &[64.0, 63.0]);
            assert_eq!(world.count(Watch::LowNow, Became::Opened), 1, "{level}: {}", world.story());
        }
    }
}

/// Who heard of the danger hears, without a sound, that it is over and the low is not: once, and not by the first
/// reading of it.
#[test]
fn a_danger_that_is_only_a_low_any_more_is_said_once_and_quietly() {
    let eased = |levels: &[f64]| {
        let mut world = shown(&[80.0, 72.0, 64.0, 57.0, 51.0, 46.0]);
        world.pass(12.0);
        show(&mut world, levels);
        world
    };
    let said = |world: &World, who: &str| -> Vec<_> {
        let heard = world.heard(who).into_iter().filter(|told| told.message.reason == Reason::Eased);
        heard.map(|told| (told.message.severity, told.message.text.clone())).collect()
    };
    let world = eased(&[61.0, 63.0, 64.0, 63.0, 64.0, 63.0]);
    for who in ["olive", "rowan", "hazel"] {
        let said = said(&world, who);
        assert_eq!(said.len(), 1, "{who}: {}", world.story());
        assert_eq!(said[0].0, Severity::Notice);
        assert!(said[0].1.contains("Dangerous is under 50 mg/dL, low under 70 mg/dL."), "{}", said[0].1);
    }
    assert_eq!(world.restarted().cats, world.house.cats);
    // Back under it, or over the low, before it was said.
    for levels in [[61.0, 44.0, 45.0], [61.0, 80.0, 95.0]] {
        let world = eased(&levels);
        assert!(said(&world, "olive").is_empty(), "{}", world.story());
    }
}
