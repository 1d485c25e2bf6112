//! The example configuration against local servers: a two-week file and live readings.

use std::fs;
use std::path::Path;

use crate::broker::{listening, publish, reading};
use crate::stands::house::House;
use crate::stands::mosquitto::{Mosquitto, Options};
use crate::stands::ntfy::{self, Ntfy};
use crate::stands::smtp::{self, Sink};
use lowtide::simulate::cat::{self, simulate};
use lowtide::words::{Value, minutes};

#[tokio::test(flavor = "multi_thread")]
async fn the_example_household_takes_two_weeks_and_live_readings() {
    let server = Ntfy::start(ntfy::Options::default()).await;
    let sink = Sink::start(&smtp::Options::default());
    let broker = Mosquitto::start(&Options::default());
    let mut house = House::with_config(&example(&server.url, sink.port, broker.port));
    let checked = house.said(&["check"]);
    assert!(checked.contains("Pepper"), "{checked}");
    house.start().await;
    house.drop_file("two-weeks.csv", &two_weeks());
    house.until("two weeks are kept", || house.path("done/two-weeks.csv").exists()).await;
    let held = house.measured().len();
    assert!(held > 1000, "{held} readings");
    listening(&house, &broker).await;
    publish(&broker, "lowtide/in/pepper/reading", &reading(3.0, "\"LO\""));
    house
        .until("a push about the low", || {
            server
                .stored()
                .iter()
                .any(|push| push["title"] == "Dangerously low: Pepper" && push["priority"] == 5)
        })
        .await;
}

/// The example, with the addresses of this test's servers in place of the invented ones.
fn example(ntfy: &str, smtp: u16, mqtt: u16) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/lowtide.example.toml");
    let text = fs::read_to_string(path).unwrap();
    let mut out = String::new();
    for line in text.lines() {
        let key = line.split('=').next().unwrap().trim().trim_start_matches('#');
        let line = match key {
            "server" => format!("server = \"{ntfy}\""),
            "smtp" => format!("smtp = \"smtp://127.0.0.1:{smtp}\""),
            "broker" => format!("broker = \"mqtt://127.0.0.1:{mqtt}\""),
            _ => line.to_owned(),
        };
        out.push_str(&line);
        out.push('\n');
    }
    out
}

/// Two weeks of an invented cat, ending half an hour ago.
fn two_weeks() -> String {
    let options = cat::Options {
        start: crate::stands::house::now() - minutes(14.0 * 1440.0 + 30.0),
        ..cat::Options::default()
    };
    let trace = simulate(7, 14, &options);
    let mut text = "measured_at,glucose\n".to_owned();
    for sample in &trace.readings {
        let value = match sample.value {
            Value::Below => "LO".to_owned(),
            Value::Above => "HI".to_owned(),
            Value::Level(mg_dl) => mg_dl.to_string(),
        };
        text.push_str(&format!("{},{value}\n", sample.measured_at));
    }
    text
}
