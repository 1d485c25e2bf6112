//! What people and sensors report about a cat.

use serde::{Deserialize, Serialize};

use super::{CatName, Moment, Value};

/// How a reading came off the sensor.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingKind {
    /// Stored by the sensor at its sampling interval.
    #[default]
    History,
    /// Taken at the moment of a scan, between samples.
    Spot,
}

impl ReadingKind {
    /// Whether this is the usual kind, which the journal leaves out.
    #[must_use]
    pub fn is_history(&self) -> bool {
        *self == Self::History
    }
}

/// One interstitial value at a time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// When the sensor measured it, in the source's word: may be late, repeated or in the future.
    #[serde(rename = "t")]
    pub measured_at: Moment,
    /// What it said.
    #[serde(rename = "v")]
    pub value: Value,
    /// Stored sample or spot value.
    #[serde(rename = "k", default, skip_serializing_if = "ReadingKind::is_history")]
    pub kind: ReadingKind,
}

/// A sensor's value that is none: an error's number, a dash.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Unread {
    /// Whose sensor.
    pub cat: CatName,
    /// When it showed that.
    pub at: Moment,
    /// What it showed.
    pub shown: String,
}

/// One insulin injection, as somebody recorded it. Units are kept for the vet and never computed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Dose {
    /// Whose.
    pub cat: CatName,
    /// When it was given.
    pub given_at: Moment,
    /// Insulin units, if stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub units: Option<f64>,
    /// Who gave it, in the recorder's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Whether this takes the dose recorded for that minute back: it was not given after all.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub not_given: bool,
}

/// What can be the units of one dose; anything else is a slip of the hand.
pub const POSSIBLE_UNITS: std::ops::RangeInclusive<f64> = 0.0..=100.0;

/// What a hand meter is calibrated for: human whole-blood meters read lower in cats, so kinds are never mixed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MeterKind {
    /// Calibrated for pets.
    Pet,
    /// Calibrated for people, shows plasma-equivalent values.
    Human,
    /// Calibrated for people, shows whole-blood values.
    WholeBlood,
    /// Not stated.
    #[default]
    Unknown,
}

/// A blood glucose value from a hand meter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MeterCheck {
    /// Whose blood.
    pub cat: CatName,
    /// When.
    pub measured_at: Moment,
    /// What it showed; mg/dL inside.
    pub glucose: Value,
    /// Which kind of meter.
    #[serde(default)]
    pub meter: MeterKind,
}

/// What happened to a sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SensorEvent {
    /// Put on the cat; a new wear begins.
    Applied,
    /// The source says that the sensor reports an error and gives no readings.
    Error,
    /// The source says that the error is over.
    Ok,
    /// Reached its labelled end.
    Expired,
    /// Stopped working before its end.
    Failed,
    /// Came off by itself.
    CameOff,
    /// Taken off on purpose.
    Removed,
}

impl SensorEvent {
    /// Whether a wear is over with this.
    #[must_use]
    pub const fn ends_wear(self) -> bool {
        matches!(self, Self::Expired | Self::Failed | Self::CameOff | Self::Removed)
    }
}

/// Something that happened to a sensor, and when.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SensorNote {
    /// Who wears it.
    pub cat: CatName,
    /// When it happened.
    pub at: Moment,
    /// What happened.
    pub event: SensorEvent,
}

/// How many unused sensors are in the cupboard now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Spare {
    /// For which cat.
    pub cat: CatName,
    /// When they were counted.
    pub at: Moment,
    /// How many there are.
    pub count: u32,
}

/// Free text for the record, shown in reports.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// About which cat.
    pub cat: CatName,
    /// When it happened.
    pub at: Moment,
    /// The text.
    pub text: String,
    /// Who wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}
