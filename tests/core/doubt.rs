//! Readings that cannot be what they seem: they hide no low, and no number is told that rests on them.

use std::sync::Arc;

use lowtide::glucose::Tracker;
use lowtide::glucose::dynamics::Nature;
use lowtide::report::{house_status, status_text};
use lowtide::words::{Became, SensorEvent, Severity, Unit, Value, Watch, minutes};

use crate::household::{at, cat, streaming};
use crate::texts::check_change;
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

/// A streamed cat that shows these values, one in 15 minutes.
fn streamed(text: &str) -> World {
    let mut world = World::new(streaming(), at(NOON));
    stream(&mut world, text);
    world
}

fn stream(world: &mut World, text: &str) {
    for word in text.split_whitespace() {
        world.stream(Value::parse(word, Unit::MgDl).unwrap());
        world.pass(15.0);
    }
    let household = streaming();
    for (now, _, said) in &world.journal {
        said.changes.iter().for_each(|change| check_change(change, &household, *now));
    }
}

/// The numbers of "Blood about ...".
fn bloods(world: &World) -> Vec<f64> {
    let texts = world.carried.iter().map(|carried| carried.message.text.clone());
    let number = |text: String| text.split_once("Blood about ")?.1.split(' ').next()?.parse().ok();
    texts.filter_map(number).collect()
}

#[test]
fn a_wrong_high_before_a_low_does_not_keep_it_silent() {
    let mut world = streamed("112 110 112 108 105 90 HI");
    world.forget();
    stream(&mut world, "68");
    assert_eq!(world.count(Watch::LowNow, Became::Opened), 1, "{}", world.story());
    stream(&mut world, "60 55");
    assert!(bloods(&world).iter().all(|blood| (40.0..75.0).contains(blood)), "{}", world.story());
}

#[test]
fn two_wrong_highs_before_a_low_do_not_either_and_no_blood_is_told_that_contradicts_it() {
    for highs in ["HI HI", "HI HI HI", "460 499 HI", "300 420 499"] {
        let mut world = streamed("112 110 112 108 105 90");
        stream(&mut world, highs);
        world.forget();
        stream(&mut world, "66");
        assert_eq!(world.count(Watch::LowNow, Became::Opened), 1, "{highs}: {}", world.story());
        let text = &world.last("olive").text;
        assert!(text.contains("the sensor read 66 mg/dL, far from what went before"), "{text}");
        stream(&mut world, "61 55");
        assert!(
            bloods(&world).iter().all(|blood| (40.0..75.0).contains(blood)),
            "{highs}: {}",
            world.story()
        );
    }
}

#[test]
fn a_wrong_high_that_goes_away_is_no_fall() {
    for series in ["HI 499 300 150 140", "HI HI 120 118 121", "HI 300 120 121 119", "480 200 122 120 121"] {
        let mut world = streamed("118 120 122 118 121 119");
        world.forget();
        stream(&mut world, series);
        for watch in [Watch::LowAhead, Watch::LowNow, Watch::FallingFast] {
            assert_eq!(world.count(watch, Became::Opened), 0, "{series}: {}", world.story());
        }
    }
}

#[test]
fn a_sudden_low_is_told_at_once_by_its_reading_and_with_its_estimate_when_it_is_confirmed() {
    let mut world = streamed("128 131 130 129 130 131");
    world.forget();
    stream(&mut world, "44");
    assert_eq!(world.held(Watch::LowNow).unwrap().1, Severity::Critical, "{}", world.story());
    let first = &world.heard("olive")[0].message.text;
    assert!(first.contains("the sensor read 44 mg/dL, far from what went before"), "{first}");
    assert!(bloods(&world).is_empty(), "{}", world.story());
    let status = house_status(&world.house, world.now - minutes(1.0)).unwrap();
    let cat = &status.cats[0];
    assert!(cat.fresh && cat.blood.is_none() && cat.low_ahead_chance.is_none(), "{cat:?}");
    let shown = status_text(&status, &streaming());
    assert!(shown.contains("the newest readings do not look right"), "{shown}");
    world.stream(Value::Level(43.0));
    world.pass(12.0);
    assert!(bloods(&world).iter().any(|blood| (35.0..50.0).contains(blood)), "{}", world.story());
}

#[test]
fn before_a_dose_the_lower_of_reading_and_estimate_counts() {
    let mut settings = streaming();
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    for (odd, held) in [("120", true), ("260", false)] {
        let mut world = World::new(settings.clone(), at("2026-06-10T15:03:00Z"));
        stream(&mut world, "260 258 262 260 261 259 260");
        world.stream(Value::parse(odd, Unit::MgDl).unwrap());
        let severity = world.held(Watch::BeforeDose).unwrap().1;
        assert_eq!(severity == Severity::Warning, held, "{odd}: {}", world.story());
    }
}

/// Series of anything at all: jumps, ends of the range, and stretches of rest.
#[test]
fn whatever_came_before_a_low_reading_is_told_and_never_beside_a_blood_far_over_it() {
    let mut dice = oorandom::Rand32::new(20_260_610);
    for _ in 0..150 {
        let mut world = World::new(streaming(), at(NOON));
        let mut level = 120.0;
        for _ in 0..24 {
            let value = match dice.rand_range(0..12) {
                0 => Value::Below,
                1 => Value::Above,
                2 | 3 => Value::Level(f64::from(dice.rand_range(41..499))),
                _ => {
                    level = (level + f64::from(dice.rand_range(0..41)) - 21.0).clamp(45.0, 400.0);
                    Value::Level(level)
                }
            };
            world.stream(value);
            if value.under(70.0) && !world.holds(Watch::LowNow) {
                let estimate = world.house.cats[&cat()].tracker.estimate(world.now).unwrap();
                let rising = estimate.rate_per_min > 0.5 && estimate.blood < 101.0;
                assert!(rising, "{value:?} {estimate:?}: {}", world.story());
            }
            world.pass(15.0);
        }
        let low = |title: &str| title.contains("low: ") && !title.starts_with("No longer low");
        for carried in world.carried.iter().filter(|c| low(&c.message.title)) {
            let told =
                carried.message.text.split_once("Blood about ").and_then(|(_, rest)| rest.split(' ').next());
            let blood: Option<f64> = told.map(|number| number.parse().unwrap());
            let soon = carried.message.title.contains(" may ");
            assert!(soon || blood.is_none_or(|blood| blood < 101.0), "{}", world.story());
        }
        let household = streaming();
        for (now, _, said) in &world.journal {
            said.changes.iter().for_each(|change| check_change(change, &household, *now));
        }
        assert_eq!(world.restarted(), world.house);
    }
}

/// A sensor that may be far off for as long as it is worn, as its checks have taught: it rests at 84 where they find `blood`,
/// and then reads 68.
fn far_off_as_checks_taught(blood: f64) -> World {
    let mut world = World::new(streaming(), at(NOON));
    let nature = Nature { gain_spread: 0.4, ..Nature::usual(10.0) };
    let state = Arc::make_mut(world.house.cats.get_mut(&cat()).unwrap());
    state.tracker = Tracker::of_nature(&streaming().cats[0].sensor, nature);
    world.sensor(SensorEvent::Applied);
    for round in 0..64 {
        world.stream(Value::Level(84.0));
        world.pass(5.0);
        if round % 4 == 0 {
            world.meter(blood);
        }
        world.pass(10.0);
    }
    world.forget();
    world.stream(Value::Level(68.0));
    world.pass(10.0);
    world
}

#[test]
fn a_low_reading_is_not_told_beside_a_blood_that_is_far_from_low_and_is_beside_one_that_is_near() {
    let world = far_off_as_checks_taught(150.0);
    let blood = world.house.cats[&cat()].tracker.estimate(world.now).unwrap().blood;
    assert!(blood > 105.0 && !world.house.cats[&cat()].tracker.doubts(), "{blood}");
    let text = &world.last("olive").text;
    assert!(text.contains("the sensor read 68 mg/dL") && bloods(&world).is_empty(), "{text}");
    assert_eq!(house_status(&world.house, world.now).unwrap().cats[0].blood, None);

    let world = far_off_as_checks_taught(104.0);
    assert!(bloods(&world).iter().any(|blood| (76.0..95.0).contains(blood)), "{}", world.story());
}
