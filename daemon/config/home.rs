//! `[home]`: the place. In: its section. Out: zone, unit, language, data folder, and the owner's name as written.

use chrono_tz::{TZ_VARIANTS, Tz};

use super::Surroundings;
use super::section::{At, Section, nearest_hint, one_of, quoted};
use crate::tell::LANGUAGES;
use crate::words::{PersonName, Unit};

/// What `[home]` says, before the people are known.
#[derive(Debug)]
pub(super) struct Place {
    pub(super) timezone: Tz,
    pub(super) units: Unit,
    pub(super) language: String,
    pub(super) data: String,
    pub(super) owner: Option<At<PersonName>>,
    pub(super) gather_seconds: f64,
    pub(super) clock_trusted: bool,
}

pub(super) fn place(home: &Section<'_>, surroundings: &Surroundings) -> Place {
    Place {
        timezone: zone(home, "timezone").unwrap_or_else(|| machine_zone(home, surroundings)),
        units: units(home).unwrap_or_default(),
        language: language(home).unwrap_or_else(|| LANGUAGES[0].to_owned()),
        data: home.text("data").map_or("data", |data| data.value).to_owned(),
        gather_seconds: home.number("gather_seconds", 0.0..=600.0, "seconds").unwrap_or(GATHER_SECONDS),
        clock_trusted: home.choice("clock", &[("synchronised", false), ("trust", true)]).unwrap_or_default(),
        owner: home.text("owner").and_then(|owner| match PersonName::new(owner.value) {
            Ok(value) => Some(At { value, line: owner.line }),
            Err(error) => {
                home.wrong("owner", &quoted(owner.value), &error.to_string());
                None
            }
        }),
    }
}

/// The machine's own zone, where the file names none (or a wrong one, then the error says enough).
fn machine_zone(home: &Section<'_>, surroundings: &Surroundings) -> Tz {
    let machine = surroundings.machine_zone.as_deref().and_then(|name| name.parse::<Tz>().ok());
    if home.has("timezone") {
        return machine.unwrap_or(Tz::UTC);
    }
    match machine {
        Some(zone) => {
            let want = format!("the machine's own is used, {zone}; write it down so that it cannot change");
            home.advise("timezone", "nothing", &want);
            zone
        }
        None => {
            home.missing(
                "timezone",
                "expected the zone whose clock the doses follow, like \"Europe/Vienna\"",
            );
            Tz::UTC
        }
    }
}

/// A zone of the IANA time zone database.
pub(super) fn zone(section: &Section<'_>, key: &str) -> Option<Tz> {
    let text = section.text(key)?.value;
    if let Ok(zone) = text.parse::<Tz>() {
        return Some(zone);
    }
    let names: Vec<&str> = TZ_VARIANTS.iter().map(|zone| zone.name()).collect();
    let hint = nearest_hint(text, &names);
    section.wrong(key, &quoted(text), &format!("expected a zone like \"Europe/Vienna\"{hint}"));
    None
}

/// mg/dL or mmol/L.
pub(super) fn units(section: &Section<'_>) -> Option<Unit> {
    section.choice("units", &[(Unit::MgDl.code(), Unit::MgDl), (Unit::MmolL.code(), Unit::MmolL)])
}

/// The unit that a number may be in by mistake.
pub(super) const fn other_unit(unit: Unit) -> Unit {
    match unit {
        Unit::MgDl => Unit::MmolL,
        Unit::MmolL => Unit::MgDl,
    }
}

/// One of the languages there are.
pub(super) fn language(section: &Section<'_>) -> Option<String> {
    let text = section.text("language")?.value;
    if LANGUAGES.contains(&text) {
        return Some(text.to_owned());
    }
    section.wrong("language", &quoted(text), &format!("expected {}", one_of(LANGUAGES)));
    None
}

/// Chosen by us: long enough that a scan's findings come as one message, short enough to be "at once" to a reader.
const GATHER_SECONDS: f64 = 60.0;
