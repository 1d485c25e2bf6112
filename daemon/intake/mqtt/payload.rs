//! One message becomes events. Pure: knows topics and formats, and nothing of brokers.

use serde::Deserialize;
use serde_json::Value as Json;

use crate::intake::formats::{self, Context, Parsed};
use crate::words::{Answer, Batch, CatName, Event, FindingId, PersonName, Unit, Verdict, Via};

/// One message as it came.
#[derive(Clone, Copy, Debug)]
pub struct Arrived<'a> {
    /// Its topic.
    pub topic: &'a str,
    /// Its bytes.
    pub payload: &'a [u8],
    /// The broker kept it from before we subscribed.
    pub retained: bool,
    /// It waited at the broker while we were away.
    pub waited: bool,
}

/// What a message says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Said {
    /// What could be read.
    pub events: Vec<Event>,
    /// What could not.
    pub wrong: Option<Wrong>,
}

/// What is wrong with a message.
#[derive(Clone, Debug, PartialEq)]
pub struct Wrong {
    /// The reason, in words.
    pub reason: String,
    /// The rows that could not be read, if others could; empty if nothing could.
    pub rows: Vec<String>,
    /// Who is said to answer, where nobody of the household is called so; at most [`NAME_CHARS_MAX`] letters. One name
    /// is told of once, however many messages bear it.
    pub stranger: Option<String>,
}

impl Said {
    fn wrong(reason: impl Into<String>) -> Self {
        Self { events: vec![], wrong: Some(Wrong { reason: reason.into(), rows: vec![], stranger: None }) }
    }

    fn one(event: Event) -> Self {
        Self { events: vec![event], wrong: None }
    }
}

/// Reads a message that came on `PREFIX/in/CAT/KIND`. `persons` may answer.
#[must_use]
pub fn read(arrived: Arrived<'_>, prefix: &str, context: &Context, persons: &[PersonName]) -> Said {
    if arrived.payload.is_empty() {
        // This is how a retained message is taken back.
        return Said::default();
    }
    if arrived.payload.len() > PAYLOAD_BYTES_MAX {
        return Said::wrong(format!(
            "the message has {} bytes, at most {PAYLOAD_BYTES_MAX} are read; send it in parts or as a file",
            arrived.payload.len()
        ));
    }
    let rest = arrived.topic.strip_prefix(prefix).and_then(|rest| rest.strip_prefix("/in/"));
    let Some((name, kind)) = rest.and_then(|rest| rest.split_once('/')) else {
        return Said::wrong(format!("the topic is not {prefix}/in/CAT/KIND"));
    };
    let Some((cat, unit)) = context.cats.iter().find(|(cat, _)| cat.as_str() == name) else {
        let known: Vec<_> = context.cats.iter().map(|(cat, _)| cat.as_str()).collect();
        return Said::wrong(format!("no cat is called '{name}'; there is: {}", known.join(", ")));
    };
    match kind {
        "bridge" => bridge(arrived.payload, cat),
        "answer" => answer(arrived, persons),
        _ => match KINDS.iter().find(|known| known.word == kind) {
            Some(kind) => records(arrived, kind, cat, *unit, context),
            None => {
                let known: Vec<_> = KINDS.iter().map(|known| known.word).collect();
                Said::wrong(format!("'{kind}' is not known here: use {}, answer or bridge", known.join(", ")))
            }
        },
    }
}

/// A kind of record and the events that it may become. A note may ride along with anything.
struct Kind {
    word: &'static str,
    takes: fn(&Event) -> bool,
}

const KINDS: &[Kind] = &[
    Kind { word: "reading", takes: |event| matches!(event, Event::Readings(_) | Event::Unread(_)) },
    Kind { word: SCAN, takes: |event| matches!(event, Event::Readings(_) | Event::Unread(_)) },
    Kind { word: "dose", takes: |event| matches!(event, Event::Dose(_)) },
    Kind { word: METER, takes: |event| matches!(event, Event::Meter(_)) },
    Kind { word: "sensor", takes: |event| matches!(event, Event::Sensor(_)) },
    Kind { word: "spare", takes: |event| matches!(event, Event::Spare(_)) },
    Kind { word: "note", takes: |event| matches!(event, Event::Note(_)) },
];
const SCAN: &str = "scan";
const METER: &str = "meter";

fn records(arrived: Arrived<'_>, kind: &Kind, cat: &CatName, unit: Unit, context: &Context) -> Said {
    // With one cat known, a message need not repeat its name, and may not be about another.
    let context = Context {
        zone: context.zone,
        cats: vec![(cat.clone(), unit)],
        ranges: context.ranges.clone(),
        layouts: vec![],
    };
    let marked = (kind.word == METER).then(|| as_meter(arrived.payload)).flatten();
    let parsed = match formats::parse("message.json", marked.as_deref().unwrap_or(arrived.payload), &context)
    {
        Ok(parsed) => parsed,
        Err(error) => return Said::wrong(error.to_string()),
    };
    let mut rows: Vec<String> =
        parsed.rejects.iter().map(|r| format!("item {}: {}", r.line, r.reason)).collect();
    let scan = (kind.word == SCAN && parsed.records.is_empty() && rows.is_empty())
        .then_some(parsed.scanned_at)
        .flatten();
    let mut events = taken(parsed, kind, arrived.topic, &mut rows);
    if scan.is_some() {
        // A scan that brings nothing is news: the sensor may have gone quiet.
        events.push(Event::Readings(Batch {
            cat: cat.clone(),
            via: Via::Mqtt,
            source: arrived.topic.to_owned(),
            sensor: None,
            scanned_at: scan,
            readings: vec![],
            repeated: 0,
            conflicts: vec![],
            newest: None,
        }));
    }
    if events.is_empty() && rows.is_empty() {
        return Said::wrong("there is nothing in it");
    }
    let wrong = rows.first().cloned().map(|reason| Wrong { reason, rows, stranger: None });
    Said { events, wrong }
}

/// The events that belong on this topic; the others are told in `rows`.
fn taken(parsed: Parsed, kind: &Kind, topic: &str, rows: &mut Vec<String>) -> Vec<Event> {
    let mut events = Vec::new();
    for (_, event) in parsed.into_events(Via::Mqtt, topic) {
        if (kind.takes)(&event) || matches!(event, Event::Note(_)) {
            events.push(event);
        } else {
            rows.push(format!(
                "there is something else than a {} in it; send that to its own topic",
                kind.word
            ));
        }
    }
    events
}

/// The same JSON with every value marked as a meter's, so that it can never pass for the sensor's.
fn as_meter(payload: &[u8]) -> Option<Vec<u8>> {
    let mark = |item: &mut Json| {
        if let Some(object) = item.as_object_mut() {
            object.entry(METER).or_insert_with(|| "unknown".into());
        }
    };
    let mut json: Json = serde_json::from_slice(payload).ok()?;
    match &mut json {
        Json::Array(items) => items.iter_mut().for_each(mark),
        item => mark(item),
    }
    serde_json::to_vec(&json).ok()
}

fn bridge(payload: &[u8], cat: &CatName) -> Said {
    let text = String::from_utf8_lossy(payload).trim().trim_matches('"').to_ascii_lowercase();
    match text.as_str() {
        "online" => Said::one(Event::Bridge { cat: cat.clone(), online: true }),
        "offline" => Said::one(Event::Bridge { cat: cat.clone(), online: false }),
        _ => Said::wrong("a bridge says 'online' or 'offline'"),
    }
}

#[derive(Debug, Deserialize)]
struct AnswerText {
    finding: Option<FindingId>,
    person: String,
    #[serde(default = "taken_on")]
    verdict: Verdict,
}

fn taken_on() -> Verdict {
    Verdict::Taken
}

fn answer(arrived: Arrived<'_>, persons: &[PersonName]) -> Said {
    if arrived.retained {
        return Said::wrong("an answer must not be retained: it would answer again at every start");
    }
    let text: AnswerText = match serde_json::from_slice(arrived.payload) {
        Ok(text) => text,
        Err(error) => {
            let example = r#"{"person": "owner", "verdict": "taken"}, and "finding" if it is about one"#;
            return Said::wrong(format!("not an answer ({error}): expected {example}"));
        }
    };
    let Some(person) = persons.iter().find(|person| person.as_str() == text.person) else {
        return stranger(&text.person, persons);
    };
    if arrived.waited && text.finding.is_none() {
        // It may be hours old, and must not silence what has begun since.
        return Said::wrong("the answer waited at the broker, and does not say which finding it meant");
    }
    if arrived.waited && !matches!(text.verdict, Verdict::Taken | Verdict::SensorFine | Verdict::Later) {
        return Said::wrong("the answer waited at the broker, and it cannot be known when it was given");
    }
    Said::one(Event::Answer(Answer {
        finding: text.finding,
        person: person.clone(),
        via: Via::Mqtt,
        verdict: text.verdict,
        at: None,
    }))
}

/// Kept like a good answer it would change nothing, and whoever sent it would believe that they had answered.
fn stranger(name: &str, persons: &[PersonName]) -> Said {
    let name: String = name.chars().take(NAME_CHARS_MAX).collect();
    let mut known: Vec<_> = persons.iter().take(NAMES_MAX).map(PersonName::as_str).collect();
    if persons.len() > NAMES_MAX {
        known.push("...");
    }
    let known = known.join(", ");
    let reason = format!("no person is called '{name}', so this answer changes nothing; there is: {known}");
    Said { events: vec![], wrong: Some(Wrong { reason, rows: vec![], stranger: Some(name) }) }
}

/// A name longer than this is none.
pub(super) const NAME_CHARS_MAX: usize = 40;
const NAMES_MAX: usize = 10;
/// Larger messages are kept aside; a year of readings goes in as a file.
pub(super) const PAYLOAD_BYTES_MAX: usize = 256 * 1024;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{MeterKind, Value};

    fn context() -> Context {
        let cat = |name| CatName::new(name).unwrap();
        Context {
            zone: chrono_tz::Europe::Vienna,
            cats: vec![(cat("pepper"), Unit::MgDl), (cat("miso"), Unit::MmolL)],
            ranges: vec![],
            layouts: vec![],
        }
    }

    fn persons() -> Vec<PersonName> {
        ["owner", "sitter"].map(|name| PersonName::new(name).unwrap()).to_vec()
    }

    fn heard(topic: &str, payload: &str) -> Said {
        let arrived = Arrived { topic, payload: payload.as_bytes(), retained: false, waited: false };
        read(arrived, "lowtide", &context(), &persons())
    }

    fn good(topic: &str, payload: &str) -> Event {
        let mut said = heard(topic, payload);
        assert_eq!((said.events.len(), &said.wrong), (1, &None), "{topic} {payload}: {said:?}");
        said.events.remove(0)
    }

    fn bad(topic: &str, payload: &str) -> String {
        let said = heard(topic, payload);
        assert!(said.events.is_empty(), "{topic} {payload}: {said:?}");
        said.wrong.unwrap().reason
    }

    #[test]
    fn readings_come_alone_in_lists_and_from_a_scan() {
        let one = r#"{"measured_at":"2026-01-10T02:00:00Z","glucose":112}"#;
        let Event::Readings(batch) = good("lowtide/in/pepper/reading", one) else { panic!() };
        assert_eq!((batch.cat.as_str(), batch.via), ("pepper", Via::Mqtt));
        assert_eq!(batch.readings[0].value, Value::Level(112.0));

        let Event::Readings(batch) = good(
            "lowtide/in/miso/reading",
            r#"[{"measured_at":"2026-01-10T02:00:00Z","glucose":4.0},{"measured_at":"2026-01-10 03:15","glucose":"LO"}]"#,
        ) else {
            panic!()
        };
        // 4.0 mmol/L is 72 mg/dL by the factor 18.0156 (words::glucose).
        assert!((batch.readings[0].value.level().unwrap() - 72.0624).abs() < 1e-9);
        assert_eq!(batch.readings[1].value, Value::Below);
        assert_eq!(batch.readings[1].measured_at.to_string(), "2026-01-10T02:15:00Z");

        let scan = format!(r#"{{"scanned_at":"2026-01-10T02:20:00Z","sensor":"s1","readings":[{one}]}}"#);
        let Event::Readings(batch) = good("lowtide/in/pepper/scan", &scan) else { panic!() };
        assert_eq!(batch.scanned_at.unwrap().to_string(), "2026-01-10T02:20:00Z");
        assert_eq!(batch.sensor.as_deref(), Some("s1"));
    }

    #[test]
    fn a_value_that_cannot_be_read_is_an_event_beside_what_is_wrong() {
        let said =
            heard("lowtide/in/pepper/reading", r#"{"measured_at":"2026-01-10T02:00:00Z","glucose":"ERR3"}"#);
        assert!(matches!(&said.events[..], [Event::Unread(unread)] if unread.shown == "ERR3"), "{said:?}");
        assert!(said.wrong.unwrap().reason.contains("'ERR3' is not a glucose value"));
    }

    #[test]
    fn a_scan_that_brings_nothing_is_an_event() {
        let Event::Readings(batch) =
            good("lowtide/in/pepper/scan", r#"{"scanned_at":"2026-01-10T02:20:00Z","readings":[]}"#)
        else {
            panic!()
        };
        assert!(batch.readings.is_empty() && batch.scanned_at.is_some());
    }

    #[test]
    fn a_meter_check_never_passes_for_a_reading() {
        let value = r#"{"measured_at":"2026-01-10T02:00:00Z","glucose":62}"#;
        let Event::Meter(check) = good("lowtide/in/pepper/meter", value) else { panic!() };
        assert_eq!((check.glucose, check.meter), (Value::Level(62.0), MeterKind::Unknown));
        let pet = r#"{"measured_at":"2026-01-10T02:00:00Z","glucose":62,"meter":"pet"}"#;
        let Event::Meter(check) = good("lowtide/in/pepper/meter", pet) else { panic!() };
        assert_eq!(check.meter, MeterKind::Pet);
        assert!(bad("lowtide/in/pepper/reading", pet).contains("something else than a reading"));
    }

    #[test]
    fn doses_sensors_spares_and_notes_have_topics_of_their_own() {
        let at = r#""at":"2026-01-10T02:00:00Z""#;
        let dose = r#"{"given_at":"2026-01-10T06:00:00Z","units":1.5,"by":"owner"}"#;
        assert!(matches!(good("lowtide/in/pepper/dose", dose), Event::Dose(d) if d.units == Some(1.5)));
        let sensor = format!(r#"{{{at},"event":"applied"}}"#);
        assert!(matches!(good("lowtide/in/pepper/sensor", &sensor), Event::Sensor(_)));
        let spare = format!(r#"{{{at},"count":2}}"#);
        assert!(matches!(good("lowtide/in/pepper/spare", &spare), Event::Spare(s) if s.count == 2));
        let note = format!(r#"{{{at},"text":"ate little"}}"#);
        assert!(matches!(good("lowtide/in/pepper/note", &note), Event::Note(_)));
        assert!(bad("lowtide/in/pepper/sensor", dose).contains("something else"));
    }

    #[test]
    fn an_answer_says_who_and_what_and_a_stale_one_answers_nothing() {
        let whole = r#"{"finding":"pepper/low-now/1767000000","person":"owner","verdict":"later"}"#;
        let Event::Answer(answer) = good("lowtide/in/pepper/answer", whole) else { panic!() };
        assert_eq!((answer.person.as_str(), answer.verdict), ("owner", Verdict::Later));
        let short = r#"{"person":"owner"}"#;
        let Event::Answer(answer) = good("lowtide/in/pepper/answer", short) else { panic!() };
        assert_eq!((answer.finding, answer.verdict), (None, Verdict::Taken));
        assert!(bad("lowtide/in/pepper/answer", r#"{"verdict":"taken"}"#).contains("person"));

        let arrived = Arrived {
            topic: "lowtide/in/pepper/answer",
            payload: short.as_bytes(),
            retained: true,
            waited: false,
        };
        assert!(read(arrived, "lowtide", &context(), &persons()).events.is_empty());
        let waited = Arrived { retained: false, waited: true, ..arrived };
        assert!(read(waited, "lowtide", &context(), &persons()).events.is_empty());
        assert_eq!(
            read(Arrived { payload: whole.as_bytes(), ..waited }, "lowtide", &context(), &persons())
                .events
                .len(),
            1
        );
    }

    #[test]
    fn an_answer_by_nobody_of_the_household_says_who_there_is() {
        let topic = "lowtide/in/pepper/answer";
        let reason = bad(topic, r#"{"finding":"pepper/low-now/1767000000","person":"Alex"}"#);
        assert!(reason.contains("'Alex'") && reason.ends_with("there is: owner, sitter"), "{reason}");
        assert_eq!(heard(topic, r#"{"person":"Alex"}"#).wrong.unwrap().stranger.as_deref(), Some("Alex"));
        let long = format!(r#"{{"person":"{}"}}"#, "\u{e9}".repeat(100_000));
        assert!(bad(topic, &long).chars().count() < 150);
        let many: Vec<_> = (0..500).map(|n| PersonName::new(&format!("person-{n}")).unwrap()).collect();
        let arrived = Arrived { topic, payload: br#"{"person":"x"}"#, retained: false, waited: false };
        let reason = read(arrived, "lowtide", &context(), &many).wrong.unwrap().reason;
        assert!(reason.len() < 250 && reason.ends_with("..."), "{reason}");
    }

    #[test]
    fn a_bridge_comes_and_goes() {
        assert!(matches!(good("lowtide/in/miso/bridge", "online"), Event::Bridge { online: true, .. }));
        assert!(matches!(
            good("lowtide/in/miso/bridge", "\"Offline\"\n"),
            Event::Bridge { online: false, .. }
        ));
        assert!(bad("lowtide/in/miso/bridge", "perhaps").contains("online"));
        assert_eq!(heard("lowtide/in/miso/bridge", ""), Said::default());
    }

    #[test]
    fn what_is_wrong_is_said_and_good_rows_are_kept() {
        assert!(bad("lowtide/in/peper/reading", "{}").contains("pepper, miso"));
        assert!(bad("lowtide/in/pepper/redaing", "{}").contains("reading, scan, dose"));
        assert!(bad("lowtide/in/pepper/reading", "hello").contains("JSON"));
        assert!(bad("lowtide/in/pepper/reading", &"x".repeat(300_000)).contains("at most 262144"));
        // A layout is of files: here it would be no help.
        let comma = r#"{"measured_at":"2026-01-10T02:00:00Z","glucose":"5,4","unit":"mmol/L"}"#;
        let reason = heard("lowtide/in/pepper/reading", comma).wrong.unwrap().reason;
        assert!(reason.contains("'5,4' has a comma in it: write a point"), "{reason}");
        let other = r#"{"cat":"miso","measured_at":"2026-01-10T02:00:00Z","glucose":112}"#;
        assert!(!bad("lowtide/in/pepper/reading", other).is_empty());
        let said = heard(
            "lowtide/in/pepper/reading",
            r#"[{"measured_at":"2026-01-10T02:00:00Z","glucose":112},{"measured_at":"today","glucose":112}]"#,
        );
        assert_eq!(said.events.len(), 1);
        assert!(said.wrong.unwrap().rows[0].starts_with("item 2"));
    }

    #[test]
    fn every_example_in_the_documentation_is_read() {
        let page = include_str!("../../../docs/mqtt.md");
        let examples =
            page.split("```").skip(1).step_by(2).filter_map(|block| block.strip_prefix("mqtt-in\n"));
        let lines: Vec<(&str, &str)> =
            examples.flat_map(str::lines).map(|line| line.split_once(' ').unwrap()).collect();
        for (topic, payload) in &lines {
            good(topic, payload);
        }
        for kind in KINDS.iter().map(|kind| kind.word).chain(["answer", "bridge"]) {
            assert!(
                lines.iter().any(|(topic, _)| topic.ends_with(&format!("/{kind}"))),
                "no example of {kind}"
            );
        }
    }

    proptest::proptest! {
        #[test]
        fn no_bytes_make_it_panic(payload: Vec<u8>, kind in "reading|scan|dose|meter|sensor|spare|note|answer|bridge") {
            let topic = format!("lowtide/in/pepper/{kind}");
            let arrived = Arrived { topic: &topic, payload: &payload, retained: false, waited: false };
            let said = read(arrived, "lowtide", &context(), &persons());
            proptest::prop_assert!(payload.is_empty() || said.wrong.is_some() || !said.events.is_empty());
        }
    }
}
