//! Readings over a real broker, messages as mail; the broker goes away and comes back.

use std::process::Command;

use crate::stands::house::{House, email, now};
use crate::stands::mosquitto::{Mosquitto, Options};
use crate::stands::smtp::{self, Sink};
use lowtide::words::minutes;

const PERSON: &str = "[[person]]\nname = \"owner\"\nemail = \"owner@example.org\"\n";

pub fn mqtt(broker: &Mosquitto) -> String {
    format!("[intake.mqtt]\nbroker = \"mqtt://127.0.0.1:{}\"\n", broker.port)
}

/// Publishes with mosquitto's own client.
pub fn publish(broker: &Mosquitto, topic: &str, payload: &str) {
    let port = broker.port.to_string();
    let sent = Command::new("mosquitto_pub")
        .args(["-p", &port, "-q", "1", "-t", topic, "-m", payload])
        .status()
        .unwrap();
    assert!(sent.success());
}

pub fn reading(minutes_ago: f64, glucose: &str) -> String {
    format!("{{\"measured_at\":\"{}\",\"glucose\":{glucose}}}", now() - minutes(minutes_ago))
}

/// Waits until the broker keeps messages for the daemon: before it has subscribed for the first time nobody does.
pub async fn listening(house: &House, broker: &Mosquitto) {
    house.until("the daemon says it is online", || broker.retained("lowtide/out/daemon") == "online").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn published_readings_become_a_mail_and_a_retained_state() {
    let broker = Mosquitto::start(&Options::default());
    let sink = Sink::start(&smtp::Options::default());
    let mut house = House::new(&format!("{}{}{PERSON}", mqtt(&broker), email(sink.port)));
    house.start().await;
    listening(&house, &broker).await;
    publish(&broker, "lowtide/in/pepper/reading", &reading(20.0, "64"));
    publish(&broker, "lowtide/in/pepper/reading", &reading(5.0, "46"));
    let mails = sink.mails(1).await;
    // On a busy machine the second reading is there before the first mail has left: then it says "... (worse)".
    assert!(mails[0]["headers"]["Subject"].as_str().unwrap().contains("low: Pepper"), "{mails:?}");
    // A mail has no buttons; it says how to answer without.
    let text = mails[0]["text"].as_str().unwrap();
    let ways = "To answer: a message to lowtide/in/pepper/answer over MQTT; \"lowtide log answer taken --person owner\"";
    assert!(text.replace("\r\n", "\n").replace('\n', " ").contains(ways), "{text}");
    house
        .until("the state shows it", || {
            let state: serde_json::Value =
                serde_json::from_str(&broker.retained("lowtide/out/pepper/state")).unwrap_or_default();
            state["newest"] == 46 && state["fresh"] == true
        })
        .await;
    // An answer of somebody who is not in the configuration is none, and does not pass unheard.
    publish(&broker, "lowtide/in/pepper/answer", "{\"person\":\"robin\",\"verdict\":\"taken\"}");
    house
        .until("the name is told", || {
            house.said(&["status"]).contains("no person is called 'robin', so this answer changes nothing")
        })
        .await;
    assert!(!house.said(&["status"]).to_lowercase().contains("taken by"));
    // An answer over the broker is an answer; one that may have waited there since before the connection is not.
    tokio::time::sleep(std::time::Duration::from_millis(2500)).await;
    publish(&broker, "lowtide/in/pepper/answer", "{\"person\":\"owner\",\"verdict\":\"taken\"}");
    house
        .until("the answer counts", || house.said(&["status"]).to_lowercase().contains("taken by owner"))
        .await;
    house.stop();
    assert_eq!(broker.retained("lowtide/out/daemon"), "offline");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_was_away_delivers_what_came_meanwhile() {
    let mut broker = Mosquitto::start(&Options::default());
    let sink = Sink::start(&smtp::Options::default());
    let mut house = House::new(&format!("{}{}{PERSON}", mqtt(&broker), email(sink.port)));
    house.start().await;
    listening(&house, &broker).await;
    publish(&broker, "lowtide/in/pepper/reading", &reading(35.0, "140"));
    house.until("the first reading", || house.measured().len() == 1).await;
    broker.stop();
    broker.begin();
    publish(&broker, "lowtide/in/pepper/reading", &reading(20.0, "141"));
    house.until("the reading after the restart", || house.measured().len() == 2).await;
    house.stop();
    publish(&broker, "lowtide/in/pepper/reading", &reading(5.0, "142"));
    house.start().await;
    house.until("the reading that waited at the broker", || house.measured().len() == 3).await;
}
