//! `[home]`: the place. In: its section. Out: zone, unit, language, data folder, and the owner's name as written.

use chrono::Offset;
use chrono_tz::{TZ_VARIANTS, Tz};

use super::Surroundings;
use super::section::{At, Section, one_of, quoted};
use crate::tell::LANGUAGES;
use crate::words::{Moment, PersonName, Unit, minutes};

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
    let machine = surroundings.machine_zone.as_deref().and_then(|name| name.parse::<Tz>().ok());
    let written = zone(home, "timezone", machine);
    if let (Some(zone), Some(machine)) = (written, machine) {
        beside_machine(home, zone, machine, surroundings.now);
    }
    Place {
        timezone: written.unwrap_or_else(|| machine_zone(home, machine)),
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
fn machine_zone(home: &Section<'_>, machine: Option<Tz>) -> Tz {
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

/// A machine that counts in UTC does not say where it stands.
fn is_no_place(zone: Tz) -> bool {
    zone == Tz::UTC || zone.name().starts_with("Etc/")
}

/// Says where the house has another clock than its machine: somebody may have moved, or left the example's.
fn beside_machine(home: &Section<'_>, zone: Tz, machine: Tz, now: Option<Moment>) {
    let now = now.unwrap_or(Moment::from_millis(REFERENCE_MILLIS));
    let offset = |zone: Tz, at: Moment| at.at(zone).offset().fix();
    let alike =
        [now, now + minutes(HALF_A_YEAR_MINUTES)].iter().all(|at| offset(zone, *at) == offset(machine, *at));
    if alike || is_no_place(machine) {
        return;
    }
    let clock = |zone: Tz| now.at(zone).format("%H:%M").to_string();
    let want = format!(
        "this machine's own is {machine}: there it is {} now, here {}. Doses, duty and quiet hours follow the \
         configuration; if the cat does not live by {zone}, write {machine}",
        clock(machine),
        clock(zone)
    );
    home.advise("timezone", &quoted(zone.name()), &want);
}

/// A zone of the IANA time zone database.
pub(super) fn zone(section: &Section<'_>, key: &str, machine: Option<Tz>) -> Option<Tz> {
    let text = section.text(key)?.value;
    if let Ok(zone) = text.parse::<Tz>() {
        return Some(zone);
    }
    let hint = match (meant(text), machine) {
        (Some(zone), _) => format!("; did you mean \"{zone}\"?"),
        (None, Some(machine)) if !is_no_place(machine) => {
            format!("; this machine's own is \"{machine}\"")
        }
        (None, _) => String::new(),
    };
    let want = format!("expected a region and a large city of its zone, like \"Europe/Vienna\"{hint}");
    section.wrong(key, &quoted(text), &want);
    None
}

/// The zone that was probably meant: the one of the city, whatever stands before it, or of one spelt nearly so. An
/// abbreviation like CEST or GMT+1 is the name of no place, and what is near to it is another one.
fn meant(text: &str) -> Option<&'static str> {
    let plain = |text: &str| text.trim().to_ascii_lowercase().replace([' ', '-'], "_");
    let city = |zone: &str| plain(zone.rsplit('/').next().unwrap_or(zone));
    let (wanted, region) =
        (city(text), text.contains('/').then(|| plain(text.split('/').next().unwrap_or_default())));
    let places = || TZ_VARIANTS.iter().map(|zone| zone.name()).filter(|name| name.contains('/'));
    let near = |name: &str| {
        let distance = strsim::damerau_levenshtein(&wanted, &city(name));
        // One letter in five may be wrong: Munich is not a misspelt Zurich, nor CEST a misspelt West.
        (distance * 5 <= wanted.chars().count()).then_some(distance)
    };
    let there = |name: &str| region.as_ref().is_none_or(|region| plain(name).starts_with(region.as_str()));
    places()
        .filter(|name| !name.starts_with("Etc/"))
        .filter_map(|name| Some((near(name)?, !there(name), name)))
        .min()
        .map(|(_, _, name)| name)
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
/// Summer and winter time are half a year apart.
const HALF_A_YEAR_MINUTES: f64 = 182.0 * 1440.0;
/// A day in January 2026, for settings that are looked at without a present.
const REFERENCE_MILLIS: i64 = 1_768_000_000_000;
