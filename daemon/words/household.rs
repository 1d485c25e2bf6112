//! The settings that the pure rooms work by, checked once by `config` and journaled when they change.

use chrono::{NaiveTime, Weekday};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::{CatName, Channel, Moment, PersonName, Severity, Unit, Value};

/// The place: whose wall clock the doses follow, whose unit the plan is written in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Home {
    /// Time zone of the house.
    pub timezone: Tz,
    /// Unit of the plan and of files that do not say.
    pub units: Unit,
    /// Language of the record and of commands, as a BCP 47 code.
    pub language: String,
    /// Who keeps the daemon, hears of its troubles, and has the cat when no duty says otherwise.
    pub owner: PersonName,
    /// How long things that are not critical gather before they are sent as one message, seconds.
    pub gather_seconds: f64,
    /// How people can answer besides the command line.
    #[serde(default, skip_serializing_if = "AnswerWays::is_none")]
    pub answers: AnswerWays,
}

/// Ways to answer that somebody has set up.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct AnswerWays {
    /// Push messages have buttons.
    pub buttons: bool,
    /// First word of the MQTT topics, if there is a broker.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mqtt: Option<String>,
}

impl AnswerWays {
    /// Whether there is nothing but the command line.
    #[must_use]
    pub fn is_none(&self) -> bool {
        *self == Self::default()
    }
}

/// How readings get off the sensor.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SensorKind {
    /// Somebody has to scan it; it keeps a few hours.
    #[default]
    Scanned,
    /// Something sends each reading.
    Streamed,
}

/// The sensor: all of it from its leaflet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SensorSettings {
    /// Scanned or streamed.
    pub kind: SensorKind,
    /// Minutes between two stored samples.
    pub sample_minutes: f64,
    /// Hours of samples the sensor keeps.
    pub memory_hours: f64,
    /// Days until it ends by itself.
    pub wear_days: f64,
    /// Minutes after application without readings.
    pub warm_up_minutes: f64,
    /// Lowest and highest value it reads, mg/dL.
    pub range: [f64; 2],
    /// First-order time constant of interstitial fluid behind blood, minutes.
    pub lag_minutes: f64,
    /// What one sensor costs, in the currency below.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price: Option<f64>,
    /// The currency, in the household's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub currency: Option<String>,
}

/// The vet's limits and instructions, in the owner's words; mg/dL inside. Whatever is missing is asked for
/// ("call your vet"), never invented.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Warn when the sensor's blood estimate is under this.
    pub low: f64,
    /// Act now under this.
    pub danger: f64,
    /// Low by a hand meter.
    pub meter_low: f64,
    /// High limit, if the vet gave one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high: Option<f64>,
    /// Before a dose: under this, do not inject and call.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold_dose_under: Option<f64>,
    /// What the vet said to do at a low.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on_low: Option<String>,
    /// Whom to call.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub vet_phone: Option<String>,
    /// Whom to call when the vet is closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub out_of_hours_phone: Option<String>,
    /// The plan as the vet put it, for the sheet that a sitter gets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_words: Option<String>,
    /// Whether the cat gets an SGLT2 inhibitor: then "in range" is never shown as reassurance.
    #[serde(default)]
    pub sglt2_inhibitor: bool,
}

/// When doses are due.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DoseSettings {
    /// Times of day (`07:00`) or cron expressions, home time zone.
    pub times: Vec<String>,
    /// A second dose within this is one too many, hours.
    pub min_hours_between: f64,
}

/// When each watch speaks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WatchSettings {
    /// Minutes before the window closes at which to remind, longest first.
    pub window_remind_minutes: Vec<f64>,
    /// How far `low-ahead` looks, minutes.
    pub low_ahead_minutes: f64,
    /// Probability from which `low-ahead` speaks.
    pub low_ahead_chance: f64,
    /// Chance of an unseen low that makes another scan worth asking for.
    pub scan_again_chance: f64,
    /// Rate beyond which it is falling fast, mg/dL per minute, negative.
    pub falling_rate: f64,
    /// Falling fast matters only under this, mg/dL.
    pub falling_under: f64,
    /// Hours over the plan's high limit with no dose in the cycle.
    pub high_hours: f64,
    /// Hours over the plan's high limit in any case.
    pub high_hours_dosed: f64,
    /// Samples a streamed sensor may be overdue.
    pub silent_samples: f64,
    /// Hours before the wear ends at which to remind, longest first.
    pub ending_hours: Vec<f64>,
    /// Spares at or under which to remind.
    pub spares_low: u32,
}

/// One cat.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CatSettings {
    /// Name in topics and files.
    pub name: CatName,
    /// Name in messages.
    pub called: String,
    /// Unit of its sensor's files where they do not say.
    pub units: Unit,
    /// Its sensor.
    pub sensor: SensorSettings,
    /// The vet's plan.
    pub plan: Plan,
    /// Its doses.
    pub doses: DoseSettings,
    /// When its watches speak.
    pub watch: WatchSettings,
}

/// A stretch of every day, possibly over midnight.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct QuietHours {
    /// Begins at this local time.
    pub from: NaiveTime,
    /// Ends at this local time.
    pub until: NaiveTime,
}

/// Somebody who gets messages.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Person {
    /// Name in the configuration, on the command line and in answers.
    pub name: PersonName,
    /// Name in messages.
    pub called: String,
    /// Ways to reach them, the preferred one first.
    pub channels: Vec<Channel>,
    /// A telephone number for the people of the household; Lowtide calls nobody.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phone: Option<String>,
    /// Their time zone.
    pub timezone: Tz,
    /// Their unit.
    pub units: Unit,
    /// Their language, as a BCP 47 code.
    pub language: String,
    /// When they sleep.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quiet: Option<QuietHours>,
    /// The least severe that they get.
    pub receives: Severity,
    /// Whether they can do a meter check.
    pub meter: bool,
    /// Whether values stay off the lock screen.
    pub private: bool,
    /// Whether all warnings may wake them, not only those about glucose.
    pub wake_for_warnings: bool,
}

/// Somebody has the cat for a while.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DutySpan {
    /// Who.
    pub person: PersonName,
    /// From when.
    pub from: Moment,
    /// Until when.
    pub until: Moment,
    /// Whether both are told when the cat changes hands.
    #[serde(default = "yes", skip_serializing_if = "is_yes")]
    pub hand_over: bool,
}

fn yes() -> bool {
    true
}

fn is_yes(value: &bool) -> bool {
    *value
}

/// Hours that come round again and again, on the clock of the house.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RoundHours {
    /// On days of the week.
    Weekly {
        /// On which days they begin.
        days: Vec<Weekday>,
        /// They begin.
        from: NaiveTime,
        /// They end.
        until: NaiveTime,
        /// Midnights in between.
        nights: u8,
    },
    /// By a cron expression.
    Cron {
        /// When they begin: six fields, seconds first.
        starts: String,
        /// How long they last, hours.
        hours: f64,
    },
}

/// Somebody has the cat again and again at the same hours.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DutyRound {
    /// Who.
    pub person: PersonName,
    /// At which hours.
    pub hours: RoundHours,
    /// Not before this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Moment>,
    /// Not after this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<Moment>,
    /// Whether both are told each time the cat changes hands.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub hand_over: bool,
}

/// Everything the pure rooms are told about the household.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Household {
    /// The place.
    pub home: Home,
    /// The cats.
    pub cats: Vec<CatSettings>,
    /// The people, in the order in which they are asked.
    pub persons: Vec<Person>,
    /// Who has the cat when.
    pub duty: Vec<DutySpan>,
    /// Who has the cat week by week, where no span of `duty` holds.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rounds: Vec<DutyRound>,
}

impl Household {
    /// The settings of one cat.
    #[must_use]
    pub fn cat(&self, name: &CatName) -> Option<&CatSettings> {
        self.cats.iter().find(|cat| &cat.name == name)
    }

    /// One person.
    #[must_use]
    pub fn person(&self, name: &PersonName) -> Option<&Person> {
        self.persons.iter().find(|person| &person.name == name)
    }
}

/// A sensor that shows less or more than it can read, and where its range ends, mg/dL.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OutOfRange {
    /// Less than this.
    Below(f64),
    /// More than this.
    Above(f64),
}

impl SensorSettings {
    /// On which side of what this sensor can read a value lies; `None` for one that it can. A sensor may say so by a word, or
    /// by a number past the end of its range.
    #[must_use]
    pub fn out_of_range(&self, value: Value) -> Option<OutOfRange> {
        let [floor, ceiling] = self.range;
        match value {
            Value::Below => Some(OutOfRange::Below(floor)),
            Value::Above => Some(OutOfRange::Above(ceiling)),
            Value::Level(level) if level < floor => Some(OutOfRange::Below(floor)),
            Value::Level(level) => (level > ceiling).then_some(OutOfRange::Above(ceiling)),
        }
    }
}

impl Default for SensorSettings {
    /// What owners of such sensors commonly report; no published source, see `docs/configuration.md`.
    fn default() -> Self {
        Self {
            kind: SensorKind::Scanned,
            sample_minutes: 15.0,
            memory_hours: 8.0,
            wear_days: 14.0,
            warm_up_minutes: 60.0,
            range: [40.0, 500.0],
            lag_minutes: 10.0,
            price: None,
            currency: None,
        }
    }
}

impl Default for WatchSettings {
    fn default() -> Self {
        Self {
            window_remind_minutes: vec![60.0, 15.0],
            low_ahead_minutes: 60.0,
            low_ahead_chance: 0.36,
            scan_again_chance: 0.1,
            falling_rate: -2.0,
            falling_under: 200.0,
            high_hours: 6.0,
            high_hours_dosed: 24.0,
            silent_samples: 3.0,
            ending_hours: vec![48.0, 12.0],
            spares_low: 1,
        }
    }
}
