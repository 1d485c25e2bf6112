//! `lowtide status --ahead`: what the next four hours may bring, on a phone at night.

use lowtide::glucose::Tracker;
use lowtide::report::{CatStatus, HouseStatus, ahead_text, house_status, status_text};
use lowtide::tell::Reader;
use lowtide::words::{
    Batch, CatName, Event, Household, Reading, ReadingKind, SensorKind, SensorSettings, Unit, Value, Via,
    minutes,
};

use crate::household::{at, household, pepper, streaming};
use crate::world::World;

/// A slow fall towards the limit.
const FALL: [f64; 12] = [190.0, 188.0, 183.0, 176.0, 168.0, 160.0, 151.0, 143.0, 134.0, 126.0, 117.0, 109.0];

/// Streams `levels`; the last one comes ten minutes before `end`.
fn streamed(settings: &Household, levels: &[f64], end: &str) -> World {
    let first = at(end) - minutes(15.0 * (levels.len() as f64 - 1.0) + 10.0);
    let mut world = World::new(settings.clone(), first);
    for (place, level) in levels.iter().enumerate() {
        world.stream(Value::Level(*level));
        world.pass(if place + 1 == levels.len() { 10.0 } else { 15.0 });
    }
    world
}

fn shown(world: &World, settings: &Household) -> (HouseStatus, String) {
    let status = house_status(&world.house, world.now).unwrap();
    let text = ahead_text(&status, settings);
    assert!(text.lines().all(|line| line.chars().count() <= 40), "too wide for a phone:\n{text}");
    assert!(text.replace('\n', " ").contains("no advice about doses"), "{text}");
    (status, text)
}

/// The rows under the heading, in columns.
fn rows(text: &str) -> Vec<Vec<&str>> {
    let after = text.lines().skip_while(|line| !line.starts_with("in ")).skip(1);
    let table = after.take_while(|line| !line.starts_with("In 8 of 10 cases "));
    table
        .map(|line| {
            let (when, rest) = line.split_once("  ").unwrap();
            let mut columns: Vec<&str> = when.split_whitespace().collect();
            columns.extend(rest.split("  ").map(str::trim).filter(|column| !column.is_empty()));
            columns
        })
        .collect()
}

fn clocks(text: &str) -> Vec<&str> {
    rows(text).iter().map(|row| if row.len() == 3 { row[0] } else { row[1] }).collect()
}

#[test]
fn the_table_says_what_the_outlook_says_in_the_homes_unit_and_zone() {
    for (units, number, heading) in
        [(Unit::MgDl, 0, ["mg/dL", "under 70 by then"]), (Unit::MmolL, 1, ["mmol/L", "under 3.9 by then"])]
    {
        let mut settings = streaming();
        settings.home.units = units;
        let world = streamed(&settings, &FALL, "2026-06-10T01:10:00Z");
        let (status, text) = shown(&world, &settings);
        let cat = &status.cats[0];
        let reader = Reader::home(&settings, world.now);
        assert_eq!(cat.ahead.len(), 6);
        let rows = rows(&text);
        assert_eq!(rows.len(), 6, "{text}");
        assert!(heading.iter().all(|words| text.contains(words)), "{text}");
        for (row, look) in rows.iter().zip(&cat.ahead) {
            let outlook = world.house.cats[&cat.cat].tracker.outlook(world.now, look.minutes, 70.0).unwrap();
            let [from, to] = look.interval80.map(|end| reader.number(units.of_mg_dl(end), number));
            assert_eq!(row[2], format!("{from}-{to}"), "{text}");
            assert_eq!(row[3], reader.chance(look.low_chance), "{text}");
            let off = |place: usize| (look.interval80[place] - outlook.interval80[place]).abs();
            assert!(off(0) < 0.051 && off(1) < 0.051, "a tenth of a mg/dL at the most: {outlook:?}");
            assert!((look.low_chance - outlook.chance).abs() < 0.000_51, "{outlook:?}");
        }
        // 01:10 UTC is 03:10 in Vienna in summer.
        assert_eq!(clocks(&text), ["03:40", "04:10", "04:40", "05:10", "06:10", "07:10"], "{text}");
        let spans: Vec<&str> = rows.iter().map(|row| row[0]).collect();
        assert_eq!(spans, ["30m", "1h", "1h30", "2h", "3h", "4h"]);
        assert!(text.starts_with(&format!("Pepper: {} at 03:00", reader.level(109.25))), "{text}");
        // The hour that the status names is the same number.
        assert_eq!(cat.low_ahead_chance, Some(cat.ahead[1].low_chance));
        assert!(cat.ahead[5].low_chance > 0.2, "{cat:?}");
        let order = |pair: &[lowtide::report::Ahead]| pair[0].low_chance <= pair[1].low_chance;
        assert!(cat.ahead.windows(2).all(order), "{cat:?}");
        assert!(!status_text(&status, &settings).contains("1h30"), "only when it is asked for");
    }
}

#[test]
fn a_high_cat_in_mmol_fits_a_phone_too() {
    let mut settings = streaming();
    settings.home.units = Unit::MmolL;
    let world = streamed(&settings, &[330.0; 12], "2026-06-10T01:10:00Z");
    let (_, text) = shown(&world, &settings);
    assert!(text.contains("less than 1 in 10"), "{text}");
}

#[test]
fn on_a_night_on_which_the_clocks_change_the_times_are_those_of_the_wall() {
    let settings = streaming();
    let night = |end: &str| {
        let world = streamed(&settings, &FALL, end);
        shown(&world, &settings).1
    };
    // Forward: at 01:00 UTC the clocks go from 02:00 to 03:00.
    let text = night("2026-03-29T00:40:00Z");
    assert_eq!(clocks(&text), ["03:10", "03:40", "04:10", "04:40", "05:40", "06:40"], "{text}");
    // Back: at 01:00 UTC they go from 03:00 to 02:00. The column before tells the two 02:40 apart.
    let text = night("2026-10-25T00:10:00Z");
    assert_eq!(clocks(&text), ["02:40", "02:10", "02:40", "03:10", "04:10", "05:10"], "{text}");
    // Over midnight no date is needed.
    let text = night("2026-06-10T21:10:00Z");
    assert_eq!(clocks(&text)[5], "03:10", "{text}");
}

#[test]
fn of_a_scanned_sensor_it_says_when_to_scan_and_of_a_streamed_one_it_does_not() {
    let (settings, end) = (household(), at("2026-06-10T15:10:00Z"));
    let mut world = World::new(settings.clone(), end);
    world.scan_back(480.0, |t| 116.0 - t.max(-60.0) * 0.9);
    let (status, text) = shown(&world, &settings);
    let asked = status.cats[0].scan_again.unwrap_or_else(|| panic!("{text}"));
    let reader = Reader::home(&settings, world.now);
    assert!(
        asked > world.now && text.contains(&format!("Worth another scan by {}.", reader.time(asked))),
        "{text}"
    );
    // Nobody scanned: it is still said, and that the time is past; but the hours ahead are not.
    world.until(asked + minutes(60.0));
    let (late, text) = shown(&world, &settings);
    assert!(late.cats[0].ahead.is_empty(), "{text}");
    assert!(text.contains("Worth another scan since "), "{text}");
    let (_, text) = shown(&streamed(&streaming(), &FALL, "2026-06-10T15:10:00Z"), &streaming());
    assert!(!text.contains("another scan"), "{text}");
}

fn one_paragraph(text: &str) -> String {
    text.split("\n\n").next().unwrap().replace('\n', " ")
}

fn none(cat: &CatStatus, text: &str) {
    assert!(cat.ahead.is_empty() && !text.contains("30m") && !text.contains("1 in 10"), "{text}");
}

#[test]
fn without_a_blood_to_start_from_one_sentence_says_why() {
    let settings = streaming();
    let said = |world: &World| {
        let (status, text) = shown(world, &settings);
        none(&status.cats[0], &text);
        assert_eq!(status.cats[0].blood, None, "where status gives blood there is a table");
        one_paragraph(&text)
    };
    let empty = World::new(settings.clone(), at("2026-06-10T10:00:00Z"));
    assert_eq!(said(&empty), "Pepper: no look ahead, no reading yet.");
    let with = |values: &[Value], pass: f64| {
        let mut world = streamed(&settings, &[118.0, 121.0, 119.0, 120.0], "2026-06-10T10:10:00Z");
        for (place, value) in values.iter().enumerate() {
            world.pass(if place == 0 { 5.0 } else { 15.0 });
            world.stream(*value);
        }
        world.pass(pass);
        said(&world)
    };
    let low = with(&[Value::Level(80.0), Value::Level(60.0), Value::Level(45.0), Value::Below], 1.0);
    assert!(low.contains("blood is under what the sensor can read (40 mg/dL)"), "{low}");
    let high = with(&[Value::Level(220.0), Value::Level(350.0), Value::Level(480.0), Value::Above], 1.0);
    assert!(high.contains("blood is over what the sensor can read (500 mg/dL)"), "{high}");
    let old = with(&[], 60.0);
    assert!(old.contains("the newest reading is too old (newest reading: 120 mg/dL at 12:00)"), "{old}");
    let doubted = with(&[Value::Level(44.0)], 1.0);
    assert!(doubted.contains("the newest readings do not look right"), "{doubted}");
}

#[test]
fn a_sensor_that_shows_one_value_only_is_not_looked_ahead_from() {
    let settings = streaming();
    let start = at("2026-06-10T10:00:00Z");
    let mut world = World::new(settings.clone(), start + minutes(240.0));
    let stuck = |k: u32| {
        let value = Value::Level(if k < 4 { 120.0 + f64::from(k % 2) } else { 118.0 });
        Reading { measured_at: start + minutes(15.0 * f64::from(k)), value, kind: ReadingKind::History }
    };
    world.event(Event::Readings(batch("pepper", (0..=16).map(stuck).collect())));
    let (status, text) = shown(&world, &settings);
    assert!(status.cats[0].fresh, "{text}");
    none(&status.cats[0], &text);
}

fn batch(cat: &str, readings: Vec<Reading>) -> Batch {
    Batch {
        cat: CatName::new(cat).unwrap(),
        via: Via::Folder,
        source: "test.csv".into(),
        sensor: None,
        scanned_at: None,
        newest: readings.last().map(|reading| reading.measured_at),
        readings,
        repeated: 0,
        conflicts: Vec::new(),
    }
}

#[test]
fn each_of_two_cats_has_its_own() {
    let mut settings = streaming();
    let mut second = pepper();
    second.name = CatName::new("juniper").unwrap();
    second.called = "Juniper".into();
    second.plan.low = 80.0;
    second.sensor.kind = SensorKind::Streamed;
    settings.cats.push(second);
    let mut world = streamed(&settings, &FALL, "2026-06-10T10:10:00Z");
    let (_, text) = shown(&world, &settings);
    let blocks: Vec<&str> = text.split("\n\n").collect();
    assert_eq!(blocks.len(), 3, "two cats and one caution: {text}");
    assert!(blocks[0].starts_with("Pepper: 109 mg/dL") && blocks[0].contains("under 70 by then"), "{text}");
    assert_eq!(blocks[1], "Juniper: no look ahead, no reading yet.");
    let calm = |k: u32| Reading {
        measured_at: world.now - minutes(15.0 * f64::from(11 - k)),
        value: Value::Level(240.0 + f64::from(k % 3)),
        kind: ReadingKind::History,
    };
    let calm = (0..12).map(calm).collect();
    world.event(Event::Readings(batch("juniper", calm)));
    let (status, text) = shown(&world, &settings);
    let blocks: Vec<&str> = text.split("\n\n").collect();
    assert!(blocks[1].starts_with("Juniper: 242 mg/dL") && blocks[1].contains("under 80 by then"), "{text}");
    assert_eq!((rows(blocks[0]).len(), rows(blocks[1]).len()), (6, 6), "{text}");
    let juniper = status.cats.iter().find(|cat| cat.cat.to_string() == "juniper").unwrap();
    assert!(juniper.ahead[5].low_chance < 0.15, "{juniper:?}");
}

#[test]
fn as_json_it_has_names_that_stay_and_an_older_state_is_still_read() {
    let settings = streaming();
    let (status, _) = shown(&streamed(&settings, &FALL, "2026-06-10T01:10:00Z"), &settings);
    let mut json = serde_json::to_value(&status).unwrap();
    let look = &json["cats"][0]["ahead"][2];
    assert_eq!((look["minutes"].as_f64(), look["at"].as_str()), (Some(90.0), Some("2026-06-10T02:40:00Z")));
    assert_eq!(look["interval80"].as_array().map(Vec::len), Some(2));
    assert!((0.0..=1.0).contains(&look["low_chance"].as_f64().unwrap()));
    assert_eq!(look.as_object().unwrap().len(), 4);
    assert_eq!(serde_json::from_value::<HouseStatus>(json.clone()).unwrap(), status);
    json["cats"][0].as_object_mut().unwrap().remove("ahead");
    assert!(serde_json::from_value::<HouseStatus>(json).unwrap().cats[0].ahead.is_empty());
}

/// Anything a sensor may show, looked at up to an hour later: a low that may come in one hour may come in two.
#[test]
fn further_ahead_no_chance_is_smaller_no_interval_narrower_and_none_holds_what_no_cat_survives() {
    const SPANS: [f64; 9] = [0.0, 10.0, 30.0, 60.0, 90.0, 120.0, 180.0, 240.0, 480.0];
    let mut dice = oorandom::Rand32::new(41);
    for round in 0..100 {
        let mut tracker = Tracker::new(&SensorSettings::default());
        let start = at("2026-06-10T10:00:00Z");
        let mut level = f64::from(dice.rand_range(45..480));
        let slope = f64::from(dice.rand_range(0..90)) - 45.0;
        for k in 0..dice.rand_range(1..16) {
            level = (level + slope + f64::from(dice.rand_range(0..21)) - 10.0).clamp(41.0, 499.0);
            let value = match dice.rand_range(0..24) {
                0 => Value::Below,
                1 => Value::Above,
                _ => Value::Level(level),
            };
            let measured_at = start + minutes(15.0 * f64::from(k));
            tracker.add(&[Reading { measured_at, value, kind: ReadingKind::History }]);
        }
        let now = tracker.newest().unwrap().measured_at + minutes(f64::from(dice.rand_range(0..60)));
        let looks = tracker.outlooks(now, &SPANS, 70.0);
        assert_eq!(looks.len(), SPANS.len());
        for (span, look) in SPANS.iter().zip(&looks) {
            assert_eq!(
                tracker.outlook(now, *span, 70.0),
                Some(*look),
                "round {round}: alone it says the same"
            );
            let [from, to] = look.interval80;
            assert!(from >= 15.0 && to <= 700.0 && from < to, "round {round}: {look:?}");
        }
        for pair in looks.windows(2) {
            let wide = |k: usize| pair[k].interval80[1] - pair[k].interval80[0];
            assert!(pair[1].chance >= pair[0].chance, "round {round}: {pair:?}");
            assert!(wide(1) >= wide(0) - 1e-9, "round {round}: {pair:?}");
        }
    }
}
