//! One TOML file becomes checked settings, or errors that name file, line and key.
//! In: a path, and what surrounds it (secret files, environment, the machine's zone). Out: a [`Config`] that
//! cannot be wrong, or every problem there is. Applies nothing and keeps nothing: no room asks this one later.

mod carriers;
mod cat;
mod check;
mod doors;
mod duty;
mod example;
mod home;
mod known;
mod local;
mod outward;
mod people;
mod plan;
mod problem;
mod secrets;
mod section;
mod slip;
mod topic;
mod unheard;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use toml::de::DeTable;

use crate::intake::folder::FolderSettings;
use crate::intake::formats::Layout;
use crate::intake::mqtt::MqttSettings;
use crate::notify::{MailSettings, NtfySettings};
use crate::page::PageSettings;
use crate::secret::Secret;
use crate::words::{AnswerWays, Home, Household, Moment};

pub use crate::almanac::next_times;
pub use check::{Checked, check, describe};
pub use known::{KEYS, REPEATED, heading};
pub use plan::{USUAL_DANGER, USUAL_LOW, USUAL_METER_LOW, missing_parts};
pub use problem::{ConfigError, Problem, ProblemSeverity};
pub use unheard::RECEIVES;

use secrets::Beside;
use section::{Section, Sheet, line_of};
use slip::slip;

/// What a configuration depends on besides its own text.
#[derive(Clone, Debug, Default)]
pub struct Surroundings {
    /// Environment variables, for `*_env` and for systemd's `CREDENTIALS_DIRECTORY`.
    pub variables: BTreeMap<String, String>,
    /// The machine's time zone, where `[home]` names none.
    pub machine_zone: Option<String>,
    /// The present: no advice is given on what is over by then. `None` gives all of it.
    pub now: Option<Moment>,
}

impl Surroundings {
    /// Those of this process. Variables that are not UTF-8 are left out.
    #[must_use]
    pub fn of_this_process() -> Self {
        let text = |(name, value): (std::ffi::OsString, std::ffi::OsString)| {
            Some((name.into_string().ok()?, value.into_string().ok()?))
        };
        Self {
            variables: std::env::vars_os().filter_map(text).collect(),
            machine_zone: iana_time_zone::get_timezone().ok(),
            now: None,
        }
    }
}

/// Everything the file says, checked.
#[derive(Clone, Debug)]
pub struct Config {
    /// The file it was read from.
    pub file: PathBuf,
    /// What the pure rooms are told.
    pub household: Household,
    /// Whether the machine's clock is taken as it is, even if no time service has set it.
    pub clock_trusted: bool,
    /// Folder of the journal and the store.
    pub data: PathBuf,
    /// The watched folder.
    pub folder: Option<FolderSettings>,
    /// Tables with other columns than ours, in the order in which they are tried.
    pub layouts: Vec<Layout>,
    /// The broker.
    pub mqtt: Option<MqttSettings>,
    /// The push server.
    pub ntfy: Option<NtfySettings>,
    /// The mail server.
    pub mail: Option<MailSettings>,
    /// The web page.
    pub page: Option<PageSettings>,
    /// The URL that is called while all is well.
    pub heartbeat_url: Option<Secret>,
    /// What the owner should know; the daemon works all the same.
    pub advice: Vec<Problem>,
}

/// What could be made out of a file that may have errors.
#[derive(Clone, Debug)]
pub struct Examined {
    /// The settings, with usual values standing in for what is wrong; `None` without any cat or person.
    pub config: Option<Config>,
    /// Everything noted, by line.
    pub problems: Vec<Problem>,
}

impl Examined {
    /// Whether the daemon can start with it.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.config.is_some() && !self.problems.iter().any(Problem::is_error)
    }
}

/// Reads and checks a configuration.
///
/// # Errors
/// [`ConfigError::Unreadable`] if the file cannot be read or is not TOML, [`ConfigError::Wrong`] with every
/// error if it says something that cannot be right.
pub fn load(path: &Path) -> Result<Config, ConfigError> {
    load_in(path, &Surroundings::of_this_process())
}

/// The same in given surroundings.
///
/// # Errors
/// As [`load`].
pub fn load_in(path: &Path, surroundings: &Surroundings) -> Result<Config, ConfigError> {
    let examined = examine(path, surroundings)?;
    let sound = examined.is_sound();
    match examined.config {
        Some(config) if sound => Ok(config),
        // Advice would hide in front of it what keeps the daemon from starting.
        _ => {
            let problems = examined.problems.into_iter().filter(Problem::is_error).collect();
            Err(ConfigError::Wrong { file: path.to_owned(), problems })
        }
    }
}

/// Reads a configuration and says as much about it as can be said, for `check`.
///
/// # Errors
/// [`ConfigError::Unreadable`] if the file cannot be read or is not TOML.
pub fn examine(path: &Path, surroundings: &Surroundings) -> Result<Examined, ConfigError> {
    let unreadable = |why: Vec<String>| ConfigError::Unreadable { file: path.to_owned(), why };
    let bytes =
        std::fs::read(path).map_err(|error| unreadable(vec![format!(": cannot be read: {error}")]))?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let valid = error.utf8_error().valid_up_to();
        let line = error.as_bytes()[..valid].iter().filter(|byte| **byte == b'\n').count() + 1;
        unreadable(vec![format!(":{line}: not UTF-8 text: save the file as UTF-8")])
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        let shown = |error: &toml::de::Error| {
            let line = error.span().map(|span| line_of(text, span.start));
            let hint = line.and_then(|line| slip(text.lines().nth(line as usize - 1)?));
            let hint = hint.map(|hint| format!("; {hint}")).unwrap_or_default();
            let line = line.map(|line| format!(":{line}")).unwrap_or_default();
            format!("{line}: not TOML: {}{hint}", error.message())
        };
        return Err(unreadable(errors.iter().map(shown).collect()));
    }
    Ok(understood(path, text, table.get_ref(), surroundings))
}

fn understood(path: &Path, text: &str, table: &DeTable<'_>, surroundings: &Surroundings) -> Examined {
    let sheet = Sheet::new(text);
    known::note_unknown_keys(&sheet, table);
    let mut config = settings(path, &Section::root(&sheet, table), surroundings);
    let problems = sheet.into_problems();
    if let Some(config) = &mut config {
        config.advice = problems.iter().filter(|problem| !problem.is_error()).cloned().collect();
    }
    Examined { config, problems }
}

/// A path from the root on, as whoever stands in this folder would write it; links in it stay.
fn absolute(path: &Path) -> PathBuf {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned())
}

fn settings(path: &Path, root: &Section<'_>, surroundings: &Surroundings) -> Option<Config> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let beside = Beside { folder, surroundings };
    let place = home::place(&root.table("home"), surroundings);
    let data = beside.path(&place.data);
    let cats = cat::cats(root, &place);
    let intake = root.table("intake");
    let inbox = doors::folder(&intake.table("intake.folder"), beside, &data);
    let mqtt = doors::mqtt(&intake.table("intake.mqtt"), beside, &data);
    let layouts = doors::layouts(&intake, &cats);
    let ways = carriers::ways(&root.table("notify"), beside);
    let page = outward::page(&root.table("page"), beside);
    let heartbeat_url = outward::heartbeat(&root.table("heartbeat"), beside);
    let cat_words: Vec<String> = cats.iter().map(|cat| cat.name.to_string()).collect();
    let (persons, owner) = people::people(root, &place, &ways, &cat_words);
    let (duty, rounds) = duty::duty(root, place.timezone, &persons, surroundings.now);
    let owner = owner?;
    if cats.is_empty() {
        return None;
    }
    let household = Household {
        home: Home {
            timezone: place.timezone,
            units: place.units,
            language: place.language,
            owner,
            gather_seconds: place.gather_seconds,
            answers: AnswerWays {
                buttons: ways.ntfy.as_ref().is_some_and(|ntfy| ntfy.reply_topic.is_some()),
                mqtt: mqtt.as_ref().map(|mqtt| mqtt.prefix.clone()),
            },
        },
        cats,
        persons,
        duty,
        rounds,
    };
    unheard::unheard(root, &household, surroundings.now);
    example::still(root);
    Some(Config {
        file: path.to_owned(),
        household,
        clock_trusted: place.clock_trusted,
        data,
        folder: inbox,
        layouts,
        mqtt,
        ntfy: ways.ntfy,
        mail: ways.mail,
        page,
        heartbeat_url,
        advice: Vec::new(),
    })
}
