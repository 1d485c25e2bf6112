//! Readings that may be the sensor's fault, through the watches: what they do not raise, and what is said with a low.

use lowtide::report::{house_status, status_text};
use lowtide::tell::LANGUAGES;
use lowtide::words::{Became, Household, SensorEvent, Severity, Unit, Value, Watch, minutes};

use crate::household::{at, cat, quiet, streaming};
use crate::texts::check_change;
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

/// A cat that shows these values, one in 15 minutes, exactly.
fn shown(settings: Household, text: &str) -> World {
    let mut world = World::new(settings.clone(), at(NOON));
    show(&mut world, text);
    for (now, _, said) in &world.journal {
        said.changes.iter().for_each(|change| check_change(change, &settings, *now));
    }
    world
}

fn show(world: &mut World, text: &str) {
    for word in text.split_whitespace() {
        // As it is, without the little unrest that keeps an invented sensor alive.
        world.deliver(world.now, Value::parse(word, Unit::MgDl).unwrap());
        world.pass(15.0);
    }
}

#[test]
fn a_dip_is_pointed_at_and_raises_no_low_ahead() {
    let mut world = shown(streaming(), "180 178 181 179 102");
    assert_eq!(world.held(Watch::SensorSuspect).unwrap().1, Severity::Notice, "{}", world.story());
    assert!(world.last("olive").text.contains("as when a cat lies on the sensor"), "{}", world.story());
    show(&mut world, "98 101 99 171 176");
    for watch in [Watch::LowAhead, Watch::FallingFast, Watch::LowNow] {
        assert_eq!(world.count(watch, Became::Opened), 0, "{}", world.story());
    }
    assert!(!world.holds(Watch::SensorSuspect), "{}", world.story());
}

#[test]
fn a_dip_that_deepens_is_a_fall() {
    let world = shown(streaming(), "230 231 229 230 150 112");
    assert!(world.count(Watch::LowAhead, Became::Opened) == 1, "{}", world.story());
    let told = world.heard("olive").into_iter().find(|heard| heard.message.title.contains(" may "));
    assert!(told.unwrap().message.text.contains("perhaps Pepper lies on it"), "{}", world.story());
}

#[test]
fn a_low_in_a_dip_is_told_at_once_and_says_that_it_may_be_the_sensor() {
    let words =
        ["perhaps Pepper lies on it", "Vielleicht liegt Pepper darauf", "est peut-être couché dessus"];
    for (language, words) in LANGUAGES.iter().zip(words) {
        for (dip, key) in [("66", "low-now"), ("45", "low-now-danger"), ("LO", "low-now-below-range")] {
            let mut settings = streaming();
            settings.persons[0].language = (*language).into();
            let mut world = shown(settings, &format!("140 141 139 140 {dip}"));
            assert_eq!(world.held(Watch::LowNow).unwrap().0, key, "{}", world.story());
            let low = world.heard("olive").into_iter().rev().find(|h| h.message.text.contains(words));
            assert!(low.is_some(), "{language} {dip}: {}", world.story());
            show(&mut world, "LO");
            assert!(world.holds(Watch::LowNow), "{}", world.story());
        }
    }
    let deep = shown(streaming(), "140 141 139 140 70 LO");
    assert!(deep.last("olive").text.contains("perhaps Pepper lies on it"), "{}", deep.story());
}

#[test]
fn a_hole_does_not_end_what_is_wrong_with_a_sensor() {
    let mut world = shown(streaming(), &["200"; 12].join(" "));
    for _ in 0..3 {
        world.pass(60.0);
        assert!(world.holds(Watch::SensorSuspect), "{}", world.story());
        show(&mut world, "200 200");
    }
    assert_eq!(world.count(Watch::SensorSuspect, Became::Opened), 1, "{}", world.story());
    world.pass(200.0);
    assert!(!world.holds(Watch::SensorSuspect), "of a sensor that is silent {}", world.story());
}

#[test]
fn a_low_without_an_artefact_does_not_blame_the_sensor() {
    let world = shown(streaming(), "120 110 100 90 80 66");
    assert!(world.holds(Watch::LowNow) && !world.last("olive").text.contains("may be the sensor"));
}

#[test]
fn a_sensor_stuck_near_the_low_is_a_warning_even_at_night_and_no_blood_is_told() {
    for (level, severity) in [("90", Severity::Warning), ("200", Severity::Notice)] {
        let mut settings = streaming();
        settings.persons[0].quiet = quiet("11:00", "20:00");
        let mut world = World::new(settings.clone(), at(NOON));
        show(&mut world, "93 91 92");
        let begun = world.now;
        show(&mut world, &[level; 8].join(" "));
        assert!(!world.holds(Watch::SensorSuspect), "{level}: {}", world.story());
        show(&mut world, level);
        assert_eq!(world.held(Watch::SensorSuspect).unwrap().1, severity, "{}", world.story());
        let stuck =
            |h: &&crate::world::Carried| h.message.text.contains("same value again and again since 12:45");
        let told = world.heard("olive").into_iter().find(stuck).map(|heard| heard.at);
        assert_eq!(told.is_some_and(|at| at <= begun + minutes(140.0)), level == "90", "{}", world.story());
        let status = house_status(&world.house, world.now - minutes(1.0)).unwrap();
        let shown = status_text(&status, &settings);
        assert!(status.cats[0].blood.is_none() && status.cats[0].low_ahead_chance.is_none(), "{shown}");
        assert!(shown.contains("do not look right"), "{shown}");
        let estimate = world.house.cats[&cat()].tracker.estimate(world.now).unwrap();
        assert!(estimate.blood_sd > 40.0, "{estimate:?}");
    }
}

#[test]
fn a_calm_cat_is_not_suspect_however_often_its_sensor_reads() {
    for sample in [1.0, 5.0, 15.0] {
        let mut settings = streaming();
        settings.cats[0].sensor.sample_minutes = sample;
        let mut world = World::new(settings, at(NOON));
        world.sensor(SensorEvent::Applied);
        for k in 0..(600.0 / sample) as u32 {
            let wave = 8.0 * (sample * f64::from(k) / 90.0).sin();
            world.deliver(world.now, Value::Level((130.0 + wave).round()));
            world.pass(sample);
        }
        assert_eq!(world.count(Watch::SensorSuspect, Became::Opened), 0, "{sample}: {}", world.story());
    }
}

/// A step of 0.1 mmol/L in mg/dL (glucose weighs 180.156 g a mole).
const TENTH: f64 = 1.80156;

fn gauss(seed: &mut u64) -> f64 {
    let mut next = || {
        *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((*seed >> 33) as f64) / f64::from(1_u32 << 31)
    };
    let (a, b) = (1.0 - next(), next());
    (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

/// Three days of a calm cat and a smooth sensor that shows levels in tenths of mmol/L: a slow wave of 3 mg/dL, and a
/// wandering of so many.
fn calm(mean: f64, wander: f64, every: f64) -> World {
    let mut house = streaming();
    house.cats[0].sensor.sample_minutes = every;
    let mut world = World::new(house, at("2026-06-01T10:00:00Z"));
    let (mut seed, mut off, keep) = (11, 0.0, (-every / 42.0_f64).exp());
    for k in 0..(3.0 * 1440.0 / every) as usize {
        off = keep * off + (1.0 - keep * keep).sqrt() * gauss(&mut seed) * wander;
        let level = mean + 3.0 * (k as f64 * every / 200.0).sin() + off;
        world.deliver(world.now, Value::Level((level / TENTH).round() * TENTH));
        world.pass(every);
    }
    world
}

#[test]
fn a_calm_sensor_that_shows_tenths_of_a_millimole_is_seldom_called_stuck() {
    for (wander, most) in [(0.5, 4), (1.0, 1)] {
        for (mean, every) in [(68.0, 5.0), (68.0, 15.0), (130.0, 15.0)] {
            let world = calm(mean, wander, every);
            let suspect = world.count(Watch::SensorSuspect, Became::Opened);
            println!(
                "about {mean}, wandering {wander}, each {every} min: suspect {suspect} times in three days"
            );
            assert!(suspect <= most, "{mean} {wander} {every}: {suspect}");
        }
    }
}

#[test]
fn one_that_is_really_stuck_is_found_all_the_same() {
    let mut world = calm(90.0, 2.0, 15.0);
    world.forget();
    let begun = world.now;
    while !world.holds(Watch::SensorSuspect) && world.now < begun + minutes(400.0) {
        world.deliver(world.now, Value::Level(50.0 * TENTH));
        world.pass(15.0);
    }
    let after = world.now.minutes_since(begun);
    assert!((200.0..=260.0).contains(&after), "{after}: {}", world.story());
    assert_eq!(world.held(Watch::SensorSuspect).unwrap().1, Severity::Warning, "{}", world.story());
}

#[test]
fn two_sensors_whose_readings_mix_are_told_of_once_and_a_low_among_them_is_told() {
    let mut world = World::new(streaming(), at("2026-06-01T04:00:00Z"));
    for k in 0..96 {
        let blood = if k > 60 { (120.0 - 3.0 * f64::from(k - 60)).max(48.0) } else { 120.0 };
        world.deliver(world.now, Value::Level((blood + f64::from(k % 3)).round()));
        world.pass(7.0);
        world.deliver(world.now, Value::Level((1.3 * blood + f64::from(k % 4)).round()));
        world.pass(8.0);
    }
    assert!(world.count(Watch::SensorSuspect, Became::Opened) <= 2, "{}", world.story());
    assert_eq!(world.count(Watch::LowNow, Became::Opened), 1, "{}", world.story());
}
