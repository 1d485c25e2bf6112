//! Answers whose time is over, when nobody has looked since: what counts is when they end, not when it was noticed. And which of a
//! press and a value counts.

use lowtide::words::{Answer, Event, PersonName, Severity, Value, Verdict, Via, Watch, minutes};

use crate::household::{at, name, streaming};
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

/// Somebody answers the low that is open, and no other finding.
fn answer(world: &mut World, who: &str) {
    let low = world.house.open().iter().find(|finding| finding.watch == Watch::LowNow).unwrap().id.clone();
    let (person, via, verdict) = (name(who), Via::Button, Verdict::Taken);
    world.event(Event::Answer(Answer { finding: Some(low), person, via, verdict, at: None }));
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
