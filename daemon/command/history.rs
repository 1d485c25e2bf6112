//! `lowtide history`, `export`, `import`: the record, read out and brought in.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;

use indicatif::{ProgressBar, ProgressStyle};
use serde_json::json;

use super::access::{cannot_read, cannot_write};
use super::arguments::History;
use super::log::the_cat;
use super::report::bound;
use super::{Done, Failure, one_line};
use crate::clock::{Clock, MachineClock};
use crate::config::Config;
use crate::record::{self, Entry, Imported, Record, RecordError};
use crate::report::change_json;
use crate::tell::Reader;
use crate::turn::recall;
use crate::words::{CatName, Event, Household, Message, Moment, Outcome};

/// Lists findings, messages, attempts and answers, oldest first. Reads beside a running daemon.
pub(super) fn history(config: &Config, wanted: &History) -> Done {
    let now = MachineClock::new().now();
    let cat = wanted
        .cat
        .as_deref()
        .map(|name| the_cat(config, Some(name)).map(|cat| cat.name.clone()))
        .transpose()?;
    let limit = |text: &Option<String>| text.as_deref().map(|text| bound(config, text, now)).transpose();
    let (from, to) = (limit(&wanted.from)?, limit(&wanted.to)?);
    let mut out = BufWriter::new(io::stdout().lock());
    let (mut shown, mut damaged) = (0_u64, false);
    for entry in Record::entries(&config.data) {
        let entry = match entry {
            Ok(entry) => entry,
            Err(damage) => {
                eprintln!("lowtide: {damage}");
                damaged = true;
                continue;
            }
        };
        if from.is_some_and(|from| entry.at < from) || to.is_some_and(|to| entry.at >= to) {
            continue;
        }
        for line in lines(&entry, &config.household, cat.as_ref(), now, wanted.json) {
            let line = if wanted.json { line } else { one_line::shown(&line) };
            shown += 1;
            // A closed pipe (`| head`) is a reader that has seen enough, not a failure.
            if writeln!(out, "{line}").is_err() {
                return Ok(ExitCode::SUCCESS);
            }
        }
    }
    if shown == 0 && !damaged && !wanted.json {
        let _ = writeln!(out, "Nothing was found or said in that time.");
    }
    let _ = out.flush();
    Ok(ExitCode::SUCCESS)
}

fn lines(
    entry: &Entry,
    household: &Household,
    cat: Option<&CatName>,
    now: Moment,
    as_json: bool,
) -> Vec<String> {
    let reader = Reader::typed(household, now);
    let at = reader.time(entry.at);
    let concerns = |about: Option<&CatName>| cat.is_none() || about == cat;
    let mut lines = Vec::new();
    for change in entry.said.changes.iter().filter(|change| concerns(change.finding.cat.as_ref())) {
        let line = change_json(change, household, entry.at);
        lines.push(if as_json {
            json!(line).to_string()
        } else {
            let called = line.cat.as_ref().map_or("lowtide", CatName::as_str);
            format!(
                "{at}  {called}  {} {} ({}): {}",
                line.watch,
                line.change,
                line.severity.word(),
                line.text
            )
        });
    }
    for message in entry.said.messages.iter().filter(|message| concerns(message.cat.as_ref())) {
        lines.push(if as_json {
            message_line(message, entry.at)
        } else {
            format!("{at}  message {} to {}: {}", message.id, message.person, message.title)
        });
    }
    for id in &entry.said.withdrawn {
        lines.push(if as_json {
            json!({"at": entry.at, "change": "withdrawn", "message": id}).to_string()
        } else {
            format!("{at}  message {id} withdrawn")
        });
    }
    lines.extend(event_line(entry, &at, cat, as_json));
    lines
}

fn message_line(message: &Message, at: Moment) -> String {
    json!({
        "at": at, "change": "message", "message": message.id, "cat": message.cat, "person": message.person,
        "severity": message.severity, "reason": message.reason, "title": message.title, "text": message.text,
    })
    .to_string()
}

/// Answers and attempts are events, not words of the house.
fn event_line(entry: &Entry, at: &str, cat: Option<&CatName>, as_json: bool) -> Option<String> {
    match &entry.event {
        Event::Answer(answer) if cat.is_none() => Some(if as_json {
            json!({"at": entry.at, "change": "answer", "person": answer.person, "verdict": answer.verdict, "finding": answer.finding}).to_string()
        } else {
            let which = answer.finding.as_ref().map_or("everything open".to_owned(), ToString::to_string);
            format!(
                "{at}  {} answered '{}' to {which}",
                answer.person,
                json!(answer.verdict).as_str().unwrap_or_default()
            )
        }),
        Event::Refused { why, .. } if cat.is_none() => Some(if as_json {
            json!({"at": entry.at, "change": "refused", "why": why}).to_string()
        } else {
            format!("{at}  an answer changed nothing: {why}")
        }),
        Event::Outcome { parcel, outcome } if cat.is_none() => {
            if as_json {
                return Some(json!({"at": entry.at, "change": "attempt", "message": parcel.message, "channel": parcel.channel.kind, "attempt": parcel.attempt, "outcome": outcome}).to_string());
            }
            let how = match outcome {
                Outcome::Delivered { .. } => "taken by the server".to_owned(),
                Outcome::Later { why, .. } => format!("did not work: {why}"),
                Outcome::Refused { why } => format!("refused: {why}"),
            };
            Some(format!(
                "{at}  message {} by {}, attempt {}: {how}",
                parcel.message,
                parcel.channel.kind.word(),
                parcel.attempt
            ))
        }
        _ => None,
    }
}

/// Writes everything in the record as NDJSON.
pub(super) fn export(config: &Config, out: Option<&Path>) -> Done {
    let bar = bar("bytes");
    let progress = |done: u64, total: u64| {
        bar.set_length(total);
        bar.set_position(done);
    };
    let exported = match out {
        Some(path) => {
            let cannot = |error| cannot_write(path, &error);
            let mut writer = BufWriter::new(File::create(path).map_err(cannot)?);
            let exported = record::export(&config.data, &mut writer, progress).map_err(Failure::failed)?;
            writer.flush().and_then(|()| writer.get_ref().sync_all()).map_err(cannot)?;
            exported
        }
        None => record::export(&config.data, &mut io::stdout().lock(), progress).map_err(Failure::failed)?,
    };
    bar.finish_and_clear();
    for damage in &exported.damage {
        eprintln!("lowtide: {damage}");
    }
    eprintln!("{} entries written.", exported.entries);
    Ok(if exported.damage.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Brings an export in: restores it where there is no record yet, and adds its readings and notes to one that is.
pub(super) fn import(config: &Config, from: &Path) -> Done {
    let cannot = |error| cannot_read(from, &error);
    let file = File::open(from).map_err(cannot)?;
    let bar = bar("bytes");
    bar.set_length(file.metadata().map_err(cannot)?.len());
    let input = BufReader::new(file);
    let imported = match record::import(&config.data, input, |done| bar.set_position(done)) {
        Err(RecordError::NotEmpty { .. }) => add(config, from, &bar)?,
        imported => imported.map_err(Failure::failed)?,
    };
    bar.finish_and_clear();
    for damage in &imported.damage {
        eprintln!("lowtide: {damage}");
    }
    let left_out = match imported.left_out {
        0 => String::new(),
        count => format!(
            " {count} were left out: settings, messages and answers stay with the record they are from."
        ),
    };
    say!("{} entries brought in, {} were here already.{left_out}", imported.entries, imported.repeated);
    Ok(if imported.damage.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn add(config: &Config, from: &Path, bar: &ProgressBar) -> Result<Imported, Failure> {
    let file = File::open(from).map_err(|error| cannot_read(from, &error))?;
    let mut opened = crate::run::open_record(&config.data).map_err(Failure::failed)?;
    let (mut record, mut house) = (opened.record, std::mem::take(&mut opened.state));
    let now = MachineClock::new().now().max(house.now);
    let take = |entry: &Entry| recall(&mut house, &entry.event, &entry.said, entry.at);
    let merged = record::merge(&mut record, now, BufReader::new(file), take, |done| bar.set_position(done));
    let imported = merged.map_err(Failure::failed)?;
    record.checkpoint(&house).map_err(Failure::failed)?;
    Ok(imported)
}

/// A progress bar where a terminal watches; nothing elsewhere.
pub(super) fn bar(what: &str) -> ProgressBar {
    if !io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let template = format!("{{bar:40}} {{pos}} of {{len}} {what}, {{eta}} left");
    let style = ProgressStyle::with_template(&template).unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(0).with_style(style)
}
