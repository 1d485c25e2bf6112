//! `lowtide scans` and `lowtide sensors`: when to scan, and how long sensors last.

use std::process::ExitCode;

use chrono::NaiveTime;

use super::arguments::Scans;
use super::log::the_cat;
use super::status::fetch;
use super::{Done, Failure};
use crate::clock::{Clock, MachineClock};
use crate::config::Config;
use crate::duty::quiet;
use crate::record::Record;
use crate::report::{SensorLife, Worn, cost_per_day, next_scans, wears};
use crate::tell::Reader;
use crate::watch::planner::Stretch;
use crate::words::{CatSettings, Event, Moment, QuietHours, SensorKind, minutes};

/// Prints the fewest scans that leave no gap, or the least loss.
pub(super) fn scans(config: &Config, wanted: &Scans) -> Done {
    let cat = the_cat(config, wanted.cat.as_deref())?;
    if cat.sensor.kind != SensorKind::Scanned {
        return Err(Failure::Unreadable(format!(
            "{}'s sensor is streamed: nobody has to scan it",
            cat.called
        )));
    }
    let (status, _) = fetch(config)?;
    let now = status.at;
    let newest = status.cats.iter().find(|shown| shown.cat == cat.name).and_then(|shown| shown.newest_at);
    let until = now + minutes(wanted.hours.clamp(1.0, 240.0) * 60.0);
    let mut busy = Vec::new();
    for text in &wanted.away {
        busy.extend(away(config, text, now, until)?);
    }
    let plan = next_scans(&config.household, cat, newest.unwrap_or(now), &busy, until, now);
    let reader = Reader::typed(&config.household, now);
    match newest {
        Some(at) => say!(
            "{}: scanned up to {}; the sensor keeps {}.",
            cat.called,
            reader.time(at),
            reader.span(cat.sensor.memory_hours * 60.0)
        ),
        None => say!("{}: no reading yet, so the plan starts now.", cat.called),
    }
    if plan.scans.is_empty() {
        say!("No scan is needed until {}.", reader.time(until));
    }
    for at in &plan.scans {
        say!("  scan at {}", reader.time(*at));
    }
    for lost in &plan.lost {
        say!("  lost whatever you do: {} to {}", reader.time(lost.from), reader.time(lost.until));
    }
    Ok(ExitCode::SUCCESS)
}

/// A stretch of each day in which nobody can scan.
fn away(config: &Config, text: &str, now: Moment, until: Moment) -> Result<Vec<Stretch>, Failure> {
    let wrong = || Failure::Unreadable(format!("'{text}' is not a stretch of the day: write 13:00-17:30"));
    let (from, to) = text.split_once('-').ok_or_else(wrong)?;
    let time = |part: &str| NaiveTime::parse_from_str(part.trim(), "%H:%M").map_err(|_| wrong());
    let hours = QuietHours { from: time(from)?, until: time(to)? };
    let mut stretches = Vec::new();
    let mut at = now;
    while at < until {
        let Some(stretch) = quiet(Some(hours), config.household.home.timezone, at) else { break };
        stretches.push(Stretch { from: stretch.from, until: stretch.until });
        at = stretch.until;
    }
    Ok(stretches)
}

/// Prints the wears of a cat and what follows from them.
pub(super) fn sensors(config: &Config, cat: Option<&str>, trip: Option<f64>) -> Done {
    let cat = the_cat(config, cat)?;
    let now = MachineClock::new().now();
    let notes = Record::entries(&config.data).filter_map(|entry| match entry.ok()?.event {
        Event::Sensor(note) if note.cat == cat.name => Some(note),
        _ => None,
    });
    let worn = wears(notes, now);
    let reader = Reader::typed(&config.household, now);
    if worn.is_empty() {
        say!("{}: no sensor is recorded yet. Record one with `lowtide log sensor applied`.", cat.called);
    }
    for wear in &worn {
        let end = wear
            .ended
            .map_or("still on".to_owned(), |(at, how)| format!("{} {}", how_word(how), reader.time(at)));
        say!("  put on {}, {end}: {} days", reader.time(wear.applied), reader.number(wear.days(now), 1));
    }
    if let Some(line) = cost(cat, &worn, &reader, now) {
        say!("{line}");
    }
    let lives: Vec<_> = worn.iter().map(|wear| wear.lifetime(now)).collect();
    let life = SensorLife::new(&lives, cat.sensor.wear_days);
    say!("{}", basis(&life));
    for days in [5.0, 7.0, 10.0, 12.0].into_iter().filter(|days| *days < cat.sensor.wear_days) {
        if let Some((share, [low, high])) = life.lasting(days) {
            say!(
                "  longer than {}: {} % of them so far; the true share may be anything from {} to {} %.",
                reader.span(days * 1440.0),
                reader.number(share * 100.0, 0),
                reader.number(low * 100.0, 0),
                reader.number(high * 100.0, 0)
            );
        }
    }
    present(cat, &worn, &life, &reader, now);
    if let Some(days) = trip.filter(|days| (0.0..=365.0).contains(days)) {
        let age = worn
            .last()
            .filter(|wear| wear.ended.is_none())
            .map_or(cat.sensor.wear_days, |wear| wear.days(now));
        let spares = life.spares_for(age, days, TRIP_CHANCE);
        say!("For {} days, {spares} spare sensors are enough in 95 of 100 cases.", reader.number(days, 0));
    }
    Ok(ExitCode::SUCCESS)
}

/// What a day costs, if it is known what a sensor costs.
fn cost(cat: &CatSettings, worn: &[Worn], reader: &Reader<'_>, now: Moment) -> Option<String> {
    let price = cat.sensor.price?;
    let money = |amount: f64| {
        let currency = cat.sensor.currency.as_deref().unwrap_or_default();
        format!("{} {currency}", reader.number(amount, 2)).trim_end().to_owned()
    };
    let full = money(price / cat.sensor.wear_days);
    Some(match cost_per_day(price, worn, now) {
        Some(day) => format!(
            "A day has cost {} so far, at {} a sensor; {full} if each lasted its {} days.",
            money(day),
            money(price),
            reader.number(cat.sensor.wear_days, 0)
        ),
        None => format!(
            "At {} a sensor, a day costs {full} if it lasts its {} days; none has ended yet.",
            money(price),
            reader.number(cat.sensor.wear_days, 0)
        ),
    })
}

fn basis(life: &SensorLife) -> String {
    if life.is_borrowed() {
        return format!(
            "{} {} recorded: too few to tell. What follows rests on published medians of cats' sensors (7 and 10 days).",
            life.wears,
            if life.wears == 1 { "wear is" } else { "wears are" }
        );
    }
    format!("What follows rests on {} wears of this household.", life.wears)
}

fn present(cat: &CatSettings, worn: &[Worn], life: &SensorLife, reader: &Reader<'_>, now: Moment) {
    let Some(wear) = worn.last().filter(|wear| wear.ended.is_none()) else { return };
    let age = wear.days(now);
    for more in [2.0, 5.0] {
        if age + more < cat.sensor.wear_days {
            let chance = reader.chance(life.chance_lasts(age, age + more));
            let at = reader.time(now + minutes(more * 1440.0));
            say!("That the present one lasts until {at}: {chance}.");
        }
    }
}

fn how_word(event: crate::words::SensorEvent) -> &'static str {
    use crate::words::SensorEvent as Ended;
    match event {
        Ended::Failed => "failed",
        Ended::CameOff => "came off",
        Ended::Removed => "taken off",
        _ => "ended",
    }
}

const TRIP_CHANCE: f64 = 0.95;
