//! What the measurements share: invented lives, how they get into a record, a publisher, a line of the table.

use lowtide::clock::{Clock, MachineClock};
use lowtide::config;
use lowtide::record::Record;
use lowtide::run::open_record;
use lowtide::run::socket::{self, Reply, Request};
use lowtide::simulate::cat::{Options, simulate};
use lowtide::turn::{House, turn};
use lowtide::words::{Batch, CatName, Event, Moment, Outcome, Reading, Value, Via, minutes};
use rumqttc::{Client, MqttOptions, QoS};

use super::home::Home;
use super::stands::ntfy::Ntfy;

pub const PERSON: &str = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";
/// Four an hour for 365 days.
pub const YEAR: usize = 35_040;
pub const SCAN: usize = 32;

pub fn carrier(server: &Ntfy) -> String {
    format!("[notify.ntfy]\nserver = \"{}\"\n{PERSON}", server.url)
}

pub fn row(what: &str, value: impl std::fmt::Display, unit: &str, aim: &str) {
    println!("  {what:<58} {value:>9.2} {unit:<18} {aim}");
}

/// The last `count` samples that an invented cat's sensors stored, until now.
pub fn life(seed: u64, count: usize) -> Vec<Reading> {
    // Sensors miss samples, warm up and are changed: more days than readings would fill.
    let days = (count / 96) * 115 / 100 + 10;
    let start = now() - minutes(days as f64 * 1440.0);
    let options = Options { start, ..Options::default() };
    let mut readings = simulate(seed, days as u32, &options).readings;
    readings.drain(..readings.len() - count);
    readings
}

pub fn events(cat: &str, readings: &[Reading], chunk: usize) -> Vec<(Moment, Event)> {
    let batch = |readings: &[Reading]| {
        let newest = readings.last().unwrap().measured_at;
        let batch = Batch {
            cat: CatName::new(cat).unwrap(),
            via: Via::Folder,
            source: "scan.csv".into(),
            sensor: None,
            scanned_at: (chunk > 1).then_some(newest),
            readings: readings.to_vec(),
            repeated: 0,
            conflicts: vec![],
            newest: Some(newest),
        };
        (newest, Event::Readings(batch))
    };
    readings.chunks(chunk).map(batch).collect()
}

/// Lets the house of a home live through these readings, as scans, and leaves its record as the daemon would. Gives
/// the size of the state as text, in bytes.
pub fn remember(home: &Home, lives: &[(String, Vec<Reading>)]) -> usize {
    let household = Box::new(config::load(&home.path("lowtide.toml")).unwrap().household);
    let opened = open_record(&home.path("data")).unwrap();
    let (mut record, mut house, mut wake) = (opened.record, opened.state, None::<Moment>);
    let mut events: Vec<(Moment, Event)> =
        lives.iter().flat_map(|(cat, readings)| events(cat, readings, SCAN)).collect();
    events.sort_by_key(|(at, _)| *at);
    let program = env!("CARGO_PKG_VERSION").to_owned();
    events.insert(0, (events[0].0, Event::Household { program, household }));
    for (at, event) in events {
        while let Some(next) = wake.filter(|wake| *wake <= at) {
            let next = next.max(house.now + minutes(0.1));
            wake = live(&mut record, &mut house, Event::Tick, next);
        }
        wake = live(&mut record, &mut house, event, at);
        if record.checkpoint_due(at) {
            record.checkpoint(&house).unwrap();
        }
    }
    record.sync().unwrap();
    record.checkpoint(&house).unwrap();
    serde_json::to_string(&house).unwrap().len()
}

/// One turn, and every message it brings carried at once.
pub fn live(record: &mut Record, house: &mut House, event: Event, at: Moment) -> Option<Moment> {
    let event = record.sift(event)?;
    let turned = turn(house, &event, at);
    let mut wake = turned.wake;
    if event != Event::Tick || !turned.said.is_empty() {
        record.append(at, event, turned.said);
    }
    for parcel in house.due(at) {
        let event = Event::Outcome { parcel, outcome: Outcome::Delivered { receipt: None } };
        let turned = turn(house, &event, at);
        wake = turned.wake;
        record.append(at, event, turned.said);
    }
    wake
}

pub fn now() -> Moment {
    MachineClock::new().now()
}

/// The value as files and messages write it.
pub fn shown(reading: &Reading) -> String {
    match reading.value {
        Value::Below => "LO".to_owned(),
        Value::Above => "HI".to_owned(),
        Value::Level(level) => format!("{level}"),
    }
}

pub fn json(reading: &Reading) -> String {
    let value = serde_json::to_string(&reading.value).unwrap();
    format!("{{\"measured_at\":\"{}\",\"glucose\":{value}}}", reading.measured_at)
}

/// When the newest reading was measured that the daemon knows of.
pub fn newest(home: &Home) -> Option<Moment> {
    match socket::ask(&home.path("data"), &Request::Status) {
        Ok(Some(Reply::Status { status })) => status.cats[0].newest_at,
        _ => None,
    }
}

/// A publisher of readings.
pub struct Link {
    client: Client,
    prefix: String,
}

impl Link {
    pub fn new(port: u16, prefix: &str) -> Self {
        let options = MqttOptions::new(format!("bench-{prefix}"), "127.0.0.1", port);
        let (client, mut connection) = Client::new(options, 16);
        std::thread::spawn(move || connection.iter().take_while(Result::is_ok).count());
        Self { client, prefix: prefix.to_owned() }
    }

    pub fn publish(&self, cat: &str, text: &str) {
        let topic = format!("{}/in/{cat}/reading", self.prefix);
        self.client.publish(topic, QoS::AtLeastOnce, false, text).unwrap();
    }
}
