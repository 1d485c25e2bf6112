//! What is on its way when something newer comes: an answer takes back no news, and what still gathers is written by the
//! newest reading.

use lowtide::words::{Arg, Event, Health, Reason, Telling, Value, Verdict, Watch, minutes};

use crate::household::{at, streaming};
use crate::world::{Mood, World};

const NOON: &str = "2026-06-10T10:00:00Z";

/// A warning has been told, and then glucose falls on by more than ten.
fn falls_on() -> World {
    let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
    world.stream_levels(&[90.0, 80.0, 73.0, 66.0]);
    assert_eq!(world.last("olive").title, "Glucose is low: Pepper", "{}", world.story());
    world.forget();
    world.stream(Value::Level(53.0));
    assert!(world.carried.is_empty(), "it gathers: {}", world.story());
    world
}

#[test]
fn an_answer_to_the_first_word_does_not_take_back_that_it_fell_on() {
    for server in [Mood::Delivers, Mood::Later] {
        let mut world = falls_on();
        world.mood("topic-olive", server);
        world.pass(if server == Mood::Later { 1.5 } else { 0.5 });
        world.answer("olive", Verdict::Taken);
        world.mood("topic-olive", Mood::Delivers);
        world.pass(3.0);
        let texts: Vec<&str> = world.heard("olive").iter().map(|c| c.message.text.as_str()).collect();
        assert_eq!(texts.len(), 1, "{server:?}: {}", world.story());
        assert!(texts[0].contains("53 mg/dL"), "{}", texts[0]);
        assert!(world.house.ledger.spoken.values().any(|spoken| spoken.answered.is_some()));
        world.forget();
        world.pass(9.0);
        assert!(world.carried.is_empty(), "and nobody is asked any more: {}", world.story());
    }
}

/// Olive and Rowan have heard of a critical, and a meter shows it to be worse.
fn met(olive: Mood, rowan: Mood) -> World {
    let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
    world.stream_levels(&[80.0; 4]);
    world.stream(Value::Below);
    world.pass(10.5);
    assert_eq!(world.heard("rowan").len(), 1, "{}", world.story());
    for (who, mood) in [("olive", olive), ("rowan", rowan)] {
        world.mood(&format!("topic-{who}"), mood);
        world.mood(&format!("{who}@example.org"), mood);
    }
    world.forget();
    world.meter(34.0);
    world.answer("olive", Verdict::Taken);
    for who in ["olive", "rowan"] {
        world.mood(&format!("topic-{who}"), Mood::Delivers);
        world.mood(&format!("{who}@example.org"), Mood::Delivers);
    }
    world.pass(5.0);
    world
}

#[test]
fn what_whoever_answered_has_not_heard_stays_on_its_way_to_all_who_know() {
    let world = met(Mood::Later, Mood::Later);
    for who in ["olive", "rowan"] {
        let heard = world.heard(who);
        let news = heard.iter().filter(|c| c.message.reason == Reason::More).count();
        assert_eq!(news, 1, "{who}: {}", world.story());
    }
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

#[test]
fn what_whoever_answered_has_heard_is_taken_back_from_the_others() {
    let world = met(Mood::Delivers, Mood::Later);
    let news = |who| world.heard(who).iter().filter(|c| c.message.reason == Reason::More).count();
    assert_eq!((news("olive"), news("rowan")), (1, 0), "{}", world.story());
    assert_eq!(world.last("rowan").reason, Reason::Taken, "{}", world.story());
}

#[test]
fn what_gathers_is_written_by_the_newest_reading_and_goes_out_no_later() {
    let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
    world.stream_levels(&[90.0, 84.0, 79.0, 73.0]);
    world.forget();
    world.stream(Value::Level(66.0));
    world.pass(0.5);
    world.deliver(world.now, Value::Level(63.0));
    world.pass(5.0);
    let heard = world.heard("olive");
    assert_eq!(heard.len(), 1, "{}", world.story());
    assert!(heard[0].message.text.contains("63 mg/dL"), "{}", heard[0].message.text);
    assert_eq!((heard[0].at, heard[0].message.reason), (at(NOON) + minutes(1.0), Reason::First));
    assert_eq!(world.withdrawn, [world.said[0].id.clone()], "{}", world.story());
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

#[test]
fn what_waits_for_its_channel_is_written_by_the_newest_reading_and_what_was_tried_is_not() {
    for (tried, says) in [(false, "63 mg/dL"), (true, "66 mg/dL")] {
        let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
        world.stream_levels(&[90.0, 84.0, 79.0, 73.0]);
        world.mood("topic-olive", Mood::LaterIn(240));
        if !tried {
            // Something else finds out that the server wants to be left alone for four minutes.
            world.event(trouble());
            world.pass(1.1);
        }
        world.forget();
        world.stream(Value::Level(66.0));
        world.pass(1.5);
        world.deliver(world.now, Value::Level(63.0));
        world.mood("topic-olive", Mood::Delivers);
        world.pass(8.0);
        let heard = world.heard("olive");
        let low: Vec<_> = heard.iter().filter(|c| c.message.title == "Glucose is low: Pepper").collect();
        assert_eq!(low.len(), 1, "{}", world.story());
        assert!(low[0].message.text.contains(says), "{}", low[0].message.text);
        assert!(low[0].at <= at(NOON) + minutes(7.0), "{}", world.story());
    }
}

fn trouble() -> Event {
    let trouble = Telling::new("database-error").with("reason", Arg::Text("the card is worn".into()));
    Event::Health(Health { watch: Watch::DatabaseError, about: "store".into(), trouble: Some(trouble) })
}
