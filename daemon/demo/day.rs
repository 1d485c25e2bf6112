//! A day in a minute: an evening low, a push server that fails, a sensor that dies early. The blood curve is drawn by
//! hand and says nothing about any real cat.

use super::cast;
use super::story::{Act, Beat, Story, drawn, sensor};
use crate::words::{Moment, minutes};

/// The day, with the messages in this language.
pub(super) fn day(seed: u64, language: &str) -> Story {
    let start = Moment::parse("2026-05-16T09:35:00Z").unwrap_or_default();
    Story {
        introduction: "Pepper is an invented cat with diabetes who wears a glucose sensor. Robin looks after her, Sam \
                       lives next\ndoor and helps. A day passes in about a minute; every message is shown as it would \
                       arrive.",
        start,
        length: minutes(LENGTH_MINUTES),
        household: cast::household(language, &[("robin", "Robin"), ("sam", "Sam")]),
        readings: sensor((start, seed), &[(-480.0, DIES_MINUTE)], |minute| drawn(&CURVE, minute)),
        beats: beats(start),
        outage: Some((start + minutes(586.0), start + minutes(650.0))),
        seconds: 55.0,
    }
}

fn beats(start: Moment) -> Vec<Beat> {
    let beat = |minute: f64, scene: &str, act: Act| Beat {
        at: start + minutes(minute),
        scene: scene.to_owned(),
        act,
    };
    vec![
        beat(0.0, "", Act::Sensor(start - minutes(8.0 * 1440.0 + 300.0))),
        beat(0.0, "", Act::Spares(1)),
        beat(0.0, "Robin scans Pepper's sensor and goes out for the afternoon.", Act::Scan),
        beat(440.0, "Robin is back and scans.", Act::Scan),
        beat(445.0, "Pepper eats and gets her injection; Robin records it.", Act::Dose("Robin")),
        beat(572.0, "An evening scan.", Act::Scan),
        beat(576.0, "Robin presses \"I am on it\" and gets the meter.", Act::Answer("robin")),
        beat(586.0, "The push server has a bad evening: from now on it answers 503.", Act::Nothing),
        beat(588.0, "Robin scans again.", Act::Scan),
        beat(600.0, "Robin has seen the mail and pricks Pepper's ear: 55.", Act::Meter(55.0)),
        beat(
            603.0,
            "Robin does what the vet's plan says, and types \"lowtide log answer taken --person robin\".",
            Act::Typed("robin"),
        ),
        beat(630.0, "Robin scans.", Act::Scan),
        beat(650.0, "The push server is well again.", Act::Nothing),
        beat(662.0, "Another scan.", Act::Scan),
        beat(705.0, "A last scan before bed.", Act::Scan),
        beat(1140.0, "Morning. Robin scans.", Act::Scan),
        beat(1165.0, "Breakfast and injection, recorded.", Act::Dose("Robin")),
        beat(1380.0, "Robin scans before going out.", Act::Scan),
        beat(LENGTH_MINUTES, "", Act::Nothing),
    ]
}

const CURVE: [(f64, f64); 12] = [
    (-600.0, 260.0),
    (-200.0, 170.0),
    (100.0, 210.0),
    (400.0, 240.0),
    (470.0, 225.0),
    (600.0, 52.0),
    (612.0, 54.0),
    (660.0, 120.0),
    (760.0, 170.0),
    (1000.0, 230.0),
    (1200.0, 215.0),
    (1400.0, 200.0),
];
/// The sensor dies in the morning of its tenth day.
const DIES_MINUTE: f64 = 1250.0;
const LENGTH_MINUTES: f64 = 1400.0;
