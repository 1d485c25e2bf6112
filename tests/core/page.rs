//! The web page: what it says of a household that lives, in the words of whoever looks.

use lowtide::report::{
    Ask, Happened, PAGE_STYLE, PageSeat, ask_page, history_page, now_page, password_page, record_page,
    sensors_page,
};
use lowtide::tell::{LANGUAGES, Reader};
use lowtide::words::{
    Answer, Arg, CatName, Event, Household, Note, SensorEvent, SensorNote, Severity, Telling, Unit, Value,
    Verdict, Via, Watch, minutes,
};

use crate::household::{at, cat, name, streaming};
use crate::paper::{NASTY, complete, hostile};
use crate::world::{Mood, World};

/// A streaming sensor, put on at noon with a dose, and what it read since; the newest reading is a quarter of an hour old.
fn streamed(settings: &Household, last: &[f64]) -> World {
    let mut world = World::new(settings.clone(), at("2026-06-10T12:00:00Z"));
    world.sensor(SensorEvent::Applied);
    world.dose(world.now, "olive");
    let before: Vec<f64> = (0..20).map(|n| 190.0 + 30.0 * (f64::from(n) / 3.0).sin()).collect();
    world.stream_levels(&before);
    world.meter(185.0);
    world.stream_levels(last);
    world
}

/// The household that has written everything down, with a sensor that streams.
fn all_written() -> Household {
    let mut settings = complete();
    settings.cats[0].sensor = streaming().cats.remove(0).sensor;
    settings.cats[0].doses.times = vec!["02:00".into(), "14:00".into()];
    settings
}

fn falling() -> Vec<f64> {
    (0..12).map(|n| 170.0 - 9.0 * f64::from(n)).collect()
}

fn seat<'a>(world: &'a World, settings: &'a Household, who: &str) -> PageSeat<'a> {
    let person = settings.person(&name(who)).unwrap();
    PageSeat { house: &world.house, person, now: world.now, notice: None, locked: true }
}

fn now(world: &World, settings: &Household, who: &str) -> String {
    now_page(&seat(world, settings, who))
}

#[test]
fn what_is_open_stands_first_with_the_buttons_of_its_message() {
    let mut settings = all_written();
    for meter in [true, false] {
        settings.persons[0].meter = meter;
        let world = streamed(&settings, &falling());
        let page = now(&world, &settings, "olive");
        let message = world.said.iter().rfind(|m| m.severity >= Severity::Warning).unwrap();
        assert!(message.buttons.len() >= 2 && world.holds(Watch::LowNow), "{message:?}");
        let shown: Vec<&str> = page.split("name=\"verdict\" value=\"").skip(1).collect();
        assert_eq!(shown.len(), message.buttons.len(), "{page}");
        for (shown, button) in shown.iter().zip(&message.buttons) {
            assert!(shown.starts_with(&format!("{}\">{}<", button.verdict.word(), button.label)), "{shown}");
            assert!(page.contains(&format!("name=\"finding\" value=\"{}\"", button.finding)), "{page}");
        }
        let order = [
            "<h2>Glucose is low: Pepper</h2>",
            "tel:5550100",
            "I am on it",
            "<h2>Pepper, by the sensor</h2>",
            "<svg",
        ];
        let places: Vec<usize> = order.iter().map(|part| page.find(part).unwrap()).collect();
        assert!(places.is_sorted(), "{places:?} {page}");
        assert!(page.contains("<title>Glucose is low: Pepper</title>"), "{page}");
        assert!(!page.contains("in 10</td>") && !page.contains("Under 70 mg/dL within"), "{page}");
    }
}

#[test]
fn nothing_open_is_no_comfort_without_a_fresh_reading() {
    let settings = all_written();
    let fine = [200.0, 195.0, 190.0, 192.0];
    let mut world = streamed(&settings, &fine);
    let page = now(&world, &settings, "olive");
    assert!(page.contains("Nothing is open about Pepper. That rests on a reading 15 minutes old."), "{page}");
    assert!(page.contains("Blood about") && page.contains("class=\"ahead\""), "{page}");
    assert!(page.contains("in 10</td>") && page.contains("Under 70 mg/dL within 60 minutes: less"), "{page}");
    world.pass(27.0);
    let page = now(&world, &settings, "olive");
    assert!(!page.contains("That rests on a reading"), "{page}");
    assert!(page.contains("that is no comfort: the newest reading is 42 minutes old"), "{page}");
    assert!(page.contains("Where blood is now is not known: the newest reading is too old."), "{page}");
    assert!(!page.contains("Blood about") && !page.contains("class=\"ahead\""), "{page}");
    let world = World::new(settings.clone(), world.now);
    let page = now(&world, &settings, "olive");
    assert!(page.contains("no comfort: there is no reading to go by"), "{page}");
}

#[test]
fn with_a_drug_that_hides_danger_no_level_is_shown_as_good() {
    let mut settings = all_written();
    for hides in [false, true] {
        settings.cats[0].plan.sglt2_inhibitor = hides;
        let world = streamed(&settings, &[160.0, 150.0, 150.0, 150.0]);
        let page = now(&world, &settings, "olive");
        assert_eq!(page.contains("class=\"plan\""), !hides, "{page}");
        assert_eq!(page.contains("Grey band"), !hides, "{page}");
        assert_eq!(page.contains("near normal in a life-threatening state"), hides, "{page}");
    }
}

#[test]
fn no_page_has_a_hole_or_a_key_in_any_language() {
    let mut settings = all_written();
    for language in LANGUAGES {
        settings.persons[0].language = (*language).to_owned();
        let fine = streamed(&settings, &[200.0, 195.0, 190.0, 192.0]);
        for world in [streamed(&settings, &falling()), answered(&settings), scanned(language), fine] {
            let settings = world.house.household.as_ref().unwrap();
            let seat = seat(&world, settings, "olive");
            for page in pages(&world, &seat) {
                assert!(page.contains(&format!("<html lang=\"{language}\">")), "{page}");
                let body = page.split("<body>").nth(1).unwrap();
                assert!(!body.contains(['{', '}', '$']), "{language}: {body}");
                for part in body.split(['>', '"']).filter(|part| !part.contains('=')) {
                    assert!(!part.starts_with("page-") && !part.starts_with("sheet-"), "{language}: {part}");
                }
            }
        }
    }
}

/// A critical low that Olive is on, told to nobody's server before.
fn answered(settings: &Household) -> World {
    let mut world = streamed(settings, &falling());
    world.stream_levels(&[50.0, 40.0]);
    world.answer("olive", Verdict::Taken);
    world
}

/// A sensor that is scanned, and has been forgetting for an hour.
fn scanned(language: &str) -> World {
    let mut settings = complete();
    settings.persons[0].language = language.to_owned();
    let mut world = World::new(settings, at("2026-06-10T04:00:00Z"));
    world.sensor(SensorEvent::Applied);
    world.until(at("2026-06-10T08:00:00Z"));
    world.scan_back(180.0, |_| 160.0);
    world.pass(9.0 * 60.0);
    world
}

#[test]
fn an_open_low_says_who_is_on_it_who_was_told_and_when_it_comes_back() {
    let settings = all_written();
    let mut world = streamed(&settings, &falling());
    world.mood("topic-olive", Mood::Hangs);
    world.stream(Value::Level(45.0));
    let page = now(&world, &settings, "olive");
    assert!(page.contains("Dangerously low") && page.contains("Nobody has answered since"), "{page}");
    let finding = world.house.open().iter().find(|f| f.watch == Watch::LowNow).map(|f| f.id.clone());
    let answer =
        Answer { finding, person: name("rowan"), via: Via::Command, verdict: Verdict::Taken, at: None };
    world.event(Event::Answer(answer));
    let page = now(&world, &settings, "olive");
    assert!(
        page.contains("Rowan is on it, since 22:00. It comes back at 22:45 if it still holds then."),
        "{page}"
    );
    assert!(now(&world, &settings, "rowan").contains("You are on it, since 22:00."), "{page}");
    assert!(page.contains("A message about it has gone out to: Olive."), "{page}");
    let mut world = World::new(settings.clone(), at("2026-06-10T12:00:00Z"));
    world.mood("topic-olive", Mood::Later);
    world.mood("olive@example.org", Mood::Later);
    world.stream_levels(&[45.0]);
    let page = now(&world, &settings, "olive");
    assert!(page.contains("No server has taken a message about it yet."), "{page}");
}

/// Every page that can be made from a seat.
fn pages(world: &World, seat: &PageSeat<'_>) -> Vec<String> {
    let ask = Ask { cat: cat(), held: seat.now, at: NASTY.into(), units: NASTY.into() };
    let wrong = Some(Telling::new("page-quiet-none").with("cat", Arg::Text(NASTY.into())));
    let events = [SensorEvent::Applied, SensorEvent::Failed, SensorEvent::Applied];
    let note = |(n, event)| SensorNote { cat: cat(), at: seat.now - minutes(9000.0 - 3000.0 * n), event };
    let notes = (0..3).map(f64::from).zip(events).map(note).collect();
    vec![
        history(world, seat),
        sensors_page(seat, &[(cat(), notes)]),
        now_page(seat),
        record_page(seat),
        ask_page(seat, &ask),
        password_page(&seat.person.language, Some(NASTY), wrong),
    ]
}

#[test]
fn hostile_names_stay_text_and_nothing_runs() {
    let mut settings = hostile();
    settings.cats[0].sensor = streaming().cats.remove(0).sensor;
    let mut world = streamed(&settings, &falling());
    world.dose(world.now, NASTY);
    world.event(Event::Note(Note { cat: cat(), at: world.now, text: NASTY.into(), by: Some(NASTY.into()) }));
    let notice = Telling::new("page-now-title").with("cat", Arg::Text(NASTY.into()));
    let notice = notice.with("time", Arg::Time(world.now));
    let seat = PageSeat { notice: Some(&notice), ..seat(&world, &settings, "olive") };
    for page in pages(&world, &seat) {
        for bad in ["<script", "<img", "style=", "<style", "onerror=alert(2)>", "javascript:", "\u{202e}"] {
            assert!(!page.contains(bad), "{bad}: {page}");
        }
        assert!(page.contains("&lt;script&gt;"), "{page}");
    }
    assert!(!PAGE_STYLE.contains("url(") && !PAGE_STYLE.contains("@import"));
}

#[test]
fn what_is_recorded_on_a_page_is_of_whoever_it_is_shown_to() {
    let settings = all_written();
    let world = streamed(&settings, &falling());
    let ask = Ask { cat: cat(), held: world.now, at: "07:05".into(), units: String::new() };
    let seat = seat(&world, &settings, "rowan");
    for page in [now_page(&seat), record_page(&seat), ask_page(&seat, &ask)] {
        let mut forms: Vec<&str> = page.split("<form ").skip(1).collect();
        forms.retain(|form| !form.contains("action=\"/person\"") && !form.contains("action=\"/leave\""));
        assert!(!forms.is_empty(), "{page}");
        for form in forms {
            let form = form.split("</form>").next().unwrap();
            assert!(form.contains("type=\"hidden\" name=\"person\" value=\"rowan\""), "{form}");
        }
    }
}

#[test]
fn everything_that_the_page_can_say_is_said_in_every_language() {
    let mut keys = std::collections::BTreeSet::new();
    for folder in ["daemon/page", "daemon/report/page"] {
        for file in std::fs::read_dir(folder).unwrap() {
            let text = std::fs::read_to_string(file.unwrap().path()).unwrap();
            let words = text.split('"').filter(|word| word.starts_with("page-"));
            keys.extend(words.map(str::to_owned));
        }
    }
    assert!(keys.contains("page-slip-time") && keys.contains("page-answer-over"), "{keys:?}");
    for language in LANGUAGES {
        let now = at("2026-06-10T12:00:00Z");
        let (units, zone) = (Unit::MgDl, chrono_tz::Tz::UTC);
        let reader = Reader { language, units, zone, now, household: None };
        for key in &keys {
            assert_ne!(reader.word(key), *key, "{language}");
        }
    }
}

#[test]
fn a_form_suggests_no_dose_and_a_slip_is_taken_back_for_half_a_day() {
    let settings = all_written();
    let mut world = streamed(&settings, &[200.0; 4]);
    let page = record_page(&seat(&world, &settings, "olive"));
    let units = page.split("name=\"units\"").nth(1).unwrap().split('>').next().unwrap();
    assert!(!units.contains("value") && !units.contains("placeholder"), "{units}");
    assert!(page.contains("name=\"given_at\" value=\"2026-06-10T12:00:00Z\""), "{page}");
    assert!(page.contains("name=\"measured_at\" value=\"2026-06-10T17:00:00Z\""), "{page}");
    assert!(page.contains("<option value=\"pet\" selected>"), "the meter of the last check: {page}");
    world.until(at("2026-06-11T00:00:00Z"));
    let page = record_page(&seat(&world, &settings, "olive"));
    assert!(!page.contains("name=\"given_at\"") && page.contains("name=\"measured_at\""), "{page}");
    assert!(!page.contains("http-equiv=\"refresh\""), "what is half typed must not be lost: {page}");
    assert!(now(&world, &settings, "olive").contains("http-equiv=\"refresh\""));
}

/// Everything that happened, as the record would give it.
fn history(world: &World, seat: &PageSeat<'_>) -> String {
    let happened: Vec<Happened<'_>> =
        world.journal.iter().map(|(at, event, said)| Happened { at: *at, event, said }).collect();
    history_page(seat, &happened, 3)
}

#[test]
fn the_history_says_what_was_found_told_answered_and_recorded() {
    let settings = all_written();
    let mut world = streamed(&settings, &falling());
    world.answer("olive", Verdict::Taken);
    world.stream_levels(&[80.0, 95.0, 120.0]);
    world.mood("topic-olive", Mood::Refuses);
    world.stream_levels(&[110.0, 90.0, 60.0, 45.0]);
    let note = Note { cat: cat(), at: world.now, text: "vomited".into(), by: Some("olive".into()) };
    world.event(Event::Note(note));
    let page = history(&world, &seat(&world, &settings, "olive"));
    let story = [
        "Note by Olive: vomited",
        "Found: &quot;Dangerously low: Pepper&quot;. Act now.",
        "No longer open: &quot;Glucose is low: Pepper&quot;. Blood about",
        "Olive answered: &quot;I am on it&quot;",
        "Found: &quot;Glucose is low: Pepper&quot;. Blood about",
        "To Olive: &quot;Glucose is low: Pepper&quot;. Push: its server took it at",
        "Meter check of 19:00: 185 mg/dL (meter for pets).",
        "Dose recorded: 14:00, by Olive, 1 units.",
    ];
    let places: Vec<Option<usize>> = story.iter().map(|part| page.rfind(part)).collect();
    assert!(places.iter().all(Option::is_some) && places.is_sorted(), "{places:?} {page}");
    assert!(page.contains("<h2>Wed 10 Jun 2026</h2>"), "{page}");
    let told = page.split("<li>").find(|line| line.contains("To Olive: &quot;Dangerously low")).unwrap();
    assert!(told.contains("Mail: its server took it"), "the way that carried it: {told}");
}

#[test]
fn with_two_cats_the_history_says_whose_dose_it_was() {
    let mut settings = all_written();
    for two in [false, true] {
        if two {
            let mut other = settings.cats[0].clone();
            (other.name, other.called) = (CatName::new("mint").unwrap(), "Mint".into());
            settings.cats.push(other);
        }
        let world = streamed(&settings, &[200.0; 4]);
        let page = history(&world, &seat(&world, &settings, "olive"));
        for line in ["Dose recorded: 14:00", "Meter check of 19:00"] {
            assert_eq!(page.contains(&format!("</b> Pepper: {line}")), two, "{page}");
            assert_eq!(page.contains(&format!("</b> {line}")), !two, "{page}");
        }
    }
}

#[test]
fn a_long_history_is_cut_at_its_old_end_and_says_so() {
    let settings = all_written();
    let mut world = World::new(settings.clone(), at("2026-06-10T12:00:00Z"));
    for count in 0..401 {
        let note = Note { cat: cat(), at: world.now, text: format!("note {count}."), by: None };
        world.event(Event::Note(note));
    }
    let page = history(&world, &seat(&world, &settings, "olive"));
    assert!(page.contains("note 400.") && !page.contains("note 0."), "{page}");
    assert_eq!(page.matches("<li><b>").count(), 400);
    assert!(page.contains("Only the newest 400 lines are shown."), "{page}");
}

#[test]
fn the_sensors_page_counts_what_is_recorded_and_says_when_that_is_too_little() {
    let mut settings = all_written();
    settings.cats[0].sensor.price = Some(60.0);
    settings.cats[0].sensor.currency = Some("EUR".into());
    let world = streamed(&settings, &[200.0; 4]);
    let note = |days: f64, event| SensorNote { cat: cat(), at: world.now - minutes(days * 1440.0), event };
    let mut notes = vec![note(3.0, SensorEvent::Applied)];
    let page =
        |notes: &[SensorNote]| sensors_page(&seat(&world, &settings, "olive"), &[(cat(), notes.to_vec())]);
    assert!(page(&notes).contains("One sensor is recorded: too few to tell."), "{}", page(&notes));
    for days in [20.0, 30.0, 40.0, 50.0] {
        notes.insert(0, note(days - 8.0, SensorEvent::CameOff));
        notes.insert(0, note(days, SensorEvent::Applied));
    }
    let page = page(&notes);
    // Four at 60 EUR over four times eight days: 240 / 32.
    for part in ["still on", "came off", ">8.0<", ">3.0<", "7.50 EUR", "4.29 EUR", "5 sensors are recorded."]
    {
        assert!(page.contains(part), "{part} {page}");
    }
    assert!(page.contains("That the present one lasts until"), "{page}");
}

#[test]
fn what_came_of_a_form_stands_on_top_in_words() {
    let settings = all_written();
    let world = streamed(&settings, &[200.0; 4]);
    let cat = |key: &str| Telling::new(key).with("cat", Arg::Text("Pepper".into()));
    for (notice, words) in [
        (cat("page-form-note"), "Pepper: a note"),
        (
            cat("dose-undone").with("time", Arg::Time(world.now)),
            "Dose taken back: Pepper. Your dose of 20:00 counts as not given.",
        ),
    ] {
        let seat = PageSeat { notice: Some(&notice), ..seat(&world, &settings, "olive") };
        let page = now_page(&seat);
        let place = page.find(&format!("role=\"status\">{words}</p>"));
        assert!(place.is_some() && place < page.find("<h2>"), "{page}");
    }
}
