//! `[[cat]]`: a cat, its sensor, doses and watches. In: its section. Out: checked settings, mg/dL inside.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use chrono::TimeDelta;
use chrono_tz::Tz;

use super::home::{Place, other_unit, units};
use super::plan::plan;
use super::section::{Section, nearest_hint, one_of, quoted};
use crate::almanac::{Recurrence, next_times};
use crate::glucose::alarm::Style;
use crate::words::{
    CatName, CatSettings, DoseSettings, Moment, SensorKind, SensorSettings, Unit, WatchSettings,
};

/// All cats; none is an error.
pub(super) fn cats(root: &Section<'_>, place: &Place) -> Vec<CatSettings> {
    let sections = root.tables("cat");
    if sections.is_empty() && !root.has("cat") {
        root.missing("cat", "expected at least one [[cat]] with a name");
    }
    let mut names = BTreeSet::new();
    let mut cats = Vec::new();
    for section in &sections {
        let cat = cat(section, place);
        if let Some(cat) = &cat
            && !names.insert(cat.name.clone())
        {
            section.wrong("name", &quoted(cat.name.as_str()), "another cat has this name already");
        }
        cats.extend(cat);
    }
    cats
}

fn cat(section: &Section<'_>, place: &Place) -> Option<CatSettings> {
    let name = cat_name(section);
    let units = units(section).unwrap_or(place.units);
    let sensor = sensor(&section.table("cat.sensor"), units);
    let plan = plan(&section.table("cat.plan"), section, place.units, &sensor);
    let doses = doses(&section.table("cat.doses"), place.timezone);
    let watch = watch(&section.table("cat.watch"), place.units, &sensor);
    let called = section.text("called").map(|called| called.value.to_owned());
    let name = name?;
    Some(CatSettings {
        called: called.unwrap_or_else(|| capitalised(name.as_str())),
        name,
        units,
        sensor,
        plan,
        doses,
        watch,
    })
}

fn cat_name(section: &Section<'_>) -> Option<CatName> {
    if !section.has("name") {
        section.missing("name", "expected a short name in small letters, used in topics and files");
    }
    let text = section.text("name")?.value;
    if text == RESERVED {
        section.wrong("name", &quoted(text), "this word stands for the daemon itself: choose another name");
        return None;
    }
    CatName::new(text).map_err(|error| section.wrong("name", &quoted(text), &error.to_string())).ok()
}

/// A name as it looks at the start of a sentence.
pub(super) fn capitalised(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

fn sensor(section: &Section<'_>, units: Unit) -> SensorSettings {
    let usual = SensorSettings::default();
    let kinds = [("scanned", SensorKind::Scanned), ("streamed", SensorKind::Streamed)];
    let number = |key, range, unit, usual| section.number(key, range, unit).unwrap_or(usual);
    let sensor = SensorSettings {
        kind: section.choice("kind", &kinds).unwrap_or(usual.kind),
        sample_minutes: number("sample_minutes", 1.0..=60.0, "minutes", usual.sample_minutes),
        memory_hours: number("memory_hours", 0.5..=72.0, "hours", usual.memory_hours),
        wear_days: number("wear_days", 1.0..=365.0, "days", usual.wear_days),
        warm_up_minutes: number("warm_up_minutes", 0.0..=1440.0, "minutes", usual.warm_up_minutes),
        range: sensor_range(section, units).unwrap_or(usual.range),
        lag_minutes: number("lag_minutes", 1.0..=40.0, "minutes", usual.lag_minutes),
        price: section.number("price", 0.01..=100_000.0, ""),
        currency: section.text("currency").map(|text| text.value.to_owned()),
    };
    if sensor.currency.is_some() && !section.has("price") {
        section.advise("currency", "no price", "it says nothing without price, what one sensor costs");
    }
    if sensor.memory_hours * 60.0 < 2.0 * sensor.sample_minutes {
        let found =
            format!("{} hours of samples {} minutes apart", sensor.memory_hours, sensor.sample_minutes);
        section.wrong("memory_hours", &found, "expected room for at least two samples");
    }
    sensor
}

/// Lowest and highest value of the sensor, in the cat's unit in the file, in mg/dL here.
fn sensor_range(section: &Section<'_>, units: Unit) -> Option<[f64; 2]> {
    let numbers = section.numbers("range", 0.0..=2000.0, units.code())?;
    let shown = format!("{} in {units}", section.written("range"));
    let want = "expected the lowest and the highest value that the sensor reads, as in";
    if numbers.len() != 2 {
        let comma = match numbers.as_slice() {
            [low, low_part, high, high_part] => {
                format!("; numbers have a point, so [{low}.{low_part}, {high}.{high_part}]?")
            }
            _ => String::new(),
        };
        section.wrong("range", &shown, &format!("{want} [40, 500] in mg/dL or [2.2, 27.8] in mmol/L{comma}"));
        return None;
    }
    let possible = |unit: Unit| {
        let [low, high] = [numbers[0], numbers[1]].map(|number| unit.to_mg_dl(number));
        ((10.0..=100.0).contains(&low) && (200.0..=1000.0).contains(&high)).then_some([low, high])
    };
    let range = possible(units);
    if range.is_none() {
        let other = other_unit(units);
        let hint = match possible(other) {
            Some(_) => format!("; is it in {other}? Then write units = \"{other}\" in [[cat]]"),
            None => String::new(),
        };
        section.wrong("range", &shown, &format!("{want} [40, 500] in mg/dL or [2.2, 27.8] in mmol/L{hint}"));
    }
    range
}

fn doses(section: &Section<'_>, zone: Tz) -> DoseSettings {
    let hours = section.number("min_hours_between", 1.0..=48.0, "hours").unwrap_or(MIN_HOURS_BETWEEN);
    let mut times = Vec::new();
    for text in section.texts("times").unwrap_or_default() {
        match Recurrence::parse(text.value) {
            Ok(_) => times.push(text.value.to_owned()),
            Err(want) => section.note_at(
                text.line,
                "times",
                &quoted(text.value),
                &want,
                super::problem::ProblemSeverity::Error,
            ),
        }
    }
    if let Some(shortest) = shortest_step(&times, zone)
        && shortest < TimeDelta::minutes((hours * 60.0) as i64)
    {
        let found = format!("two doses {:.1} hours apart", shortest.num_minutes() as f64 / 60.0);
        let want = format!(
            "that is closer than min_hours_between = {hours}: the second would be reported as one too many"
        );
        section.wrong("times", &found, &want);
    }
    DoseSettings { times, min_hours_between: hours }
}

/// The shortest time between two doses of two weeks without a clock change in most places.
fn shortest_step(times: &[String], zone: Tz) -> Option<TimeDelta> {
    let start = Moment::parse("2028-01-03T00:00:00Z")?;
    let due = next_times(times, zone, start, 60);
    due.windows(2).map(|pair| pair[1] - pair[0]).min()
}

fn watch(section: &Section<'_>, home: Unit, sensor: &SensorSettings) -> WatchSettings {
    let usual = WatchSettings::default();
    let number = |key, range, unit, usual| section.number(key, range, unit).unwrap_or(usual);
    let in_home = |range: RangeInclusive<f64>| home.of_mg_dl(*range.start())..=home.of_mg_dl(*range.end());
    let rate_unit = format!("{home} per minute");
    let longest = sensor.memory_hours * 60.0;
    WatchSettings {
        window_remind_minutes: longest_first(
            section.numbers("window_remind_minutes", 1.0..=longest, "minutes"),
            usual.window_remind_minutes,
        ),
        low_ahead_minutes: number("low_ahead_minutes", 10.0..=240.0, "minutes", usual.low_ahead_minutes),
        low_ahead_chance: number("low_ahead_chance", 0.05..=0.95, "", low_ahead_style(section)),
        scan_again_chance: number("scan_again_chance", 0.01..=0.9, "", usual.scan_again_chance),
        falling_rate: section
            .number("falling_rate", in_home(-10.0..=-0.5), &rate_unit)
            .map_or(usual.falling_rate, |rate| home.to_mg_dl(rate)),
        falling_under: section
            .number("falling_under", in_home(60.0..=600.0), home.code())
            .map_or(usual.falling_under, |level| home.to_mg_dl(level)),
        high_hours: number("high_hours", 0.5..=168.0, "hours", usual.high_hours),
        high_hours_dosed: number("high_hours_dosed", 1.0..=336.0, "hours", usual.high_hours_dosed),
        silent_samples: number("silent_samples", 2.0..=100.0, "samples", usual.silent_samples),
        ending_hours: longest_first(
            section.numbers("ending_hours", 1.0..=sensor.wear_days * 24.0, "hours"),
            usual.ending_hours,
        ),
        spares_low: section.whole("spares_low", 0.0..=100.0, "sensors").unwrap_or(usual.spares_low),
    }
}

/// The chance that a plain word stands for.
fn low_ahead_style(section: &Section<'_>) -> f64 {
    let Some(text) = section.text("low_ahead") else {
        return Style::default().threshold();
    };
    let found = STYLES.iter().find(|(word, _)| *word == text.value);
    if let Some((_, style)) = found {
        return style.threshold();
    }
    let words: Vec<&str> = STYLES.iter().map(|(word, _)| *word).collect();
    let hint = nearest_hint(text.value, &words);
    section.wrong("low_ahead", &quoted(text.value), &format!("expected {}{hint}", one_of(&words)));
    Style::default().threshold()
}

const STYLES: [(&str, Style); 3] =
    [("sooner", Style::Sooner), ("balanced", Style::Balanced), ("fewer", Style::Fewer)];

fn longest_first(numbers: Option<Vec<f64>>, usual: Vec<f64>) -> Vec<f64> {
    let mut numbers = numbers.unwrap_or(usual);
    numbers.sort_by(|a, b| b.total_cmp(a));
    numbers.dedup();
    numbers
}

/// Stands for the daemon itself in ids and files.
const RESERVED: &str = "house";
/// Common practice with injections every 12 hours, no published source; see `docs/configuration.md`.
const MIN_HOURS_BETWEEN: f64 = 8.0;
