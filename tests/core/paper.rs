//! What is printed: the sheet for a sitter and the curve for a vet, made from a household that has lived a little.

use lowtide::report::{
    History, SheetFacts, ahead_text, curve, curve_csv, curve_page, fit_text, house_status, sheet_reader,
    status_text, trip_sheet,
};
use lowtide::tell::{LANGUAGES, Reader};
use lowtide::words::{
    Dose, Event, Household, MeterCheck, MeterKind, Moment, Note, SensorKind, Spare, Unit, Value, minutes,
};

use crate::household::{at, cat, duty, household, name, quiet};
use crate::world::{World, samples};

pub(crate) const NASTY: &str = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)> & \u{202e}";

/// A morning in June: scanned at ten, dosed at seven by Olive, two spares.
fn lived(settings: Household) -> World {
    let mut world = World::new(settings, at("2026-06-10T04:00:00Z"));
    world.sensor(lowtide::words::SensorEvent::Applied);
    world.event(Event::Spare(Spare { cat: cat(), at: world.now, count: 2 }));
    world.until(at("2026-06-10T05:00:00Z"));
    world.dose(world.now, "olive");
    world.until(at("2026-06-10T08:00:00Z"));
    world.scan_back(180.0, |_| 160.0);
    world
}

fn doses(by: &str) -> Vec<Dose> {
    vec![Dose {
        cat: cat(),
        given_at: at("2026-06-10T05:00:00Z"),
        units: Some(1.0),
        by: Some(by.into()),
        not_given: false,
    }]
}

fn sheet(settings: &Household, who: &str, by: &str) -> String {
    let world = lived(settings.clone());
    let status = house_status(&world.house, world.now).unwrap();
    let person = settings.person(&name(who)).unwrap();
    let doses = doses(by);
    let facts = SheetFacts {
        household: settings,
        cat: &settings.cats[0],
        person,
        status: &status.cats[0],
        doses: &doses,
    };
    trip_sheet(&facts, world.now)
}

/// A household that has written everything down.
pub(crate) fn complete() -> Household {
    let mut settings = household();
    settings.cats[0].doses.times = vec!["07:00".into(), "19:00".into()];
    settings.cats[0].plan.out_of_hours_phone = Some("555 0199".into());
    settings.cats[0].plan.in_words =
        Some("Half a tin before each injection.\nNo injection without food.".into());
    settings.persons[0].phone = Some("555 0123".into());
    settings.persons[1].phone = Some("555 0124".into());
    settings.duty = vec![duty("rowan", "2026-06-12T10:00:00Z", "2026-06-20T10:00:00Z")];
    settings
}

#[test]
fn the_sheet_says_all_that_a_stranger_needs() {
    let page = sheet(&complete(), "rowan", "olive");
    for part in [
        "a sheet for Rowan",
        "Rub honey on the gums, then call.",
        "555 0100",
        "555 0199",
        "555 0123",
        "555 0124",
        "Olive, keeps Lowtide",
        "From 12:00 on Fri 12 Jun: Rowan.",
        "From 12:00 on Sat 20 Jun: Olive.",
        "Low is under 70 mg/dL by the sensor, dangerously low under 50 mg/dL",
        "under 150 mg/dL: do not inject",
        "Half a tin before each injection.\nNo injection without food.",
        "Every day at 07:00, 19:00",
        "The next: 19:00 on Wed 10 Jun",
        "07:00 on Wed 10 Jun, by Olive",
        "Every day at 06:30, 11:50, 17:10, 22:30: that leaves no gap.",
        "160 mg/dL, 10:00 on Wed 10 Jun",
        "2 spare sensors",
        "Nothing is open.",
        "Dangerously low: Pepper",
        "Scan before …: Pepper",
        "not a medical device",
    ] {
        assert!(page.contains(part), "{part}\n{page}");
    }
    assert!(!page.contains("topic-"), "a topic is as good as a password");
}

/// The row of the sheet's table in which a message is named.
fn row(page: &str, message: &str) -> String {
    let row = page.split("<tr>").find(|row| row.contains(message));
    row.unwrap_or_else(|| panic!("no row for {message}: {page}")).to_owned()
}

#[test]
fn the_sheet_explains_what_comes_after_a_low_and_how_urgent_a_late_dose_is() {
    let page = sheet(&complete(), "rowan", "olive");
    assert!(row(&page, "(worse)").contains("call somebody from the list"), "{page}");
    assert!(row(&page, "Still low, not dangerously: Pepper").contains("Check with a meter"), "{page}");
    assert!(row(&page, "No news since the low: Pepper").contains("is not known"), "{page}");
    assert!(row(&page, "One dose or two: Pepper").contains("Find out whether both were given"), "{page}");
    let late = row(&page, "Dose late, not recorded: Pepper");
    assert!(late.contains("(act soon)") && late.contains("Dose due"), "{late}");
}

#[test]
fn on_a_phone_a_french_label_has_a_space_before_its_colon() {
    let mut settings = complete();
    settings.persons[1].language = "fr".into();
    let page = sheet(&settings, "rowan", "olive");
    assert!(page.contains("lang=\"fr\"") && page.contains("attr(data-name) \"\u{202f}: \""), "{page}");
}

#[test]
fn what_is_open_is_called_as_its_message_was() {
    let settings = crate::household::streaming();
    let shown = |meter: Option<f64>| {
        let mut world = crate::world::World::new(settings.clone(), at("2026-06-10T07:00:00Z"));
        world.stream_levels(&[66.0; 12]);
        meter.into_iter().for_each(|level| world.meter(level));
        let status = house_status(&world.house, world.now).unwrap();
        let (person, doses) = (settings.person(&name("rowan")).unwrap(), doses("olive"));
        let facts = SheetFacts {
            household: &settings,
            cat: &settings.cats[0],
            person,
            status: &status.cats[0],
            doses: &doses,
        };
        trip_sheet(&facts, world.now)
    };
    assert!(shown(None).contains("Open: “Glucose is low: Pepper”, since"), "{}", shown(None));
    assert!(shown(Some(55.0)).contains("Open: “Low by the meter: Pepper”, since"), "{}", shown(Some(55.0)));
    assert!(
        shown(Some(110.0)).contains("Open: “Sensor low, meter not: Pepper”, since"),
        "{}",
        shown(Some(110.0))
    );
}

#[test]
fn a_sheet_is_in_the_language_unit_and_clock_of_its_reader() {
    let mut settings = complete();
    let rowan = &mut settings.persons[1];
    rowan.language = "de".into();
    rowan.units = Unit::MmolL;
    rowan.timezone = chrono_tz::Europe::Lisbon;
    let page = sheet(&settings, "rowan", "olive");
    // 05:00 UTC is 07:00 at home and 06:00 in Lisbon; 70 mg/dL is 3.9 mmol/L.
    for part in
        ["unter 3,9 mmol/L tief", "06:00 am Mi 10. Juni, von Olive", "Zettel für Rowan", "lang=\"de\""]
    {
        assert!(page.contains(part), "{part}\n{page}");
    }
    assert!(!page.contains("mg/dL") && !page.contains("the sensor"), "{page}");
}

#[test]
fn no_sheet_has_a_hole_or_a_key_in_any_language() {
    for language in LANGUAGES {
        for (bare, kind) in
            [(false, SensorKind::Scanned), (true, SensorKind::Scanned), (false, SensorKind::Streamed)]
        {
            let mut settings = if bare { household() } else { complete() };
            settings.cats[0].sensor.kind = kind;
            if bare {
                settings.cats[0].plan =
                    lowtide::words::Plan { low: 70.0, danger: 50.0, meter_low: 60.0, ..Default::default() };
            }
            settings.persons[1].language = (*language).to_owned();
            let page = sheet(&settings, "rowan", "olive");
            let body = page.split("</style>").nth(1).unwrap();
            assert!(!body.contains(['{', '}', '$']), "{language}: {body}");
            assert!(!body.contains("sheet-") && !body.contains("plan-none"), "{language}: {body}");
            assert!(body.len() > 4000, "{language}: {body}");
        }
    }
}

#[test]
fn the_reader_of_a_sheet_is_whoever_gets_the_cat_next() {
    let now = at("2026-06-10T08:00:00Z");
    let mut settings = household();
    assert_eq!(sheet_reader(&settings, now).unwrap().called, "Rowan", "the first who is not the owner");
    settings.duty = vec![duty("hazel", "2026-06-12T10:00:00Z", "2026-06-20T10:00:00Z")];
    assert_eq!(sheet_reader(&settings, now).unwrap().called, "Hazel");
    settings.persons.truncate(1);
    settings.duty.clear();
    assert_eq!(sheet_reader(&settings, now).unwrap().called, "Olive");
}

/// Names and notes come from people, files and the network.
pub(crate) fn hostile() -> Household {
    let mut settings = complete();
    for person in &mut settings.persons {
        person.called = NASTY.into();
        person.phone = Some(NASTY.into());
        person.channels[1].address = NASTY.into();
    }
    let cat = &mut settings.cats[0];
    cat.called = NASTY.into();
    cat.plan.on_low = Some(NASTY.into());
    cat.plan.vet_phone = Some(NASTY.into());
    cat.plan.out_of_hours_phone = Some(NASTY.into());
    cat.plan.in_words = Some(NASTY.into());
    cat.doses.times = vec!["07:00".into(), NASTY.into()];
    settings
}

/// No element but our own, and no attribute that runs anything.
fn is_harmless(page: &str) {
    let ours = [
        "!doctype",
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "section",
        "h1",
        "h2",
        "p",
        "b",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "figure",
        "figcaption",
        "svg",
        "rect",
        "path",
        "text",
        "polyline",
        "circle",
    ];
    for tag in page.split('<').skip(1) {
        let name: String = tag.chars().take_while(|c| c.is_alphanumeric() || "/!".contains(*c)).collect();
        let name = name.trim_start_matches('/').to_lowercase();
        assert!(ours.contains(&name.as_str()), "<{name}> is none of ours");
        let inside = tag.split('>').next().unwrap().to_lowercase();
        assert!(!inside.contains("onerror") && !inside.contains("href"), "<{inside}>");
    }
    assert!(!page.contains('\u{202e}'));
}

#[test]
fn hostile_names_stay_text_on_the_sheet_and_in_the_report() {
    is_harmless(&sheet(&hostile(), "rowan", NASTY));
    let (history, from, until) = record(NASTY);
    let settings = hostile();
    let cat = &settings.cats[0];
    let found = curve(cat, &history, from, until, settings.home.timezone);
    let reader = Reader { now: until, ..Reader::home(&settings, until) };
    is_harmless(&curve_page(cat, &history, &found, &reader));
}

/// Two days with four doses; a check, a note, a hole of six hours and a dip under what the sensor reads.
fn record(by: &str) -> (History, Moment, Moment) {
    let from = at("2026-06-09T22:00:00Z");
    let until = from + minutes(2.0 * 1440.0);
    let value = |t: Moment| {
        let hours = t.minutes_since(from) / 60.0;
        let level = 180.0 + 150.0 * (hours / 12.0 * std::f64::consts::TAU).cos();
        if level < 40.0 { Value::Below } else { Value::Level(level.round()) }
    };
    let mut readings = samples(from, until, 15.0, value);
    readings.retain(|r| !(300.0..660.0).contains(&r.measured_at.minutes_since(from)));
    let dose = |hours: f64| Dose {
        cat: cat(),
        given_at: from + minutes(hours * 60.0),
        units: Some(1.5),
        by: Some(by.into()),
        not_given: false,
    };
    let measured_at = from + minutes(600.0);
    let history = History {
        readings,
        doses: vec![dose(1.0), dose(12.0), dose(24.0), dose(36.0)],
        checks: vec![MeterCheck {
            cat: cat(),
            measured_at,
            glucose: Value::Level(88.0),
            meter: MeterKind::Pet,
        }],
        notes: vec![Note { cat: cat(), at: measured_at, text: by.into(), by: None }],
        ..History::default()
    };
    (history, from, until)
}

#[test]
fn the_report_has_a_row_for_each_cycle_and_a_picture_for_each_day() {
    let mut settings = household();
    for language in LANGUAGES {
        settings.home.language = (*language).to_owned();
        let (history, from, until) = record("olive");
        let found = curve(&settings.cats[0], &history, from, until, settings.home.timezone);
        let reader = Reader { now: until, ..Reader::home(&settings, until) };
        let page = curve_page(&settings.cats[0], &history, &found, &reader);
        let body = page.split("</style>").nth(1).unwrap();
        assert!(!body.contains(['{', '}', '$']) && !body.contains("curve-"), "{body}");
        assert_eq!(body.matches("<svg").count(), 3, "all cycles, and two days");
        assert_eq!(body.matches("class=\"dose\"").count(), 4);
        assert_eq!(body.matches("class=\"check\"").count(), 1);
        assert_eq!(body.matches("<tr>").count(), 2 + 1 + 4 + 1 + 2 + 1 + 1 + 1 + 1, "{body}");
        // On a phone a table of two weeks is some screens long: the whole and the pictures come before it.
        let at = |what: &str| body.find(&reader.word(what)).expect(what);
        assert!(
            at("curve-whole") < at("curve-cycles") && at("curve-overlay") < at("curve-pre-dose"),
            "{body}"
        );
        let days = &body[at("curve-days")..];
        assert!(days.find("<svg") < days.find("<tr>"), "{days}");
    }
    settings.home.language = "en".into();
    let (history, from, until) = record("olive");
    let found = curve(&settings.cats[0], &history, from, until, settings.home.timezone);
    // Six of 48 hours are missing.
    assert!((found.whole.held - 42.0 / 48.0).abs() < 0.006, "{}", found.whole.held);
    // The lowest of the second cycle: 180 - 150 at 18 h, six hours after the dose; the sensor reads nothing under 40.
    let second = &found.cycles[1];
    assert_eq!(second.figures.lowest.unwrap().value, Value::Below);
    assert!(second.nadir_after_minutes().unwrap() > 300.0);
}

#[test]
fn the_table_is_read_back_by_a_csv_reader_and_holds_no_formula() {
    let settings = household();
    let (history, from, until) = record("=cmd|' /C calc'!A0");
    let found = curve(&settings.cats[0], &history, from, until, settings.home.timezone);
    let text = curve_csv(&settings.cats[0], &found, Unit::MmolL).unwrap();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head = reader.headers().unwrap().clone();
    let column = |name: &str| head.iter().position(|found| found == name).unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let kinds: Vec<&str> = rows.iter().map(|row| &row[0]).collect();
    assert_eq!(kinds, ["cycle", "cycle", "cycle", "cycle", "day", "day", "total"]);
    for row in &rows {
        assert!(row.iter().all(|field| !field.starts_with(['=', '+', '-', '@'])), "{row:?}");
    }
    assert_eq!(&rows[1][column("lowest")], "LO");
    assert_eq!(&rows[1][column("mean_is")], "at-most");
    assert_eq!(&rows[1][column("by")], "'=cmd|' /C calc'!A0");
    assert_eq!(&rows[1][column("units")], "1.5");
    let day: Moment = Moment::parse(&rows[4][column("from")]).unwrap();
    assert_eq!(day, at("2026-06-09T22:00:00Z"), "midnight in Vienna");
}

#[test]
fn what_was_found_of_a_sensor_is_said_when_asked_for() {
    let world = lived(household());
    let status = house_status(&world.house, world.now).unwrap();
    let fit = fit_text(&status, &household());
    assert!(fit.starts_with("Pepper:"), "{fit}");
    assert!(!status_text(&status, &household()).contains("log score"));
    let mut told = status.clone();
    told.cats[0].fit = vec!["sensor noise: twice the usual".into(), "lag: as usual".into()];
    assert_eq!(fit_text(&told, &household()), "Pepper:\n  sensor noise: twice the usual\n  lag: as usual");
}

#[test]
fn the_status_names_the_next_scans_or_the_least_loss() {
    let shown = |settings: Household| {
        let world = lived(settings.clone());
        status_text(&house_status(&world.house, world.now).unwrap(), &settings)
    };
    // Scanned at 10:00: half an hour before eight hours have passed, at bedtime, at getting up.
    let text = shown(household());
    assert!(text.contains("scans that leave no gap: 17:30, 22:30, 06:30 tomorrow\n"), "{text}");
    assert!(!text.contains("lost"), "{text}");
    let mut settings = household();
    settings.persons[0].quiet = quiet("22:00", "08:00");
    let text = shown(settings);
    assert!(text.contains("scans that lose least: 17:30, 22:00, 08:00 tomorrow\n"), "{text}");
    assert!(text.contains("lost whatever you do: 22:00 to 00:00 tomorrow\n"), "{text}");
    let mut settings = household();
    settings.cats[0].sensor.kind = SensorKind::Streamed;
    assert!(!shown(settings).contains("scans that"), "nobody scans a sensor that streams");
}

#[test]
fn a_dose_is_recorded_with_the_button_where_there_is_one() {
    let mut settings = complete();
    assert!(
        sheet(&settings, "olive", "olive").contains("Write each dose down with its time, and tell Olive.")
    );
    settings.home.answers.buttons = true;
    assert!(sheet(&settings, "olive", "olive").contains("Record each dose at once with “"));
}

/// The sentences of the commands are English; a span or a day of another language within them reads like a mistake.
#[test]
fn the_status_of_a_household_of_another_language_is_not_half_in_it() {
    for language in ["de", "fr"] {
        let mut settings = household();
        settings.home.language = language.into();
        settings.duty = vec![duty("rowan", "2026-06-20T18:00:00Z", "2026-06-21T18:00:00Z")];
        let world = lived(settings.clone());
        let status = house_status(&world.house, world.now).unwrap();
        let text = status_text(&status, &settings);
        for line in ["From 20:00 on Sat 20 Jun: Rowan.", "minutes old", "06:30 tomorrow"] {
            assert!(text.contains(line), "{language}: {line}: {text}");
        }
        let own = lowtide::tell::caution(&Reader::home(&settings, world.now));
        assert!(text.ends_with(&own), "{language}: {text}");
        let ahead = ahead_text(&status, &settings);
        assert!(ahead.contains(" in 10") || ahead.contains(" in 100"), "{language}: {ahead}");
    }
}
