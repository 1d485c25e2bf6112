//! The MQTT door and whoever may publish: spoilt payloads, topics that are none, payloads about another cat. First the
//! pure reading of one message, then the real door at a real broker.

use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use lowtide::clock::{Clock, MachineClock};
use lowtide::intake::Inbound;
use lowtide::intake::formats::Context;
use lowtide::intake::mqtt::{Arrived, Mqtt, MqttSettings, publisher, read};
use lowtide::words::{CatName, Event, PersonName, Unit, Watch};
use proptest::prelude::*;
use rumqttc::{AsyncClient, Event as Line, MqttOptions, Packet, QoS};
use tokio::sync::{mpsc, watch};

use crate::driver::keeps_all;
use crate::mutate::{drawn, mutated, nasty, rounds};
use crate::stands::mosquitto::{Mosquitto, Options};

const PREFIX: &str = "lowtide";
const KINDS: [&str; 9] = ["reading", "scan", "dose", "meter", "sensor", "spare", "note", "answer", "bridge"];

fn context() -> Context {
    let cat = |name| CatName::new(name).unwrap();
    Context {
        zone: chrono_tz::Europe::Vienna,
        cats: vec![(cat("pepper"), Unit::MgDl), (cat("mint"), Unit::MmolL)],
        ranges: vec![],
        layouts: vec![],
    }
}

fn persons() -> Vec<PersonName> {
    vec![PersonName::new("owner").unwrap()]
}

/// The examples of `docs/mqtt.md`, and the same about the other cat.
fn payloads() -> Vec<Vec<u8>> {
    let page = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/mqtt.md")).unwrap();
    let block = page.split("```mqtt-in\n").nth(1).unwrap().split("```").next().unwrap();
    let plain: Vec<String> = block.lines().map(|line| line.split_once(' ').unwrap().1.to_owned()).collect();
    assert!(plain.len() >= 10, "{}", plain.len());
    let other = plain.iter().map(|text| text.replacen('{', "{\"cat\": \"mint\", ", 1));
    plain.iter().cloned().chain(other).map(String::into_bytes).collect()
}

fn topic() -> impl Strategy<Value = String> {
    let kind = || prop::sample::select(KINDS.to_vec());
    let odd = [
        "lowtide/in/mint/pepper/reading",
        "lowtide/in//reading",
        "lowtide/in/pepper/",
        "lowtide/in/../reading",
        "lowtide/in/pepper/../../etc/passwd",
        "lowtide/in/PEPPER/reading",
        "lowtide/in/pepper /reading",
        "lowtide/in/pepper/reading\nlowtide/in/mint/reading",
        "lowtide/out/pepper/state",
        "lowtide/in/+/reading",
        "$SYS/broker/version",
        "",
    ];
    prop_oneof![
        6 => kind().prop_map(|kind| format!("{PREFIX}/in/pepper/{kind}")),
        1 => prop::sample::select(odd.map(str::to_owned).to_vec()),
        1 => kind().prop_flat_map(|kind| mutated(vec![format!("{PREFIX}/in/pepper/{kind}").into_bytes()]))
            .prop_map(|bytes| String::from_utf8_lossy(&bytes).into_owned()),
        1 => (nasty(), kind()).prop_map(|(name, kind)| format!("{PREFIX}/in/{}/{kind}", String::from_utf8_lossy(&name))),
    ]
}

fn payload() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![4 => mutated(payloads()), 2 => prop::sample::select(payloads()), 1 => nasty()]
}

/// The cat of a topic and the kind of message on it, if it is one of ours.
fn about(topic: &str) -> Option<(&str, &str)> {
    let (cat, kind) = topic.strip_prefix("lowtide/in/")?.split_once('/')?;
    (["pepper", "mint"].contains(&cat) && KINDS.contains(&kind)).then_some((cat, kind))
}

fn belongs(event: &Event, cat: &str, kind: &str) -> bool {
    let kind_fits = match event {
        Event::Readings(_) => ["reading", "scan"].contains(&kind),
        Event::Dose(_) => kind == "dose",
        Event::Meter(_) => kind == "meter",
        Event::Sensor(_) => kind == "sensor",
        Event::Spare(_) => kind == "spare",
        Event::Note(_) => !["answer", "bridge"].contains(&kind),
        Event::Bridge { .. } => kind == "bridge",
        Event::Answer(_) => return kind == "answer",
        _ => false,
    };
    kind_fits && event.cat().is_some_and(|named| named.as_str() == cat)
}

proptest! {
    #![proptest_config(rounds(1500))]
    #[test]
    fn whatever_is_published_says_something_of_the_topics_cat_or_nothing(
        topic in topic(), payload in payload(), retained: bool, waited: bool
    ) {
        let said = read(Arrived { topic: &topic, payload: &payload, retained, waited }, PREFIX, &context(), &persons());
        match about(&topic) {
            Some((cat, kind)) => for event in &said.events {
                prop_assert!(belongs(event, cat, kind), "{topic}: {event:?}");
                prop_assert!(!(retained && matches!(event, Event::Answer(_))), "{event:?} was kept by the broker");
            },
            None => prop_assert!(said.events.is_empty(), "{topic:?}: {:?}", said.events),
        }
        prop_assert!(payload.is_empty() || said.wrong.is_some() || !said.events.is_empty(), "nobody is told");
        if let Some(wrong) = said.wrong {
            prop_assert!(wrong.reason.len() < 2000 + 2 * topic.len(), "{} bytes of reason", wrong.reason.len());
        }
    }
}

#[test]
fn a_payload_about_another_cat_is_refused_on_every_topic() {
    for kind in ["reading", "scan", "dose", "meter", "sensor", "spare", "note"] {
        for payload in payloads().iter().filter(|text| text.starts_with(b"{\"cat\": \"mint\"")) {
            let topic = format!("{PREFIX}/in/pepper/{kind}");
            let arrived = Arrived { topic: &topic, payload, retained: false, waited: false };
            let said = read(arrived, PREFIX, &context(), &persons());
            assert!(said.events.iter().all(|event| belongs(event, "pepper", kind)), "{:?}", said.events);
        }
    }
    let reading = br#"{"cat":"mint","measured_at":"2026-03-01T06:15:00Z","glucose":112}"#;
    let arrived =
        Arrived { topic: "lowtide/in/pepper/reading", payload: reading, retained: false, waited: false };
    let said = read(arrived, PREFIX, &context(), &persons());
    assert!(said.events.is_empty() && said.wrong.unwrap().reason.contains("mint"));
}

/// Publishes as an enemy would, each acknowledged by the broker.
async fn publish(broker: &Mosquitto, messages: Vec<(String, Vec<u8>, bool)>) {
    let mut options = MqttOptions::new("enemy", "127.0.0.1", broker.port);
    options.set_max_packet_size(1 << 20, 1 << 20);
    let (client, mut events) = AsyncClient::new(options, 10);
    let mut left = messages.len();
    tokio::spawn(async move {
        for (topic, payload, retain) in messages {
            client.publish(topic, QoS::AtLeastOnce, retain, payload).await.unwrap();
        }
        std::future::pending::<()>().await;
    });
    while left > 0 {
        if let Line::Incoming(Packet::PubAck(_)) = events.poll().await.unwrap() {
            left -= 1;
        }
    }
}

/// What a broker lets through: it ends the connection for the rest.
fn passes(topic: &str) -> bool {
    let odd = |c: char| {
        c.is_control()
            || "+#".contains(c)
            || ('\u{fdd0}'..='\u{fdef}').contains(&c)
            || c as u32 & 0xfffe == 0xfffe
    };
    !topic.is_empty() && topic.len() < 60_000 && !topic.starts_with('$') && !topic.contains(odd)
}

#[tokio::test(flavor = "multi_thread")]
async fn the_door_at_a_broker_takes_all_of_it_and_goes_on() {
    let broker = Mosquitto::start(&Options::default());
    let folder = tempfile::tempdir().unwrap();
    let rejected = folder.path().join("a/rejected");
    let settings = MqttSettings::new(&format!("mqtt://127.0.0.1:{}", broker.port), &rejected);
    let (door, inbox) = mpsc::channel::<Inbound>(8);
    let (_out, outgoing) = publisher();
    let (stop, stopped) = watch::channel(false);
    let clock = MachineClock::new();
    let mqtt = Mqtt::new(settings, context(), persons()).unwrap();
    let task = tokio::spawn(mqtt.run(door, outgoing, Arc::new(move || clock.now()), stopped));
    let events = keeps_all(inbox);
    // Before it has subscribed for the first time, nobody keeps anything for it.
    let online = || broker.retained("lowtide/out/daemon") == "online";
    assert!((0..12).any(|_| online()), "the door does not come up");
    let mut messages = drawn((topic(), payload(), prop::bool::weighted(0.1)), 200);
    messages.retain(|(topic, ..)| passes(topic));
    let count = messages.len();
    let last = br#"{"measured_at":"2026-01-10T02:00:00Z","glucose":123}"#.to_vec();
    messages.push(("lowtide/in/pepper/reading".to_owned(), last, false));
    publish(&broker, messages).await;
    let is_last = |event: &Event| matches!(event, Event::Readings(batch) if batch.readings.iter().any(|r| r.value.level() == Some(123.0)));
    for round in 0.. {
        if events.lock().unwrap().iter().any(is_last) {
            break;
        }
        assert!(round < 1200, "a minute passed, and the last of {count} messages is not there");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    stop.send(true).unwrap();
    task.await.unwrap();
    let events = events.lock().unwrap();
    for event in events.iter() {
        match event {
            Event::Health(health) => assert!(
                health.watch == Watch::FileRejected || health.trouble.is_none(),
                "the connection broke: {health:?}"
            ),
            Event::Answer(_) => {}
            event => assert!(
                event.cat().is_some_and(|cat| ["pepper", "mint"].contains(&cat.as_str())),
                "{event:?}"
            ),
        }
    }
    // Nothing but letters in the folder of letters, however the topics were called.
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    let mut letters = 0;
    for entry in fs::read_dir(&rejected).unwrap() {
        let entry = entry.unwrap();
        assert!(entry.file_name().to_str().unwrap().starts_with("mqtt-"), "{entry:?}");
        serde_json::from_slice::<serde_json::Value>(&fs::read(entry.path()).unwrap()).unwrap();
        letters += 1;
    }
    assert!(letters > 20, "only {letters} of {count} were put aside");
}
