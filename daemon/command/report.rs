//! `lowtide report`: a page to print or a table for machines, out of the record; beside a running daemon or without.

use std::fs;
use std::path::Path;
use std::process::ExitCode;

use chrono::NaiveDate;

use super::access::cannot_write;
use super::arguments::Report;
use super::log::{the_cat, the_person, time};
use super::status::fetch;
use super::{Done, Failure};
use crate::clock::{Clock, MachineClock};
use crate::config::Config;
use crate::record::Record;
use crate::report::{
    History, SheetFacts, curve, curve_csv, curve_page, sheet_reader, trip_sheet, usual_from,
};
use crate::tell::Reader;
use crate::words::{CatName, Moment, Person};

/// What kind of file is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Html,
    Csv,
}

/// Writes the report.
pub(super) fn report(config: &Config, wanted: &Report) -> Done {
    let cat = the_cat(config, wanted.cat.as_deref())?;
    let kind = kind(&wanted.out)?;
    let household = &config.household;
    let named = wanted.person.as_deref().map(|name| the_person(config, name)).transpose()?;
    let named = named.as_ref().and_then(|name| household.person(name));
    let now = MachineClock::new().now();
    if wanted.for_sitter {
        if kind == Kind::Csv {
            return Err(Failure::Unreadable("the sheet for a sitter is a page: write it to F.html".into()));
        }
        return sheet(config, cat, named, &wanted.out);
    }
    let until = wanted.to.as_deref().map_or(Ok(now), |text| bound(config, text, now))?;
    let history = history(config, &cat.name);
    let reader =
        named.map_or_else(|| Reader::home(household, now), |person| Reader::person(person, household, now));
    let from = match wanted.from.as_deref() {
        Some(text) => bound(config, text, now)?,
        None => usual_from(&history, until, reader.zone),
    };
    if from >= until {
        return Err(Failure::Unreadable("--from must be before --to".into()));
    }
    if until.minutes_since(from) > DAYS_MOST * 1440.0 {
        return Err(Failure::Unreadable(format!("that is more than {DAYS_MOST} days: ask for less at once")));
    }
    let found = curve(cat, &history, from, until, reader.zone);
    let text = match kind {
        Kind::Html => curve_page(cat, &history, &found, &reader),
        Kind::Csv => curve_csv(cat, &found, reader.units).map_err(Failure::failed)?,
    };
    write(&wanted.out, &text)
}

/// Where a stretch of the record begins or ends, as typed; a day alone is meant from its first minute on.
pub(super) fn bound(config: &Config, text: &str, now: Moment) -> Result<Moment, Failure> {
    let day = NaiveDate::parse_from_str(text, "%Y-%m-%d").is_ok();
    let midnight = format!("{text} 00:00");
    time(config, if day { &midnight } else { text }, now)
}

fn kind(out: &Path) -> Result<Kind, Failure> {
    let ending = out.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_ascii_lowercase();
    match ending.as_str() {
        "html" | "htm" => Ok(Kind::Html),
        "csv" => Ok(Kind::Csv),
        "pdf" => Err(Failure::Unreadable(format!(
            "{}: Lowtide writes no PDF. Write F.html, open it in a browser and print it to a PDF from there",
            out.display()
        ))),
        _ => Err(Failure::Unreadable(format!(
            "{}: the ending says what is written, so use F.html (a page to print) or F.csv (a table)",
            out.display()
        ))),
    }
}

fn sheet(config: &Config, cat: &crate::words::CatSettings, named: Option<&Person>, out: &Path) -> Done {
    let household = &config.household;
    let (status, _) = fetch(config)?;
    let person = named.or_else(|| sheet_reader(household, status.at));
    let person = person.ok_or_else(|| Failure::Failed("there is no person in the configuration".into()))?;
    let shown = status.cats.iter().find(|shown| shown.cat == cat.name);
    let shown = shown.ok_or_else(|| {
        Failure::Failed(format!("the running daemon does not know {} yet: restart it", cat.called))
    })?;
    let history = history(config, &cat.name);
    let facts = SheetFacts { household, cat, person, status: shown, doses: &history.doses };
    write(out, &trip_sheet(&facts, status.at))
}

/// What the journal holds of a cat; damage is said on the way.
pub(super) fn history(config: &Config, cat: &CatName) -> History {
    let events = Record::entries(&config.data).filter_map(|entry| match entry {
        Ok(entry) => Some(entry.event),
        Err(damage) => {
            eprintln!("lowtide: {damage}");
            None
        }
    });
    History::of(events, cat)
}

fn write(out: &Path, text: &str) -> Done {
    fs::write(out, text).map_err(|error| cannot_write(out, &error))?;
    say!("Written to {}.", out.display());
    Ok(ExitCode::SUCCESS)
}

/// A page of more days than this is not read by anybody.
const DAYS_MOST: f64 = 100.0;
