//! Who hears what, when, and how often: escalation, quiet hours, answers, hand-overs.

use lowtide::duty::{duty_changes, on_duty};
use lowtide::words::{
    Answer, Arg, DutyRound, DutySpan, Event, FindingId, Health, Household, Moment, Reason, Severity, Spare,
    Telling, Value, Verdict, Via, Watch, minutes,
};

use crate::household::{at, cat, duty, household, name, quiet, streaming};
use crate::world::{Mood, World};

const NOON: &str = "2026-06-10T10:00:00Z";
const NIGHT: &str = "2026-06-10T22:00:00Z";

/// A streamed cat that goes dangerously low at this time.
fn danger(time: &str) -> World {
    let mut world = World::new(streaming(), at(time) - minutes(60.0));
    world.stream_levels(&[80.0, 80.0, 80.0, 80.0]);
    world.forget();
    world.stream(Value::Below);
    world
}

fn times(world: &World, who: &str) -> Vec<f64> {
    world.heard(who).iter().map(|c| c.at.minutes_since(at(NOON))).collect()
}

#[test]
fn an_unanswered_critical_goes_to_the_next_then_everyone_and_repeats() {
    let mut world = danger(NOON);
    world.pass(14.0);
    world.stream(Value::Below);
    world.pass(15.0);
    world.stream(Value::Below);
    assert_eq!(times(&world, "olive"), [0.0, 10.0, 20.0], "{}", world.story());
    assert_eq!(times(&world, "rowan"), [10.0, 20.0], "{}", world.story());
    assert_eq!(times(&world, "hazel"), [20.0], "{}", world.story());
    assert_eq!(world.last("hazel").reason, Reason::Escalated);
    assert!(world.last("hazel").title.ends_with(" (no answer yet)"), "{}", world.last("hazel").title);
    // Whoever is asked again, or asked next, hears how long nobody has answered.
    let since = "Nobody has answered since 12:00.";
    let first = &world.heard("olive")[0].message.text;
    assert!(first.starts_with("Act now. ") && !first.contains("Nobody"), "{first}");
    for message in [world.last("olive"), world.last("rowan"), world.last("hazel")] {
        assert!(message.text.starts_with("Act now. ") && message.text.ends_with(since), "{}", message.text);
    }
}

#[test]
fn the_first_answer_stops_the_asking_and_tells_the_others() {
    let mut world = danger(NOON);
    world.pass(11.0);
    world.answer("rowan", Verdict::Taken);
    world.pass(1.0);
    let last = world.last("olive");
    assert_eq!((last.reason, last.title.as_str()), (Reason::Taken, "Rowan is on it: Pepper"));
    assert!(world.heard("hazel").is_empty(), "who was not asked need not be told: {}", world.story());
    world.forget();
    world.pass(25.0);
    assert!(world.carried.iter().all(|c| c.message.reason == Reason::More), "{}", world.story());
}

#[test]
fn an_answered_critical_comes_back_after_45_minutes() {
    let mut world = danger(NOON);
    world.answer("olive", Verdict::Taken);
    world.forget();
    for _ in 0..3 {
        world.pass(15.0);
        world.stream(Value::Below);
    }
    let (time, reason) = *world.reasons("olive").last().unwrap();
    assert_eq!((time, reason), (at(NOON) + minutes(45.0), Reason::Returned), "{}", world.story());
    world.forget();
    world.pass(10.0);
    assert_eq!(world.reasons("rowan").len(), 1, "{}", world.story());
}

#[test]
fn an_answered_warning_comes_back_when_it_gets_critical() {
    let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
    world.stream_levels(&[66.0, 66.0, 66.0, 66.0]);
    world.answer("olive", Verdict::Taken);
    world.forget();
    world.stream(Value::Below);
    assert_eq!(world.last("olive").severity, Severity::Critical, "{}", world.story());
    assert_eq!(world.last("olive").reason, Reason::Worse);
}

#[test]
fn a_late_second_or_unknown_answer_changes_nothing() {
    let mut world = danger(NOON);
    world.answer("olive", Verdict::Taken);
    let before = serde_json::to_value(&world.house.ledger).unwrap();
    let said = world.said.len();
    world.answer("olive", Verdict::Taken);
    world.answer("rowan", Verdict::Taken);
    world.answer("stranger", Verdict::Taken);
    let unknown = Some(FindingId("pepper/low-now/1".into()));
    let answer = Answer {
        finding: unknown,
        person: name("olive"),
        via: Via::Button,
        verdict: Verdict::Taken,
        at: None,
    };
    world.event(Event::Answer(answer));
    assert_eq!(serde_json::to_value(&world.house.ledger).unwrap(), before);
    assert_eq!(world.said.len(), said);
}

#[test]
fn a_stranger_cannot_silence_an_alarm() {
    let mut world = danger(NOON);
    let open = world.house.open().iter().find(|f| f.watch == Watch::LowNow).unwrap().id.clone();
    let answer = Answer {
        finding: Some(open),
        person: name("stranger"),
        via: Via::Mqtt,
        verdict: Verdict::Taken,
        at: None,
    };
    world.event(Event::Answer(answer));
    world.pass(10.0);
    assert_eq!(world.last("olive").reason, Reason::Repeat, "{}", world.story());
}

#[test]
fn a_critical_cannot_be_put_off_and_a_warning_put_off_comes_back() {
    let mut world = danger(NOON);
    assert!(world.last("olive").buttons.iter().all(|button| button.verdict != Verdict::Later));
    world.answer("olive", Verdict::Later);
    world.pass(10.0);
    assert_eq!(world.last("olive").reason, Reason::Repeat);

    let mut settings = streaming();
    // Who has a meter is asked for its word instead.
    settings.persons[0].meter = false;
    let mut world = World::new(settings, at(NOON));
    world.stream_levels(&[66.0, 66.0, 66.0, 66.0]);
    assert!(world.last("olive").buttons.iter().any(|button| button.verdict == Verdict::Later));
    world.answer("olive", Verdict::Later);
    world.forget();
    world.stream_levels(&[67.0, 66.0, 67.0]);
    let again = world.heard("olive");
    assert_eq!(again.len(), 1, "{}", world.story());
    assert_eq!(again[0].message.reason, Reason::Returned);
}

#[test]
fn a_critical_wakes_and_a_glucose_warning_wakes_who_has_the_cat() {
    let world = danger(NIGHT);
    assert_eq!(world.heard("olive")[0].at, at(NIGHT), "{}", world.story());
    let mut world = World::new(streaming(), at(NIGHT));
    world.stream_levels(&[66.0, 66.0, 66.0]);
    assert!(world.heard("olive")[0].at < at(NIGHT) + minutes(45.0), "{}", world.story());
    assert!(world.heard("rowan").is_empty());
}

#[test]
fn other_warnings_wait_for_the_morning_unless_the_person_wants_them() {
    for (wants, expected) in [(false, at("2026-06-11T04:30:00Z")), (true, at(NIGHT))] {
        let mut settings = streaming();
        settings.persons[0].wake_for_warnings = wants;
        let mut world = World::new(settings, at(NIGHT) - minutes(60.0));
        world.stream_levels(&[150.0; 4]);
        world.until(at("2026-06-11T05:30:00Z"));
        let heard: Vec<_> =
            world.heard("olive").into_iter().filter(|c| c.message.title.contains("No readings")).collect();
        assert!(heard[0].at >= expected && heard[0].at < expected + minutes(62.0), "{}", world.story());
        if !wants {
            assert!(heard.iter().all(|c| c.at >= expected), "{}", world.story());
            assert_eq!(
                heard.len(),
                2,
                "told in the morning, repeated once half an hour later: {}",
                world.story()
            );
            assert!(heard[1].at >= heard[0].at + minutes(30.0), "{}", world.story());
        }
    }
}

#[test]
fn a_notice_waits_for_the_morning_and_is_never_repeated() {
    let mut world = World::new(crate::household::household(), at(NIGHT));
    world.scan_back(480.0, |t| if (-300.0..=-240.0).contains(&t) { 52.0 } else { 140.0 });
    world.until(at("2026-06-11T04:29:00Z"));
    let told =
        |world: &World| world.carried.iter().filter(|c| c.message.title.contains("There was a low")).count();
    assert_eq!(told(&world), 0, "{}", world.story());
    world.scan_back(390.0, |_| 140.0);
    world.pass(300.0);
    assert_eq!(told(&world), 1, "{}", world.story());
    let message = world.carried.iter().find(|c| c.message.title.contains("There was a low")).unwrap();
    assert!(message.message.text.contains("19:00 yesterday"), "{}", message.message.text);
}

#[test]
fn related_news_within_a_minute_is_one_message() {
    let mut world = World::new(crate::household::household(), at(NOON));
    world.event(Event::Sensor(lowtide::words::SensorNote {
        cat: crate::household::cat(),
        at: at(NOON) - minutes(12.5 * 1440.0),
        event: lowtide::words::SensorEvent::Applied,
    }));
    world.pass(0.3);
    world.scan_back(480.0, |t| if (-300.0..=-240.0).contains(&t) { 52.0 } else { 140.0 });
    world.pass(3.0);
    assert_eq!(world.carried.len(), 1, "{}", world.story());
    let text = &world.carried[0].message.text;
    assert!(
        text.contains("There was a low") && text.contains("It ends") || text.contains("ends soon"),
        "{text}"
    );
}

#[test]
fn whoever_takes_over_hears_what_is_open() {
    let mut settings = streaming();
    settings.duty = vec![duty("rowan", "2026-06-10T11:10:00Z", "2026-06-20T00:00:00Z")];
    let mut world = World::new(settings, at(NOON));
    world.stream_levels(&[66.0; 4]);
    assert!(world.heard("rowan").is_empty());
    world.stream_levels(&[66.0]);
    assert_eq!(world.heard("rowan").len(), 1, "{}", world.story());
    assert_eq!(world.heard("rowan")[0].at, at("2026-06-10T11:11:00Z"));
}

#[test]
fn who_receives_only_warnings_gets_no_notices() {
    let mut settings = crate::household::household();
    settings.persons[0].receives = Severity::Warning;
    let mut world = World::new(settings, at(NOON));
    world.scan_back(480.0, |t| if (-300.0..=-240.0).contains(&t) { 52.0 } else { 140.0 });
    world.pass(10.0);
    assert!(world.holds(Watch::LowFoundLater) && world.carried.is_empty(), "{}", world.story());
}

#[test]
fn what_would_gather_into_the_night_is_said_before_it_begins() {
    // Olive sleeps from half past ten: 20:30 in UTC. Things gather for a minute.
    let mut world = World::new(household(), at("2026-06-10T20:29:20Z"));
    world.event(Event::Spare(Spare { cat: cat(), count: 1, at: world.now }));
    world.pass(10.0);
    let heard: Vec<Moment> = world.heard("olive").iter().map(|carried| carried.at).collect();
    assert_eq!(heard, [at("2026-06-10T20:29:59Z")], "{}", world.story());
}

#[test]
fn nobody_who_left_the_household_gets_what_was_on_its_way() {
    let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
    world.mood("topic-rowan", Mood::Later);
    world.mood("rowan@example.org", Mood::Later);
    world.stream_levels(&[80.0; 4]);
    world.stream(Value::Below);
    world.pass(12.0);
    assert!(world.house.ledger.outbox.values().any(|p| p.message.person == name("rowan")));
    let mut settings = streaming();
    settings.persons.retain(|person| person.name != name("rowan"));
    world.settings(settings);
    world.mood("topic-rowan", Mood::Delivers);
    world.mood("rowan@example.org", Mood::Delivers);
    world.pass(60.0);
    assert!(world.heard("rowan").is_empty(), "{}", world.story());
    assert!(!world.withdrawn.is_empty());
}

#[test]
fn a_private_person_keeps_values_off_the_lock_screen() {
    let mut settings = streaming();
    settings.persons[0].private = true;
    settings.persons[0].quiet = quiet("22:30", "06:30");
    let mut world = World::new(settings, at(NOON));
    world.stream_levels(&[80.0, 66.0, 60.0]);
    let message = world.last("olive");
    assert!(!message.text.contains("mg/dL") && !message.title.contains("mg/dL"), "{}", message.text);
    assert!(message.more.join(" ").contains("mg/dL"));
}

/// The roster of a household in which Rowan has the cat on weekdays from seven to seven, Vienna time.
fn weekly(hand_over: bool) -> Household {
    let hours = lowtide::almanac::read_hours("Mon-Fri 07:00-19:00").unwrap();
    let mut settings = streaming();
    let round = DutyRound { person: name("rowan"), hours, from: None, until: None, hand_over };
    settings.rounds = vec![round];
    settings
}

#[test]
fn weekly_hours_say_who_is_told() {
    // 10 June 2026 is a Wednesday.
    for (time, who) in [
        ("2026-06-10T04:59:59Z", "olive"),
        ("2026-06-10T05:00:00Z", "rowan"),
        ("2026-06-10T16:59:59Z", "rowan"),
        ("2026-06-10T17:00:00Z", "olive"),
        ("2026-06-13T10:00:00Z", "olive"),
    ] {
        assert_eq!(on_duty(&weekly(false), at(time)).as_str(), who, "{time}");
    }
    // A holiday with dates goes before the weekly hours.
    let mut settings = weekly(false);
    settings.duty = vec![duty("hazel", "2026-06-10T00:00:00Z", "2026-06-12T00:00:00Z")];
    assert_eq!(on_duty(&settings, at("2026-06-10T10:00:00Z")).as_str(), "hazel");
    let changes: Vec<String> = duty_changes(&settings, at("2026-06-11T10:00:00Z"))
        .iter()
        .map(|(at, who)| format!("{at} {who}"))
        .collect();
    assert_eq!(
        changes[..3],
        ["2026-06-12T00:00:00Z olive", "2026-06-12T05:00:00Z rowan", "2026-06-12T17:00:00Z olive"]
    );
}

#[test]
fn when_the_cat_changes_hands_both_are_told_what_they_need() {
    let mut settings = household();
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    settings.duty =
        vec![DutySpan { hand_over: true, ..duty("rowan", "2026-06-10T11:00:00Z", "2026-06-14T10:00:00Z") }];
    let mut world = World::new(settings, at("2026-06-10T09:00:00Z"));
    world.dose(at("2026-06-10T05:05:00Z"), "olive");
    world.pass(110.0);
    world.scan_back(300.0, |_| 160.0);
    world.forget();
    world.pass(15.0);
    let (mine, theirs) = (world.last("rowan"), world.last("olive"));
    assert_eq!(mine.title, "You take over: Pepper");
    assert_eq!(theirs.title, "Rowan takes over: Pepper");
    let text = "Until 12:00 on Sun 14 Jun. Last dose 07:05, next 19:00. Scan before 20:50. Blood about 160 mg/dL at 12:50.";
    assert!(mine.text.starts_with(text), "{}", mine.text);
    assert!(mine.text.contains("Rub honey on the gums") && mine.text.contains("555 0100"), "{}", mine.text);
    assert_eq!(mine.text, theirs.text);
    assert!(world.heard("hazel").is_empty());

    // And back again.
    world.until(at("2026-06-14T09:59:00Z"));
    world.forget();
    world.pass(5.0);
    // What holds is told to whoever takes over, in the same message.
    let back =
        world.heard("olive").iter().filter(|c| c.message.text.contains("You take over: Pepper")).count();
    assert_eq!(back, 1, "{}", world.story());
    assert!(
        world.heard("rowan").iter().any(|c| c.message.title == "Olive takes over: Pepper"),
        "{}",
        world.story()
    );
}

#[test]
fn what_comes_round_each_day_is_only_told_where_it_is_asked_for() {
    for told in [false, true] {
        let mut world = World::new(weekly(told), at("2026-06-10T04:00:00Z"));
        world.pass(14.0 * 60.0);
        let texts = world.carried.iter().filter(|c| c.message.title.contains("take")).count();
        assert_eq!(texts, if told { 4 } else { 0 }, "{}", world.story());
    }
}

#[test]
fn who_answers_second_hears_who_was_first() {
    let mut world = danger(NOON);
    world.pass(11.0);
    world.answer("rowan", Verdict::Taken);
    world.forget();
    world.answer("olive", Verdict::Taken);
    let told = world.last("olive");
    assert_eq!(told.reason, Reason::Taken, "{}", world.story());
    assert!(told.text.starts_with("Rowan has been looking after it since 12:11"), "{}", told.text);
    assert_eq!(world.carried.len(), 1);
}

#[test]
fn a_word_of_the_meter_settles_a_low() {
    let low = |world: &World| {
        let button = |verdict| {
            let buttons = &world.last("olive").buttons;
            buttons.iter().find(|b| b.verdict == verdict).unwrap().clone()
        };
        (button(Verdict::MeterLow), button(Verdict::MeterFine))
    };
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[66.0, 66.0]);
    let (under, fine) = low(&world);
    assert_eq!(
        (under.label.as_str(), fine.label.as_str()),
        ("Meter: under 60 mg/dL", "Meter: 60 mg/dL or more")
    );
    let answer = |verdict| {
        Event::Answer(Answer {
            finding: Some(under.finding.clone()),
            person: name("olive"),
            via: Via::Button,
            verdict,
            at: None,
        })
    };
    world.event(answer(Verdict::MeterFine));
    assert_eq!(world.held(Watch::LowNow).unwrap(), ("low-now-meter-above-said".into(), Severity::Notice));
    // Typed at home, without a finding, it means the only cat there is.
    let typed = Answer {
        finding: None,
        person: name("olive"),
        via: Via::Command,
        verdict: Verdict::MeterLow,
        at: None,
    };
    world.event(Event::Answer(typed));
    assert_eq!(
        world.held(Watch::LowNow).unwrap(),
        ("low-now-meter-said".into(), Severity::Critical),
        "{}",
        world.story()
    );
}

#[test]
fn a_flood_gathers_into_few_messages_and_nothing_critical_waits() {
    let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
    world.stream_levels(&[120.0, 118.0, 121.0, 119.0]);
    world.forget();
    // A broken reader that throws a bad file each two minutes.
    for file in 0..45 {
        let trouble = Telling::new("file-rejected")
            .with("file", Arg::Text(format!("scan-{file}.csv")))
            .with("rows", Arg::Count(1))
            .with("reason", Arg::Text("no time in it".into()));
        let about = format!("scan-{file}.csv");
        world.event(Event::Health(Health { watch: Watch::FileRejected, about, trouble: Some(trouble) }));
        world.pass(2.0);
    }
    let times: Vec<_> = world.heard("olive").iter().map(|carried| carried.at).collect();
    for first in &times {
        let hour = times.iter().filter(|at| **at >= *first && **at < *first + minutes(60.0)).count();
        assert!(hour <= 6, "{hour} messages within an hour\n{}", world.story());
    }
    // A low that is no more than a warning does not wait for the hour to end either.
    let before = world.now;
    world.stream(Value::Level(66.0));
    world.pass(2.0);
    let low = world.heard("olive").into_iter().find(|carried| carried.message.text.contains("66 mg/dL"));
    let low = low.unwrap_or_else(|| panic!("{}", world.story()));
    assert_eq!(low.message.severity, Severity::Warning);
    assert!(low.at <= before + minutes(1.0), "{}", world.story());
    let files = |world: &World| {
        let texts: String = world.heard("olive").iter().map(|c| c.message.text.as_str()).collect();
        (0..45).filter(|file| texts.contains(&format!("scan-{file}.csv"))).count()
    };
    world.stream(Value::Below);
    assert_eq!(world.last("olive").severity, Severity::Critical, "{}", world.story());
    world.pass(61.0);
    assert_eq!(files(&world), 45, "none is dropped: {}", world.story());
}

#[test]
fn news_does_not_push_what_waits_ahead_of_itself() {
    let mut world = World::new(streaming(), at(NOON));
    for file in 0..6 {
        let trouble = Telling::new("database-error").with("reason", Arg::Text(format!("trouble {file}")));
        let about = format!("trouble-{file}");
        world.event(Event::Health(Health { watch: Watch::DatabaseError, about, trouble: Some(trouble) }));
        world.pass(0.5);
    }
    assert!(world.heard("olive")[0].at <= at(NOON) + minutes(1.0), "{}", world.story());
}

/// Things gather for a minute, and meanwhile it gets worse, or there is more to say of it.
#[test]
fn nobody_is_told_worse_of_what_they_never_heard() {
    for levels in [[66.0, 45.0], [66.0, 55.0]] {
        let mut world = World::new(streaming(), at(NOON) - minutes(60.0));
        world.stream_levels(&[80.0, 79.0, 78.0, 77.0]);
        world.forget();
        world.stream(Value::Level(levels[0]));
        world.pass(0.5);
        assert!(world.heard("olive").is_empty(), "it gathers: {}", world.story());
        world.stream(Value::Level(levels[1]));
        world.pass(2.0);
        assert_eq!(world.heard("olive").len(), 1, "{}", world.story());
        let first = world.last("olive");
        assert!(first.reason == Reason::First && first.title.ends_with(": Pepper"), "{}", world.story());
        // What comes after that is worse, or more.
        world.pass(5.0);
        world.stream(Value::Level(levels[1] - 12.0));
        world.pass(2.0);
        let reason = world.last("olive").reason;
        assert!(matches!(reason, Reason::Worse | Reason::More), "{reason:?}: {}", world.story());
    }
}
