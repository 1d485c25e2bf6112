//! `[[person]]`: who gets messages, where and when. In: their sections, and which carriers there are. Out:
//! checked persons in the order of the file, which is the order in which they are asked.

use std::collections::{BTreeMap, BTreeSet};

use chrono::TimeDelta;

use super::carriers::Ways;
use super::cat::capitalised;
use super::example::has_topic;
use super::home::{Place, language, units, zone};
use super::local::{quiet_hours, quiet_length};
use super::section::{At, Section, nearest_hint, quoted};
use super::topic::guessable;
use crate::notify::ntfy::is_topic;
use crate::words::{Channel, ChannelKind, Person, PersonName, QuietHours, Severity};

/// All persons; none is an error. The second part is the owner.
pub(super) fn people(
    root: &Section<'_>,
    place: &Place,
    ways: &Ways,
    cats: &[String],
) -> (Vec<Person>, Option<PersonName>) {
    let sections = root.tables("person");
    if sections.is_empty() && !root.has("person") {
        root.missing(
            "person",
            "expected at least one [[person]] with a name and a channel: nobody would be told",
        );
    }
    let names: Vec<Option<PersonName>> = sections.iter().map(person_name).collect();
    let first = names.iter().flatten().next().cloned();
    let owner = owner(root, place.owner.as_ref(), first, &names);
    let mut taken = BTreeSet::new();
    let mut persons: Vec<Person> = Vec::new();
    for (section, name) in sections.iter().zip(names) {
        let owns = name.is_some() && owner == name;
        if let Some(name) = &name
            && !taken.insert(name.clone())
        {
            section.wrong("name", &quoted(name.as_str()), "another person has this name already");
        }
        persons.extend(person(section, name, place, ways, owns, cats));
    }
    shared_topics(&sections, ways);
    (persons, owner)
}

/// Says where a topic is not one person's own.
fn shared_topics(sections: &[Section<'_>], ways: &Ways) {
    let replies = ways.ntfy.as_ref().and_then(|ntfy| ntfy.reply_topic.as_deref());
    let mut taken: BTreeMap<&str, &str> = BTreeMap::new();
    for section in sections {
        let (Some(topic), Some(name)) = (section.text("ntfy"), section.text("name")) else { continue };
        let (topic, name) = (topic.value, name.value);
        if replies == Some(topic) {
            let want = "it is the reply_topic of [notify.ntfy] too: this phone would show every answer as a message. What \
                        now: a topic of its own for each";
            section.advise("ntfy", &quoted(topic), want);
        }
        if let Some(other) = taken.insert(topic, name) {
            let want = format!(
                "{other} has this topic too: both phones get what is meant for one of them, and whoever presses a button \
                 answers in the other's name. What now: a topic of their own for each"
            );
            section.advise("ntfy", &quoted(topic), &want);
        }
    }
}

/// The owner as `[home]` names them, or the first person.
fn owner(
    root: &Section<'_>,
    named: Option<&At<PersonName>>,
    first: Option<PersonName>,
    names: &[Option<PersonName>],
) -> Option<PersonName> {
    let Some(named) = named else { return first };
    if names.iter().flatten().any(|name| *name == named.value) {
        return Some(named.value.clone());
    }
    let home = root.table("home");
    home.wrong("owner", &quoted(named.value.as_str()), &unknown_person(named.value.as_str(), names));
    first
}

/// What to say where a name fits no person.
pub(super) fn unknown_person(text: &str, names: &[Option<PersonName>]) -> String {
    let names: Vec<&str> = names.iter().flatten().map(PersonName::as_str).collect();
    format!("expected the name of one of the persons ({}){}", names.join(", "), nearest_hint(text, &names))
}

fn person_name(section: &Section<'_>) -> Option<PersonName> {
    if !section.has("name") {
        section.missing(
            "name",
            "expected a short name in small letters, used in answers and on the command line",
        );
    }
    let text = section.text("name")?.value;
    PersonName::new(text).map_err(|error| section.wrong("name", &quoted(text), &error.to_string())).ok()
}

/// One person. Everything is looked at even where the name is wrong, so that all errors are said at once.
fn person(
    section: &Section<'_>,
    name: Option<PersonName>,
    place: &Place,
    ways: &Ways,
    owns: bool,
    cats: &[String],
) -> Option<Person> {
    let receives = [Severity::Notice, Severity::Warning, Severity::Critical].map(|s| (s.word(), s));
    let called = section.text("called").map(|called| called.value.to_owned());
    let word = name.as_ref().map_or("", PersonName::as_str);
    let own: Vec<String> =
        [word, called.as_deref().unwrap_or_default()].map(str::to_ascii_lowercase).to_vec();
    let channels = channels(section, &own, ways, cats);
    let phone = section.text("phone").map(|phone| phone.value.to_owned());
    let timezone = zone(section, "timezone", None).unwrap_or(place.timezone);
    let units = units(section).unwrap_or(place.units);
    let language = language(section).unwrap_or_else(|| place.language.clone());
    let quiet = quiet(section);
    let receives = section.choice("receives", &receives).unwrap_or_default();
    let meter = section.flag("meter").unwrap_or(owns);
    let private = section.flag("private").unwrap_or(false);
    let wake_for_warnings = section.flag("wake_for_warnings").unwrap_or(false);
    let called = called.unwrap_or_else(|| capitalised(word));
    Some(Person {
        name: name?,
        called,
        channels,
        phone,
        timezone,
        units,
        language,
        quiet,
        receives,
        meter,
        private,
        wake_for_warnings,
    })
}

fn channels(section: &Section<'_>, names: &[String], ways: &Ways, cats: &[String]) -> Vec<Channel> {
    let mut channels = Vec::new();
    if let Some(address) = topic(section, names, ways, cats) {
        channels.push(Channel { kind: ChannelKind::Ntfy, address });
    }
    if let Some(address) = email(section, ways) {
        channels.push(Channel { kind: ChannelKind::Email, address });
    }
    if channels.is_empty() && !section.has("ntfy") && !section.has("email") {
        section.wrong(
            "",
            "no channel",
            "expected ntfy = \"a topic\" or email = \"an address\": this person could not be told anything",
        );
    }
    channels
}

fn topic(section: &Section<'_>, names: &[String], ways: &Ways, cats: &[String]) -> Option<String> {
    let topic = section.text("ntfy")?.value;
    let words: Vec<&str> = cats.iter().chain(names).map(String::as_str).collect();
    if !is_topic(topic) {
        section.wrong("ntfy", &quoted(topic), "expected a topic: 1 to 64 letters, digits, '-' or '_'");
        return None;
    }
    if !ways.ntfy_written {
        section.wrong(
            "ntfy",
            &quoted(topic),
            "expected a [notify.ntfy] section with its server, to send there",
        );
    } else if ways.ntfy_public
        && !has_topic(topic)
        && let Some(why) = guessable(topic, &words)
    {
        let want = format!(
            "{why}: whoever guesses it on a public server reads along and can send. Better 16 random letters and \
             digits, or a topic that the server protects"
        );
        section.advise("ntfy", &quoted(topic), &want);
    }
    Some(topic.to_owned())
}

fn email(section: &Section<'_>, ways: &Ways) -> Option<String> {
    let address = section.text("email")?.value;
    if address.parse::<lettre::Address>().is_err() {
        section.wrong("email", &quoted(address), "expected one address like \"owner@example.org\"");
        return None;
    }
    if !ways.mail_written {
        section.wrong(
            "email",
            &quoted(address),
            "expected a [notify.email] section with its server, to send there",
        );
    }
    Some(address.to_owned())
}

fn quiet(section: &Section<'_>) -> Option<QuietHours> {
    let text = section.text("quiet")?.value;
    let want = "expected two different times like \"22:30-06:30\"";
    let Some(quiet) = quiet_hours(text).filter(|quiet| quiet.from != quiet.until) else {
        section.wrong("quiet", &quoted(text), want);
        return None;
    };
    let length = quiet_length(&quiet);
    if length > TimeDelta::hours(14) {
        let want =
            format!("that is {} hours a day: are the two times the wrong way round?", length.num_hours());
        section.advise("quiet", &quoted(text), &want);
    }
    Some(quiet)
}
