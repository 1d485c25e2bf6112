//! `[intake.folder]`, `[intake.mqtt]`, `[[intake.layout]]`: the ways in. In: their sections. Out: settings of the doors.

use std::path::Path;
use std::time::Duration;

use serde::Deserialize as _;
use toml::Spanned;
use toml::de::{DeTable, DeValue, ValueDeserializer};

use super::absolute;
use super::problem::ProblemSeverity;
use super::secrets::{Beside, no_login_inside, secret};
use super::section::{Section, nearest_hint, one_of, quoted};
use super::topic::{host, is_public};
use crate::intake::folder::FolderSettings;
use crate::intake::formats::{Layout, LayoutText};
use crate::intake::mqtt::{Mqtt, MqttError, MqttSettings};
use crate::words::CatSettings;

/// The watched folder, if one is named.
pub(super) fn folder(section: &Section<'_>, beside: Beside<'_>, data: &Path) -> Option<FolderSettings> {
    if !section.is_present() {
        return None;
    }
    if !section.has("path") {
        section.missing("path", "expected the folder that files are dropped into, like \"inbox\"");
    }
    let keep = section.flag("keep").unwrap_or(false);
    let rescan = section.number("rescan_seconds", 1.0..=86_400.0, "seconds");
    // Whole, because messages name files there, and whoever reads them is somewhere else.
    let path = absolute(&beside.path(section.text("path")?.value));
    let data = absolute(data);
    if path.starts_with(&data) || data.starts_with(&path) {
        section.wrong(
            "path",
            &quoted(&path.display().to_string()),
            "expected a folder apart from the data folder: neither may lie inside the other",
        );
    }
    let usual = FolderSettings::beside(&path);
    Some(FolderSettings { keep, rescan: rescan.map_or(usual.rescan, Duration::from_secs_f64), ..usual })
}

/// The broker, if one is named; the door judges the settings itself, here what it says gets its line.
pub(super) fn mqtt(section: &Section<'_>, beside: Beside<'_>, data: &Path) -> Option<MqttSettings> {
    if !section.is_present() {
        return None;
    }
    if !section.has("broker") {
        section.missing("broker", "expected the address of a broker, like \"mqtt://127.0.0.1:1883\"");
    }
    let password = secret(section, "password", beside);
    let text = |key: &str| section.text(key).map(|text| text.value.to_owned());
    let broker = section.text("broker").filter(|broker| no_login_inside(section, "broker", broker.value))?;
    let usual = MqttSettings::new(broker.value, &absolute(data).join("rejected"));
    let settings = MqttSettings {
        username: text("username"),
        password,
        ca_file: section.text("ca_file").map(|file| beside.path(file.value)),
        prefix: text("prefix").unwrap_or(usual.prefix),
        client_id: text("client_id").unwrap_or(usual.client_id),
        ..usual
    };
    match Mqtt::check(&settings) {
        Ok(_) => {
            let public = host(broker.value).is_some_and(|host| is_public(&host));
            if public && settings.password.is_some() && broker.value.starts_with("mqtt://") {
                let want = "the password crosses the network unprotected: use mqtts://";
                section.advise("broker", &quoted(broker.value), want);
            }
        }
        Err(MqttError::Setting { key, found, why }) => {
            section.judged(key.rsplit('.').next().unwrap_or(key), &found, &why);
        }
        Err(MqttError::Tls(cause)) => {
            section.wrong("ca_file", &section.written("ca_file"), &cause.to_string())
        }
    }
    Some(settings)
}

/// Tables with other columns, in the order in which they are tried.
pub(super) fn layouts(intake: &Section<'_>, cats: &[CatSettings]) -> Vec<Layout> {
    intake.tables("intake.layout").iter().filter_map(|section| layout(section, cats)).collect()
}

fn layout(section: &Section<'_>, cats: &[CatSettings]) -> Option<Layout> {
    let text = match layout_text(section) {
        Ok(text) => text,
        Err(error) => {
            let line = error.span().map(|span| section.line_at(span.start)).or(section.line());
            let (found, want) = kinds(error.message());
            section.note_at(line, "", &found, &want, ProblemSeverity::Error);
            return None;
        }
    };
    if let Some(named) = &text.cat
        && !cats.iter().any(|cat| cat.name.as_str() == named)
    {
        let names: Vec<&str> = cats.iter().map(|cat| cat.name.as_str()).collect();
        let hint = nearest_hint(named, &names);
        section.wrong(
            "cat",
            &quoted(named),
            &format!("expected the name of a cat: {}{hint}", one_of(&names)),
        );
    }
    match Layout::new(&text) {
        Ok(layout) => Some(layout),
        Err(problem) => {
            section.judged(problem.key, &problem.found, &format!("needed: {}", problem.expected));
            None
        }
    }
}

/// What a value is and what it should be, out of serde's words for programmers.
fn kinds(message: &str) -> (String, String) {
    let message = message.trim_start_matches("invalid type: ").replace("usize", "a whole number");
    let (found, want) = message.split_once(", expected ").unwrap_or((&message, "another kind of value"));
    (found.to_owned(), format!("expected {want}; docs/formats.md describes each key"))
}

/// The section as the room reads it, without the keys it does not know: those are noted already.
fn layout_text(section: &Section<'_>) -> Result<LayoutText, toml::de::Error> {
    let mut known = DeTable::new();
    for (key, value) in section.entries() {
        if LayoutText::KEYS.contains(&key.get_ref().as_ref()) {
            known.insert(key.clone(), value.clone());
        }
    }
    LayoutText::deserialize(ValueDeserializer::from(Spanned::new(0..0, DeValue::Table(known))))
}
