//! Clocks that are wrong: the machine's runs ahead and is set back, or starts behind and jumps forward; a source's
//! dates its readings in the future, or decades ago.

use lowtide::turn::{House, recall};
use lowtide::words::{
    ClockStep, Event, Moment, Reading, ReadingKind, Reason, SensorEvent, Severity, Span, Value, Verdict,
    Watch, minutes,
};

use crate::household::{at, cat, household, streaming};
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";
/// Minutes, hours, days, years.
const STEPS_MINUTES: [f64; 4] = [7.0, 180.0, 3.0 * 1440.0, 4.0 * 525_960.0];

fn resting() -> World {
    let mut world = World::new(streaming(), at(NOON) - minutes(180.0));
    world.stream_levels(&[120.0; 12]);
    world
}

fn jump_ahead(world: &mut World, step_minutes: f64) {
    world.until(world.now + minutes(step_minutes));
}

/// As the keeper does: the event comes first, and everything after it by the right clock.
fn set_back(world: &mut World, step_minutes: f64) {
    let step = ClockStep { from: world.now, to: world.now - minutes(step_minutes) };
    world.now = step.to;
    world.event(Event::ClockSet(step));
}

/// Every time in the house that lies further ahead than `slack`: nothing may still go by the clock that was wrong.
fn left_ahead(house: &House, slack: Span) -> Vec<String> {
    fn walk(value: &serde_json::Value, path: &str, latest: Moment, out: &mut Vec<String>) {
        match value {
            serde_json::Value::String(text) if Moment::parse(text).is_some_and(|at| at > latest) => {
                out.push(format!("{path}: {text}"));
            }
            serde_json::Value::Array(list) => list.iter().for_each(|item| walk(item, path, latest, out)),
            serde_json::Value::Object(map) => {
                // Tellings and texts are as they were said.
                let keep = |key: &&String| !["telling", "household"].contains(&key.as_str());
                for key in map.keys().filter(keep) {
                    walk(&map[key], &format!("{path}.{key}"), latest, out);
                }
            }
            _ => {}
        }
    }
    let mut out = Vec::new();
    walk(&serde_json::to_value(house).unwrap(), "house", house.now + slack, &mut out);
    out
}

#[test]
fn a_low_after_the_clock_was_set_back_is_told_at_once_however_far_ahead_it_was() {
    for ahead in STEPS_MINUTES {
        for source_is_right in [false, true] {
            let mut world = resting();
            jump_ahead(&mut world, ahead);
            for _ in 0..3 {
                let stamp = if source_is_right { world.now - minutes(ahead) } else { world.now };
                world.deliver(stamp, Value::Level(120.0));
                world.pass(15.0);
            }
            set_back(&mut world, ahead);
            assert!(world.house.now < at(NOON) + minutes(60.0));
            world.forget();
            world.stream_levels(&[80.0, 60.0, 45.0]);
            let told = world.heard("olive").iter().any(|c| c.message.severity == Severity::Critical);
            assert!(told, "{ahead} minutes ahead, the source right: {source_is_right}\n{}", world.story());
        }
    }
}

#[test]
fn nothing_in_the_house_goes_by_the_clock_that_was_wrong() {
    for ahead in STEPS_MINUTES {
        let mut world = resting();
        jump_ahead(&mut world, ahead);
        world.sensor(SensorEvent::Applied);
        world.dose(world.now, "Olive");
        world.meter(110.0);
        world.stream_levels(&[90.0, 66.0, 62.0, 48.0]);
        world.answer("olive", Verdict::Taken);
        world.event(Event::Bridge { cat: cat(), online: true });
        set_back(&mut world, ahead);
        // A message may wait for a night, a reminder for the end of the wear.
        let left = left_ahead(&world.house, minutes(15.0 * 1440.0));
        assert!(left.is_empty(), "{ahead} minutes ahead: {left:#?}");
        let state = &world.house.cats[&cat()];
        let newest = state.newest.unwrap().measured_at;
        // A step smaller than a reading's age leaves it where it is: nobody can tell which clock stamped it.
        let age = if ahead > 60.0 { 15.0 } else { 15.0 - ahead };
        assert_eq!(world.now.minutes_since(newest), age, "{ahead} ahead: the reading keeps its age");
        assert_eq!(state.tracker.newest(), state.newest);
        let age = if ahead > 60.0 { 60.0 } else { 60.0 - ahead };
        assert_eq!(world.now.minutes_since(state.doses[0].given_at), age, "the dose keeps its age");
    }
}

#[test]
fn repeats_and_escalation_of_a_critical_go_on_where_they_were() {
    let mut world = resting();
    jump_ahead(&mut world, 180.0);
    world.stream_levels(&[80.0, 60.0]);
    world.stream(Value::Level(45.0));
    world.pass(4.0);
    assert!(world.heard("olive").iter().any(|c| c.message.severity == Severity::Critical));
    set_back(&mut world, 180.0);
    world.forget();
    let urgent = |world: &World, who: &str| -> Vec<Reason> {
        let heard = world.heard(who);
        let urgent = heard.iter().filter(|carried| carried.message.severity == Severity::Critical);
        urgent.map(|carried| carried.message.reason).collect()
    };
    world.pass(5.0);
    assert!(urgent(&world, "olive").is_empty(), "too early: {}", world.story());
    world.pass(1.5);
    assert_eq!(urgent(&world, "olive"), [Reason::Repeat], "{}", world.story());
    assert_eq!(urgent(&world, "rowan"), [Reason::Escalated], "{}", world.story());
}

#[test]
fn what_was_held_for_a_wrong_morning_goes_by_the_right_hour() {
    let mut world = World::new(household(), at("2026-06-10T10:00:00Z"));
    // By the wrong clock it is 01:00 at home, so a notice waits for the morning.
    jump_ahead(&mut world, 13.0 * 60.0);
    world.event(Event::Spare(lowtide::words::Spare { cat: cat(), count: 1, at: world.now }));
    world.pass(10.0);
    assert!(world.heard("olive").is_empty(), "{}", world.story());
    set_back(&mut world, 13.0 * 60.0);
    world.pass(2.0);
    assert_eq!(world.heard("olive").len(), 1, "{}", world.story());
    assert_eq!(world.heard("olive")[0].message.reason, Reason::First);
}

#[test]
fn the_record_tells_a_clock_set_back_the_same_way_again() {
    let mut world = resting();
    jump_ahead(&mut world, 180.0);
    world.stream_levels(&[80.0, 60.0, 48.0]);
    set_back(&mut world, 180.0);
    world.stream_levels(&[44.0, 60.0, 90.0]);
    let mut again = House::default();
    for (now, event, said) in &world.journal {
        recall(&mut again, event, said, *now);
    }
    assert_eq!(again, world.house);
}

#[test]
fn what_waits_for_its_time_is_recalled_the_same_way_though_nobody_looked_before_the_step() {
    let mut world = resting();
    // Dated ahead; its time comes at a look at which nothing is found, and which is not in the record.
    world.deliver(world.now + minutes(25.0), Value::Level(118.0));
    world.deliver(world.now + minutes(250.0), Value::Level(118.0));
    world.pass(5.0);
    jump_ahead(&mut world, 15.0);
    let newest = world.house.cats[&cat()].newest.map(|reading| reading.value);
    assert_eq!(newest, Some(Value::Level(118.0)), "it has come into force");
    set_back(&mut world, 12.0);
    let again = world.restarted();
    assert_eq!(again.cats[&cat()].tracker, world.house.cats[&cat()].tracker);
    assert_eq!(again.cats[&cat()].memory, world.house.cats[&cat()].memory);
}

#[test]
fn an_alarm_of_a_low_ahead_does_not_outlast_the_time_by_which_the_clock_was_set_back() {
    let mut world = resting();
    jump_ahead(&mut world, 180.0);
    world.stream_levels(&[150.0, 130.0, 108.0, 86.0]);
    // One reading that does not uphold it does not end it.
    world.stream_levels(&[104.0]);
    assert!(world.holds(Watch::LowAhead), "{}", world.story());
    set_back(&mut world, 180.0);
    world.stream_levels(&[118.0, 125.0, 130.0]);
    assert!(!world.holds(Watch::LowAhead), "{}", world.story());
}

#[test]
fn a_clock_that_jumps_forward_judges_what_had_to_wait_for_it() {
    for behind in STEPS_MINUTES {
        let mut world = World::new(streaming(), at(NOON) - minutes(behind));
        // The source's clock is right, the machine's is behind.
        world.deliver(at(NOON) - minutes(15.0), Value::Level(90.0));
        world.deliver(at(NOON), Value::Level(82.0));
        if behind > 30.0 {
            assert!(world.holds(Watch::ClockWrong) && !world.holds(Watch::LowNow), "{}", world.story());
            assert!(world.house.cats[&cat()].newest.is_none());
        }
        world.until(at(NOON) + minutes(1.0));
        assert!(!world.holds(Watch::ClockWrong), "{behind} behind\n{}", world.story());
        assert_eq!(world.house.cats[&cat()].newest.map(|r| r.measured_at), Some(at(NOON)), "{behind}");
        world.forget();
        world.pass(14.0);
        world.stream_levels(&[60.0, 45.0]);
        assert!(
            world.heard("olive").iter().any(|c| c.message.severity == Severity::Critical),
            "{behind}\n{}",
            world.story()
        );
    }
}

#[test]
fn a_low_reading_from_the_future_is_told_as_one_that_may_be_from_now() {
    let mut world = World::new(streaming(), at(NOON));
    world.deliver(at(NOON) + minutes(180.0), Value::Level(120.0));
    world.pass(15.0);
    assert_eq!(world.held(Watch::ClockWrong).unwrap(), ("clock-future".into(), Severity::Warning));
    world.deliver(at(NOON) + minutes(195.0), Value::Level(44.0));
    assert_eq!(world.held(Watch::ClockWrong).unwrap(), ("clock-future-low".into(), Severity::Critical));
    let text = &world.last("olive").text;
    assert!(text.contains("44 mg/dL") && text.contains("Rub honey"), "{text}");
    crate::texts::check(world.last("olive"));
    // A newer one that is not low ends the alarm, not the trouble with the clock.
    world.pass(15.0);
    world.deliver(at(NOON) + minutes(210.0), Value::Level(130.0));
    assert_eq!(world.held(Watch::ClockWrong).unwrap(), ("clock-future".into(), Severity::Warning));
}

#[test]
fn a_low_from_the_future_is_not_held_for_ever() {
    let mut world = World::new(streaming(), at(NOON));
    world.deliver(at(NOON) + minutes(525_960.0), Value::Below);
    assert_eq!(world.held(Watch::ClockWrong).unwrap().1, Severity::Critical);
    world.pass(181.0);
    assert_eq!(world.held(Watch::ClockWrong).unwrap(), ("clock-future".into(), Severity::Warning));
}

#[test]
fn readings_decades_away_neither_alarm_as_now_nor_hide_the_present() {
    for far in ["1985-01-01T00:00:00Z", "1970-01-01T00:00:00Z", "2061-07-28T00:00:00Z"] {
        let mut world = resting();
        world.deliver(at(far), Value::Level(300.0));
        assert!(!world.holds(Watch::LowNow) && !world.holds(Watch::FallingFast), "{far}: {}", world.story());
        let newest = world.house.cats[&cat()].newest.unwrap();
        assert_eq!(newest.measured_at, at(NOON) - minutes(15.0), "{far}");
        world.forget();
        world.stream_levels(&[80.0, 60.0, 45.0]);
        assert!(
            world.heard("olive").iter().any(|c| c.message.severity == Severity::Critical),
            "{far}: {}",
            world.story()
        );
    }
    let mut world = resting();
    world.deliver(at("1985-01-01T00:00:00Z"), Value::Level(30.0));
    world.pass(1.0);
    assert!(!world.holds(Watch::LowNow), "{}", world.story());
}

fn future(world: &mut World, ahead: f64, levels: &[f64]) {
    let readings: Vec<Reading> = (levels.iter().enumerate())
        .map(|(k, level)| Reading {
            measured_at: world.now + minutes(ahead + 15.0 * k as f64),
            value: Value::Level(*level),
            kind: ReadingKind::History,
        })
        .collect();
    world.bring(cat(), readings);
}

#[test]
fn a_low_among_readings_from_the_future_is_told_though_the_newest_is_none() {
    for one_by_one in [false, true] {
        let mut world = World::new(streaming(), at(NOON));
        if one_by_one {
            for (k, level) in [110.0, 62.0, 61.0, 115.0].into_iter().enumerate() {
                world.deliver(world.now + minutes(100.0 + 15.0 * k as f64), Value::Level(level));
                world.pass(0.1);
            }
        } else {
            future(&mut world, 100.0, &[110.0, 62.0, 61.0, 115.0]);
        }
        world.pass(2.0);
        assert_eq!(world.held(Watch::ClockWrong).unwrap().0, "clock-future-was-low", "{}", world.story());
        let message = world.last("olive");
        let told = if one_by_one { "62 mg/dL" } else { "61 mg/dL" };
        assert!(message.text.contains(told), "{}", world.story());
        crate::texts::check(message);
        world.pass(15.0);
        assert_eq!(world.held(Watch::ClockWrong).unwrap().0, "clock-future", "{}", world.story());
    }
}

#[test]
fn a_low_from_the_future_is_told_again_when_it_gets_deeper() {
    let mut world = World::new(streaming(), at(NOON));
    let told = |world: &World| {
        world.heard("olive").iter().filter(|c| c.message.title.contains("dated wrong")).count()
    };
    for (level, times) in [(66.0, 1), (64.0, 1), (55.0, 2), (53.0, 2)] {
        world.deliver(world.now + minutes(180.0), Value::Level(level));
        world.pass(15.0);
        assert_eq!(told(&world), times, "{level}: {}", world.story());
    }
}

#[test]
fn a_low_from_the_future_near_the_limit_is_told_once_and_a_new_one_again() {
    let mut world = World::new(streaming(), at(NOON));
    let told = |world: &World| {
        world.heard("olive").iter().filter(|c| c.message.title.contains("dated wrong")).count()
    };
    let levels = [68.0, 72.0, 67.0, 73.0, 66.0, 71.0, 67.0, 95.0, 67.0];
    for (level, times) in levels.into_iter().zip([1, 1, 1, 1, 1, 1, 1, 1, 2]) {
        world.deliver(world.now + minutes(180.0), Value::Level(level));
        world.pass(15.0);
        assert_eq!(told(&world), times, "{level}: {}", world.story());
    }
}

#[test]
fn a_reading_far_ahead_does_not_hide_a_low_that_is_less_far_ahead() {
    let mut world = World::new(streaming(), at(NOON));
    world.deliver(at("2030-01-01T00:00:00Z"), Value::Level(120.0));
    world.deliver(world.now + minutes(60.0), Value::Level(44.0));
    assert_eq!(world.held(Watch::ClockWrong).unwrap(), ("clock-future-low".into(), Severity::Critical));
}

#[test]
fn an_old_reading_does_not_end_a_low_from_the_future() {
    let mut world = World::new(streaming(), at(NOON));
    world.deliver(world.now + minutes(60.0), Value::Level(44.0));
    world.deliver(world.now - minutes(60.0), Value::Level(130.0));
    assert_eq!(world.held(Watch::ClockWrong).unwrap(), ("clock-future-low".into(), Severity::Critical));
    world.pass(5.0);
    world.stream(Value::Level(130.0));
    assert!(!world.holds(Watch::ClockWrong), "{}", world.story());
}

#[test]
fn what_was_dated_ahead_does_not_hide_a_low_once_the_clock_of_its_source_is_right() {
    let mut world = World::new(streaming(), at(NOON));
    for _ in 0..12 {
        world.deliver(world.now + minutes(180.0), Value::Level(120.0));
        world.pass(15.0);
    }
    world.pass(2.0);
    world.forget();
    world.stream_levels(&[66.0, 64.0]);
    assert!(world.holds(Watch::LowNow), "{}", world.story());
    assert_eq!(world.restarted().cats[&cat()], world.house.cats[&cat()]);
}

#[test]
fn a_clock_that_is_set_back_does_not_put_off_the_word_that_a_danger_is_over() {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[90.0, 72.0, 60.0, 52.0, 46.0]);
    world.stream_levels(&[60.0]);
    world.stream(Value::Level(63.0));
    assert!(world.house.cats[&cat()].memory.low_eased.is_some(), "{}", world.story());
    set_back(&mut world, 300.0);
    world.pass(15.0);
    world.stream_levels(&[64.0]);
    let eased = world.heard("olive").iter().filter(|told| told.message.reason == Reason::Eased).count();
    assert_eq!(eased, 1, "{}", world.story());
}
