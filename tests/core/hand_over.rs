//! An answer counts for whoever gave it: when the cat changes hands, whoever takes it over hears of what is open.

use lowtide::words::{
    Arg, DutyRound, Event, Health, Household, Reason, Telling, Value, Verdict, Watch, minutes,
};

use crate::household::{at, duty, household, name, streaming};
use crate::world::{Carried, World};

const NOON: &str = "2026-06-10T10:00:00Z";
const TAKES_OVER: &str = "2026-06-10T11:10:00Z";

/// Rowan takes the cat over seventy minutes after noon.
fn handed_over() -> Household {
    let mut settings = streaming();
    settings.duty = vec![duty("rowan", TAKES_OVER, "2026-06-20T00:00:00Z")];
    settings.duty[0].hand_over = true;
    settings
}

/// The low is open, and Olive is on it.
fn answered(settings: Household, value: Value) -> World {
    let mut world = World::new(settings, at(NOON));
    world.stream_levels(&[90.0, 80.0, 74.0]);
    world.stream(value);
    world.pass(2.0);
    world.answer("olive", Verdict::Taken);
    assert!(world.heard("rowan").is_empty(), "{}", world.story());
    world.forget();
    world
}

/// Readings until some minutes after the hand-over.
fn goes_on(world: &mut World, value: Value, count: usize) {
    for _ in 0..count {
        world.pass(13.0);
        world.stream(value);
        world.pass(2.0);
    }
}

fn tells(carried: &Carried, watch: Watch) -> bool {
    carried.message.findings.iter().any(|id| id.watch() == Some(watch))
}

fn tells_low(carried: &&Carried) -> bool {
    tells(carried, Watch::LowNow)
}

#[test]
fn whoever_takes_over_hears_of_a_low_that_the_one_before_has_answered() {
    let mut world = answered(handed_over(), Value::Level(66.0));
    goes_on(&mut world, Value::Level(66.0), 2);
    let heard = world.heard("rowan");
    assert_eq!(heard.len(), 1, "one message with the hand-over: {}", world.story());
    let message = &heard[0].message;
    assert_eq!((message.title.as_str(), message.reason), ("Glucose is low: Pepper", Reason::First));
    assert!(message.text.contains("You take over: Pepper."), "{}", message.text);
    assert!(heard[0].at <= at(TAKES_OVER) + minutes(1.0), "{}", world.story());
    let again = world.heard("olive").into_iter().filter(tells_low).count();
    assert_eq!(again, 0, "who is on it knows: {}", world.story());
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

#[test]
fn a_critical_that_was_answered_before_the_hand_over_is_asked_of_whoever_takes_over() {
    let mut world = answered(handed_over(), Value::Below);
    goes_on(&mut world, Value::Below, 1);
    world.until(at(TAKES_OVER) + minutes(1.0));
    let (time, reason) = world.reasons("rowan")[0];
    assert_eq!((time, reason), (at(TAKES_OVER), Reason::First), "{}", world.story());
    assert!(world.heard("olive").iter().all(|c| c.at < at(TAKES_OVER) || c.message.title.contains("take")));
    world.forget();
    world.pass(10.0);
    let reasons: Vec<Reason> = world.reasons("rowan").into_iter().map(|(_, reason)| reason).collect();
    assert_eq!(reasons, [Reason::Repeat], "nobody has answered since: {}", world.story());
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

#[test]
fn who_has_answered_and_takes_over_is_not_told_again() {
    let mut world = World::new(handed_over(), at(NOON));
    world.stream_levels(&[90.0, 80.0, 74.0]);
    world.stream(Value::Below);
    world.pass(11.0);
    world.answer("rowan", Verdict::Taken);
    world.forget();
    goes_on(&mut world, Value::Below, 1);
    world.until(at(TAKES_OVER) + minutes(2.0));
    let again = world.heard("rowan").into_iter().filter(tells_low).count();
    assert_eq!(again, 0, "{}", world.story());
    let low = world.house.open().into_iter().find(|f| f.watch == Watch::LowNow).unwrap().id.clone();
    assert!(world.house.ledger.spoken[&low].answered.is_some(), "{}", world.story());
}

#[test]
fn a_hand_over_by_hand_ends_an_answer_too_and_settings_without_one_do_not() {
    let mut world = answered(streaming(), Value::Level(66.0));
    let mut settings = streaming();
    settings.cats[0].plan.high = None;
    world.settings(settings);
    goes_on(&mut world, Value::Level(66.0), 1);
    assert!(world.carried.is_empty(), "{}", world.story());
    let mut settings = streaming();
    settings.duty = vec![duty("hazel", "2026-06-10T10:00:00Z", "2026-06-20T00:00:00Z")];
    world.settings(settings);
    world.pass(2.0);
    let title = "Glucose is low: Pepper";
    assert!(world.heard("hazel").iter().any(|c| c.message.title == title), "{}", world.story());
    assert!(world.heard("olive").is_empty() && world.heard("rowan").is_empty(), "{}", world.story());
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

#[test]
fn an_answer_of_the_owner_to_the_owners_matters_outlives_a_hand_over() {
    let mut settings = household();
    let hours = lowtide::almanac::read_hours("Mon-Fri 13:00-19:00").unwrap();
    settings.rounds =
        vec![DutyRound { person: name("rowan"), hours, from: None, until: None, hand_over: false }];
    let mut world = World::new(settings, at(NOON));
    let trouble = Telling::new("database-error").with("reason", Arg::Text("the card is worn".into()));
    let health = Health { watch: Watch::DatabaseError, about: "store".into(), trouble: Some(trouble) };
    world.event(Event::Health(health));
    world.pass(2.0);
    world.answer("olive", Verdict::Taken);
    world.forget();
    world.pass(3.0 * 1440.0);
    let told = world.carried.iter().filter(|c| tells(c, Watch::DatabaseError)).count();
    assert_eq!(told, 0, "{}", world.story());
}
