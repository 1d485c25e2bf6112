//! Puts tellings together into a message: one title, a text that says what and what to do, more lines for mail.

use fluent_bundle::FluentArgs;

use super::catalogue::phrase;
use super::show::Reader;
use crate::words::{Arg, CatName, ChannelKind, Finding, Moment, Person, Reason, Telling, Verdict};

/// One thing to be told in a message.
#[derive(Clone, Debug)]
pub struct Told<'a> {
    /// The finding.
    pub finding: &'a Finding,
    /// What to tell of it: its own telling, or the one that says it is over or taken.
    pub telling: &'a Telling,
    /// Why now.
    pub reason: Reason,
    /// Since when nobody has answered it, if it is critical.
    pub unanswered: Option<Moment>,
}

/// The words of a message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Words {
    /// One line, never with a value in it.
    pub title: String,
    /// Plain text.
    pub text: String,
    /// More lines, for mail.
    pub more: Vec<String>,
}

fn args(reader: &Reader<'_>, telling: &Telling) -> FluentArgs<'static> {
    telling.args.iter().map(|(name, arg)| (name.clone(), reader.arg(arg))).collect()
}

fn part(reader: &Reader<'_>, telling: &Telling, attribute: &str) -> Option<String> {
    let text = phrase(reader.language, &telling.key, Some(attribute), &args(reader, telling))?;
    // One line: the source of a catalogue may break lines where its editor likes. A reason may end as a question.
    let line = text.split_whitespace().collect::<Vec<_>>().join(" ").replace("?.", "?");
    Some(line).filter(|text| !text.is_empty())
}

/// What happened, in one line; the catalogue key if it has no such text.
#[must_use]
pub fn what(reader: &Reader<'_>, telling: &Telling) -> String {
    part(reader, telling, "what").unwrap_or_else(|| telling.key.clone())
}

/// What to do, in one line; `None` where nobody can act.
#[must_use]
pub fn act(reader: &Reader<'_>, telling: &Telling) -> Option<String> {
    part(reader, telling, "do")
}

/// What is told, in one line without the title: what happened, then what to do.
///
/// A key the catalogue does not have shows as itself, so that nothing is ever told as nothing.
#[must_use]
pub fn plain(reader: &Reader<'_>, telling: &Telling) -> String {
    let what = what(reader, telling);
    match part(reader, telling, "do") {
        Some(act) => format!("{what} {act}"),
        None => what,
    }
}

/// The title of a telling: one line, never with a value in it.
#[must_use]
pub fn title(reader: &Reader<'_>, telling: &Telling) -> String {
    part(reader, telling, "title").unwrap_or_else(|| telling.key.clone())
}

fn heading(reader: &Reader<'_>, told: &Told<'_>) -> String {
    let title = title(reader, told.telling);
    let key = match told.reason {
        Reason::Repeat => "again",
        Reason::Escalated => "escalated",
        Reason::Returned => "returned",
        Reason::Worse => "worse",
        _ => return title,
    };
    let mut with = FluentArgs::new();
    with.set("title", title.clone());
    phrase(reader.language, key, None, &with).unwrap_or(title)
}

/// Whether it is said because nobody has answered.
fn asks_again(reason: Reason) -> bool {
    matches!(reason, Reason::Repeat | Reason::Escalated)
}

/// Since when, what it rests on and when it is looked at again.
#[must_use]
pub fn lines(reader: &Reader<'_>, finding: &Finding) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = |key: &str, telling: Telling| {
        if let Some(text) = phrase(reader.language, key, None, &args(reader, &telling)) {
            lines.push(text);
        }
    };
    let at = |telling: Telling, at| telling.with("time", Arg::Time(at));
    line("line-since", at(Telling::default(), finding.since));
    if let Some(basis) = finding.basis {
        let telling = at(Telling::default(), basis.measured_at)
            .with("value", Arg::Value(basis.value))
            .with("age", Arg::Ago(basis.measured_at));
        line("line-basis", telling);
    }
    if let Some(again) = finding.look_again {
        line("line-look-again", at(Telling::default(), again));
    }
    lines
}

/// The usual caution, in one sentence.
#[must_use]
pub fn caution(reader: &Reader<'_>) -> String {
    reader.word("caution")
}

/// How a person can answer without the buttons of this very message, in one line and without a value; for mail,
/// which has no buttons. The command is the one for `verdict`.
#[must_use]
pub fn answer_ways(reader: &Reader<'_>, person: &Person, cat: Option<&CatName>, verdict: Verdict) -> String {
    let answers = reader.household.map(|house| house.home.answers.clone()).unwrap_or_default();
    let mut ways = Vec::new();
    if answers.buttons && person.channels.iter().any(|channel| channel.kind == ChannelKind::Ntfy) {
        ways.push(reader.word("way-button"));
    }
    if let (Some(prefix), Some(cat)) = (&answers.mqtt, cat) {
        let topic = Arg::Text(format!("{prefix}/in/{cat}/answer"));
        ways.push(reader.line(&Telling::new("way-mqtt").with("topic", topic)));
    }
    let name = Arg::Text(person.name.to_string());
    let command = Telling::new("way-command").with("person", name);
    ways.push(reader.line(&command.with("verdict", Arg::Text(verdict.word().to_owned()))));
    reader.line(&Telling::new("answer-ways").with("list", Arg::Text(ways.join("; "))))
}

/// The words of one message about one or more things, the worst first.
///
/// A private message says in its text only that something is the matter; everything else moves to the lines that
/// mail shows and a lock screen does not.
#[must_use]
pub fn message_words(reader: &Reader<'_>, told: &[Told<'_>], private: bool) -> Words {
    let Some(first) = told.first() else {
        return Words { title: String::new(), text: String::new(), more: Vec::new() };
    };
    let mut texts: Vec<String> = Vec::new();
    for item in told {
        let mut text = plain(reader, item.telling);
        if let Some(since) = item.unanswered.filter(|_| asks_again(item.reason)) {
            text =
                format!("{text} {}", reader.line(&Telling::new("unanswered").with("time", Arg::Time(since))));
        }
        let text = match part(reader, item.telling, "title") {
            // With several things in one message each needs its own heading; the first has it in the title.
            Some(heading) if !std::ptr::eq(item, first) => format!("{heading}. {text}"),
            _ => text,
        };
        if !texts.contains(&text) {
            texts.push(text);
        }
    }
    let mut more: Vec<String> = told.iter().flat_map(|item| lines(reader, item.finding)).collect();
    more.dedup();
    more.push(caution(reader));
    let title = heading(reader, first);
    if private {
        let mut all = texts;
        all.append(&mut more);
        return Words { title, text: reader.word("private-text"), more: all };
    }
    Words { title, text: texts.join("\n"), more }
}
