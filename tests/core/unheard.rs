//! What was given up before anybody had it: as long as it holds, it is told as soon as that can be done.

use lowtide::words::{Arg, Event, Health, Outcome, Reason, Telling, Value, Watch, minutes};

use crate::household::{at, duty, streaming};
use crate::world::{Carried, Mood, World};

const MORNING: &str = "2026-06-10T06:00:00Z";
const LOW: &str = "Glucose is low: Pepper";

/// Nobody but Olive, whose server and mailbox are away, and a low that rests just under the limit.
fn cut_off() -> World {
    let mut settings = streaming();
    settings.persons.truncate(1);
    let mut world = World::new(settings, at(MORNING));
    world.stream_levels(&[90.0, 84.0, 78.0, 73.0]);
    world.forget();
    mood(&mut world, Mood::Later);
    world
}

fn mood(world: &mut World, mood: Mood) {
    world.mood("topic-olive", mood);
    world.mood("olive@example.org", mood);
}

fn rests(world: &mut World, hours: usize) {
    for _ in 0..4 * hours {
        world.stream(Value::Level(67.0));
        world.pass(15.0);
    }
}

fn lows(world: &World) -> Vec<&Carried> {
    world.heard("olive").into_iter().filter(|carried| carried.message.title == LOW).collect()
}

#[test]
fn a_low_that_nobody_could_be_told_of_is_told_when_the_server_is_back() {
    let mut world = cut_off();
    rests(&mut world, 8);
    assert!(world.holds(Watch::LowNow) && world.carried.is_empty(), "{}", world.story());
    mood(&mut world, Mood::Delivers);
    rests(&mut world, 2);
    let told = lows(&world);
    assert_eq!(told.len(), 1, "{}", world.story());
    assert_eq!((told[0].message.title.as_str(), told[0].message.reason), (LOW, Reason::First));
    assert!(told[0].at <= at(MORNING) + minutes(9.5 * 60.0), "{}", world.story());
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

#[test]
fn nothing_is_made_anew_while_it_would_only_be_given_up_again() {
    let mut world = cut_off();
    rests(&mut world, 7);
    world.said.clear();
    rests(&mut world, 7);
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    let again = world.said.iter().filter(|message| message.title == LOW).count();
    assert_eq!(again, 0, "{:?}", world.said);
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

#[test]
fn what_had_been_heard_before_its_repeat_was_given_up_is_told_as_a_repeat() {
    let mut settings = streaming();
    settings.persons.truncate(1);
    let mut world = World::new(settings, at(MORNING));
    world.stream_levels(&[150.0; 2]);
    // The sensor goes silent: a warning that is said twice.
    world.pass(45.0);
    while world.carried.is_empty() {
        world.pass(1.0);
    }
    mood(&mut world, Mood::Later);
    world.pass(7.5 * 60.0);
    mood(&mut world, Mood::Delivers);
    world.forget();
    world.pass(30.0);
    let silent = |c: &&&Carried| c.message.findings.iter().any(|id| id.watch() == Some(Watch::SensorSilent));
    let heard = world.heard("olive");
    let reasons: Vec<Reason> = heard.iter().filter(silent).map(|carried| carried.message.reason).collect();
    assert_eq!(reasons, [Reason::Repeat], "{}", world.story());
}

#[test]
fn a_message_that_arrives_after_it_was_given_up_is_not_told_again() {
    let mut world = cut_off();
    rests(&mut world, 5);
    // Somebody at the server holds the line until the message is past its time.
    mood(&mut world, Mood::Hangs);
    rests(&mut world, 2);
    let first = world.said.iter().find(|message| message.title == LOW).unwrap().id.clone();
    assert!(world.withdrawn.contains(&first), "{}", world.story());
    let (_, parcel) = world.tried.iter().rev().find(|(_, parcel)| parcel.message == first).unwrap().clone();
    world.said.clear();
    mood(&mut world, Mood::Delivers);
    world.event(Event::Outcome { parcel, outcome: Outcome::Delivered { receipt: None } });
    rests(&mut world, 2);
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    let again = world.said.iter().filter(|message| message.title == LOW).count();
    assert_eq!(again, 0, "{:?}", world.said);
}

/// As long as nothing can be recorded, doses are not, and a restart forgets what was told.
#[test]
fn that_nothing_can_be_recorded_wakes_the_owner_and_whoever_has_the_cat() {
    let mut settings = streaming();
    settings.duty = vec![duty("rowan", "2026-06-10T10:00:00Z", "2026-06-20T00:00:00Z")];
    let night = at("2026-06-10T23:00:00Z");
    let mut world = World::new(settings, night);
    world.pass(5.0);
    world.forget();
    let telling = Telling::new("record-fails").with("reason", Arg::Text("the disk is full".into()));
    let health = |trouble| Health { watch: Watch::DatabaseError, about: "record".into(), trouble };
    world.event(Event::Health(health(Some(telling))));
    world.pass(2.0);
    for who in ["olive", "rowan"] {
        assert_eq!(world.last(who).title, "Nothing can be recorded: Lowtide", "{}", world.story());
        assert!(
            world.last(who).text.contains("Lows are still told, but nothing is kept, not even doses"),
            "{}",
            world.last(who).text
        );
    }
    assert!(world.heard("hazel").is_empty(), "{}", world.story());
    world.event(Event::Health(health(None)));
    world.pass(2.0);
    assert_eq!(world.last("rowan").title, "Recording works again: Lowtide", "{}", world.story());
}

/// Olive alone, who has heard of a danger. Her server and mailbox are away while these values are shown, and then back.
fn comforted(reason: Reason, meanwhile: &[f64]) -> World {
    let mut settings = streaming();
    settings.persons.truncate(1);
    let mut world = World::new(settings, at(MORNING));
    world.stream_levels(&[80.0, 72.0, 64.0, 57.0, 51.0, 46.0]);
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    mood(&mut world, Mood::Later);
    world.stream_levels(meanwhile);
    assert!(world.said.iter().any(|said| said.reason == reason), "{}", world.story());
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    world.forget();
    mood(&mut world, Mood::Delivers);
    world.pass(14.0);
    world
}

#[test]
fn that_a_low_is_over_or_milder_is_not_said_after_the_next_one_was_told() {
    let over = [70.0, 90.0, 110.0, 115.0, 118.0, 100.0, 80.0, 64.0, 52.0, 45.0];
    let eased = [61.0, 63.0, 64.0, 63.0, 64.0, 63.0, 58.0, 51.0, 45.0];
    for (reason, meanwhile) in [(Reason::Over, &over[..]), (Reason::Eased, &eased[..])] {
        let world = comforted(reason, meanwhile);
        let heard: Vec<Reason> = world.reasons("olive").into_iter().map(|(_, reason)| reason).collect();
        assert!(!heard.is_empty() && !heard.contains(&reason), "{reason:?}: {}", world.story());
        assert_eq!(world.restarted().ledger.outbox, world.house.ledger.outbox);
    }
}
