//! Messages on their way: back-off, the next channel, best-before, an outage, and who hears of it.

use lowtide::words::{Event, Outcome, Parcel, Reason, Severity, Value, Watch, minutes};

use crate::household::{at, household, streaming};
use crate::world::{Mood, World};

const NOON: &str = "2026-06-10T10:00:00Z";

fn danger() -> World {
    let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
    world.stream_levels(&[80.0; 4]);
    world.forget();
    world
}

#[test]
fn a_critical_goes_by_the_next_channel_after_two_minutes() {
    let mut world = danger();
    world.mood("topic-olive", Mood::Later);
    world.stream(Value::Below);
    world.pass(3.0);
    let heard = world.heard("olive");
    assert_eq!(heard[0].channel.address, "olive@example.org", "{}", world.story());
    assert_eq!(heard[0].at, at(NOON) + minutes(2.0));
}

#[test]
fn a_refused_critical_goes_by_the_next_channel_at_once_and_is_not_tried_again() {
    let mut world = danger();
    world.mood("topic-olive", Mood::Refuses);
    world.stream(Value::Below);
    assert_eq!(world.heard("olive")[0].at, at(NOON), "{}", world.story());
    world.pass(9.0);
    let first = world.said[0].id.clone();
    let tried = world.tried.iter().filter(|(_, p)| p.channel.address == "topic-olive" && p.message == first);
    assert_eq!(tried.count(), 1);
}

#[test]
fn a_channel_that_is_known_to_fail_costs_a_new_critical_no_time() {
    let mut world = danger();
    world.mood("topic-olive", Mood::Later);
    world.stream(Value::Below);
    world.pass(9.0);
    world.forget();
    world.pass(1.0);
    let heard = world.heard("olive");
    assert_eq!((heard[0].at, heard[0].message.reason), (at(NOON) + minutes(10.0), Reason::Repeat));
}

#[test]
fn a_person_who_cannot_be_reached_at_all_is_passed_over_at_once() {
    let mut world = danger();
    world.mood("topic-olive", Mood::Refuses);
    world.mood("olive@example.org", Mood::Refuses);
    world.stream(Value::Below);
    world.pass(1.0);
    assert_eq!(world.heard("rowan")[0].at, at(NOON), "{}", world.story());
}

#[test]
fn pauses_grow_and_follow_the_servers_hint() {
    let mut world = World::new(household(), at(NOON));
    world.scan_back(480.0, |t| if (-300.0..=-240.0).contains(&t) { 52.0 } else { 140.0 });
    world.mood("topic-olive", Mood::LaterIn(600));
    world.pass(30.0);
    let push: Vec<f64> = world
        .tried
        .iter()
        .filter(|(_, parcel)| parcel.channel.address == "topic-olive")
        .map(|(at_, _)| at_.minutes_since(at(NOON)))
        .collect();
    assert_eq!(push, [1.0, 11.0], "{}", world.story());
    // After ten minutes the notice goes by mail.
    assert_eq!(world.heard("olive")[0].channel.address, "olive@example.org");
    assert_eq!(world.heard("olive")[0].at, at(NOON) + minutes(11.0));
}

#[test]
fn a_server_that_asks_for_an_hour_does_not_hold_up_a_critical() {
    let mut world = danger();
    world.mood("topic-olive", Mood::LaterIn(3600));
    world.mood("olive@example.org", Mood::LaterIn(3600));
    world.stream(Value::Below);
    world.pass(5.0);
    world.mood("topic-olive", Mood::Delivers);
    world.pass(3.0);
    assert!(!world.heard("olive").is_empty(), "{}", world.story());
}

#[test]
fn a_day_without_a_server_ends_in_one_summary_not_in_a_flood() {
    let mut settings = household();
    settings.persons.truncate(1);
    let mut world = World::new(settings, at(NOON));
    world.scan_back(480.0, |_| 150.0);
    world.mood("topic-olive", Mood::Later);
    world.mood("olive@example.org", Mood::Later);
    for _ in 0..4 {
        world.pass(7.5 * 60.0);
        world.scan_back(450.0, |_| 150.0);
    }
    assert!(world.carried.is_empty());
    assert!(world.house.ledger.outbox.len() < 8, "{}", world.house.ledger.outbox.len());
    world.mood("topic-olive", Mood::Delivers);
    world.mood("olive@example.org", Mood::Delivers);
    world.pass(30.0);
    let heard = world.heard("olive");
    let summaries = heard.iter().filter(|c| c.message.reason == Reason::Summary).count();
    assert_eq!(summaries, 1, "{}", world.story());
    assert!(heard.len() <= 3, "{}", world.story());
}

#[test]
fn trouble_with_a_channel_is_told_to_the_owner_by_the_other_one() {
    let mut world = danger();
    world.mood("topic-olive", Mood::Later);
    world.stream(Value::Below);
    world.pass(14.0);
    world.stream(Value::Below);
    assert!(world.holds(Watch::DeliveryFailing), "{}", world.story());
    let told =
        world.heard("olive").into_iter().find(|c| c.message.title.contains("do not get through")).unwrap();
    assert_eq!(told.channel.address, "olive@example.org");
    assert!(!told.message.text.contains("topic-olive"), "an address is a secret: {}", told.message.text);
    world.mood("topic-olive", Mood::Delivers);
    world.pass(20.0);
    assert!(!world.holds(Watch::DeliveryFailing), "{}", world.story());
}

#[test]
fn what_is_past_its_best_before_is_not_sent_late() {
    let mut world = World::new(household(), at(NOON));
    world.scan_back(480.0, |_| 150.0);
    world.mood("topic-olive", Mood::Later);
    world.mood("olive@example.org", Mood::Later);
    world.pass(8.0 * 60.0 + 1.0);
    world.mood("topic-olive", Mood::Delivers);
    world.mood("olive@example.org", Mood::Delivers);
    world.pass(30.0);
    assert!(world.carried.iter().all(|c| !c.message.title.contains("Scan before")), "{}", world.story());
}

#[test]
fn an_outcome_that_comes_twice_or_too_late_counts_once() {
    let mut world = danger();
    world.mood("topic-olive", Mood::Hangs);
    world.stream(Value::Below);
    let parcel = world.tried[0].1.clone();
    let later = Outcome::Later { why: "the server is away".into(), retry_after_seconds: None };
    world.event(Event::Outcome { parcel: parcel.clone(), outcome: later.clone() });
    let before = serde_json::to_value(&world.house.ledger).unwrap();
    world.event(Event::Outcome { parcel: parcel.clone(), outcome: later.clone() });
    let stranger = Parcel { message: lowtide::words::MessageId("nothing".into()), ..parcel };
    world.event(Event::Outcome { parcel: stranger, outcome: later });
    assert_eq!(serde_json::to_value(&world.house.ledger).unwrap(), before);
}

#[test]
fn an_older_word_does_not_arrive_after_a_newer_one() {
    let mut world = danger();
    world.mood("topic-olive", Mood::Later);
    world.mood("olive@example.org", Mood::Later);
    world.stream(Value::Level(64.0));
    world.pass(3.0);
    world.meter(45.0);
    world.mood("topic-olive", Mood::Delivers);
    world.mood("olive@example.org", Mood::Delivers);
    world.pass(8.0);
    let first = &world.heard("olive")[0].message;
    // It is the first word to arrive, so it is "worse" than nothing.
    assert_eq!((first.severity, first.reason), (Severity::Critical, Reason::First), "{}", world.story());
    assert!(world.carried.iter().all(|c| c.message.title != "Glucose is low: Pepper"), "{}", world.story());
}

#[test]
fn over_is_not_told_to_someone_who_never_got_the_alarm() {
    let mut world = danger();
    world.mood("topic-olive", Mood::Later);
    world.mood("olive@example.org", Mood::Later);
    world.stream(Value::Level(64.0));
    world.pass(15.0);
    world.stream(Value::Level(95.0));
    world.pass(15.0);
    world.stream(Value::Level(110.0));
    world.mood("topic-olive", Mood::Delivers);
    world.pass(60.0);
    assert!(world.carried.iter().all(|c| c.message.title != "No longer low: Pepper"), "{}", world.story());
}

#[test]
fn an_answer_withdraws_calls_that_are_still_on_their_way() {
    let mut world = danger();
    world.mood("topic-rowan", Mood::Later);
    world.mood("rowan@example.org", Mood::Later);
    world.stream(Value::Below);
    world.pass(10.5);
    world.answer("olive", lowtide::words::Verdict::Taken);
    world.mood("topic-rowan", Mood::Delivers);
    world.pass(20.0);
    assert!(world.heard("rowan").is_empty(), "{}", world.story());
}
