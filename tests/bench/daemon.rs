//! Measures the real daemon. `cargo bench --bench daemon` prints everything in one run, `-- --quick` a rougher table
//! sooner, `-- growth` one part of it (`year`, `push`, `start`, `replay`, `growth`, `flow`), and `-- idle 120` what a
//! house without readings writes in so many minutes. Needs Linux for the counters, mosquitto, against which the memory
//! is compared, and for `flow` Node.js with npm; without them that part says so.
#![allow(clippy::unwrap_used, clippy::disallowed_methods, unreachable_pub)]

mod flow;
mod growth;
mod home;
mod lives;
#[path = "../stands/mod.rs"]
mod stands;

use std::fmt::Write as _;
use std::io;
use std::time::{Duration, Instant};

use home::{Home, counter, processor};
use lives::{Link, PERSON, SCAN, YEAR, carrier, events, json, life, newest, now, remember, row, shown};
use lowtide::config;
use lowtide::replay::{EstimateLine, Line, Sink, replay};
use lowtide::run::open_record;
use lowtide::words::{CatName, Reading, minutes};
use stands::mosquitto::{self, Mosquitto};
use stands::ntfy::{self, Ntfy};

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
    // Cargo puts a word of its own among the arguments.
    let words: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    let quick = words.iter().any(|word| word == "--quick");
    let parts: Vec<&String> = words.iter().filter(|word| *word != "--quick").collect();
    let size = if quick {
        Size { streamed: 60, scans: 10, bulk: 500, idle: Duration::from_secs(21), homes: 2, starts: 3 }
    } else {
        Size { streamed: 500, scans: 40, bulk: 2000, idle: Duration::from_secs(60), homes: 10, starts: 9 }
    };
    let threads = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    let server =
        threads.block_on(Ntfy::start(ntfy::Options { bucket: 1_000_000, ..ntfy::Options::default() }));
    println!("cargo bench --bench daemon -- {}", words.join(" "));
    if let Some(place) = parts.iter().position(|word| *word == "idle") {
        let length = parts.get(place + 1).and_then(|word| word.parse().ok()).expect("idle MINUTES");
        return a_house_at_rest(length, &server);
    }
    let wanted = |part: &str| parts.is_empty() || parts.iter().any(|word| *word == part);
    if wanted("year") {
        a_year_of_one_cat(&size, &server);
    }
    if wanted("push") {
        until_the_push(&size, &server);
    }
    if wanted("start") {
        starting(&size);
    }
    if wanted("replay") {
        replaying();
    }
    if wanted("growth") {
        growth::measure(quick, &server);
    }
    if wanted("flow") {
        flow::measure(quick, &server);
    }
}

/// What a house writes in which nothing arrives: with a broker, a push server and a year of readings.
fn a_house_at_rest(length: f64, server: &Ntfy) {
    let broker = Mosquitto::start(&mosquitto::Options::default());
    let door = format!("[intake.mqtt]\nbroker = \"mqtt://127.0.0.1:{}\"\n", broker.port);
    let mut home = Home::new(&["pepper".into()], &format!("{door}{}", carrier(server)));
    remember(&home, &[("pepper".to_owned(), life(1, YEAR))]);
    home.start();
    // What a start brings is not rest.
    std::thread::sleep(Duration::from_secs(5));
    println!("a house without readings, {length} minutes:");
    let sizes = || (counter(home.id(), "io", "write_bytes:"), home.journal_bytes(), processor(home.id()));
    let before = sizes();
    std::thread::sleep(Duration::from_secs_f64(length * 60.0));
    let after = sizes();
    let a_day = 1440.0 / length;
    row("written", (after.0 - before.0) as f64 / 1024.0 * a_day, "KiB a day", "aim: under 5120");
    row("journal grown", (after.1 - before.1) as f64 / 1024.0 * a_day, "KiB a day", "");
    row("processor", (after.2 - before.2).as_secs_f64() * a_day, "s a day", "");
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
        let (ours, theirs) = (counter(home.id(), file, word), counter(broker.pid(), file, word));
        let what = format!("{what} memory: daemon {ours} KiB, mosquitto {theirs} KiB");
        row(&what, ours as f64 / theirs as f64, "times", "aim: at most 2");
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
    let (bytes, used) = (counter(home.id(), "io", "write_bytes:"), processor(home.id()));
    std::thread::sleep(size.idle);
    let hours = size.idle.as_secs_f64() / 3600.0;
    let written = (counter(home.id(), "io", "write_bytes:") - bytes) as f64 / 1024.0;
    let used = (processor(home.id()) - used).as_secs_f64();
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
        let pid = home.id();
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
    println!("commands over the same record, the daemon not running:");
    let out = home.path("page.html");
    let page: [&str; 5] = ["report", "--cat", "cat-0", "--out", out.to_str().unwrap()];
    for (what, words) in [
        ("status", &["status"][..]),
        ("sensors", &["sensors", "--cat", "cat-0"]),
        ("report of a fortnight", &page),
    ] {
        row(what, home.command(words).as_secs_f64(), "s", "aim: under 2");
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
