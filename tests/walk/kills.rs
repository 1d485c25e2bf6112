//! Kill -9 at random moments under load from files, the broker, the command line and a push server with bad moments;
//! then everything is proved from outside. A short round in the gate; hundreds with
//!
//! ```text
//! LOWTIDE_KILLS=300 LOWTIDE_SEED=7 cargo test --test walk kills -- --nocapture
//! ```

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use lowtide::record::{Damage, Record};
use lowtide::turn::House as Core;
use lowtide::words::{Event, MessageId, Moment, Severity, minutes};
use oorandom::Rand64;

use crate::broker::mqtt;
use crate::stands::house::{House, now, ntfy, program};
use crate::stands::mosquitto::{Mosquitto, Options};
use crate::stands::ntfy::{self as stand, Ntfy, Trick};

const PERSON: &str = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";

fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap_or_else(|_| panic!("{name}={text}")))
}

/// Everything that was offered, and what was acknowledged.
struct Load {
    dice: Rand64,
    begun: Moment,
    samples: u64,
    offered: BTreeSet<String>,
    files: BTreeMap<String, Vec<String>>,
    notes: Vec<(String, Child)>,
    acknowledged: Vec<String>,
    repeated: u64,
}

impl Load {
    fn new(seed: u64) -> Self {
        Self {
            dice: Rand64::new(u128::from(seed)),
            begun: now(),
            samples: 0,
            offered: BTreeSet::new(),
            files: BTreeMap::new(),
            notes: Vec::new(),
            acknowledged: Vec::new(),
            repeated: 0,
        }
    }

    /// The next sample of the past: one for each minute before the test began.
    fn sample(&mut self) -> (String, u64) {
        self.samples += 1;
        let at = (self.begun - minutes(self.samples as f64)).to_string();
        self.offered.insert(at.clone());
        (at, 90 + self.samples % 60)
    }

    fn file(&mut self, house: &House, round: u64) {
        let rows: Vec<(String, u64)> = (0..20).map(|_| self.sample()).collect();
        let lines: Vec<String> = rows.iter().map(|(at, value)| format!("{at},{value}\n")).collect();
        let name = format!("scan-{round}-{}.csv", self.samples);
        house.drop_file(&name, &format!("measured_at,glucose\n{}", lines.concat()));
        self.files.insert(name, rows.into_iter().map(|(at, _)| at).collect());
    }

    /// Readings over the broker; some of them twice, and out of order. The last one is from now.
    fn publish(&mut self, broker: &Mosquitto, round: u64) {
        let mut lines: Vec<String> = (0..10)
            .map(|_| self.sample())
            .map(|(at, value)| format!("{{\"measured_at\":\"{at}\",\"glucose\":{value}}}\n"))
            .collect();
        let twice = lines[self.dice.rand_range(0..10) as usize].clone();
        lines.push(twice);
        self.repeated += 1;
        let at = now();
        let value = if round % 4 < 2 { 60 } else { 130 };
        lines.push(format!("{{\"measured_at\":\"{at}\",\"glucose\":{value}}}\n"));
        self.offered.insert(at.to_string());
        // Each low by the meter is urgent, and told anew.
        let low = format!("{{\"measured_at\":\"{at}\",\"glucose\":{},\"meter\":\"pet\"}}", 30 + round % 20);
        crate::broker::publish(broker, "lowtide/in/pepper/meter", &low);
        let port = broker.port.to_string();
        let mut client = Command::new("mosquitto_pub")
            .args(["-p", &port, "-q", "1", "-t", "lowtide/in/pepper/reading", "-l"])
            .stdin(Stdio::piped())
            .spawn()
            .unwrap();
        client.stdin.take().unwrap().write_all(lines.concat().as_bytes()).unwrap();
        assert!(client.wait().unwrap().success(), "the broker did not take them");
    }

    /// Somebody types while it falls.
    fn note(&mut self, house: &House, round: u64) {
        let text = format!("note number {round}.");
        let config = house.path("lowtide.toml");
        let mut command = program();
        command.args(["log", "note", &text, "--config"]).arg(config);
        let child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        self.notes.push((text, child));
    }

    fn gather_notes(&mut self) {
        for (text, mut child) in std::mem::take(&mut self.notes) {
            if child.wait().unwrap().success() {
                self.acknowledged.push(text);
            }
        }
    }

    /// A file in `done/` was acknowledged: its readings are in the journal, whatever happened since.
    fn files_done_are_kept(&self, house: &House) -> usize {
        let held: BTreeSet<String> = journaled(&house.path("data")).into_iter().collect();
        let done = |name: &&String| house.path("done").join(name).exists();
        let mut count = 0;
        for name in self.files.keys().filter(done) {
            let lost = self.files[name].iter().find(|at| !held.contains(*at));
            assert_eq!(lost, None, "{name} is in done/, but this reading of it is not in the journal");
            count += 1;
        }
        count
    }
}

/// The measuring times in the journal, as they stand there, repeats included.
fn journaled(data: &Path) -> Vec<String> {
    let mut times = Vec::new();
    for entry in Record::entries(data).filter_map(Result::ok) {
        if let Event::Readings(batch) = entry.event {
            times.extend(batch.readings.iter().map(|reading| reading.measured_at.to_string()));
            times.extend(batch.conflicts.iter().map(|conflict| conflict.came.measured_at.to_string()));
        }
    }
    times
}

/// Each critical message that was decided on and not withdrawn, and whether the server has it.
fn criticals(data: &Path, server: &Ntfy) -> (usize, Vec<MessageId>) {
    let mut said = BTreeSet::new();
    for entry in Record::entries(data).filter_map(Result::ok) {
        let critical = entry.said.messages.into_iter().filter(|m| m.severity == Severity::Critical);
        said.extend(critical.map(|message| message.id));
        entry.said.withdrawn.iter().for_each(|id| {
            said.remove(id);
        });
    }
    let stored = serde_json::to_string(&server.stored()).unwrap();
    let missing = said.iter().filter(|id| !stored.contains(&format!("\"{id}\""))).cloned().collect();
    (said.len(), missing)
}

/// What a household is, without what a look at the clock refreshes.
fn essence(core: &Core) -> serde_json::Value {
    let open: Vec<_> = core.open().iter().map(|f| (f.id.clone(), f.severity, f.step, f.opened_at)).collect();
    let cats: Vec<_> =
        core.cats.values().map(|cat| (&cat.tracker, cat.newest, &cat.doses, &cat.meter, &cat.wear)).collect();
    let outbox: Vec<_> = core.ledger.outbox.keys().collect();
    serde_json::json!({"open": open, "cats": cats, "spoken": core.ledger.spoken, "outbox": outbox})
}

/// Opens the record as it is, and a copy of it without its store.
fn rebuilds_to_the_same(house: &House) {
    let copy = tempfile::tempdir().unwrap();
    let files = |from: &Path, to: &Path| {
        std::fs::create_dir_all(to).unwrap();
        for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
            std::fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
        }
    };
    files(&house.path("data/journal"), &copy.path().join("journal"));
    let kept = lowtide::run::open_record(&house.path("data")).unwrap();
    let again = lowtide::run::open_record(copy.path()).unwrap();
    assert!(kept.damage.is_empty(), "{:?}", kept.damage);
    assert!(again.damage.iter().all(Damage::is_of_store), "{:?}", again.damage);
    assert_eq!(essence(&kept.state), essence(&again.state), "the store and the journal tell two stories");
    let all = |record: &Record| {
        let cat = kept.state.cats.keys().next().unwrap();
        record.readings(cat, Moment::from_millis(0), Moment::from_millis(i64::MAX))
    };
    assert_eq!(all(&kept.record), all(&again.record));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_daemon_killed_at_random_moments_loses_nothing_and_tells_everything() {
    let (kills, seed) = (number("LOWTIDE_KILLS", 16), number("LOWTIDE_SEED", 1));
    let broker = Mosquitto::start(&Options { more: "max_queued_messages 100000", ..Options::default() });
    let server = Ntfy::start(stand::Options { bucket: 100_000, ..stand::Options::default() }).await;
    let mut house = House::new(&format!("{}{}{PERSON}", mqtt(&broker), ntfy(&server.url)));
    let mut load = Load::new(seed);
    // The broker keeps messages for whoever has been there once.
    house.start().await;
    crate::broker::listening(&house, &broker).await;
    house.kill();
    let mut done = 0;
    for round in 0..kills {
        house.begin("");
        // Seldom enough that its back-off ends between two of them.
        server.play(match load.dice.rand_range(0..16) {
            0 => vec![Trick::StoreThenBreak],
            1 => vec![Trick::status(500), Trick::StoreThenBreak],
            _ => vec![],
        });
        load.file(&house, round);
        load.note(&house, round);
        load.publish(&broker, round);
        if load.dice.rand_range(0..2) == 0 {
            load.file(&house, round);
        }
        // Half of them while it starts, half while it works.
        let longest = if load.dice.rand_range(0..2) == 0 { 900 } else { 4500 };
        tokio::time::sleep(Duration::from_millis(load.dice.rand_range(0..longest))).await;
        house.kill();
        done = load.files_done_are_kept(&house);
    }
    server.behave();
    load.gather_notes();
    house.start().await;
    house
        .until("every file is done", || load.files.keys().all(|name| house.path("done").join(name).exists()))
        .await;
    let data = house.path("data");
    house.until("everything offered is there", || journaled(&data).len() >= load.offered.len()).await;
    let at_rest = || {
        // While the daemon opens its record there is nobody to ask.
        let text = house.run(&["status", "--json"]).stdout;
        let status: serde_json::Value = serde_json::from_slice(&text).unwrap_or_default();
        let rest = (status["outbox"].as_u64(), criticals(&data, &server).1);
        (rest.0 == Some(0) && rest.1.is_empty(), rest)
    };
    for _ in 0..600 {
        if at_rest().0 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert!(at_rest().0, "still on its way: {:?}\n{}", at_rest().1, house.said(&["history"]));
    house.stop();

    let times = journaled(&data);
    let once: BTreeSet<String> = times.iter().cloned().collect();
    assert_eq!((times.len(), &once), (load.offered.len(), &load.offered), "each reading once");
    let export = house.said(&["export"]);
    for round in 0..kills {
        let text = format!("\"note number {round}.\"");
        let count = export.matches(&text).count();
        let least = usize::from(load.acknowledged.contains(&text.trim_matches('"').to_owned()));
        assert!((least..=1).contains(&count), "{text} stands there {count} times");
    }
    let verified = Record::verify(&data);
    assert!(verified.is_sound(), "{verified:?}");
    let (told, missing) = criticals(&data, &server);
    assert!(told > 0 && missing.is_empty(), "{told} critical messages, not delivered: {missing:?}");
    rebuilds_to_the_same(&house);
    println!(
        "{kills} kills (seed {seed}): {} readings each once ({} came twice), {done} of {} files done before the last kill, \
         {} of {kills} notes acknowledged, {told} critical messages, all delivered, {} entries",
        times.len(),
        load.repeated,
        load.files.len(),
        load.acknowledged.len(),
        verified.entries
    );
}
