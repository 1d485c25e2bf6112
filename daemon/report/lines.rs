//! Findings and messages as single lines of JSON, for other programs.

use serde::{Deserialize, Serialize};

use crate::tell::{Reader, plain};
use crate::words::{CatName, Change, Channel, Household, Message, Moment, PersonName, Severity, Watch};

/// A change of a finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChangeLine {
    /// When.
    pub at: Moment,
    /// Which cat; `null` for the daemon itself.
    pub cat: Option<CatName>,
    /// Which watch.
    pub watch: Watch,
    /// `opened`, `changed` or `cleared`.
    pub change: String,
    /// How bad.
    pub severity: Severity,
    /// In the home's words.
    pub text: String,
}

/// A message to a person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MessageLine {
    /// When it was decided on or carried.
    pub at: Moment,
    /// About which cat.
    pub cat: Option<CatName>,
    /// The watch of the worst finding in it.
    pub watch: Option<Watch>,
    /// Always `message`.
    pub change: String,
    /// To whom.
    pub person: PersonName,
    /// Over which channel.
    pub channel: String,
    /// Title and text.
    pub text: String,
}

/// A change as a line.
#[must_use]
pub fn change_json(change: &Change, household: &Household, at: Moment) -> ChangeLine {
    let finding = &change.finding;
    let telling = change.over.as_ref().unwrap_or(&finding.telling);
    ChangeLine {
        at,
        cat: finding.cat.clone(),
        watch: finding.watch,
        change: change.became.word().to_owned(),
        severity: finding.severity,
        text: plain(&Reader::home(household, at), telling),
    }
}

/// A message as a line.
#[must_use]
pub fn message_json(message: &Message, channel: &Channel, at: Moment) -> MessageLine {
    MessageLine {
        at,
        cat: message.cat.clone(),
        watch: message.findings.first().and_then(|id| id.watch()),
        change: "message".to_owned(),
        person: message.person.clone(),
        channel: channel.kind.word().to_owned(),
        text: format!("{}. {}", message.title, message.text),
    }
}
