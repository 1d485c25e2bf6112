//! Doses: never two by mistake.

use lowtide::words::{Reason, Severity, Verdict, Watch, minutes};

use crate::household::{at, household};
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

#[test]
fn a_second_dose_too_soon_goes_to_everyone_at_once() {
    let mut world = World::new(household(), at(NOON));
    world.dose(at(NOON) - minutes(30.0), "Olive");
    world.dose(at(NOON), "Rowan");
    assert_eq!(world.held(Watch::DoseTwice).unwrap().1, Severity::Critical);
    for who in ["olive", "rowan", "hazel"] {
        let heard = world.heard(who);
        assert_eq!((heard[0].at, heard[0].message.reason), (at(NOON), Reason::First), "{who}");
        assert!(heard[0].message.text.contains("by Rowan"), "{}", heard[0].message.text);
        assert!(heard[0].message.text.contains("555 0100"), "{}", heard[0].message.text);
    }
    world.pass(11.0);
    assert_eq!(world.last("hazel").reason, Reason::Repeat);
    world.answer("hazel", Verdict::Taken);
    assert_eq!(world.last("olive").reason, Reason::Taken);
    assert!(world.last("olive").text.contains("Hazel"), "{}", world.last("olive").text);
}

#[test]
fn the_same_dose_delivered_twice_is_not_two_doses() {
    let mut world = World::new(household(), at(NOON));
    world.dose(at(NOON), "Olive");
    world.dose(at(NOON), "Olive");
    assert!(!world.holds(Watch::DoseTwice));
}

#[test]
fn doses_twelve_hours_apart_are_nothing_to_say() {
    let mut world = World::new(household(), at(NOON));
    world.dose(at(NOON), "Olive");
    world.pass(720.0);
    world.dose(at(NOON) + minutes(720.0), "Olive");
    assert!(world.carried.is_empty(), "{}", world.story());
}

/// A household with doses at seven and seven, on a June day, and a cat at `level`.
fn scheduled(level: f64) -> World {
    let mut settings = crate::household::streaming();
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    let mut world = World::new(settings, at("2026-06-10T14:00:00Z"));
    world.dose(at("2026-06-10T05:00:00Z"), "Olive");
    world.stream_levels(&[level; 12]);
    world
}

#[test]
fn before_a_dose_the_level_and_the_plans_line_are_told() {
    for (level, line, severity) in [
        (130.0, "under the plan's 150 mg/dL: do not inject, call your vet (555 0100)", Severity::Warning),
        (240.0, "Your vet's plan: under 150 mg/dL do not inject", Severity::Notice),
    ] {
        let world = scheduled(level);
        let told = world.carried.iter().find(|c| c.message.title.contains("dose due at 19:00")).unwrap();
        assert_eq!(told.at, at("2026-06-10T16:46:00Z"));
        assert!(told.message.text.contains(line), "{}", told.message.text);
        assert_eq!(told.message.severity, severity);
    }
}

#[test]
fn a_dose_that_is_not_recorded_is_reminded_of_and_an_hour_later_asked_for() {
    let mut world = scheduled(240.0);
    world.stream_levels(&[240.0; 8]);
    let due = world.carried.iter().find(|c| c.message.title == "Pepper: dose due").unwrap();
    assert_eq!(due.at, at("2026-06-10T17:01:00Z"), "{}", world.story());
    let late = world.carried.iter().find(|c| c.message.title.contains("is the dose given")).unwrap();
    assert_eq!((late.at, late.message.severity), (at("2026-06-10T18:01:00Z"), Severity::Warning));
    let given = world.now;
    world.dose(given, "Olive");
    assert!(!world.holds(Watch::DoseLate));
}

#[test]
fn a_recorded_dose_is_not_reminded_of() {
    let mut world = scheduled(240.0);
    world.forget();
    world.dose(at("2026-06-10T16:55:00Z"), "Olive");
    world.stream_levels(&[240.0; 12]);
    assert!(world.carried.is_empty(), "{}", world.story());
}

#[test]
fn a_third_dose_is_news_even_after_an_answer() {
    let mut world = World::new(household(), at(NOON));
    world.dose(at(NOON), "Olive");
    world.dose(at(NOON) + minutes(1.0), "Rowan");
    world.answer("olive", Verdict::Taken);
    world.pass(5.0);
    world.forget();
    world.dose(at(NOON) + minutes(5.0), "Hazel");
    assert!(world.last("rowan").text.contains("by Hazel"), "{}", world.story());
}
