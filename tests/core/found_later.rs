//! Lows that only show in readings that came late: in what order they come makes no difference to what is told.

use lowtide::words::{Became, CatName, CatSettings, Moment, Severity, Value, Watch, minutes};

use crate::household::{at, cat, household, streaming};
use crate::world::{World, samples};

const NOON: &str = "2026-06-10T10:00:00Z";

/// A bridge was away from noon for six hours; the first reading of that time is the one of noon.
fn away() -> World {
    let mut world = World::new(streaming(), at("2026-06-10T09:00:00Z"));
    world.stream_levels(&[120.0, 122.0, 119.0, 121.0]);
    world.pass(6.0 * 60.0);
    world.forget();
    world
}

/// Delivers what was measured meanwhile, one message a reading and so many minutes apart; from 13:00 to 14:45 (UTC 11:00
/// to 12:45) it was as low as `low` says by the count of the reading.
fn catch_up(world: &mut World, apart: f64, low: impl Fn(usize) -> f64) {
    for k in 0..24 {
        let level = if (4..12).contains(&k) { low(k) } else { 115.0 + (k % 3) as f64 };
        world.deliver(at(NOON) + minutes(15.0 * k as f64), Value::Level(level));
        world.pass(apart);
    }
    world.pass(60.0);
}

fn told(world: &World) -> Vec<String> {
    let heard = world.heard("olive");
    let lows = heard.iter().filter(|carried| carried.message.text.contains("Under 70 mg/dL"));
    lows.map(|carried| carried.message.text.clone()).collect()
}

#[test]
fn a_low_that_is_delivered_one_by_one_is_told_once_and_whole() {
    let mut world = away();
    catch_up(&mut world, 0.02, |k| 63.0 + (k % 3) as f64);
    let told = told(&world);
    assert_eq!(told.len(), 1, "{}", world.story());
    assert!(told[0].contains("from 13:00 to 14:45, lowest 63 mg/dL"), "{}", told[0]);
    assert!(told[0].contains("higher again"), "{}", told[0]);
    assert_eq!(world.held(Watch::LowFoundLater).unwrap().1, Severity::Notice);
}

#[test]
fn what_makes_it_longer_is_told_together_once_no_more_comes() {
    let mut world = away();
    catch_up(&mut world, 1.5, |k| 44.0 + (k % 3) as f64);
    let told = told(&world);
    assert_eq!(told.len(), 2, "{}", world.story());
    assert!(told[0].contains("from 13:00 to 13:00") && told[0].contains("not known"), "{}", told[0]);
    assert!(told[1].contains("from 13:00 to 14:45, lowest 44 mg/dL at 13:30"), "{}", told[1]);
    assert!(told[1].contains("higher again"), "{}", told[1]);
}

#[test]
fn going_under_danger_is_told_at_once() {
    let mut world = away();
    catch_up(&mut world, 1.5, |k| if k < 9 { 64.0 } else { 55.0 - k as f64 });
    let told = told(&world);
    assert_eq!(told.len(), 3, "{}", world.story());
    assert!(told[1].contains("lowest 46 mg/dL at 14:15"), "{}", told[1]);
    assert!(told[2].contains("to 14:45, lowest 44 mg/dL"), "{}", told[2]);
}

#[test]
fn the_order_in_which_they_come_makes_no_difference() {
    let mut world = away();
    for k in (0..24).rev() {
        let level = if (4..12).contains(&k) { 63.0 + f64::from(k % 3) } else { 115.0 };
        world.deliver(at(NOON) + minutes(15.0 * f64::from(k)), Value::Level(level));
        world.pass(1.5);
    }
    world.pass(60.0);
    let told = told(&world);
    assert_eq!(told.len(), 2, "{}", world.story());
    assert!(told[1].contains("from 13:00 to 14:45, lowest 63 mg/dL"), "{}", told[1]);
}

#[test]
fn a_late_reading_of_a_low_told_long_ago_raises_nothing() {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[110.0, 95.0, 80.0, 66.0, 64.0]);
    let missed = world.now;
    world.pass(15.0);
    world.stream_levels(&[63.0, 66.0, 90.0, 105.0, 100.0, 85.0, 72.0, 65.0, 64.0, 85.0, 100.0]);
    assert_eq!(world.count(Watch::LowNow, Became::Opened), 2, "{}", world.story());
    world.deliver(missed, Value::Level(63.5));
    world.pass(15.0);
    assert!(!world.holds(Watch::LowFoundLater), "{}", world.story());
}

/// A scan of a sensor that measures every minute, and what it read by the minutes before now.
fn scan_of_minutes(level: impl Fn(i64) -> f64) -> World {
    let mut settings = household();
    settings.cats[0].sensor.sample_minutes = 1.0;
    let mut world = World::new(settings, at(NOON));
    let readings = samples(at(NOON) - minutes(480.0), at(NOON), 1.0, |t| {
        let before = at(NOON).minutes_since(t).round() as i64;
        Value::Level(level(before) + (before % 3) as f64)
    });
    world.scan(readings);
    world
}

#[test]
fn a_low_is_a_quarter_of_an_hour_however_often_a_sensor_measures() {
    for length in [2, 8] {
        let low = 300..300 + length;
        let short = scan_of_minutes(|before| if low.contains(&before) { 66.0 } else { 75.0 });
        assert!(!short.holds(Watch::LowFoundLater), "{length}: {}", short.story());
    }
    let long = scan_of_minutes(|before| if (300..316).contains(&before) { 66.0 } else { 75.0 });
    assert!(long.holds(Watch::LowFoundLater), "{}", long.story());
    let deep = scan_of_minutes(|before| if before == 300 { 45.0 } else { 75.0 });
    assert!(deep.holds(Watch::LowFoundLater), "{}", deep.story());
}

#[test]
fn a_minute_over_the_limit_does_not_end_a_low() {
    let world = scan_of_minutes(|before| match before {
        300..330 if before % 6 == 0 => 71.0,
        300..330 => 66.0,
        _ => 75.0,
    });
    assert!(world.holds(Watch::LowFoundLater), "{}", world.story());
}

#[test]
fn a_fresh_reading_adds_no_word_to_a_low_that_was_found_later() {
    let mut world = away();
    for (k, level) in [118.0, 90.0, 64.0, 62.0, 63.0].iter().enumerate() {
        world.deliver(at(NOON) + minutes(15.0 * k as f64), Value::Level(*level));
        world.pass(0.02);
    }
    world.pass(60.0);
    assert_eq!(told(&world).len(), 1, "{}", world.story());
    world.forget();
    world.stream_levels(&[104.0, 108.0, 106.0]);
    world.pass(120.0);
    assert!(told(&world).is_empty(), "{}", world.story());
}

/// A file of four hours ago, with one low in it that was over by then and one, less deep, that was not.
#[test]
fn a_low_that_may_go_on_is_told_before_a_deeper_one_that_is_over() {
    let mut world = World::new(household(), at(NOON));
    let readings = samples(at(NOON) - minutes(720.0), at(NOON) - minutes(240.0), 15.0, |t| {
        let before = at(NOON).minutes_since(t);
        Value::Level(match before {
            _ if before < 280.0 => 64.0,
            _ if (500.0..560.0).contains(&before) => 47.0,
            _ => 110.0,
        })
    });
    world.scan(readings);
    world.pass(2.0);
    let told = told(&world);
    assert_eq!(told.len(), 1, "{}", world.story());
    assert!(told[0].contains("lowest 64 mg/dL") && told[0].contains("is not known"), "{}", told[0]);
    assert!(told[0].contains("another low, from 02:45 to 03:30, lowest 47 mg/dL"), "{}", told[0]);
    assert_eq!(world.held(Watch::LowFoundLater).unwrap().1, Severity::Warning);
}

/// What a scan of a night brings that had lows from so many minutes ago to so many, as low as that.
fn night_with(lows: &[(f64, f64, f64)]) -> World {
    let mut world = World::new(household(), at(NOON));
    world.scan_back(720.0, |t| {
        let low = lows.iter().find(|(from, until, _)| (-from..=-until).contains(&t));
        low.map_or(110.0, |(.., level)| *level)
    });
    world.pass(2.0);
    world
}

#[test]
fn two_lows_that_come_in_one_file_are_one_message_that_names_both() {
    for (first, second) in [(57.0, 62.0), (62.0, 57.0)] {
        let world = night_with(&[(420.0, 375.0, first), (240.0, 195.0, second)]);
        let told = told(&world);
        assert_eq!(told.len(), 1, "{}", world.story());
        let (earlier, later) = ("from 05:00 to 05:45, lowest ", "from 08:00 to 08:45, lowest ");
        assert!(told[0].contains(&format!("{earlier}{first} mg/dL")), "{}", told[0]);
        assert!(told[0].contains(&format!("{later}{second} mg/dL")), "{}", told[0]);
        assert!(
            told[0].contains(&format!(
                "There was another low, from {}",
                if first < second { "08" } else { "05" }
            ))
        );
    }
}

#[test]
fn of_many_lows_in_one_file_the_deepest_other_and_their_number_are_told() {
    let lows = [(600.0, 555.0, 61.0), (480.0, 435.0, 54.0), (360.0, 315.0, 58.0), (240.0, 195.0, 63.0)];
    let world = night_with(&lows);
    let told = told(&world);
    assert_eq!(told.len(), 1, "{}", world.story());
    assert!(told[0].contains("from 04:00 to 04:45, lowest 54 mg/dL"), "{}", told[0]);
    let others = "There were 3 more lows, the deepest from 06:00 to 06:45, lowest 58 mg/dL.";
    assert!(told[0].contains(others), "{}", told[0]);
}

#[test]
fn two_lows_that_are_delivered_one_by_one_within_a_minute_are_one_message_too() {
    let mut world = away();
    catch_up(&mut world, 0.02, |k| match k {
        4..7 => 58.0,
        7..9 => 100.0,
        _ => 64.0,
    });
    let told = told(&world);
    assert_eq!(told.len(), 1, "{}", world.story());
    assert!(told[0].contains("from 13:00 to 13:30, lowest 58 mg/dL"), "{}", told[0]);
    assert!(told[0].contains("from 14:15 to 14:45, lowest 64 mg/dL"), "{}", told[0]);
}

#[test]
fn lows_of_two_cats_that_come_in_the_same_minute_are_both_told() {
    let mut settings = streaming();
    let juniper = CatName::new("juniper").unwrap();
    settings.cats.push(CatSettings {
        name: juniper.clone(),
        called: "Juniper".into(),
        ..settings.cats[0].clone()
    });
    let mut world = World::new(settings, at(NOON));
    for (cat, low) in [(cat(), 63.0), (juniper, 45.0)] {
        let level = |t: Moment| if (120.0..180.0).contains(&at(NOON).minutes_since(t)) { low } else { 110.0 };
        let readings = samples(at(NOON) - minutes(360.0), at(NOON), 15.0, |t| Value::Level(level(t)));
        world.bring(cat, readings);
        world.pass(0.1);
    }
    world.pass(2.0);
    let told = told(&world);
    assert!(told.len() == 2 && told.iter().any(|text| text.contains("lowest 63 mg/dL")), "{}", world.story());
}

#[test]
fn a_low_of_this_day_is_told_and_one_of_the_day_before_is_for_the_report() {
    for (hours, told) in [(22.0, true), (26.0, false)] {
        let mut world = World::new(household(), at(NOON));
        let readings = samples(at(NOON) - minutes(30.0 * 60.0), at(NOON), 15.0, |t| {
            let before = at(NOON).minutes_since(t) - 60.0 * hours;
            Value::Level(if (0.0..60.0).contains(&before) { 62.0 } else { 110.0 })
        });
        world.scan(readings);
        assert_eq!(world.holds(Watch::LowFoundLater), told, "{hours} h: {}", world.story());
    }
}
