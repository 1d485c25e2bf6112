//! What `lowtide log` says back of what it was told to record: a mistyped day or value is seen while it can still be put
//! right.

use crate::config::Config;
use crate::words::{CatName, CatSettings, Event, Moment, SensorEvent, Value};

/// An event in words: what, for whom and when.
pub(super) fn what(config: &Config, event: &Event, now: Moment) -> String {
    let settings = |cat: &CatName| config.household.cat(cat);
    let called = |cat: &CatName| settings(cat).map_or_else(|| cat.to_string(), |cat| cat.called.clone());
    let level = |cat: &CatName, value: Value| shown(settings(cat), value);
    let time = |at: Moment| time(config, at, now);
    match event {
        Event::Readings(batch) => {
            let (cat, first) = (&batch.cat, batch.readings.first());
            let level = first.map_or_else(String::new, |reading| level(cat, reading.value));
            let at = first.map_or(now, |reading| reading.measured_at);
            format!("reading {level} for {}, {}", called(cat), time(at))
        }
        Event::Dose(dose) => {
            let units = dose.units.map_or_else(String::new, |units| format!(" of {units} units"));
            let by = dose.by.as_ref().map_or_else(String::new, |by| format!(", by {by}"));
            format!("dose{units} for {}, {}{by}", called(&dose.cat), time(dose.given_at))
        }
        Event::Meter(check) => {
            let level = level(&check.cat, check.glucose);
            format!("meter check {level} for {}, {}", called(&check.cat), time(check.measured_at))
        }
        Event::MeterUndone { cat, measured_at, .. } => {
            format!("meter check for {}, {}", called(cat), time(*measured_at))
        }
        Event::Sensor(note) => {
            format!("sensor {} for {}, {}", happened(note.event), called(&note.cat), time(note.at))
        }
        Event::Spare(spare) => {
            format!("{} spare sensors for {}, {}", spare.count, called(&spare.cat), time(spare.at))
        }
        Event::Note(note) => format!("note for {}, {}", called(&note.cat), time(note.at)),
        Event::Answer(answer) => {
            format!("answer \"{}\" of {}, {}", answer.verdict.word(), answer.person, time(now))
        }
        Event::Household { .. }
        | Event::Unread(_)
        | Event::Bridge { .. }
        | Event::Refused { .. }
        | Event::Outcome { .. }
        | Event::Health(_)
        | Event::ClockSet(_)
        | Event::Tick => "it".to_owned(),
    }
}

/// A day and time on the clock of home, with its zone; with the year if it is another one.
pub(super) fn time(config: &Config, at: Moment, now: Moment) -> String {
    let zone = config.household.home.timezone;
    let year = |moment: Moment| moment.at(zone).format("%Y").to_string();
    let format = if year(at) == year(now) { "%a %-d %b %H:%M" } else { "%a %-d %b %Y %H:%M" };
    format!("{} ({zone})", at.at(zone).format(format))
}

fn shown(cat: Option<&CatSettings>, value: Value) -> String {
    let unit = cat.map(|cat| cat.units).unwrap_or_default();
    match value {
        Value::Below => "LO".to_owned(),
        Value::Above => "HI".to_owned(),
        Value::Level(level) => format!("{} {unit}", unit.show(level)),
    }
}

const fn happened(event: SensorEvent) -> &'static str {
    match event {
        SensorEvent::Applied => "applied",
        SensorEvent::Error => "error",
        SensorEvent::Ok => "ok",
        SensorEvent::Expired => "expired",
        SensorEvent::Failed => "failed",
        SensorEvent::CameOff => "came off",
        SensorEvent::Removed => "removed",
    }
}
