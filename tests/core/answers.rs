//! Answers whose time is over, when nobody has looked since: what counts is when they end, not when it was noticed. And which of a
//! press and a value counts.

use lowtide::words::{Answer, Event, PersonName, Reason, Severity, Value, Verdict, Via, Watch, minutes};

use crate::household::{at, duty, name, streaming};
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

/// Somebody answers the low that is open, and no other finding.
fn answer(world: &mut World, who: &str) {
    let low = world.house.open().iter().find(|finding| finding.watch == Watch::LowNow).unwrap().id.clone();
    let (person, via, verdict) = (name(who), Via::Button, Verdict::Taken);
    world.event(Event::Answer(Answer { finding: Some(low), person, via, verdict, at: None }));
}

/// An answer by button to the low that is open, given some minutes ago.
fn waited(world: &World, who: &str, ago: f64) -> Event {
    let low = world.house.open().iter().find(|finding| finding.watch == Watch::LowNow).unwrap().id.clone();
    let at = Some(world.now - minutes(ago));
    let verdict = Verdict::Taken;
    Event::Answer(Answer { finding: Some(low), person: name(who), via: Via::Button, verdict, at })
}

/// Whose answer counts.
fn answered(world: &World) -> Option<PersonName> {
    let low = world.house.open().into_iter().find(|finding| finding.watch == Watch::LowNow).unwrap();
    world.house.ledger.spoken[&low.id].answered.as_ref().map(|answered| answered.by.clone())
}

#[test]
fn an_answer_counts_though_the_one_before_it_ran_out_unseen() {
    let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
    world.stream_levels(&[80.0, 80.0, 80.0, 80.0]);
    world.stream(Value::Below);
    world.answer("olive", Verdict::Taken);
    for _ in 0..2 {
        world.pass(15.0);
        world.stream(Value::Below);
    }
    assert_eq!(answered(&world), Some(name("olive")));
    // The daemon was away for the moment in which it would have looked.
    world.now = at(NOON) + minutes(46.0);
    answer(&mut world, "rowan");
    assert_eq!(answered(&world), Some(name("rowan")), "{}", world.story());
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

#[test]
fn what_ran_out_at_a_look_that_is_not_in_the_record_is_known_after_a_restart() {
    let mut settings = streaming();
    settings.persons[0].meter = false;
    let mut world = World::new(settings.clone(), at(NOON));
    world.stream_levels(&[66.0, 66.0, 66.0, 66.0]);
    world.answer("olive", Verdict::Later);
    assert!(answered(&world).is_some());
    // Now nobody is called on by a warning, so that nothing is said when its time is over.
    settings.persons.iter_mut().for_each(|person| person.receives = Severity::Critical);
    world.settings(settings);
    world.stream_levels(&[66.0, 66.0]);
    world.forget();
    world.pass(1.0);
    assert_eq!(answered(&world), None);
    assert!(world.said.is_empty(), "{}", world.story());
    answer(&mut world, "olive");
    assert!(answered(&world).is_some());
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

/// A server had it meanwhile, or the record could not be written.
#[test]
fn an_answer_that_waited_counts_from_when_it_was_given() {
    let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
    world.stream_levels(&[80.0, 80.0, 80.0, 80.0]);
    world.stream(Value::Below);
    world.pass(30.0);
    let answer = waited(&world, "olive", 29.0);
    let until = world.now + minutes(45.0 - 29.0);
    for _ in 0..2 {
        world.event(answer.clone());
        assert_eq!(answered(&world), Some(name("olive")), "{}", world.story());
        let low = world.house.open().into_iter().find(|finding| finding.watch == Watch::LowNow).unwrap();
        assert_eq!(world.house.ledger.spoken[&low.id].answered.as_ref().unwrap().until, Some(until));
        // Brought once more it is the same answer, and its time does not begin anew.
        world.pass(5.0);
    }
    world.forget();
    world.pass(16.0);
    assert_eq!(answered(&world), None);
    assert!(world.said.iter().any(|message| message.reason == Reason::Returned), "{}", world.story());
    world.event(answer);
    assert_eq!(answered(&world), None, "its time is over");
    world.event(waited(&world, "olive", 46.0));
    assert_eq!(answered(&world), None, "its time was over when it came");
    assert_eq!(world.restarted().ledger.spoken, world.house.ledger.spoken);
}

#[test]
fn an_answer_from_before_a_hand_over_does_not_count_when_it_comes_after() {
    for (ago, counts) in [(12.0, false), (8.0, true)] {
        let mut settings = streaming();
        settings.duty = vec![duty("rowan", "2026-06-10T10:10:00Z", "2026-06-20T00:00:00Z")];
        let mut world = World::new(settings, at(NOON) - minutes(45.0));
        world.stream_levels(&[90.0, 80.0, 74.0]);
        world.stream(Value::Level(66.0));
        world.until(at(NOON) + minutes(20.0));
        world.event(waited(&world, "olive", ago));
        assert_eq!(answered(&world).is_some(), counts, "{ago}: {}", world.story());
    }
}

#[test]
fn a_press_soon_after_a_value_means_the_same_check_and_a_later_one_another() {
    for (after, key) in [(3.0, "low-now-meter-above"), (8.0, "low-now-meter-said")] {
        let mut world = World::new(streaming(), at(NOON));
        world.stream_levels(&[96.0, 88.0, 80.0, 73.0, 66.0]);
        world.meter(98.0);
        assert_eq!(world.held(Watch::LowNow).unwrap().0, "low-now-meter-above", "{}", world.story());
        world.pass(after);
        world.answer("olive", Verdict::MeterLow);
        assert_eq!(world.held(Watch::LowNow).unwrap().0, key, "{after}: {}", world.story());
    }
}
