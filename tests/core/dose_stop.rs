//! A dose that was asked for and must not be given yet: by what blood does after the reminder, or by what was given before.

use lowtide::words::{Reason, Severity, Value, Verdict, Watch};

use crate::household::{at, duty, ntfy, streaming};
use crate::world::{Carried, World};

/// A household with doses at seven and seven, at seven in the evening, and a cat that has been at `level`. The dose is
/// asked for, and is not given yet.
fn asked_at(level: f64) -> World {
    let mut settings = streaming();
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    settings.cats[0].plan.out_of_hours_phone = Some("555 0199".into());
    let mut world = World::new(settings, at("2026-06-10T14:00:00Z"));
    world.dose(at("2026-06-10T05:00:00Z"), "Olive");
    world.stream_levels(&[level; 12]);
    world.pass(2.0);
    world
}

fn asked() -> World {
    let world = asked_at(165.0);
    let due = told(&world, "is due and not recorded");
    assert!(due.len() == 1 && due[0].message.text.contains("as you give it"), "{}", world.story());
    world
}

/// What was carried to Olive with these words in it.
fn told<'a>(world: &'a World, words: &str) -> Vec<&'a Carried> {
    world.heard("olive").into_iter().filter(|told| told.message.text.contains(words)).collect()
}

fn stops(world: &World) -> Vec<&Carried> {
    world.heard("olive").into_iter().filter(|told| told.message.title.starts_with("Do not inject")).collect()
}

fn show(world: &mut World, levels: &[f64]) {
    for level in levels {
        world.stream(Value::Level(*level));
        world.pass(15.0);
    }
}

#[test]
fn blood_that_comes_under_the_plans_line_after_the_reminder_stops_the_dose() {
    let mut world = asked();
    show(&mut world, &[158.0, 143.0]);
    let stops = stops(&world);
    assert_eq!(stops.len(), 1, "{}", world.story());
    let message = &stops[0].message;
    assert_eq!((message.severity, message.reason), (Severity::Warning, Reason::First));
    assert!(
        message.text.starts_with("The dose of 19:00 is not recorded yet. Blood about 1"),
        "{}",
        message.text
    );
    let line =
        "That is under the plan's 150 mg/dL: do not inject, call your vet (555 0100, when closed 555 0199).";
    assert!(message.text.contains(line), "{}", message.text);
    let buttons: Vec<Verdict> = message.buttons.iter().map(|button| button.verdict).collect();
    assert_eq!(buttons, [Verdict::Taken], "nothing is given, and nothing is put off");
    assert_eq!(world.restarted().cats, world.house.cats);
}

#[test]
fn a_low_after_the_reminder_stops_the_dose_whatever_the_plan_leaves_out() {
    let mut settings = streaming();
    settings.cats[0].doses.times = vec!["19:00".into()];
    settings.cats[0].plan.hold_dose_under = None;
    let mut world = World::new(settings, at("2026-06-10T14:00:00Z"));
    world.stream_levels(&[165.0; 12]);
    world.pass(5.0);
    world.meter(55.0);
    world.pass(2.0);
    assert!(world.holds(Watch::DoseStop), "{}", world.story());
    let told = told(&world, "Glucose is low: call your vet (555 0100) before any dose.");
    assert!(!told.is_empty(), "{}", world.story());
    assert!(
        told[0].message.text.contains("Do not inject yet: Pepper. The dose of 19:00"),
        "{}",
        told[0].message.text
    );
}

#[test]
fn a_stopped_dose_is_told_once_and_nobody_hears_that_it_may_be_given() {
    let mut world = asked();
    show(&mut world, &[158.0, 143.0]);
    assert_eq!(stops(&world).len(), 1, "{}", world.story());
    world.forget();
    show(&mut world, &[156.0, 140.0]);
    assert!(world.now >= at("2026-06-10T18:00:00Z"), "{}", world.now);
    let later = world.heard("olive").into_iter().filter(|told| told.at < at("2026-06-10T18:00:00Z"));
    assert_eq!(later.count(), 0, "{}", world.story());
    // From the hour on at which it is late, the question is another one.
    assert!(!world.holds(Watch::DoseStop) && world.holds(Watch::DoseLate), "{}", world.story());
    assert!(
        world.carried.iter().all(|told| !told.message.text.contains("as you give it")),
        "{}",
        world.story()
    );
}

#[test]
fn whoever_takes_the_cat_over_hears_of_the_stop_and_not_of_a_dose_to_give() {
    let mut settings = streaming();
    settings.cats[0].doses.times = vec!["19:00".into()];
    settings.duty = vec![duty("rowan", "2026-06-10T17:40:00Z", "2026-06-11T17:00:00Z")];
    let mut world = World::new(settings, at("2026-06-10T14:00:00Z"));
    world.dose(at("2026-06-10T05:00:00Z"), "Olive");
    world.stream_levels(&[165.0; 12]);
    show(&mut world, &[158.0, 143.0, 157.0]);
    let heard: String = world.heard("rowan").iter().map(|told| told.message.text.clone()).collect();
    assert!(heard.contains("do not inject") && !heard.contains("as you give it"), "{}", world.story());
}

#[test]
fn a_dose_that_is_recorded_or_was_told_with_a_word_against_it_is_not_stopped() {
    let mut world = asked();
    world.dose(at("2026-06-10T17:01:00Z"), "Olive");
    show(&mut world, &[158.0, 143.0, 130.0]);
    assert!(stops(&world).is_empty(), "{}", world.story());

    let mut world = asked_at(140.0);
    assert_eq!(told(&world, "do not inject").len(), 2, "before it and at its time: {}", world.story());
    show(&mut world, &[160.0, 143.0, 130.0]);
    assert!(stops(&world).is_empty(), "{}", world.story());
}

/// They have given it by then, most likely: a word each time blood falls after it would teach them to ignore it.
#[test]
fn where_no_doses_are_recorded_a_stop_comes_in_the_first_minutes_or_not_at_all() {
    let stopped = |levels: &[f64]| {
        let mut settings = streaming();
        settings.cats[0].doses.times = vec!["19:00".into()];
        let mut world = World::new(settings, at("2026-06-10T14:00:00Z"));
        world.stream_levels(&[165.0; 12]);
        show(&mut world, levels);
        world
    };
    let early = stopped(&[165.0, 143.0, 140.0]);
    assert_eq!(stops(&early).len(), 1, "{}", early.story());
    assert!(early.holds(Watch::DoseStop), "what was said stands: {}", early.story());
    let late = stopped(&[165.0, 160.0, 143.0, 66.0]);
    assert!(stops(&late).is_empty() && late.holds(Watch::LowNow), "{}", late.story());
}

#[test]
fn a_stop_comes_through_the_night() {
    let mut settings = streaming();
    settings.cats[0].doses.times = vec!["23:00".into()];
    let mut world = World::new(settings, at("2026-06-10T18:00:00Z"));
    world.stream_levels(&[165.0; 12]);
    show(&mut world, &[158.0, 143.0]);
    let stops = stops(&world);
    assert_eq!(stops.len(), 1, "{}", world.story());
    assert_eq!(stops[0].at, at("2026-06-10T21:16:00Z"));
    assert_eq!(stops[0].channel, ntfy("topic-olive"));
}

/// Before the dose is due, what was told without a word against it becomes worse, once.
#[test]
fn before_its_time_a_stop_is_told_once_too() {
    let mut settings = streaming();
    settings.cats[0].doses.times = vec!["19:00".into()];
    let mut world = World::new(settings, at("2026-06-10T14:05:00Z"));
    world.stream_levels(&[165.0; 10]);
    world.pass(12.0);
    assert!(world.holds(Watch::BeforeDose), "{}", world.story());
    for level in [144.0, 172.0, 172.0, 142.0] {
        world.stream(Value::Level(level));
        world.pass(2.0);
    }
    let stopped = told(&world, "do not inject, call your vet (555 0100).");
    let stopped: Vec<_> = stopped.iter().filter(|c| c.message.severity == Severity::Warning).collect();
    assert_eq!(stopped.len(), 1, "{}", world.story());
    assert!(stopped[0].message.title.contains("Ask vet before the dose"), "{}", stopped[0].message.title);
}

/// In the morning somebody gave it a second time; in the evening the next one is due.
#[test]
fn after_a_double_dose_the_next_one_is_a_question_for_the_vet() {
    let twice = |again: &str, now: &str, then: &str| {
        let mut settings = streaming();
        settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
        let mut world = World::new(settings, at(now));
        world.dose(at("2026-06-10T05:00:00Z"), "Olive");
        world.dose(at(again), "Rowan");
        world.answer("olive", Verdict::Taken);
        if !then.is_empty() {
            world.dose(at(then), "Olive");
        }
        world.stream_levels(&[240.0; 14]);
        world
    };
    let line = "The last dose is recorded twice, at 07:00 and at 07:30: ask your vet (555 0100) before you give this one.";
    let world = twice("2026-06-10T05:30:00Z", "2026-06-10T14:00:00Z", "");
    let asked = told(&world, line);
    assert_eq!(asked.len(), 2, "before it and at its time: {}", world.story());
    let severities: Vec<Severity> = asked.iter().map(|told| told.message.severity).collect();
    assert_eq!(severities, [Severity::Warning, Severity::Notice]);
    assert!(
        asked.iter().all(|told| told.message.title == "Ask vet before the dose: Pepper"),
        "{}",
        world.story()
    );
    assert!(told(&world, "as you give it").is_empty(), "{}", world.story());

    // One after it was given, or a day is over: that one was only the next.
    let given = twice("2026-06-10T05:30:00Z", "2026-06-11T02:00:00Z", "2026-06-10T17:00:00Z");
    let long_ago = twice("2026-06-10T05:30:00Z", "2026-06-11T14:00:00Z", "");
    for world in [given, long_ago] {
        assert!(told(&world, "recorded twice").is_empty(), "{}", world.story());
        assert_eq!(told(&world, "as you give it").len(), 1, "{}", world.story());
    }
}

#[test]
fn whoever_takes_over_while_a_dose_is_open_hears_that_it_is_not_recorded() {
    let mut settings = streaming();
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    settings.duty = vec![duty("rowan", "2026-06-10T17:30:00Z", "2026-06-11T17:00:00Z")];
    settings.duty[0].hand_over = true;
    let hand_over = |given: bool| {
        let mut world = World::new(settings.clone(), at("2026-06-10T14:00:00Z"));
        world.dose(at("2026-06-10T05:00:00Z"), "Olive");
        world.stream_levels(&[240.0; 12]);
        if given {
            world.dose(at("2026-06-10T17:00:00Z"), "Olive");
        }
        world.pass(35.0);
        world
    };
    let open = hand_over(false);
    let heard: String = open.heard("rowan").iter().map(|told| format!("{} ", told.message.text)).collect();
    assert!(heard.contains("Last dose 07:00; that of 19:00 is not recorded."), "{heard}");
    assert!(heard.contains("The dose of 19:00 is due and not recorded."), "{heard}");
    let given = hand_over(true);
    let heard: String = given.heard("rowan").iter().map(|told| told.message.text.clone()).collect();
    assert!(heard.contains("Last dose 19:00, next 07:00"), "{heard}");
}
