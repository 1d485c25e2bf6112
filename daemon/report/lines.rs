//! Findings as single lines of JSON, for other programs.

use serde::{Deserialize, Serialize};

use crate::tell::{Reader, plain};
use crate::words::{CatName, Change, Household, Moment, Severity, Watch};

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
