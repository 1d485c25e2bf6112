//! Doses: never two by mistake.

use proptest::prelude::*;

use lowtide::words::{Answer, Dose, Event, FindingId, Reason, Severity, Verdict, Via, Watch, minutes};

use crate::household::{at, cat, household, name};
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

/// An app's export gives a dose, and somebody has recorded one with a button so many minutes later.
fn recorded_twice(apart: f64, in_export: Option<f64>, by_button: Option<f64>) -> World {
    let mut world = World::new(household(), at(NOON));
    let dose = |given_at, units, by: Option<&str>| {
        Event::Dose(Dose { cat: cat(), given_at, units, by: by.map(str::to_owned), not_given: false })
    };
    world.event(dose(at(NOON) + minutes(apart), by_button, Some("rowan")));
    world.pass(30.0);
    world.event(dose(at(NOON), in_export, None));
    world.pass(2.0);
    world
}

#[test]
fn what_may_be_one_dose_recorded_twice_is_asked_about_and_no_alarm() {
    for apart in [3.0, -3.0, 0.0, 15.0] {
        let world = recorded_twice(apart, Some(1.5), None);
        let held = world.held(Watch::DoseTwice).unwrap();
        assert_eq!((held.0.as_str(), held.1), ("dose-twice-maybe", Severity::Warning), "{apart}");
        for who in ["olive", "rowan", "hazel"] {
            let told = world.last(who);
            assert_eq!(told.title, "One dose or two: Pepper");
            assert!(told.text.contains("by Rowan") && told.text.contains("555 0100"), "{}", told.text);
        }
    }
}

#[test]
fn what_cannot_be_one_dose_is_told_as_two() {
    let critical =
        |world: &World| world.held(Watch::DoseTwice).unwrap() == ("dose-twice".into(), Severity::Critical);
    assert!(critical(&recorded_twice(16.0, None, None)), "too far apart");
    assert!(critical(&recorded_twice(3.0, Some(1.0), Some(2.0))), "units differ");
    let mut world = recorded_twice(3.0, Some(1.0), Some(1.0));
    assert!(!critical(&world), "{}", world.story());
    world.dose(at(NOON) + minutes(10.0), "Olive");
    assert!(critical(&world), "three are not one: {}", world.story());
    world.pass(2.0);
    assert_eq!(world.last("hazel").reason, Reason::Worse, "{}", world.story());
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
        let told = world.carried.iter().find(|c| c.message.text.contains(line));
        let told = told.unwrap_or_else(|| panic!("{}", world.story()));
        let stopped = told.message.title == "Ask vet before the dose: Pepper";
        assert_eq!(stopped, severity == Severity::Warning, "{}", told.message.title);
        assert_eq!(told.at, at("2026-06-10T16:46:00Z"));
        assert_eq!(told.message.severity, severity);
    }
}

#[test]
fn a_dose_that_is_not_recorded_is_reminded_of_and_an_hour_later_asked_for() {
    let mut world = scheduled(240.0);
    world.stream_levels(&[240.0; 8]);
    let due = world.carried.iter().find(|c| c.message.title == "Dose due: Pepper").unwrap();
    assert_eq!(due.at, at("2026-06-10T17:01:00Z"), "{}", world.story());
    let late = world.carried.iter().find(|c| c.message.title.contains("Dose late, not recorded")).unwrap();
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

/// At seven in the evening a dose is due; gives the finding that the button speaks of.
fn due_now() -> (World, FindingId) {
    let mut world = scheduled(240.0);
    world.stream_levels(&[240.0; 2]);
    let told = world.carried.iter().rfind(|c| c.message.title == "Dose due: Pepper").unwrap();
    let button = &told.message.buttons[0];
    assert_eq!((button.label.as_str(), button.verdict), ("Dose given", Verdict::Given), "{}", world.story());
    let finding = button.finding.clone();
    world.forget();
    (world, finding)
}

fn press(world: &mut World, who: &str, verdict: Verdict, finding: &FindingId) {
    let finding = Some(finding.clone());
    world.event(Event::Answer(Answer { finding, person: name(who), via: Via::Button, verdict, at: None }));
}

#[test]
fn the_first_press_is_the_dose_and_the_second_is_stopped() {
    let (mut world, finding) = due_now();
    press(&mut world, "rowan", Verdict::Given, &finding);
    assert!(!world.holds(Watch::DoseDue), "{}", world.story());
    let noted = world.last("rowan");
    assert_eq!((noted.reason, noted.title.as_str()), (Reason::Noted, "Dose recorded: Pepper"));
    let over = world.heard("olive");
    assert!(over.is_empty(), "gathers for a minute");
    world.pass(2.0);
    let over = world.last("olive");
    assert_eq!(
        (over.reason, over.text.as_str()),
        (Reason::Over, "Rowan gave it at 19:30."),
        "{}",
        world.story()
    );

    world.forget();
    press(&mut world, "olive", Verdict::Given, &finding);
    let stopped = world.last("olive").clone();
    assert_eq!(stopped.reason, Reason::Noted);
    assert_eq!(stopped.severity, Severity::Warning);
    assert!(
        stopped.text.starts_with("Rowan gave it at 19:30. Do not give it a second time."),
        "{}",
        stopped.text
    );
    assert_eq!(world.heard("olive").len(), 1);
    assert_eq!(world.heard("rowan").len() + world.heard("hazel").len(), 0);
    assert!(!world.holds(Watch::DoseTwice), "nothing more is recorded");
    let doses = world.journal.iter().filter(|(_, event, _)| matches!(event, Event::Dose(_))).count();
    assert_eq!(doses, 2, "that of the morning, and Rowan's");

    // If the second injection has happened all the same, it is said to everyone.
    world.forget();
    press(&mut world, "olive", stopped.buttons[0].verdict, &stopped.buttons[0].finding);
    assert_eq!(world.held(Watch::DoseTwice).unwrap().1, Severity::Critical, "{}", world.story());
    for who in ["olive", "rowan", "hazel"] {
        let told = world.heard(who).into_iter().find(|c| c.message.severity == Severity::Critical);
        assert!(told.unwrap().message.text.contains("by Olive"), "{}", world.story());
    }
}

/// Typed at home or sent over MQTT an answer may name no finding, and then there is nothing that a button could name.
#[test]
fn whoever_has_no_button_is_not_told_to_press_one() {
    for (language, button) in [("en", "button"), ("de", "Knopf"), ("fr", "bouton")] {
        let (mut world, finding) = due_now();
        let mut settings = world.house.household.as_deref().unwrap().clone();
        settings.persons.iter_mut().for_each(|person| person.language = language.into());
        world.settings(settings);
        press(&mut world, "rowan", Verdict::Given, &finding);
        world.forget();
        for who in ["olive", "rowan"] {
            world.answer(who, Verdict::Given);
            let told = world.last(who);
            assert!(told.reason == Reason::Noted && told.buttons.is_empty(), "{}", world.story());
            assert!(!told.text.contains(button), "{}", told.text);
        }
    }
}

#[test]
fn a_button_of_a_dose_long_past_records_nothing() {
    let (mut world, finding) = due_now();
    world.pass(11.0 * 60.0);
    world.forget();
    press(&mut world, "olive", Verdict::Given, &finding);
    assert_eq!(world.last("olive").title, "Nothing was recorded: Pepper", "{}", world.story());
    assert!(world.last("olive").buttons.is_empty() || world.last("olive").reason == Reason::Noted);
    let doses = world.journal.iter().filter(|(_, event, _)| matches!(event, Event::Dose(_))).count();
    assert_eq!(doses, 1, "only that of the morning before");
}

#[test]
fn a_press_by_a_stranger_or_about_something_else_is_no_dose() {
    let (mut world, finding) = due_now();
    press(&mut world, "stranger", Verdict::Given, &finding);
    let low = FindingId(finding.0.replace("dose-due", "low-now"));
    press(&mut world, "olive", Verdict::Given, &low);
    let other = FindingId(finding.0.replace("pepper", "salt"));
    press(&mut world, "olive", Verdict::Given, &other);
    assert!(world.holds(Watch::DoseDue) && world.carried.is_empty(), "{}", world.story());
}

#[test]
fn where_the_plan_says_not_to_inject_the_message_does_too() {
    let mut world = scheduled(130.0);
    world.stream_levels(&[130.0; 2]);
    let before =
        world.carried.iter().find(|c| c.message.text.starts_with("A dose is due at 19:00.")).unwrap();
    assert!(before.message.buttons.iter().all(|b| b.verdict != Verdict::Given));
    let due = world.carried.iter().rfind(|c| c.message.text.contains("is due and not recorded")).unwrap();
    assert!(due.message.text.contains("do not inject, call your vet (555 0100)"), "{}", due.message.text);
    assert!(!due.message.text.contains("as you give it"), "{}", due.message.text);
}

#[test]
fn while_glucose_is_low_a_due_dose_is_a_call_to_the_vet_whatever_the_plan_leaves_out() {
    let mut settings = crate::household::streaming();
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    settings.cats[0].plan.hold_dose_under = None;
    // Low by the sensor; and low by a meter while the sensor says otherwise.
    for (level, meter) in [(62.0, None), (170.0, Some(52.0))] {
        let mut world = World::new(settings.clone(), at("2026-06-10T14:00:00Z"));
        world.dose(at("2026-06-10T05:00:00Z"), "Olive");
        world.stream_levels(&[level; 11]);
        meter.into_iter().for_each(|level| world.meter(level));
        world.stream_levels(&[level; 2]);
        for words in ["A dose is due at 19:00.", "The dose of 19:00 is due"] {
            let told = world.carried.iter().rfind(|c| c.message.text.contains(words));
            let message = &told.unwrap_or_else(|| panic!("{}", world.story())).message;
            assert!(
                message.text.contains("Glucose is low: call your vet (555 0100) before any dose."),
                "{}",
                message.text
            );
            assert!(!message.text.contains("as you give it"), "{}", message.text);
        }
    }
}

/// The dose of seven in the morning was given at one: at seven in the evening it is six hours old.
#[test]
fn after_a_very_late_dose_the_next_one_is_a_question_for_the_vet() {
    let mut settings = crate::household::streaming();
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    let mut world = World::new(settings, at("2026-06-10T14:00:00Z"));
    world.dose(at("2026-06-10T11:00:00Z"), "Rowan");
    world.stream_levels(&[240.0; 14]);
    let line = "The last dose was at 13:00, less than 8 hours before this one: ask your vet (555 0100) before you give it.";
    for (words, severity) in
        [("A dose is due at 19:00.", Severity::Warning), ("The dose of 19:00 is due", Severity::Notice)]
    {
        let told = world.carried.iter().find(|c| c.message.text.contains(words));
        let message = &told.unwrap_or_else(|| panic!("{words}: {}", world.story())).message;
        assert!(message.text.contains(line), "{}", message.text);
        assert!(!message.text.contains("as you give it"), "{}", message.text);
        assert_eq!(message.severity, severity, "{words}");
    }
    let due = world.carried.iter().rfind(|c| c.message.text.contains("is due and not recorded")).unwrap();
    let finding = due.message.buttons[0].finding.clone();
    world.forget();
    press(&mut world, "olive", Verdict::Given, &finding);
    let told = world.last("olive").clone();
    assert_eq!(told.title, "Last dose not long ago: Pepper", "{}", world.story());
    assert!(
        told.text.starts_with("A dose is recorded at 13:00, less than 8 hours ago. Nothing"),
        "{}",
        told.text
    );
    assert!(!told.text.contains("second time"), "it is not the same dose: {}", told.text);
    // The vet said yes, or it had happened before anybody asked: everyone hears of it.
    assert_eq!(told.buttons[0].verdict, Verdict::GivenToo);
    press(&mut world, "olive", Verdict::GivenToo, &finding);
    assert!(world.holds(Watch::DoseTwice), "{}", world.story());
}

/// Eight hours and more are nothing to ask about.
#[test]
fn after_a_dose_that_was_late_but_long_ago_the_next_one_is_as_every_day() {
    let mut settings = crate::household::streaming();
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    let mut world = World::new(settings, at("2026-06-10T14:00:00Z"));
    world.dose(at("2026-06-10T09:00:00Z"), "Rowan");
    world.stream_levels(&[240.0; 14]);
    assert!(world.carried.iter().any(|c| c.message.text.contains("as you give it")), "{}", world.story());
    assert!(world.carried.iter().all(|c| !c.message.text.contains("The last dose was")), "{}", world.story());
}

#[test]
fn a_press_by_mistake_is_taken_back_and_the_dose_is_due_again() {
    let (mut world, finding) = due_now();
    press(&mut world, "olive", Verdict::Given, &finding);
    let noted = world.last("olive").clone();
    assert_eq!(noted.buttons[0].label, "Not given after all");
    press(&mut world, "rowan", Verdict::NotGiven, &finding);
    assert!(!world.holds(Watch::DoseDue), "only who pressed can take it back");
    press(&mut world, "olive", noted.buttons[0].verdict, &noted.buttons[0].finding);
    assert_eq!(world.last("olive").title, "Dose taken back: Pepper", "{}", world.story());
    assert!(world.holds(Watch::DoseDue), "{}", world.story());
    press(&mut world, "rowan", Verdict::Given, &finding);
    assert_eq!(world.last("rowan").title, "Dose recorded: Pepper", "{}", world.story());
    assert!(!world.holds(Watch::DoseTwice));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whoever presses, however often and in whatever order: two persons never both hear that their dose is recorded
    /// for one time, unless one of them said that they injected all the same, or the first was taken back.
    #[test]
    fn never_are_two_told_that_their_dose_counts(presses in prop::collection::vec((0_usize..3, 0_u16..90, 0_u8..8), 1..12)) {
        let (mut world, finding) = due_now();
        let mut counted: Option<lowtide::words::Moment> = None;
        for (who, wait, what) in presses {
            world.pass(f64::from(wait));
            world.forget();
            let who = ["olive", "rowan", "hazel"][who];
            let verdict = if what == 0 { Verdict::NotGiven } else { Verdict::Given };
            press(&mut world, who, verdict, &finding);
            let told = world.heard(who).last().map(|carried| carried.message.title.clone()).unwrap_or_default();
            match told.as_str() {
                "Dose recorded: Pepper" => {
                    let before = counted.replace(world.now);
                    prop_assert!(before.is_none_or(|at| world.now.minutes_since(at) >= 480.0), "{}", world.story());
                }
                "Dose taken back: Pepper" => counted = None,
                "Dose was given already: Pepper" => prop_assert!(counted.is_some(), "{}", world.story()),
                _ => prop_assert!(verdict == Verdict::NotGiven || told.contains("Nothing was recorded"), "{told}"),
            }
        }
        prop_assert!(!world.holds(Watch::DoseTwice), "{}", world.story());
    }
}
