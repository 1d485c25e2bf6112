//! A sensor that shows less or more than it can read: nobody is told a number that nobody measured.

use std::collections::BTreeSet;

use lowtide::report::{SheetFacts, house_status, status_text, trip_sheet};
use lowtide::tell::LANGUAGES;
use lowtide::words::{Household, Value, Watch, minutes};

use crate::household::{at, duty, name, streaming};
use crate::texts::check_change;
use crate::world::World;

/// Olive reads `language`; a dose is due at 19:00 in Vienna, and Rowan takes over at 20:00.
fn settings(language: &str) -> Household {
    let mut settings = streaming();
    settings.home.language = language.into();
    settings.persons.iter_mut().for_each(|person| person.language = language.into());
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    let mut rowan = duty("rowan", "2026-06-10T18:00:00Z", "2026-06-12T18:00:00Z");
    rowan.hand_over = true;
    settings.duty = vec![rowan];
    settings
}

/// Rests at `level` from 14:00 to 16:00 UTC, then shows `value` until 22:00; a meter check at 16:20.
fn out_of_range(language: &str, level: f64, value: Value) -> World {
    let mut world = World::new(settings(language), at("2026-06-10T14:00:00Z"));
    world.dose(at("2026-06-10T04:00:00Z"), "Olive");
    world.stream_levels(&[level; 8]);
    world.forget();
    for round in 0..24 {
        world.stream(value);
        world.pass(if round == 1 { 5.0 } else { 15.0 });
        if round == 1 {
            world.meter(110.0);
            world.pass(10.0);
        }
    }
    world.stream(value);
    world
}

/// The levels in a text.
fn levels(text: &str) -> BTreeSet<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let found = words.windows(2).filter(|pair| pair[1].starts_with("mg/dL"));
    found.map(|pair| pair[0].trim_matches(['(', '„', '«']).to_owned()).collect()
}

#[test]
fn no_message_in_any_language_invents_a_number() {
    // The ends of the range, the plan's limits, and what the meter showed.
    let known = ["40", "500", "50", "60", "70", "150", "300", "110"].map(str::to_owned).into();
    for language in LANGUAGES {
        for (level, value, words) in [
            (
                100.0,
                Value::Below,
                ["less than it can read", "weniger, als er messen kann", "sous ce qu'il sait lire"],
            ),
            (
                420.0,
                Value::Above,
                ["more than it can read", "mehr, als er messen kann", "au-dessus de ce qu'il sait lire"],
            ),
        ] {
            let world = out_of_range(language, level, value);
            let mut about = 0;
            for carried in &world.carried {
                let text = &carried.message.text;
                assert!(levels(text).is_subset(&known), "{language}: {text}\n{}", world.story());
                about += usize::from(words.iter().any(|words| text.contains(words)));
            }
            // Before the dose, at the dose, an hour after.
            assert!(about >= 3, "{language} {value:?}: {}", world.story());
            for watch in [Watch::BeforeDose, Watch::DoseDue, Watch::HandOver] {
                assert!(world.found.iter().any(|found| found.watch == watch), "{watch}: {}", world.story());
            }
            let last = if value == Value::Below { "low-now-meter-above" } else { "high-long" };
            assert!(world.found.iter().any(|found| found.key == last), "{language}: {}", world.story());
            let household = settings(language);
            for (now, _, said) in &world.journal {
                said.changes.iter().for_each(|change| check_change(change, &household, *now));
            }
        }
    }
}

#[test]
fn neither_the_state_nor_what_is_printed_invents_one() {
    for language in LANGUAGES {
        for (level, value, end) in [(100.0, Value::Below, "40"), (420.0, Value::Above, "500")] {
            let world = out_of_range(language, level, value);
            let household = settings(language);
            let status = house_status(&world.house, world.now).unwrap();
            let cat = &status.cats[0];
            assert!(cat.fresh && cat.newest == Some(value));
            assert_eq!((cat.blood, cat.blood_sd, cat.rate_per_min), (None, None, None));
            let shown = status_text(&status, &household);
            let place = shown.lines().find(|line| line.starts_with("  blood is")).expect(&shown);
            assert_eq!(levels(place), BTreeSet::from([end.to_owned()]), "{shown}");
            let person = household.person(&name("olive")).unwrap();
            let facts = SheetFacts {
                household: &household,
                cat: &household.cats[0],
                person,
                status: cat,
                doses: &[],
            };
            let sheet = trip_sheet(&facts, world.now);
            let about = sheet.lines().find(|line| line.contains(&format!("{end} mg/dL)"))).expect(&sheet);
            assert!(levels(about).iter().all(|level| level == end), "{about}");
        }
    }
}

#[test]
fn the_first_reading_under_the_range_is_told_however_low_was_told_before() {
    for last in 41..56 {
        let mut world = World::new(streaming(), at("2026-06-10T10:00:00Z") - minutes(180.0));
        world.stream_levels(&[100.0, 80.0, 62.0, f64::from(last)]);
        world.forget();
        world.stream(Value::Below);
        let told =
            |world: &World| world.said.iter().filter(|m| m.text.contains("less than it can read")).count();
        let first = told(&world);
        assert!(first > 0, "after {last}: {}", world.story());
        world.pass(1.0);
        world.stream(Value::Below);
        assert_eq!(told(&world), first, "once only, after {last}: {}", world.story());
    }
}

#[test]
fn a_sensor_that_reads_nothing_under_70_is_not_said_to_dip_when_it_goes_out_of_its_range() {
    let mut house = streaming();
    house.cats[0].sensor.range = [70.0, 400.0];
    let mut world = World::new(house, at("2026-06-10T10:00:00Z"));
    world.stream_levels(&[112.0, 108.0, 104.0, 101.0, 98.0, 95.0]);
    for _ in 0..4 {
        world.stream(Value::Below);
        world.pass(15.0);
    }
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    let dips = world.heard("olive").iter().any(|heard| heard.message.text.contains("It may be the sensor"));
    assert!(!dips && !world.holds(Watch::SensorSuspect), "{}", world.story());
}
