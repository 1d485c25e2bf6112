//! Measures the real daemon. `cargo bench --bench daemon` prints everything in one run, `-- --quick` a rougher table
//! sooner. Needs Linux for the counters and mosquitto, against which the memory is compared in the same run.
#![allow(clippy::unwrap_used, clippy::disallowed_methods, unreachable_pub)]

mod home;
#[path = "../stands/mod.rs"]
mod stands;

use std::fmt::Write as _;
use std::io;
use std::time::{Duration, Instant};

use home::{Home, counter, processor};
use lowtide::clock::{Clock, MachineClock};
use lowtide::config;
use lowtide::record::Record;
use lowtide::replay::{EstimateLine, Line, Sink, replay};
use lowtide::run::open_record;
use lowtide::run::socket::{self, Reply, Request};
use lowtide::simulate::cat::{Options, simulate};
use lowtide::turn::{House, turn};
use lowtide::words::{Batch, CatName, Event, Moment, Outcome, Reading, Value, Via, minutes};
use rumqttc::{Client, MqttOptions, QoS};
use stands::mosquitto::{self, Mosquitto};
use stands::ntfy::{self, Ntfy};

const PERSON: &str = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";
/// Four an hour for 365 days.
const YEAR: usize = 35_040;
const SCAN: usize = 32;

/// How much is measured.
struct Size {
    streamed: usize,
    scans: usize,
    bulk: usize,
    idle: Duration,
    homes: usize,
    starts: usize,
}

fn main() {
    let size = if std::env::args().any(|argument| argument == "--quick") {
        Size { streamed: 60, scans: 10, bulk: 500, idle: Duration::from_secs(21), homes: 2, starts: 3 }
    } else {
        Size { streamed: 500, scans: 40, bulk: 2000, idle: Duration::from_secs(60), homes: 10, starts: 9 }
    };
    let threads = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    let server = threads.block_on(Ntfy::start(ntfy::Options { bucket: 100_000, ..ntfy::Options::default() }));
    println!("cargo bench --bench daemon{}", if size.starts == 3 { " -- --quick" } else { "" });
    a_year_of_one_cat(&size, &server);
    until_the_push(&size, &server);
    starting(&size);
    replaying();
}

fn carrier(server: &Ntfy) -> String {
    format!("[notify.ntfy]\nserver = \"{}\"\n{PERSON}", server.url)
}

fn row(what: &str, value: impl std::fmt::Display, unit: &str, aim: &str) {
    println!("  {what:<58} {value:>9.2} {unit:<18} {aim}");
}

/// Memory, processor time and bytes of a daemon that holds a year.
fn a_year_of_one_cat(size: &Size, server: &Ntfy) {
    let broker = Mosquitto::start(&mosquitto::Options::default());
    let door = format!("[intake.mqtt]\nbroker = \"mqtt://127.0.0.1:{}\"\n", broker.port);
    let mut home = Home::new(&["pepper".into()], &format!("{door}{}", carrier(server)));
    let more = size.streamed + size.scans * SCAN + size.bulk;
    let readings = life(1, YEAR + more);
    let (year, rest) = readings.split_at(YEAR);
    remember(&home, &[("pepper".to_owned(), year.to_vec())]);
    home.start();
    std::thread::sleep(Duration::from_secs(3));
    println!("one cat, {YEAR} readings held, daemon and broker idle:");
    for (what, file, word) in [("resident", "status", "VmRSS:"), ("proportional", "smaps_rollup", "Pss:")] {
        let (ours, theirs) = (counter(home.pid(), file, word), counter(broker.pid(), file, word));
        let what = format!("{what} memory: daemon {ours} KiB, mosquitto {theirs} KiB");
        row(&what, ours as f64 / theirs as f64, "times", "aim: at most 3");
    }
    idle(size, &home);
    println!("readings taken in, synced, one after another:");
    let (streamed, rest) = rest.split_at(size.streamed);
    let link = Link::new(broker.port, "lowtide");
    // The first one says that something came at all after a long while: not a usual one.
    link.publish("pepper", &json(&streamed[0]));
    home.until("the first reading", || newest(&home) >= Some(streamed[0].measured_at));
    let mut step = Step::new(&home);
    for reading in &streamed[1..] {
        let before = home.journal_bytes();
        link.publish("pepper", &json(reading));
        home.until("a streamed reading", || home.journal_bytes() > before);
    }
    home.until("the last reading", || newest(&home) >= Some(streamed[streamed.len() - 1].measured_at));
    step.tell("MQTT, alone", streamed.len() - 1, "aim: under 12288 B");
    let (scans, bulk) = rest.split_at(size.scans * SCAN);
    for (number, scan) in scans.chunks(SCAN).enumerate() {
        dropped(&home, &format!("scan-{number}.csv"), scan);
    }
    step.tell("dropped file with 32 rows", scans.len(), "aim: under 1024 B");
    dropped(&home, "bulk.csv", bulk);
    step.tell(&format!("dropped file with {} rows", bulk.len()), bulk.len(), "");
    home.stop();
    let held = open_record(&home.path("data")).unwrap().record;
    let all = held.readings(&CatName::new("pepper").unwrap(), readings[0].measured_at, now());
    assert_eq!(all.len(), readings.len(), "every reading is held");
}

/// What a quiet house costs.
fn idle(size: &Size, home: &Home) {
    let (bytes, used) = (counter(home.pid(), "io", "write_bytes:"), processor(home.pid()));
    std::thread::sleep(size.idle);
    let hours = size.idle.as_secs_f64() / 3600.0;
    let written = (counter(home.pid(), "io", "write_bytes:") - bytes) as f64 / 1024.0;
    let used = (processor(home.pid()) - used).as_secs_f64();
    row(
        &format!("written while idle, from {:?}", size.idle),
        written / hours,
        "KiB an hour",
        "aim: 5 MiB a day",
    );
    row("processor while idle", used / hours, "s an hour", "");
}

/// Counts processor time and bytes from one measurement to the next.
struct Step {
    pid: u32,
    used: Duration,
    written: u64,
    since: Instant,
}

impl Step {
    fn new(home: &Home) -> Self {
        let pid = home.pid();
        let written = counter(pid, "io", "write_bytes:");
        Self { pid, used: processor(pid), written, since: Instant::now() }
    }

    fn tell(&mut self, what: &str, readings: usize, aim: &str) {
        let (used, written) = (processor(self.pid), counter(self.pid, "io", "write_bytes:"));
        let count = readings as f64;
        row(
            &format!("{what}: processor"),
            (used - self.used).as_secs_f64() * 1e3 / count,
            "ms a reading",
            "",
        );
        row(&format!("{what}: written"), (written - self.written) as f64 / count, "B a reading", aim);
        row(
            &format!("{what}: elapsed"),
            self.since.elapsed().as_secs_f64() * 1e3 / count,
            "ms a reading",
            "",
        );
        (self.used, self.written, self.since) = (used, written, Instant::now());
    }
}

fn dropped(home: &Home, name: &str, readings: &[Reading]) {
    let mut text = "measured_at,glucose\n".to_owned();
    for reading in readings {
        writeln!(text, "{},{}", reading.measured_at, shown(reading)).unwrap();
    }
    home.drop_file(name, &text);
    home.until("the file is done", || home.path("done").join(name).exists());
}

/// From a reading that cannot wait to the push server having the message. Each cat is critical once, so that each
/// sends; a home of ten cats, then the next home.
fn until_the_push(size: &Size, server: &Ntfy) {
    let broker = Mosquitto::start(&mosquitto::Options::default());
    let cats: Vec<String> = (0..20).map(|number| format!("cat-{number}")).collect();
    let (mut from_file, mut from_broker) = (Vec::new(), Vec::new());
    for number in 0..size.homes {
        let door = format!(
            "[intake.mqtt]\nbroker = \"mqtt://127.0.0.1:{}\"\nclient_id = \"home-{number}\"\nprefix = \"home-{number}\"\n",
            broker.port
        );
        let mut home = Home::new(&cats, &format!("{door}{}", carrier(server)));
        home.start();
        let link = Link::new(broker.port, &format!("home-{number}"));
        std::thread::sleep(Duration::from_secs(1));
        for (index, cat) in cats.iter().enumerate() {
            let before = server.publishes();
            let at = |ago: f64| now() - minutes(ago);
            let start;
            if index % 2 == 0 {
                let text = format!(
                    "cat,measured_at,glucose\n{cat},{},70\n{cat},{},52\n{cat},{},LO\n",
                    at(35.0),
                    at(20.0),
                    at(5.0)
                );
                start = Instant::now();
                home.drop_file(&format!("{cat}.csv"), &text);
            } else {
                let one = |ago: f64, value: &str| {
                    format!("{{\"measured_at\":\"{}\",\"glucose\":{value}}}", at(ago))
                };
                let text = format!("[{},{},{}]", one(35.0, "70"), one(20.0, "52"), one(5.0, "\"LO\""));
                start = Instant::now();
                link.publish(cat, &text);
            }
            home.until("a push message", || server.publishes() > before);
            if index % 2 == 0 { &mut from_file } else { &mut from_broker }.push(start.elapsed());
            // What else follows from it (outcome, state) is not to be in the way of the next.
            std::thread::sleep(Duration::from_millis(150));
            assert_eq!(server.publishes(), before + 1, "one reading, one message");
        }
    }
    println!(
        "from the reading to the message at the push server, gather_seconds = 0, {} each:",
        from_file.len()
    );
    for (what, mut times) in [("file dropped", from_file), ("MQTT published", from_broker)] {
        times.sort();
        let at =
            |share: f64| times[((times.len() as f64 * share).ceil() as usize).max(1) - 1].as_secs_f64() * 1e3;
        row(&format!("{what}: median"), at(0.5), "ms", "");
        row(&format!("{what}: 99th percentile"), at(0.99), "ms", "");
    }
}

/// From the program's start until its socket answers.
fn starting(size: &Size) {
    let cats: Vec<String> = (0..5).map(|number| format!("cat-{number}")).collect();
    let mut home = Home::new(
        &cats,
        "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n[notify.ntfy]\nserver = \"http://127.0.0.1:9\"\n",
    );
    let lives: Vec<(String, Vec<Reading>)> =
        cats.iter().zip(1..).map(|(cat, seed)| (cat.clone(), life(seed, YEAR))).collect();
    remember(&home, &lives);
    println!("start until watching, five cats with {YEAR} readings each, median of {}:", size.starts);
    let (mut clean, mut cut) = (Vec::new(), Vec::new());
    for _ in 0..size.starts {
        clean.push(home.start());
        home.stop();
    }
    for _ in 0..size.starts {
        cut.push(home.start());
        home.kill();
    }
    for (what, mut times) in [("after a proper end", clean), ("after a kill", cut)] {
        times.sort();
        row(what, times[times.len() / 2].as_secs_f64(), "s", "aim: under 0.3");
    }
}

struct Nothing;

impl Sink for Nothing {
    fn line(&mut self, _: &Line<'_>) -> io::Result<()> {
        Ok(())
    }
    fn wants_estimates(&self) -> bool {
        false
    }
    fn estimate(&mut self, _: &EstimateLine<'_>) -> io::Result<()> {
        Ok(())
    }
}

/// A year of scans through the turn, without a record.
fn replaying() {
    let home =
        Home::new(&["pepper".into()], &format!("[notify.ntfy]\nserver = \"http://127.0.0.1:9\"\n{PERSON}"));
    let household = config::load(&home.path("lowtide.toml")).unwrap().household;
    let readings = life(1, YEAR);
    println!("replay of a year of one cat ({YEAR} readings), as scans of 32 and as single readings:");
    for (what, chunk) in [("scans of 32", SCAN), ("single readings", 1)] {
        let events = events("pepper", &readings, chunk);
        let start = Instant::now();
        let summary = replay(&household, events, &mut Nothing, &mut |_, _| {}).unwrap();
        let time = start.elapsed().as_secs_f64();
        assert_eq!(summary.readings, YEAR as u64);
        row(&format!("{what}: time"), time, "s", "aim: under 2");
        row(&format!("{what}: speed"), 365.0 / time, "cat-days a second", "aim: at least 50");
    }
}

/// The last `count` samples that an invented cat's sensors stored, until now.
fn life(seed: u64, count: usize) -> Vec<Reading> {
    // Sensors miss samples, warm up and are changed: more days than readings would fill.
    let days = (count / 96) * 115 / 100 + 10;
    let start = now() - minutes(days as f64 * 1440.0);
    let options = Options { start, ..Options::default() };
    let mut readings = simulate(seed, days as u32, &options).readings;
    readings.drain(..readings.len() - count);
    readings
}

fn events(cat: &str, readings: &[Reading], chunk: usize) -> Vec<(Moment, Event)> {
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

/// Lets the house of a home live through these readings, as scans, and leaves its record as the daemon would.
fn remember(home: &Home, lives: &[(String, Vec<Reading>)]) {
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
}

/// One turn, and every message it brings carried at once.
fn live(record: &mut Record, house: &mut House, event: Event, at: Moment) -> Option<Moment> {
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

fn now() -> Moment {
    MachineClock::new().now()
}

/// The value as files and messages write it.
fn shown(reading: &Reading) -> String {
    match reading.value {
        Value::Below => "LO".to_owned(),
        Value::Above => "HI".to_owned(),
        Value::Level(level) => format!("{level}"),
    }
}

fn json(reading: &Reading) -> String {
    let value = serde_json::to_string(&reading.value).unwrap();
    format!("{{\"measured_at\":\"{}\",\"glucose\":{value}}}", reading.measured_at)
}

/// When the newest reading was measured that the daemon knows of.
fn newest(home: &Home) -> Option<Moment> {
    match socket::ask(&home.path("data"), &Request::Status) {
        Ok(Some(Reply::Status { status })) => status.cats[0].newest_at,
        _ => None,
    }
}

/// A publisher of readings.
struct Link {
    client: Client,
    prefix: String,
}

impl Link {
    fn new(port: u16, prefix: &str) -> Self {
        let options = MqttOptions::new(format!("bench-{prefix}"), "127.0.0.1", port);
        let (client, mut connection) = Client::new(options, 16);
        std::thread::spawn(move || connection.iter().take_while(Result::is_ok).count());
        Self { client, prefix: prefix.to_owned() }
    }

    fn publish(&self, cat: &str, text: &str) {
        let topic = format!("{}/in/{cat}/reading", self.prefix);
        self.client.publish(topic, QoS::AtLeastOnce, false, text).unwrap();
    }
}
