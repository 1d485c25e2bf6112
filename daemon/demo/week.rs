//! A week in the life, in two minutes: Robin is away, Sam has the cat, Kim lives next door and can step in. A night low,
//! a question that the next person answers, a meter check that settles it, a sensor that dies on its eighth day, and a
//! dose that is nearly given twice. The blood curve is drawn by hand and says nothing about any real cat.

use super::cast;
use super::story::{Act, Beat, Story, drawn, sensor};
use crate::words::{DutySpan, Moment, PersonName, minutes};

/// The week, with the messages in this language.
pub(super) fn week(seed: u64, language: &str) -> Story {
    let start = Moment::parse("2026-05-17T07:35:00Z").unwrap_or_default();
    let mut household = cast::household(language, &[("sam", "Sam"), ("kim", "Kim"), ("robin", "Robin")]);
    household.cats[0].doses.times = vec!["07:00".to_owned(), "19:00".to_owned()];
    household.duty = vec![DutySpan {
        person: sam(),
        from: start + minutes(at(0, 10, 0)),
        until: start + minutes(at(6, 19, 15)),
        hand_over: true,
    }];
    let wears = [(-480.0, DIES), (at(4, 14, 40), LENGTH)];
    Story {
        introduction: "Pepper is an invented cat with diabetes who wears a glucose sensor. Robin is away from Sunday to \
                       Saturday.\nSam has the cat, Kim lives next door. A week passes in about two minutes; every \
                       message is shown as it\nwould arrive.",
        start,
        length: minutes(LENGTH),
        household,
        readings: sensor((start, seed), &wears, blood),
        beats: beats(start),
        outage: None,
        seconds: 120.0,
    }
}

fn sam() -> PersonName {
    cast::person_name("sam")
}

/// Minutes from the start, which is a Sunday at 09:35, to a time of a later day.
fn at(day: u32, hour: u32, minute: u32) -> f64 {
    f64::from(day * 1440 + hour * 60 + minute) - START_OF_DAY
}

fn beats(start: Moment) -> Vec<Beat> {
    let mut beats = quiet_days();
    beats.extend([
        (0.0, "", Act::Sensor(start - minutes(3.0 * 1440.0))),
        (0.0, "", Act::Spares(1)),
        (0.0, "", Act::Dose("robin")),
        (0.0, "Sunday. Robin scans Pepper a last time before the trip.", Act::Scan),
        (at(0, 10, 0), "Sam takes over.", Act::Nothing),
        (at(0, 16, 45), "Sam was out for the day, reads the reminder, and scans.", Act::Scan),
        (at(2, 22, 56), "Tuesday night. Sam scans before bed.", Act::Scan),
        (at(2, 23, 11), "And once more.", Act::Scan),
        (at(2, 23, 13), "Sam presses \"I am on it\" and offers some food.", Act::Answer("sam")),
        (at(2, 23, 41), "Sam scans a last time, and falls asleep over the phone.", Act::Scan),
        (at(2, 23, 53), "Kim presses \"I am on it\" and goes over with the meter.", Act::Answer("kim")),
        (at(2, 23, 58), "Kim pricks Pepper's ear: 55.", Act::Meter(55.0)),
        (at(2, 23, 59), "Kim does what the vet's plan says.", Act::Answer("kim")),
        (at(3, 0, 12), "Kim scans.", Act::Scan),
        (at(3, 0, 42), "Kim scans again, and goes home.", Act::Scan),
        (at(4, 12, 45), "Sam scans once more: nothing new.", Act::Scan),
        (at(4, 13, 10), "Sam finds the sensor dead, records it, and puts the spare on.", Act::Failed),
        (at(4, 13, 35), "", Act::Sensor(start + minutes(at(4, 13, 35)))),
        (at(4, 13, 36), "", Act::Spares(0)),
        (at(4, 15, 0), "The first scan of the new sensor.", Act::Scan),
        (
            at(6, 19, 5),
            "Saturday evening. Sam gives the injection, hands full, and records nothing yet.",
            Act::Nothing,
        ),
        (at(6, 19, 15), "Robin comes home.", Act::Nothing),
        (at(6, 19, 20), "Sam presses \"Dose given\".", Act::Given("sam")),
        (at(6, 19, 23), "Robin, syringe in hand, presses \"Dose given\" too.", Act::Given("robin")),
        (LENGTH, "", Act::Nothing),
    ]);
    beats.sort_by(|(a, ..), (b, ..)| a.total_cmp(b));
    let beat = |(minute, scene, act): (f64, &str, Act)| Beat {
        at: start + minutes(minute),
        scene: scene.to_owned(),
        act,
    };
    beats.into_iter().map(beat).collect()
}

/// What Sam does every day: scans in time, and gives the doses before anybody has to ask.
fn quiet_days() -> Vec<(f64, &'static str, Act)> {
    let mut beats = Vec::new();
    for day in 0..=6 {
        let mut scan = |hour, minute| beats.push((at(day, hour, minute), "", Act::Scan));
        if day > 0 {
            scan(6, 25);
            scan(12, 30);
        }
        scan(18, 35);
        match day {
            0 => scan(22, 51),
            2 | 6 => {}
            _ => scan(22, 26),
        }
        if day > 0 {
            beats.push((at(day, 6, 40), "", Act::Dose("sam")));
        }
        if day < 6 {
            beats.push((at(day, 18, 40), "", Act::Dose("sam")));
        }
    }
    beats
}

/// The usual day, and one night that is not.
fn blood(minute: f64) -> f64 {
    let usual = drawn(&USUAL, (minute + START_OF_DAY).rem_euclid(1440.0));
    let night = drawn(&NIGHT, minute - at(2, 22, 0));
    usual.min(night)
}

/// Over a day, from midnight.
const USUAL: [(f64, f64); 7] = [
    (0.0, 170.0),
    (400.0, 240.0),
    (460.0, 235.0),
    (780.0, 165.0),
    (1120.0, 240.0),
    (1170.0, 235.0),
    (1440.0, 170.0),
];
/// From ten on Tuesday night.
const NIGHT: [(f64, f64); 7] = [
    (-60.0, 600.0),
    (0.0, 190.0),
    (95.0, 46.0),
    (112.0, 47.0),
    (150.0, 110.0),
    (190.0, 160.0),
    (400.0, 600.0),
];
/// 09:35 of the first day, in minutes.
const START_OF_DAY: f64 = 575.0;
/// Thursday before seven: the sensor dies, though its eighth day has only begun.
const DIES: f64 = 4.0 * 1440.0 + 560.0 - START_OF_DAY;
const LENGTH: f64 = 6.0 * 1440.0 + 1180.0 - START_OF_DAY;
