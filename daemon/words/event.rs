//! Everything that can happen to the house. An event is a fact with no opinion: it is journaled as it came.

use serde::{Deserialize, Serialize};

use super::{
    CatName, Change, ClockStep, Dose, FindingId, Household, Message, MessageId, MeterCheck, Moment, Note,
    Outcome, Parcel, PersonName, Reading, SensorNote, Spare, Telling, Unread, Value, Watch,
};

/// The door through which something came.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Via {
    /// A file in the watched folder.
    Folder,
    /// The MQTT broker.
    Mqtt,
    /// Typed by a person.
    Command,
    /// A button in a push message.
    Button,
    /// The web page.
    Page,
    /// Brought in from an export.
    Import,
    /// A recorded history played back.
    Replay,
    /// An invented cat.
    Demo,
}

/// A value that differs from the one already held for the same instant; both are kept.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Conflict {
    /// The reading as it came now.
    pub came: Reading,
    /// The value that is held.
    pub held: Value,
}

/// Readings that came together. Those held already are counted, not repeated.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Batch {
    /// Whose readings.
    pub cat: CatName,
    /// Through which door.
    pub via: Via,
    /// The file, topic or person they came from, for messages and the record.
    pub source: String,
    /// The sensor's own name, if the source gives one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sensor: Option<String>,
    /// When the sensor was scanned, if the source says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scanned_at: Option<Moment>,
    /// Readings not held before; oldest first, strictly rising in (time, kind).
    pub readings: Vec<Reading>,
    /// Readings that were held already.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub repeated: u32,
    /// Readings that contradict a held one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub conflicts: Vec<Conflict>,
    /// The newest measuring time in the whole batch, repeats included.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub newest: Option<Moment>,
}

/// What a person says about a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// "I am dealing with it."
    Taken,
    /// "The sensor is fine."
    SensorFine,
    /// "Ask me again in half an hour."
    Later,
    /// "I give the dose now." Counts as a dose unless one is recorded already.
    Given,
    /// "The dose I recorded was not given after all."
    NotGiven,
    /// "I have given a dose as well, though one was recorded already."
    GivenToo,
    /// "The meter shows less than the plan's meter limit."
    MeterLow,
    /// "The meter shows the plan's meter limit or more."
    MeterFine,
}

impl Verdict {
    /// The word used in files and on the command line.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Taken => "taken",
            Self::SensorFine => "sensor-fine",
            Self::Later => "later",
            Self::Given => "given",
            Self::NotGiven => "not-given",
            Self::GivenToo => "given-too",
            Self::MeterLow => "meter-low",
            Self::MeterFine => "meter-fine",
        }
    }
}

/// A person has taken a finding on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// Which finding; `None` means whatever is open for that person.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finding: Option<FindingId>,
    /// Who answers.
    pub person: PersonName,
    /// Through which door.
    pub via: Via,
    /// What they say.
    pub verdict: Verdict,
    /// When they said it, if the door knows; else when it came.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<Moment>,
}

/// One trouble of the daemon itself, begun or over.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Health {
    /// Which watch of the daemon's own health it belongs to.
    pub watch: Watch,
    /// What it is about: a file, a source, a folder. One trouble is held per watch and subject.
    pub about: String,
    /// What is wrong, in words; `None` once it is over.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trouble: Option<Telling>,
}

/// Everything that can happen to the house.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Event {
    /// The settings in force from here on, and the version of the program that read them.
    Household {
        /// Version of the program.
        program: String,
        /// The settings.
        household: Box<Household>,
    },
    /// Readings arrived; possibly none that are new.
    Readings(Batch),
    /// The newest value that a source had could not be read.
    Unread(Unread),
    /// A dose was recorded.
    Dose(Dose),
    /// A meter check was recorded.
    Meter(MeterCheck),
    /// The meter check recorded for that minute is taken back: it was not made, or its value is wrong.
    MeterUndone {
        /// Whose blood it was said to be.
        cat: CatName,
        /// The time it was recorded for; what lies within [`UNDONE_MINUTES`] of it is meant.
        measured_at: Moment,
        /// When it was taken back: what is recorded for that minute afterwards can be taken back in its turn. Earlier
        /// programs did not say.
        #[serde(default)]
        at: Moment,
    },
    /// Something happened to a sensor.
    Sensor(SensorNote),
    /// Spares were counted.
    Spare(Spare),
    /// A note for the record.
    Note(Note),
    /// The bridge that streams a cat's readings came or went.
    Bridge {
        /// Whose bridge.
        cat: CatName,
        /// Whether it is connected.
        online: bool,
    },
    /// A person answered.
    Answer(Answer),
    /// Something that claimed to be an answer was none; it changes nothing.
    Refused {
        /// Through which door.
        via: Via,
        /// Why, in words; nothing of what it said.
        why: String,
    },
    /// An attempt to carry a message ended.
    Outcome {
        /// Which message, over which channel, which attempt.
        parcel: Parcel,
        /// How it ended.
        outcome: Outcome,
    },
    /// The daemon's own health changed.
    Health(Health),
    /// The machine's clock was set back to the right time.
    ClockSet(ClockStep),
    /// Nothing happened, but somebody asked to be woken about now.
    Tick,
}

impl Event {
    /// The cat it is about, if it is about one.
    #[must_use]
    pub fn cat(&self) -> Option<&CatName> {
        match self {
            Self::Readings(batch) => Some(&batch.cat),
            Self::Unread(unread) => Some(&unread.cat),
            Self::Dose(dose) => Some(&dose.cat),
            Self::Meter(check) => Some(&check.cat),
            Self::Sensor(note) => Some(&note.cat),
            Self::Spare(spare) => Some(&spare.cat),
            Self::Note(note) => Some(&note.cat),
            Self::Bridge { cat, .. } | Self::MeterUndone { cat, .. } => Some(cat),
            Self::Household { .. }
            | Self::Answer(_)
            | Self::Refused { .. }
            | Self::Outcome { .. }
            | Self::Health(_)
            | Self::ClockSet(_)
            | Self::Tick => None,
        }
    }
}

/// What one turn found and said: journaled beside the event, as fact.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Said {
    /// Findings that opened, changed or cleared.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub changes: Vec<Change>,
    /// Messages decided on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub messages: Vec<Message>,
    /// Messages that no longer make sense and will not be sent (any more).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub withdrawn: Vec<MessageId>,
}

impl Said {
    /// Whether nothing was found and nothing said.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.changes.is_empty() && self.messages.is_empty() && self.withdrawn.is_empty()
    }
}

fn is_zero(count: &u32) -> bool {
    *count == 0
}

/// A meter check is taken back by the minute it was recorded for: so far apart the two may lie, minutes.
pub const UNDONE_MINUTES: f64 = 1.0;
