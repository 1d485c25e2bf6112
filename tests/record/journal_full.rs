//! A journal as a running household of version 0.1.0 left it: settings, readings, findings, messages in three languages,
//! deliveries, answers, troubles. Kept in `tests/data/journal-1-full` from 25 November 2026 on, so that every later program can
//! be shown to read it, to know the same, and to say nothing again. The scenario is invented.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use lowtide::config::load;
use lowtide::record::{Damage, Entry, Record};
use lowtide::turn::{House, recall, turn};
use lowtide::words::{
    Answer, Batch, CatName, Dose, Event, Health, MeterCheck, MeterKind, Moment, Note, Outcome, PersonName,
    Reading, ReadingKind, SensorEvent, SensorNote, Spare, Telling, Value, Verdict, Via, Watch, minutes,
};

use super::world::{at, pepper};

fn kept() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/journal-1-full")
}

fn settings(more: &str) -> Event {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lowtide.toml");
    let text = format!(
        "[home]\ntimezone = \"Europe/Vienna\"\n[[cat]]\nname = \"pepper\"\ncalled = \"Pepper\"\n[cat.sensor]\nkind = \"streamed\"\n\
         [cat.plan]\nlow = 70\ndanger = 50\nmeter_low = 60\nhigh = 300\non_low = \"Offer food and call us.\"\n[cat.doses]\n\
         times = [\"07:00\", \"19:00\"]\n[notify.ntfy]\nserver = \"https://ntfy.example\"\nreply_topic = \"replies\"\n{more}"
    );
    fs::write(&file, text).unwrap();
    let household = Box::new(load(&file).unwrap().household);
    Event::Household { program: "0.1.0".to_owned(), household }
}

const PERSONS: &str = "[[person]]\nname = \"owner\"\ncalled = \"Alex\"\nntfy = \"topic-one\"\nquiet = \"22:30-06:30\"\n[[person]]\n\
    name = \"sitter\"\ncalled = \"Sam\"\nntfy = \"topic-two\"\nunits = \"mmol/L\"\nlanguage = \"de\"\n[[person]]\n\
    name = \"neighbour\"\nntfy = \"topic-three\"\nlanguage = \"fr\"\n";

fn reading(at: Moment, value: Value) -> Event {
    let reading = Reading { measured_at: at, value, kind: ReadingKind::History };
    Event::Readings(Batch {
        cat: pepper(),
        via: Via::Mqtt,
        source: "bridge".to_owned(),
        sensor: None,
        scanned_at: None,
        readings: vec![reading],
        repeated: 0,
        conflicts: vec![],
        newest: Some(at),
    })
}

fn answer(person: &str, verdict: Verdict) -> Event {
    let person = PersonName::new(person).unwrap();
    Event::Answer(Answer { finding: None, person, via: Via::Button, verdict, at: None })
}

fn health(watch: Watch, about: &str, key: Option<&str>) -> Event {
    let trouble = key.map(Telling::new);
    Event::Health(Health { watch, about: about.to_owned(), trouble })
}

/// Two days: a quiet one, a low that is answered and comes back, a dose given twice, a sensor that fails, new settings.
fn scenario() -> Vec<(Moment, Event)> {
    let start = at("2026-01-30T06:00:00Z");
    let cat: CatName = pepper();
    let quarter = |count: f64| start + minutes(15.0 * count);
    let mut events = vec![
        (start, settings(PERSONS)),
        (start, Event::Sensor(SensorNote { cat: cat.clone(), at: start, event: SensorEvent::Applied })),
        (start, Event::Spare(Spare { cat: cat.clone(), at: start, count: 1 })),
        (start, Event::Bridge { cat: cat.clone(), online: true }),
    ];
    for count in 5..150 {
        let place = f64::from(count);
        let fall = if (90..110).contains(&count) { 145.0 - (100.0 - place).abs() * 13.0 } else { 0.0 };
        let level = (185.0 + 40.0 * (place / 9.0).sin() - fall).round();
        let value = if level < 40.0 { Value::Below } else { Value::Level(level) };
        events.push((quarter(place) + minutes(0.3), reading(quarter(place), value)));
    }
    for (after, event) in [
        (
            4.0,
            Event::Dose(Dose {
                cat: cat.clone(),
                given_at: quarter(4.0),
                units: Some(1.5),
                by: Some("Alex".into()),
                not_given: false,
            }),
        ),
        (
            30.0,
            Event::Note(Note {
                cat: cat.clone(),
                at: quarter(30.0),
                text: "ate well, \"all\" of it".into(),
                by: None,
            }),
        ),
        (
            52.0,
            Event::Dose(Dose {
                cat: cat.clone(),
                given_at: quarter(52.0),
                units: None,
                by: None,
                not_given: false,
            }),
        ),
        (
            56.0,
            Event::Dose(Dose {
                cat: cat.clone(),
                given_at: quarter(56.0),
                units: None,
                by: Some("Sam".into()),
                not_given: false,
            }),
        ),
        (56.5, answer("sitter", Verdict::Taken)),
        (101.4, answer("neighbour", Verdict::Later)),
        (
            103.0,
            Event::Meter(MeterCheck {
                cat: cat.clone(),
                measured_at: quarter(103.0),
                glucose: Value::Level(58.0),
                meter: MeterKind::Pet,
            }),
        ),
        (103.5, answer("owner", Verdict::Taken)),
        (120.0, health(Watch::SourceRefused, "broker", Some("source-refused"))),
        (121.0, Event::Refused { via: Via::Button, why: "the signature is not ours".into() }),
        (122.0, health(Watch::SourceRefused, "broker", None)),
        (150.0, Event::Sensor(SensorNote { cat, at: quarter(150.0), event: SensorEvent::Failed })),
        (151.0, settings("[[person]]\nname = \"owner\"\ncalled = \"Alex\"\nntfy = \"topic-one\"\n")),
    ] {
        events.push((quarter(after) + minutes(0.5), event));
    }
    events.sort_by_key(|(at, _)| *at);
    events
}

/// What a house knows and has said, as far as people would notice.
fn known(house: &House) -> String {
    let mut text = format!("now {}\n", house.now);
    for finding in house.open() {
        let _ = writeln!(
            text,
            "open {} {:?} step {} since {}",
            finding.id, finding.severity, finding.step, finding.since
        );
        let Some(spoken) = house.ledger.spoken.get(&finding.id) else { continue };
        for (person, heard) in &spoken.heard {
            let _ = writeln!(
                text,
                "  {person} heard {:?} step {} in {}",
                heard.severity, heard.step, heard.message
            );
        }
        let _ =
            writeln!(text, "  answered {:?}", spoken.answered.as_ref().map(|answered| answered.by.as_str()));
    }
    for (name, cat) in &house.cats {
        let _ =
            writeln!(text, "{name} newest {:?} wear {:?} doses {}", cat.newest, cat.wear, cat.doses.len());
    }
    let waiting: Vec<String> = house.ledger.outbox.keys().map(ToString::to_string).collect();
    let _ = writeln!(text, "on the way {waiting:?}");
    text
}

/// Writes the journal; only for a new format, beside this one.
#[test]
#[ignore = "writes test data: LOWTIDE_WRITE_JOURNAL=folder"]
fn write_the_full_journal() {
    let Some(folder) = std::env::var_os("LOWTIDE_WRITE_JOURNAL").map(PathBuf::from) else { return };
    let mut record = Record::open(&folder, House::default, |_, _| ()).unwrap().record;
    let mut house = House::default();
    let mut queue = scenario();
    queue.reverse();
    let mut wake: Option<Moment> = None;
    while let Some((due, event)) = queue.pop() {
        let (now, event) = match wake.filter(|wake| *wake < due) {
            Some(wake) => {
                queue.push((due, event));
                (wake, Event::Tick)
            }
            None => (due, event),
        };
        take(&mut record, &mut house, &event, now, &mut wake);
        // Every parcel is carried at once; the sitter's first attempt fails each time.
        while let Some(parcel) = house.due(house.now).into_iter().next() {
            let first = parcel.attempt == 1
                && parcel.channel.address == "topic-two"
                && house.now > at("2026-01-31T00:00:00Z");
            let outcome = if first {
                Outcome::Later { why: "no answer".into(), retry_after_seconds: None }
            } else {
                Outcome::Delivered { receipt: Some(format!("r{}", parcel.message)) }
            };
            let now = house.now + minutes(0.01);
            take(&mut record, &mut house, &Event::Outcome { parcel, outcome }, now, &mut wake);
        }
    }
    record.sync().unwrap();
    fs::write(folder.join("known.txt"), known(&house)).unwrap();
}

fn take(record: &mut Record, house: &mut House, event: &Event, now: Moment, wake: &mut Option<Moment>) {
    let turned = turn(house, event, now);
    *wake = turned.wake;
    if *event != Event::Tick || !turned.said.is_empty() {
        record.append(house.now, event.clone(), turned.said);
    }
}

#[test]
fn a_journal_of_the_first_version_is_read_whole_and_nothing_is_forgotten_or_said_again() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("journal")).unwrap();
    let month = Path::new("journal/2026-01.log");
    fs::copy(kept().join(month), folder.path().join(month)).unwrap();
    let follow = |house: &mut House, entry: &Entry| recall(house, &entry.event, &entry.said, entry.at);
    let opened = Record::open(folder.path(), House::default, follow).unwrap();
    // Only the journal is kept here; the store is made anew from it.
    assert!(
        opened.damage.iter().all(|damage| matches!(damage, Damage::StoreRebuilt { .. })),
        "{:?}",
        opened.damage
    );
    assert_eq!(known(&opened.state), fs::read_to_string(kept().join("known.txt")).unwrap());
    // Entry for entry: everything that was said is still understood, in its own words.
    let entries: Vec<Entry> = Record::entries(folder.path()).map(Result::unwrap).collect();
    let text = fs::read_to_string(kept().join("journal/2026-01.log")).unwrap();
    assert_eq!(entries.len(), text.lines().count() - 1);
    let messages: usize = entries.iter().map(|entry| entry.said.messages.len()).sum();
    assert_eq!(messages, text.matches("\"title\":").count());
    assert!(
        messages >= 20 && entries.iter().any(|entry| matches!(entry.event, Event::Answer(_))),
        "{messages}"
    );
    for part in
        ["Sam", "gefährlich tief", "glycémie", "\"ended\":\"later\"", "\"what\":\"household\"", "withdrawn"]
    {
        assert!(text.contains(part), "the kept journal has no {part}");
    }
    // It comes back from an export to the byte.
    let mut export = Vec::new();
    lowtide::record::export(folder.path(), &mut export, |_, _| ()).unwrap();
    let restored = tempfile::tempdir().unwrap();
    lowtide::record::import(restored.path(), export.as_slice(), |_| ()).unwrap();
    assert_eq!(fs::read_to_string(restored.path().join("journal/2026-01.log")).unwrap(), text);
}
