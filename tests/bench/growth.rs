//! How memory, start and processor time grow with cats and with years.

use std::time::{Duration, Instant};

use lowtide::words::Reading;

use super::home::{Home, counter, processor};
use super::lives::{Link, YEAR, carrier, json, life, remember};
use super::stands::mosquitto::{self, Mosquitto};
use super::stands::ntfy::Ntfy;

/// Readings of one day.
const DAY: usize = 96;

/// Many cats with a month each, and one cat with many years.
pub fn measure(quick: bool, server: &Ntfy) {
    let months: &[(usize, usize)] = if quick {
        &[(1, 7 * DAY), (10, 7 * DAY), (100, 7 * DAY)]
    } else {
        &[(1, 30 * DAY), (10, 30 * DAY), (100, 30 * DAY), (1000, 3 * DAY)]
    };
    let years: &[(usize, usize)] =
        if quick { &[(1, YEAR), (1, 2 * YEAR)] } else { &[(1, YEAR), (1, 5 * YEAR), (1, 10 * YEAR)] };
    println!("growth (each row its own daemon with its own broker):");
    println!(
        "  {:>5} {:>12} {:>9} {:>9} {:>10} {:>9} {:>11} {:>12} {:>9}",
        "cats", "readings", "resident", "daemon/", "start", "state", "journal", "processor", "alone"
    );
    println!(
        "  {:>5} {:>12} {:>9} {:>9} {:>10} {:>9} {:>11} {:>12} {:>9}",
        "", "held each", "MiB", "mosquitto", "s", "KiB", "MiB", "ms a reading", "ms each"
    );
    for &(cats, held) in months.iter().chain(years) {
        one(cats, held, server);
    }
}

fn one(cats: usize, held: usize, server: &Ntfy) {
    let broker = Mosquitto::start(&mosquitto::Options::default());
    let door = format!("[intake.mqtt]\nbroker = \"mqtt://127.0.0.1:{}\"\n", broker.port);
    let names: Vec<String> = (0..cats).map(|number| format!("cat-{number}")).collect();
    let mut home = Home::new(&names, &format!("{door}{}", carrier(server)));
    // The same few lives again and again: what a cat lives does not matter here.
    let own = STREAMED / cats.min(STREAMED);
    let templates: Vec<Vec<Reading>> = (1..=cats.min(8) as u64).map(|seed| life(seed, held + own)).collect();
    let lives: Vec<(String, Vec<Reading>)> = names
        .iter()
        .enumerate()
        .map(|(index, cat)| (cat.clone(), templates[index % templates.len()][..held].to_vec()))
        .collect();
    let state = remember(&home, &lives);
    home.start();
    home.stop();
    let start = home.start();
    std::thread::sleep(Duration::from_secs(3));
    let (ours, theirs) = (counter(home.id(), "status", "VmRSS:"), counter(broker.pid(), "status", "VmRSS:"));
    let link = Link::new(broker.port, "lowtide");
    let (used, since, mut taken) = (processor(home.id()), Instant::now(), 0);
    for step in 0..own {
        for index in 0..cats.min(STREAMED) {
            let before = home.journal_bytes();
            link.publish(&names[index], &json(&templates[index % templates.len()][held + step]));
            home.until("a streamed reading", || home.journal_bytes() > before);
            taken += 1;
        }
    }
    let each = since.elapsed().as_secs_f64() * 1e3 / f64::from(taken);
    let used = (processor(home.id()) - used).as_secs_f64() * 1e3 / f64::from(taken);
    println!(
        "  {cats:>5} {held:>12} {:>9.1} {:>9.2} {:>10.2} {:>9.0} {:>11.1} {used:>12.2} {each:>9.2}",
        ours as f64 / 1024.0,
        ours as f64 / theirs as f64,
        start.as_secs_f64(),
        state as f64 / 1024.0,
        home.journal_bytes() as f64 / 1048576.0,
    );
    home.stop();
}

/// Readings that are streamed in, over all cats.
const STREAMED: usize = 200;
