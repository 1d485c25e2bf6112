//! `lowtide log`: things recorded by hand, through the running daemon or into the record itself.

mod told;

use std::process::ExitCode;

use serde::de::DeserializeOwned;

use super::arguments::Log;
use super::report::history;
use super::{Done, Failure};
use crate::almanac::{EARLY_MINUTES, typed};
use crate::clock::{Clock, MachineClock};
use crate::config::Config;
use crate::run::reach::{Reached, reach};
use crate::run::socket::{Reply, Request};
use crate::turn::{Turned, turn};
use crate::words::{
    Answer, Batch, CatName, CatSettings, Dose, Event, FindingId, MeterCheck, Moment, Note, POSSIBLE_UNITS,
    PersonName, Reading, ReadingKind, SensorNote, Spare, UNDONE_MINUTES, Unit, Value, Verdict, Via, minutes,
};

/// Records one thing.
pub(super) fn log(config: &Config, cat: Option<&str>, what: Log) -> Done {
    let now = MachineClock::new().now();
    let event = event(config, cat, what, now)?;
    if let Some(known) = known(config, &event) {
        return take_back(config, event, &known, now);
    }
    if let Event::Answer(Answer { verdict: Verdict::Given, .. }) = &event {
        // The same guard as for `log dose`; the answer goes on, so that whoever gives it is told by message too.
        let stopped = not_twice(config, the_cat(config, cat)?, now);
        keep(config, event, now)?;
        return stopped.map(|()| {
            say!("Recorded as the dose.");
            ExitCode::SUCCESS
        });
    }
    let what = told::what(config, &event, now);
    match keep(config, event, now)? {
        Took { new: true, by_daemon } => say!("Kept: {what}.{}", later(by_daemon)),
        Took { new: false, .. } => say!("Known already: {what}. Nothing was recorded again."),
    }
    Ok(ExitCode::SUCCESS)
}

/// What became of an event.
struct Took {
    /// Whether it was new to the record.
    new: bool,
    by_daemon: bool,
}

fn later(by_daemon: bool) -> &'static str {
    if by_daemon { "" } else { " The daemon is not running: what follows from this is told once it runs." }
}

/// What an event that takes something back can mean: the times of everything of its kind. `None` if it takes nothing back.
fn known(config: &Config, event: &Event) -> Option<Vec<Moment>> {
    match event {
        Event::Dose(dose) if dose.not_given => {
            Some(history(config, &dose.cat).doses.iter().map(|dose| dose.given_at).collect())
        }
        Event::MeterUndone { cat, .. } => {
            Some(history(config, cat).checks.iter().map(|check| check.measured_at).collect())
        }
        _ => None,
    }
}

/// Takes a dose or a meter check back. A mistyped minute takes nothing back, and whoever thinks it did goes by something
/// wrong.
fn take_back(config: &Config, event: Event, known: &[Moment], now: Moment) -> Done {
    let (at, what) = match &event {
        Event::MeterUndone { measured_at, .. } => (*measured_at, "meter check"),
        Event::Dose(dose) => (dose.given_at, "dose"),
        _ => (now, "thing"),
    };
    let apart = |held: &Moment| held.minutes_since(at).abs();
    if known.iter().any(|held| apart(held) <= UNDONE_MINUTES) {
        let taken = told::what(config, &event, now);
        let Took { by_daemon, .. } = keep(config, event, now)?;
        say!("Taken back: {taken}.{}", later(by_daemon));
        return Ok(ExitCode::SUCCESS);
    }
    let mut nearest = known.to_vec();
    nearest.sort_by(|a, b| apart(a).total_cmp(&apart(b)));
    nearest.truncate(NEAREST);
    nearest.sort();
    let nearest: Vec<String> = nearest.iter().map(|held| told::time(config, *held, now)).collect();
    let others = if nearest.is_empty() { "none at all".to_owned() } else { nearest.join(", ") };
    Err(Failure::Failed(format!(
        "no {what} of {} is known, so none was taken back. Give the minute for which it was recorded; known are: {others}",
        told::time(config, at, now)
    )))
}

/// Hands an event to the running daemon; without one, opens the record and takes it in here. Messages that follow
/// from it go out when the daemon runs.
fn keep(config: &Config, event: Event, now: Moment) -> Result<Took, Failure> {
    let request = Request::Log { event: Box::new(event.clone()) };
    let mut opened = match reach(&config.data, &request).map_err(Failure::failed)? {
        Reached::Daemon(Reply::Kept) => return Ok(Took { new: true, by_daemon: true }),
        Reached::Daemon(Reply::Known) => return Ok(Took { new: false, by_daemon: true }),
        Reached::Daemon(Reply::Failed { why }) => return Err(Failure::Failed(why)),
        Reached::Daemon(Reply::Status { .. }) => {
            return Err(Failure::Failed("the daemon answered something else".into()));
        }
        Reached::Record(opened) => opened,
    };
    let house = &mut opened.state;
    if house.household.as_deref() != Some(&config.household) {
        let household = Box::new(config.household.clone());
        let settings = Event::Household { program: env!("CARGO_PKG_VERSION").to_owned(), household };
        let said = turn(house, &settings, now).said;
        opened.record.append(house.now, settings, said);
    }
    let new = opened.record.sift_by_hand(event);
    let took = Took { new: new.is_some(), by_daemon: false };
    if let Some(event) = new {
        let Turned { counts_as, said, .. } = turn(house, &event, now);
        opened.record.append(house.now, counts_as.unwrap_or(event), said);
    }
    opened.record.sync().map_err(Failure::failed)?;
    Ok(took)
}

fn event(config: &Config, cat: Option<&str>, what: Log, now: Moment) -> Result<Event, Failure> {
    let when = |at: Option<String>| at.map_or(Ok(now), |at| past(config, &at, now));
    let settings = || the_cat(config, cat);
    Ok(match what {
        Log::Reading { value, unit, at } => {
            let cat = settings()?;
            reading(cat, level(cat, &value, unit.as_deref())?, when(at)?)
        }
        Log::Dose { at, units, by, again, not_given } => {
            let units = units.map(|units| sane_units(units).map(|()| units)).transpose()?;
            // One that was recorded for a time to come can be taken back.
            let given_at = match at {
                Some(at) if not_given => time(config, &at, now)?,
                at => when(at)?,
            };
            let cat = settings()?;
            if !again && !not_given {
                not_twice(config, cat, given_at)?;
            }
            Event::Dose(Dose { cat: cat.name.clone(), given_at, units, by, not_given })
        }
        Log::Meter { at: Some(at), not_made: true, .. } => {
            // One that was recorded for a time to come can be taken back.
            let measured_at = time(config, &at, now)?;
            Event::MeterUndone { cat: settings()?.name.clone(), measured_at, at: now }
        }
        Log::Meter { value, unit, meter, at, .. } => {
            let cat = settings()?;
            let glucose = level(cat, &value.unwrap_or_default(), unit.as_deref())?;
            let meter = word(&meter, "a kind of meter (pet, human, whole-blood, unknown)")?;
            Event::Meter(MeterCheck { cat: cat.name.clone(), measured_at: when(at)?, glucose, meter })
        }
        Log::Sensor { event, at } => {
            let event = word(&event, "applied, error, ok, expired, failed, came-off or removed")?;
            Event::Sensor(SensorNote { cat: settings()?.name.clone(), at: when(at)?, event })
        }
        Log::Spare { count } => Event::Spare(Spare { cat: settings()?.name.clone(), at: now, count }),
        Log::Note { text, at, by } => {
            Event::Note(Note { cat: settings()?.name.clone(), at: when(at)?, text, by })
        }
        Log::Answer { verdict, person, finding } => Event::Answer(Answer {
            finding: finding.map(FindingId),
            person: the_person(config, &person)?,
            via: Via::Command,
            verdict: word(&verdict, "taken, later, sensor-fine, given, meter-low or meter-fine")?,
            at: None,
        }),
    })
}

/// The guard: a dose next to one that is recorded already is asked about, not recorded.
fn not_twice(config: &Config, cat: &CatSettings, given_at: Moment) -> Result<(), Failure> {
    let (status, _) = super::status::fetch(config)?;
    let held = status.cats.iter().find(|held| held.cat == cat.name).and_then(|held| held.last_dose);
    let apart = cat.doses.min_hours_between * 60.0;
    match held.filter(|held| given_at.minutes_since(*held).abs() < apart) {
        None => Ok(()),
        Some(held) => {
            let held = held.at(config.household.home.timezone).format("%H:%M");
            Err(Failure::Failed(format!(
                "a dose of {held} is recorded already: nothing was recorded, and none should be given. If a second \
                 one was given all the same, say so with --again and call your vet. If the first was not given: \
                 lowtide log dose --at {held} --not-given"
            )))
        }
    }
}

fn reading(cat: &CatSettings, value: Value, at: Moment) -> Event {
    Event::Readings(Batch {
        cat: cat.name.clone(),
        via: Via::Command,
        source: "by hand".to_owned(),
        sensor: None,
        scanned_at: Some(at),
        readings: vec![Reading { measured_at: at, value, kind: ReadingKind::Spot }],
        repeated: 0,
        conflicts: Vec::new(),
        newest: None,
    })
}

fn level(cat: &CatSettings, text: &str, unit: Option<&str>) -> Result<Value, Failure> {
    let named = unit.is_some();
    let unit = match unit {
        Some(name) => Unit::parse(name)
            .ok_or_else(|| Failure::Unreadable(format!("'{name}' is not a unit: use mg/dL or mmol/L")))?,
        None => cat.units,
    };
    // Typed by a person: a comma is the decimal one.
    let value = Value::parse(&text.replacen(',', ".", 1), unit);
    let value = value.map_err(|error| Failure::Unreadable(error.to_string()))?;
    // Without a word about the unit, a level that hardly any cat survives is more likely the other unit.
    if value.is_unlikely() && !named {
        return Err(Failure::Unreadable(format!(
            "{text} {unit} would be very unusual: nothing was recorded. Say --unit mg/dL or --unit mmol/L"
        )));
    }
    Ok(value)
}

fn sane_units(units: f64) -> Result<(), Failure> {
    if POSSIBLE_UNITS.contains(&units) {
        return Ok(());
    }
    Err(Failure::Unreadable(format!("{units} cannot be the units of one dose: nothing was recorded")))
}

fn word<T: DeserializeOwned>(text: &str, what: &str) -> Result<T, Failure> {
    serde_json::from_value(serde_json::Value::String(text.to_ascii_lowercase()))
        .map_err(|_| Failure::Unreadable(format!("'{text}' is not known here: use {what}")))
}

/// The cat that is meant: the named one, or the only one.
pub(super) fn the_cat<'a>(config: &'a Config, name: Option<&str>) -> Result<&'a CatSettings, Failure> {
    let cats = &config.household.cats;
    let names = || cats.iter().map(|cat| cat.name.as_str()).collect::<Vec<_>>().join(", ");
    match (name, cats.as_slice()) {
        (None, [only]) => Ok(only),
        (None, _) => Err(Failure::Unreadable(format!("which cat? Say --cat with one of: {}", names()))),
        (Some(name), _) => {
            let found = CatName::new(name).ok().and_then(|name| config.household.cat(&name));
            found.ok_or_else(|| {
                Failure::Unreadable(format!("there is no cat '{name}'; there are: {}", names()))
            })
        }
    }
}

pub(super) fn the_person(config: &Config, name: &str) -> Result<PersonName, Failure> {
    let persons = &config.household.persons;
    let found = PersonName::new(name).ok().filter(|name| config.household.person(name).is_some());
    found.ok_or_else(|| {
        let names = persons.iter().map(|person| person.name.as_str()).collect::<Vec<_>>().join(", ");
        Failure::Unreadable(format!("there is no person '{name}'; there are: {names}"))
    })
}

/// The time at which something was: as typed, but nothing that is still to come.
fn past(config: &Config, text: &str, now: Moment) -> Result<Moment, Failure> {
    let at = time(config, text, now)?;
    if at <= now + minutes(EARLY_MINUTES) {
        return Ok(at);
    }
    let zone = config.household.home.timezone;
    let shown = |at: Moment| at.at(zone).format("%Y-%m-%d %H:%M");
    Err(Failure::Unreadable(format!(
        "{} lies in the future: it is now {} ({zone}). Nothing was recorded",
        shown(at),
        shown(now)
    )))
}

/// A time as typed: RFC 3339, a local date and time, or a local time of today (of yesterday, if it is yet to come).
pub(super) fn time(config: &Config, text: &str, now: Moment) -> Result<Moment, Failure> {
    let wrong = || {
        Failure::Unreadable(format!(
            "'{text}' is not a time: write 06:15, \"2026-03-01 06:15\" or 2026-03-01T06:15:00+01:00"
        ))
    };
    typed(config.household.home.timezone, text, now).ok_or_else(wrong)
}

/// So many times are named where the given one is of nothing.
const NEAREST: usize = 5;
