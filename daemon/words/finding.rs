//! What a watch holds true of a cat or of the daemon, and how it is told.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::{CatName, Moment, PersonName, Value};

/// How bad it is if nobody hears of it; the words of RFC 5424.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing; can wait until morning.
    #[default]
    Notice,
    /// Somebody should act soon.
    Warning,
    /// Somebody must act now.
    Critical,
}

impl Severity {
    /// The word used in files and on the command line.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Notice => "notice",
            Self::Warning => "warning",
            Self::Critical => "critical",
        }
    }
}

macro_rules! watches {
    ($($(#[$doc:meta])* $variant:ident = $word:literal,)*) => {
        /// One rule, by its name.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum Watch {
            $($(#[$doc])* #[serde(rename = $word)] $variant,)*
        }

        impl Watch {
            /// The name used in files, topics and texts.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }

            /// Every watch there is.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];
        }
    };
}

watches! {
    /// The scan window is about to close.
    WindowClosing = "window-closing",
    /// Readings are being lost.
    WindowClosed = "window-closed",
    /// Glucose is low.
    LowNow = "low-now",
    /// Glucose is likely to be low soon.
    LowAhead = "low-ahead",
    /// Glucose is falling fast.
    FallingFast = "falling-fast",
    /// A low was found afterwards in scanned history.
    LowFoundLater = "low-found-later",
    /// Glucose has been high for long.
    HighLong = "high-long",
    /// The sensor has gone quiet before its time.
    SensorSilent = "sensor-silent",
    /// Readings cannot be right.
    SensorSuspect = "sensor-suspect",
    /// No reading after warm-up.
    SensorNotStarted = "sensor-not-started",
    /// The sensor's time is nearly up.
    SensorEnding = "sensor-ending",
    /// Few unused sensors are left.
    SparesLow = "spares-low",
    /// A dose was asked for, and now something stands against it.
    DoseStop = "dose-stop",
    /// A dose is due.
    DoseDue = "dose-due",
    /// A dose is late.
    DoseLate = "dose-late",
    /// A second dose was recorded too soon.
    DoseTwice = "dose-twice",
    /// A dose is due soon; this is where glucose stands.
    BeforeDose = "before-dose",
    /// The cat has changed hands.
    HandOver = "hand-over",
    /// A file, or part of one, could not be read.
    FileRejected = "file-rejected",
    /// A source cannot be reached or refuses the daemon.
    SourceRefused = "source-refused",
    /// Messages do not get through.
    DeliveryFailing = "delivery-failing",
    /// The machine's clock cannot be right.
    ClockWrong = "clock-wrong",
    /// Little room is left on the disk.
    DiskLow = "disk-low",
    /// The store could not be opened or written.
    DatabaseError = "database-error",
}

impl fmt::Display for Watch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// One finding, by cat (or `house`), watch, subject and the moment it opened.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct FindingId(pub String);

impl FindingId {
    /// The id of the finding that `watch` opened at `opened_at`.
    #[must_use]
    pub fn new(cat: Option<&CatName>, watch: Watch, about: &str, opened_at: Moment) -> Self {
        let cat = cat.map_or("house", CatName::as_str);
        let colon = if about.is_empty() { "" } else { ":" };
        Self(format!("{cat}/{watch}{colon}{about}/{}", opened_at.millis() / 1000))
    }

    /// Whether it is about this cat.
    #[must_use]
    pub fn is_of(&self, cat: &CatName) -> bool {
        self.0.split('/').next() == Some(cat.as_str())
    }

    /// When it opened, to the second; `None` if the text is no id of ours.
    #[must_use]
    pub fn opened_at(&self) -> Option<Moment> {
        let seconds: i64 = self.0.rsplit('/').next()?.parse().ok()?;
        Some(Moment::from_millis(seconds.checked_mul(1000)?))
    }

    /// What it is about, whenever it opened: cat, watch and subject.
    #[must_use]
    pub fn matter(&self) -> &str {
        self.0.rsplit_once('/').map_or(&self.0, |(matter, _)| matter)
    }

    /// The watch that holds it; `None` if the text is no id of ours.
    #[must_use]
    pub fn watch(&self) -> Option<Watch> {
        let word = self.0.split('/').nth(1)?.split(':').next()?;
        Watch::ALL.iter().copied().find(|watch| watch.word() == word)
    }
}

impl fmt::Display for FindingId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A value inside a told text, not yet in anybody's language, unit or zone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Arg {
    /// A level in mg/dL.
    Glucose(f64),
    /// What a sensor said.
    Value(Value),
    /// A rate in mg/dL per minute.
    Rate(f64),
    /// An instant, shown as a local time (with the day if it is not today).
    Time(Moment),
    /// Several instants, rising.
    Times(Vec<Moment>),
    /// A length in minutes, shown as minutes, hours or days.
    Minutes(f64),
    /// An instant, shown as how long ago it was when the text was written.
    Ago(Moment),
    /// A count; the catalogue may choose plural forms by it.
    Count(i64),
    /// A probability from 0 to 1, shown as "7 in 10".
    Chance(f64),
    /// A share from 0 to 1, shown in per cent.
    Share(f64),
    /// A person, shown by the name they go by.
    Person(PersonName),
    /// Text shown as it is: the vet's words, a file name. Never a secret.
    Text(String),
    /// A word of the catalogue itself, by its key.
    Word(String),
    /// A phrase of the catalogue with values of its own.
    Phrase(Box<Telling>),
    /// The title of another telling.
    Heading(Box<Telling>),
}

/// What is to be told: a key of the message catalogue and the values that go in.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Telling {
    /// Key in the catalogue.
    pub key: String,
    /// Values by name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub args: BTreeMap<String, Arg>,
}

impl Telling {
    /// A telling without values.
    #[must_use]
    pub fn new(key: &str) -> Self {
        Self { key: key.to_owned(), args: BTreeMap::new() }
    }

    /// The same with one value more.
    #[must_use]
    pub fn with(mut self, name: &str, arg: Arg) -> Self {
        self.args.insert(name.to_owned(), arg);
        self
    }
}

/// The newest reading that a finding rests on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Basis {
    /// What the sensor said.
    pub value: Value,
    /// When it was measured.
    pub measured_at: Moment,
}

/// Whom a finding concerns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Audience {
    /// Whoever looks after the cat now.
    #[default]
    OnDuty,
    /// Everyone in the household, at once.
    Everyone,
    /// Whoever keeps the daemon.
    Owner,
    /// Whoever keeps the daemon, and whoever looks after the cat now.
    OwnerAndDuty,
    /// The persons whom the telling names.
    Named,
}

/// What a watch currently holds true.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Its name for good.
    pub id: FindingId,
    /// Which cat; `None` for the daemon itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cat: Option<CatName>,
    /// Which watch holds it.
    pub watch: Watch,
    /// What it is about where one watch can hold several; empty otherwise.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub about: String,
    /// How bad it is now.
    pub severity: Severity,
    /// Since when it is true of the cat (may lie before it was found).
    pub since: Moment,
    /// When it was found.
    pub opened_at: Moment,
    /// Rises by one each time there is something new to be said about it.
    pub step: u32,
    /// What is to be told.
    pub telling: Telling,
    /// What it rests on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub basis: Option<Basis>,
    /// When it will be looked at again if nothing happens before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub look_again: Option<Moment>,
    /// Whom it concerns.
    #[serde(default)]
    pub audience: Audience,
    /// After this a message about it makes no sense any more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub best_before: Option<Moment>,
    /// Whether it is about glucose: then a warning comes through quiet hours.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub glucose: bool,
    /// Whether a warning is worth repeating once if nobody answers.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub repeats: bool,
}

/// What became of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Became {
    /// It is new.
    Opened,
    /// It is worse, better, or there is more to say.
    Changed,
    /// It no longer holds.
    Cleared,
}

impl Became {
    /// The word used in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Opened => "opened",
            Self::Changed => "changed",
            Self::Cleared => "cleared",
        }
    }
}

/// One change of one finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// What became of it.
    pub became: Became,
    /// The finding as it is now, or as it was when it cleared.
    pub finding: Finding,
    /// What to tell those who heard of it, now that it is over or, of one that still holds, milder; `None` says nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over: Option<Telling>,
    /// Whether it ended because nothing more is known: that is no comfort, and is told as a warning.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unsure: bool,
}
