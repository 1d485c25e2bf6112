//! Every key there is, and what to say about one that is not. In: the parsed file. Out: problems.
//! A test checks that each key here is explained in `docs/configuration.md` and shown in the example.

use toml::de::{DeTable, DeValue};

use super::problem::{Problem, ProblemSeverity};
use super::section::{Sheet, nearest};
use crate::intake::formats::LayoutText;

/// The sections by their dotted path, and the keys in each; a key that is itself a section stands in both.
pub const KEYS: &[(&str, &[&str])] = &[
    ("", &["home", "cat", "intake", "notify", "person", "duty", "page", "heartbeat"]),
    ("home", &["timezone", "units", "data", "owner", "language", "gather_seconds", "clock"]),
    ("cat", &["name", "called", "units", "sensor", "plan", "doses", "watch"]),
    (
        "cat.sensor",
        &[
            "kind",
            "sample_minutes",
            "memory_hours",
            "wear_days",
            "warm_up_minutes",
            "range",
            "lag_minutes",
            "price",
            "currency",
        ],
    ),
    (
        "cat.plan",
        &[
            "low",
            "danger",
            "meter_low",
            "high",
            "hold_dose_under",
            "on_low",
            "vet_phone",
            "out_of_hours_phone",
            "in_words",
            "sglt2_inhibitor",
        ],
    ),
    ("cat.doses", &["times", "min_hours_between"]),
    (
        "cat.watch",
        &[
            "window_remind_minutes",
            "low_ahead",
            "low_ahead_minutes",
            "low_ahead_chance",
            "scan_again_chance",
            "falling_rate",
            "falling_under",
            "high_hours",
            "high_hours_dosed",
            "silent_samples",
            "ending_hours",
            "spares_low",
        ],
    ),
    ("intake", &["folder", "layout", "mqtt"]),
    ("intake.folder", &["path", "keep", "rescan_seconds"]),
    ("intake.layout", LayoutText::KEYS),
    (
        "intake.mqtt",
        &[
            "broker",
            "prefix",
            "client_id",
            "username",
            "password_file",
            "password_env",
            "password_credential",
            "ca_file",
        ],
    ),
    ("notify", &["ntfy", "email"]),
    (
        "notify.ntfy",
        &[
            "server",
            "token_file",
            "token_env",
            "token_credential",
            "nobody_watching_hours",
            "username",
            "password_file",
            "password_env",
            "password_credential",
            "reply_topic",
            "ca_file",
        ],
    ),
    (
        "notify.email",
        &["smtp", "from", "username", "password_file", "password_env", "password_credential", "ca_file"],
    ),
    (
        "person",
        &[
            "name",
            "called",
            "ntfy",
            "email",
            "phone",
            "timezone",
            "units",
            "language",
            "quiet",
            "receives",
            "meter",
            "private",
            "wake_for_warnings",
        ],
    ),
    ("duty", &["person", "from", "until", "weekly", "cron", "hours", "hand_over"]),
    ("page", &["listen", "password_file", "password_env", "password_credential"]),
    ("heartbeat", &["url_file", "url_env", "url_credential"]),
];

/// Sections that may be written several times, with two brackets.
pub const REPEATED: &[&str] = &["cat", "person", "duty", "intake.layout"];

/// Words that stand for a secret: never taken inline, whatever the section.
pub(super) const SECRETS: &[&str] = &["password", "token", "url"];

/// The section as it is written in the file.
#[must_use]
pub fn heading(path: &str) -> String {
    if REPEATED.contains(&path) { format!("[[{path}]]") } else { format!("[{path}]") }
}

/// Notes every key that is not known, with the nearest one that is.
pub(super) fn note_unknown_keys(sheet: &Sheet<'_>, root: &DeTable<'_>) {
    visit(sheet, "", root);
}

fn visit(sheet: &Sheet<'_>, path: &str, table: &DeTable<'_>) {
    let Some((_, known)) = KEYS.iter().find(|(section, _)| *section == path) else { return };
    for (key, value) in table {
        let name = key.get_ref().as_ref();
        if !known.contains(&name) {
            let shown =
                if path.is_empty() { format!("[{name}]") } else { format!("{} {name}", heading(path)) };
            let (found, want) = unknown(path, known, name);
            let line = Some(sheet.line(&key.span()));
            sheet.note(Problem { line, key: shown, found, want, severity: ProblemSeverity::Error });
            continue;
        }
        let inner = if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
        match value.get_ref() {
            DeValue::Table(table) => visit(sheet, &inner, table),
            DeValue::Array(items) => {
                for item in items.iter() {
                    if let DeValue::Table(table) = item.get_ref() {
                        visit(sheet, &inner, table);
                    }
                }
            }
            _ => {}
        }
    }
}

/// What an unknown key is, and what to do about it: a secret belongs in a file; a key of another section was put
/// under the wrong heading; otherwise the nearest name, or all there are.
fn unknown(path: &str, known: &[&str], name: &str) -> (String, String) {
    if SECRETS.contains(&name) && known.contains(&format!("{name}_file").as_str()) {
        return ("a secret in the configuration".to_owned(), inline_secret(name));
    }
    let what = if path.is_empty() { "a section" } else { "a key" };
    let want = if let Some(near) = nearest(name, known.iter().copied()) {
        format!("did you mean \"{near}\"?")
    } else if let Some(section) = elsewhere(path, name) {
        format!("\"{name}\" belongs under {}", heading(section))
    } else if path.is_empty() {
        format!("the sections are {}", known.join(", "))
    } else {
        format!("the keys of {} are {}", heading(path), known.join(", "))
    };
    (format!("{what} that is not known here"), want)
}

/// How to give a secret.
pub(super) fn inline_secret(name: &str) -> String {
    format!(
        "it is never written here: put it in a file that only the daemon can read (chmod 600) and write \
         {name}_file = \"secret/{name}\", or use {name}_credential with systemd, or {name}_env"
    )
}

/// Another section that has this very key; the nearest relative first (`cat` before `person` for `cat.plan`).
fn elsewhere(path: &str, name: &str) -> Option<&'static str> {
    let first = |section: &str| section.split('.').next().unwrap_or_default().to_owned();
    let mut having: Vec<&str> = KEYS
        .iter()
        .filter(|(section, keys)| !section.is_empty() && keys.contains(&name))
        .map(|(section, _)| *section)
        .collect();
    having.sort_by_key(|section| first(section) != first(path));
    having.first().copied()
}
