//! The invented household and what happens to it: a day of a cat called Pepper, her owner Robin and a neighbour,
//! Sam. Everything here is made up; the blood curve is drawn by hand and says nothing about any real cat.

use chrono_tz::Tz;

use crate::turn::House;
use crate::words::{
    Answer, AnswerWays, Batch, CatName, CatSettings, Channel, ChannelKind, Dose, DoseSettings, Event, Home,
    Household, MeterCheck, MeterKind, Moment, Outcome, Person, PersonName, Plan, QuietHours, Reading,
    ReadingKind, SensorEvent, SensorNote, SensorSettings, Severity, Span, Spare, Unit, Value, Verdict, Via,
    WatchSettings, minutes,
};

/// One day, from one seed.
pub(super) struct Story {
    start: Moment,
    readings: Vec<Reading>,
}

/// Something that happens.
pub(super) struct Beat {
    pub(super) at: Moment,
    pub(super) scene: String,
    act: Act,
}

enum Act {
    Scan,
    Dose(&'static str),
    Meter(f64),
    Answer(&'static str),
    Sensor(Moment),
    Spares(u32),
    Nothing,
}

impl Story {
    pub(super) fn new(seed: u64) -> Self {
        let start = Moment::parse("2026-05-16T09:35:00Z").unwrap_or_default();
        Self { start, readings: sensor(start, seed) }
    }

    pub(super) fn start(&self) -> Moment {
        self.start
    }

    pub(super) fn length(&self) -> Span {
        minutes(LENGTH_MINUTES)
    }

    pub(super) fn introduction(&self) -> &'static str {
        "Pepper is an invented cat with diabetes who wears a glucose sensor. Robin looks after her, Sam lives next\n\
         door and helps. A day passes in about a minute; every message is shown as it would arrive."
    }

    fn at(&self, minute: f64) -> Moment {
        self.start + minutes(minute)
    }

    pub(super) fn beats(&self) -> Vec<Beat> {
        let beat =
            |minute: f64, scene: &str, act: Act| Beat { at: self.at(minute), scene: scene.to_owned(), act };
        vec![
            beat(0.0, "", Act::Sensor(self.start - minutes(8.0 * 1440.0 + 300.0))),
            beat(0.0, "", Act::Spares(1)),
            beat(0.0, "Robin scans Pepper's sensor and goes out for the afternoon.", Act::Scan),
            beat(440.0, "Robin is back and scans.", Act::Scan),
            beat(445.0, "Pepper eats and gets her injection; Robin records it.", Act::Dose("Robin")),
            beat(572.0, "An evening scan.", Act::Scan),
            beat(576.0, "Robin presses \"I am on it\" and gets the meter.", Act::Answer("robin")),
            beat(586.0, "The push server has a bad evening: from now on it answers 503.", Act::Nothing),
            beat(588.0, "Robin scans again.", Act::Scan),
            beat(600.0, "Robin has seen the mail and pricks Pepper's ear: 55.", Act::Meter(55.0)),
            beat(603.0, "Robin does what the vet's plan says, and answers.", Act::Answer("robin")),
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

    /// The push server fails for an hour; everything else works.
    pub(super) fn carrier(&self, channel: &Channel, at: Moment) -> Outcome {
        if channel.kind == ChannelKind::Ntfy && at >= self.at(586.0) && at < self.at(650.0) {
            return Outcome::Later { why: "the server answered 503".to_owned(), retry_after_seconds: None };
        }
        Outcome::Delivered { receipt: None }
    }

    pub(super) fn household(&self) -> Household {
        Household {
            home: Home {
                timezone: Tz::Europe__Vienna,
                units: Unit::MgDl,
                language: "en".to_owned(),
                owner: person_name("robin"),
                gather_seconds: 60.0,
                answers: AnswerWays::default(),
            },
            cats: vec![pepper()],
            persons: vec![person("robin", "Robin"), person("sam", "Sam")],
            duty: Vec::new(),
            rounds: Vec::new(),
        }
    }

    fn scan(&self, at: Moment, newest: Option<Moment>) -> Event {
        let oldest = at - minutes(8.0 * 60.0);
        let stored = self.readings.iter().filter(|reading| {
            reading.measured_at > oldest
                && reading.measured_at <= at
                && newest.is_none_or(|held| reading.measured_at > held)
        });
        let readings: Vec<Reading> = stored.copied().collect();
        let last =
            self.readings.iter().rev().find(|reading| reading.measured_at <= at).map(|r| r.measured_at);
        Event::Readings(Batch {
            cat: cat_name(),
            via: Via::Demo,
            source: "scan".to_owned(),
            sensor: None,
            scanned_at: Some(at),
            readings,
            repeated: 0,
            conflicts: Vec::new(),
            newest: last,
        })
    }
}

impl Beat {
    pub(super) fn events(&self, story: &Story, house: &House) -> Vec<Event> {
        let at = self.at;
        let newest =
            house.cats.get(&cat_name()).and_then(|cat| cat.newest).map(|reading| reading.measured_at);
        match self.act {
            Act::Scan => vec![story.scan(at, newest)],
            Act::Dose(by) => {
                vec![Event::Dose(Dose {
                    cat: cat_name(),
                    given_at: at,
                    units: None,
                    by: Some(by.to_owned()),
                })]
            }
            Act::Meter(level) => vec![Event::Meter(MeterCheck {
                cat: cat_name(),
                measured_at: at,
                glucose: Value::Level(level),
                meter: MeterKind::Pet,
            })],
            Act::Answer(who) => vec![Event::Answer(Answer {
                finding: None,
                person: person_name(who),
                via: Via::Button,
                verdict: Verdict::Taken,
                at: None,
            })],
            Act::Sensor(applied) => {
                vec![Event::Sensor(SensorNote { cat: cat_name(), at: applied, event: SensorEvent::Applied })]
            }
            Act::Spares(count) => vec![Event::Spare(Spare { cat: cat_name(), at, count })],
            Act::Nothing => Vec::new(),
        }
    }
}

fn pepper() -> CatSettings {
    CatSettings {
        name: cat_name(),
        called: "Pepper".to_owned(),
        units: Unit::MgDl,
        sensor: SensorSettings::default(),
        plan: Plan {
            low: 70.0,
            danger: 50.0,
            meter_low: 60.0,
            high: Some(300.0),
            hold_dose_under: Some(150.0),
            on_low: Some(
                "(invented) Offer her usual food at once, stay with her, check again in 15 minutes."
                    .to_owned(),
            ),
            vet_phone: Some("555 0100".to_owned()),
            ..Plan::default()
        },
        doses: DoseSettings { times: Vec::new(), min_hours_between: 8.0 },
        watch: WatchSettings::default(),
    }
}

fn person(name: &str, called: &str) -> Person {
    Person {
        name: person_name(name),
        called: called.to_owned(),
        channels: vec![
            Channel { kind: ChannelKind::Ntfy, address: format!("invented-{name}") },
            Channel { kind: ChannelKind::Email, address: format!("{name}@example.org") },
        ],
        phone: None,
        timezone: Tz::Europe__Vienna,
        units: Unit::MgDl,
        language: "en".to_owned(),
        quiet: "23:30:00"
            .parse()
            .ok()
            .zip("06:30:00".parse().ok())
            .map(|(from, until)| QuietHours { from, until }),
        receives: Severity::Notice,
        meter: true,
        private: false,
        wake_for_warnings: false,
    }
}

fn cat_name() -> CatName {
    CatName::new("pepper").expect("a good name, checked by the demo's test")
}

fn person_name(name: &str) -> PersonName {
    PersonName::new(name).expect("a good name, checked by the demo's test")
}

/// Readings every 15 minutes from eight hours before the start, behind blood by a lag, rounded, with a little noise;
/// they stop when the sensor dies.
fn sensor(start: Moment, seed: u64) -> Vec<Reading> {
    let mut dice = oorandom::Rand64::new(u128::from(seed));
    let shift = dice.rand_float() * 4.0 - 2.0;
    let mut interstitial = blood(-480.0);
    let mut readings = Vec::new();
    for minute in -480..=(DIES_MINUTE as i64) {
        interstitial += (blood(minute as f64) - interstitial) / LAG_MINUTES;
        if minute.rem_euclid(15) == 5 {
            let noise = (dice.rand_float() + dice.rand_float() - 1.0) * 3.0;
            let level = (interstitial + shift + noise).round().clamp(40.0, 500.0);
            let measured_at = start + minutes(minute as f64);
            readings.push(Reading { measured_at, value: Value::Level(level), kind: ReadingKind::History });
        }
    }
    readings
}

/// Blood glucose in mg/dL at a minute of the story, between hand-drawn points.
fn blood(minute: f64) -> f64 {
    let next = CURVE.partition_point(|(at, _)| *at <= minute).clamp(1, CURVE.len() - 1);
    let ((from, low), (to, high)) = (CURVE[next - 1], CURVE[next]);
    let part = ((minute - from) / (to - from)).clamp(0.0, 1.0);
    low + (high - low) * part * part * (3.0 - 2.0 * part)
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
const LAG_MINUTES: f64 = 8.0;
/// The sensor dies in the morning of its tenth day.
const DIES_MINUTE: f64 = 1250.0;
const LENGTH_MINUTES: f64 = 1400.0;
