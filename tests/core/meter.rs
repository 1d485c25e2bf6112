//! Meter checks beside the sensor: what is shown of them, from a household that has lived a little.

use lowtide::glucose::pairs::Taught;
use lowtide::report::{CatStatus, History, curve, curve_page, house_status, status_text};
use lowtide::tell::{LANGUAGES, Reader};
use lowtide::words::{
    Event, Household, MeterCheck, MeterKind, Moment, Reading, ReadingKind, SensorEvent, SensorNote, Unit,
    Value, minutes,
};

use crate::household::{at, cat, streaming};
use crate::world::World;

/// A sensor put on a day ago that reads 200 all night, and checks with a meter at the quarters of the last hours.
fn checked(settings: &Household, checks: &[(MeterKind, Value)]) -> World {
    let mut world = World::new(settings.clone(), at("2026-06-10T04:00:00Z"));
    world.sensor(SensorEvent::Applied);
    world.pass(24.0 * 60.0);
    world.stream_levels(&[200.0; 12]);
    for (meter, glucose) in checks {
        world.stream_levels(&[200.0; 2]);
        let measured_at = world.now;
        world.event(Event::Meter(MeterCheck { cat: cat(), measured_at, glucose: *glucose, meter: *meter }));
    }
    world.stream_levels(&[200.0; 2]);
    world
}

fn shown(world: &World, settings: &Household) -> (CatStatus, String) {
    let mut status = house_status(&world.house, world.now).unwrap();
    let text = status_text(&status, settings);
    (status.cats.remove(0), text)
}

const LEVEL: fn(f64) -> Value = Value::Level;

#[test]
fn the_status_shows_the_correction_its_doubt_and_on_what_it_rests() {
    let settings = streaming();
    let (status, text) = shown(&checked(&settings, &[]), &settings);
    assert_eq!(status.meter_checks.correction, None);
    assert!(!text.contains("meter check"), "{text}");
    let world = checked(&settings, &[(MeterKind::Pet, LEVEL(178.0)); 3]);
    let (status, text) = shown(&world, &settings);
    let found = status.meter_checks.correction.unwrap();
    assert_eq!(found.taught, Taught { pet: 3, ..Taught::default() });
    assert!(found.error > 0.02 && found.error < 0.14 && found.error_sd < 0.08, "{found:?}");
    let (high, doubt) = ((found.error * 100.0).round(), (found.error_sd * 100.0).round());
    let line = format!(
        "  By 3 meter checks (meter for pets) the sensor seems to read about {high} % too high, give or take {doubt} %; \
         the blood estimate reckons with it.\n"
    );
    assert!(text.contains(&line), "{line}{text}");
    // And it does: the estimate lies lower than without the checks.
    let without = shown(&checked(&settings, &[]), &settings).0.blood.unwrap();
    assert!(status.blood.unwrap() < without - 5.0, "{:?} {without}", status.blood);
    let low = shown(&checked(&settings, &[(MeterKind::Pet, LEVEL(226.0)); 2]), &settings).1;
    assert!(low.contains("By 2 meter checks (meter for pets)") && low.contains("% too low"), "{low}");
}

#[test]
fn where_several_kinds_of_meter_have_taught_it_that_is_said_and_what_is_left_out_too() {
    let settings = streaming();
    let checks = [
        (MeterKind::Pet, LEVEL(180.0)),
        (MeterKind::Human, LEVEL(170.0)),
        (MeterKind::WholeBlood, LEVEL(120.0)),
        (MeterKind::Pet, Value::Above),
    ];
    let (status, text) = shown(&checked(&settings, &checks), &settings);
    for part in [
        "By 2 meter checks (meter for pets: 1, meter for people: 1) the sensor",
        "Meters for people tend to read cats' blood lower",
        "The blood estimate does not use one check with a whole-blood meter.",
        "The blood estimate does not use one check at which the meter was out of its range.",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    let kinds: Vec<(MeterKind, usize)> =
        status.meter_checks.wear.kinds.iter().map(|kind| (kind.meter, kind.pairs)).collect();
    assert_eq!(kinds, [(MeterKind::Pet, 1), (MeterKind::Human, 1), (MeterKind::WholeBlood, 1)]);
    assert_eq!(status.meter_checks.wear.out_of_range, 1);
}

#[test]
fn a_new_sensor_begins_without_a_correction_and_the_pairs_of_the_old_one_are_kept() {
    let settings = streaming();
    let mut world = checked(&settings, &[(MeterKind::Pet, LEVEL(180.0)); 5]);
    world.sensor(SensorEvent::Failed);
    assert_eq!(shown(&world, &settings).0.meter_checks.correction, None, "it is off");
    world.pass(10.0);
    world.sensor(SensorEvent::Applied);
    world.pass(60.0);
    world.stream_levels(&[200.0; 8]);
    let (status, text) = shown(&world, &settings);
    assert!(status.meter_checks.correction.is_none() && !text.contains("meter check"), "{text}");
    assert!(status.meter_checks.wear.kinds.is_empty());
    let all = status.meter_checks.all.kinds[0];
    // Readings of a sensor that lives lie a little beside 200; 20 of 180 are 11 %.
    assert!(all.pairs == 5 && (all.bias - 20.0).abs() < 1.0, "{all:?}");
    assert!((all.figures.unwrap().mard - 0.111).abs() < 0.006, "{all:?}");
}

#[test]
fn the_state_for_other_programs_carries_the_same() {
    let settings = streaming();
    let world = checked(&settings, &[(MeterKind::Pet, LEVEL(180.0)); 5]);
    let (status, _) = shown(&world, &settings);
    let json = serde_json::to_value(&status).unwrap();
    let checks = &json["meter_checks"];
    assert_eq!(checks["correction"]["pet"], 5);
    assert!(checks["correction"]["error"].as_f64().unwrap() > 0.03);
    assert_eq!(checks["wear"]["kinds"][0]["meter"], "pet");
    assert_eq!(checks["wear"]["kinds"][0]["figures"]["within_iso"], 1.0);
    // A state from before there was such a part is still read.
    let mut old = json.clone();
    old.as_object_mut().unwrap().remove("meter_checks");
    let old: CatStatus = serde_json::from_value(old).unwrap();
    assert!(old.meter_checks.all.kinds.is_empty());
    let back: CatStatus = serde_json::from_value(json).unwrap();
    assert_eq!(back, status);
}

#[test]
fn the_correction_is_said_in_every_language() {
    for language in LANGUAGES {
        let mut settings = streaming();
        settings.home.language = (*language).to_owned();
        let kinds = [MeterKind::Pet, MeterKind::Human, MeterKind::Unknown, MeterKind::WholeBlood];
        let text = shown(&checked(&settings, &kinds.map(|kind| (kind, LEVEL(180.0)))), &settings).1;
        assert!(!text.contains("correction") && !text.contains(['{', '}', '$']), "{language}: {text}");
    }
}

/// Readings each quarter of an hour, steady at each level for an hour, from the moment on.
fn steady(from: Moment, levels: &[f64]) -> Vec<Reading> {
    let hour =
        |k: usize| (0..4).map(move |quarter| from + minutes(60.0 * k as f64 + 15.0 * f64::from(quarter)));
    let reading =
        |measured_at, level| Reading { measured_at, value: Value::Level(level), kind: ReadingKind::History };
    let all = levels.iter().enumerate().flat_map(|(k, level)| hour(k).map(move |at| reading(at, *level)));
    all.collect()
}

/// The worked example of ten pairs (numpy, from the definitions): references, and what the sensor reads.
const REFERENCES: [f64; 10] = [52.0, 68.0, 75.0, 90.0, 110.0, 150.0, 180.0, 220.0, 300.0, 380.0];
const READ: [f64; 10] = [60.0, 61.0, 83.0, 84.0, 120.0, 141.0, 195.0, 201.0, 330.0, 352.0];

fn of(meter: MeterKind, measured_at: Moment, glucose: Value) -> MeterCheck {
    MeterCheck { cat: cat(), measured_at, glucose, meter }
}

/// Ten hours with ten pairs of a meter for pets; four of them, lower by 30, of a whole-blood meter as well.
fn record() -> (History, Moment) {
    let from = at("2026-06-10T00:00:00Z");
    let mut history = History { readings: steady(from, &READ), ..History::default() };
    for (k, reference) in REFERENCES.into_iter().enumerate() {
        let then = from + minutes(60.0 * k as f64 + 10.0);
        history.checks.push(of(MeterKind::Pet, then, Value::Level(reference)));
        if k >= 6 {
            history.checks.push(of(MeterKind::WholeBlood, then, Value::Level(reference - 30.0)));
        }
    }
    (history, from)
}

fn page(settings: &Household, history: &History, from: Moment) -> String {
    let until = from + minutes(2.0 * 1440.0);
    let found = curve(&settings.cats[0], history, from, until, settings.home.timezone);
    let page = curve_page(&settings.cats[0], history, &found, &Reader::home(settings, until));
    page.split("</style>").nth(1).unwrap().to_owned()
}

/// The cells of the rows that begin with `name`.
fn rows(page: &str, name: &str) -> Vec<Vec<String>> {
    let rows = page.split("<tr>").filter(|row| row.starts_with("<th data-name")).map(|row| {
        let cells = row.split("data-name=\"").skip(1).map(|cell| cell.split_once("\">").unwrap().1);
        cells.map(|cell| cell.split('<').next().unwrap().to_owned()).collect::<Vec<String>>()
    });
    rows.filter(|row| row[0].starts_with(name)).collect()
}

#[test]
fn the_report_has_the_worked_figures_of_each_kind_of_meter_and_mixes_none() {
    let (history, from) = record();
    let text = page(&streaming(), &history, from);
    assert_eq!(
        rows(&text, "meter for pets"),
        [["meter for pets", "10", "0", "9.2 %", "-34 to +34", "100 %", "100 %", "100 %"]]
    );
    // Differences 15, -19, 30 and -28, and 30 more each: 29.5 on average, of four pairs.
    let few = ["meter for people, whole blood", "4", "+30", "", "", "", "", ""];
    assert_eq!(rows(&text, "meter for people"), [few]);
    for part in [
        "Under 5 pairs only their number and the bias",
        "made for people",
        "10 minutes later",
        "at most 15 mg/dL apart under 100 mg/dL",
        "whole-blood ones most",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    assert!(!text.contains("out of its range") && !text.contains("close on both sides"), "{text}");
}

#[test]
fn each_sensor_has_a_row_of_its_own_where_there_were_several() {
    let (mut history, from) = record();
    let note = |hours: f64, event| SensorNote { cat: cat(), at: from + minutes(hours * 60.0), event };
    history.sensors = vec![note(-24.0, SensorEvent::Applied), note(5.0, SensorEvent::Applied)];
    let text = page(&streaming(), &history, from);
    // The first five differ by 8, -7, 8, -6 and 10, the last five by -9, 15, -19, 30 and -28.
    let found = rows(&text, "meter for pets, ");
    let shown: Vec<[&str; 3]> = found.iter().map(|row| [&*row[0], &*row[1], &*row[2]]).collect();
    assert_eq!(
        shown,
        [
            ["meter for pets, sensor put on Tue 9 Jun 2026", "5", "+3"],
            ["meter for pets, sensor put on Wed 10 Jun 2026", "5", "-2"],
        ]
    );
    assert_eq!(rows(&text, "meter for pets")[0][1], "10");
    assert!(text.contains("52 mg/dL (meter for pets)<") && text.contains("the sensor: 60 mg/dL"), "{text}");
}

#[test]
fn what_cannot_be_compared_is_counted_on_the_page() {
    let (mut history, from) = record();
    history.checks = vec![
        of(MeterKind::Pet, from + minutes(70.0), Value::Below),
        of(MeterKind::Pet, from + minutes(1440.0), Value::Level(100.0)),
        of(MeterKind::Pet, from + minutes(1500.0), Value::Level(100.0)),
    ];
    let text = page(&streaming(), &history, from);
    assert!(text.contains("At one check the meter or the sensor was out of its range"), "{text}");
    assert!(text.contains("Beside 2 checks there are no readings close on both sides"), "{text}");
    assert!(!text.contains("Clarke"), "{text}");
    history.checks.clear();
    assert!(!page(&streaming(), &history, from).contains("beside the meter"));
}

#[test]
fn the_table_is_in_every_language_and_in_the_readers_unit() {
    let (mut history, from) = record();
    history.checks.push(of(MeterKind::Pet, from + minutes(1440.0), Value::Above));
    for language in LANGUAGES {
        let mut settings = streaming();
        settings.home.language = (*language).to_owned();
        settings.home.units = Unit::MmolL;
        let text = page(&settings, &history, from);
        assert!(!text.contains("agreement-") && !text.contains(['{', '}', '$']), "{language}: {text}");
        // 33.9 mg/dL are 1.9 mmol/L; 15 and 100 mg/dL are 0.8 and 5.6 mmol/L.
        let sign = if *language == "en" { '.' } else { ',' };
        for number in ["+1.9", "0.8 mmol/L", "5.6 mmol/L"] {
            assert!(text.contains(&number.replace('.', &sign.to_string())), "{language}: {text}");
        }
        assert!(!text.contains("mg/dL"), "{language}: {text}");
    }
}
