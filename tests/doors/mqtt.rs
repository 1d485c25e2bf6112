//! The MQTT door against a real mosquitto.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use lowtide::clock::{Clock, MachineClock};
use lowtide::intake::formats::Context;
use lowtide::intake::mqtt::{Mqtt, MqttSettings, Publisher, Secret, Timing, publisher};
use lowtide::intake::{Inbound, Kept};
use lowtide::words::{Arg, CatName, Event, PersonName, Telling, Unit, Watch};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::sync::{mpsc, oneshot, watch};

use super::stands::certificate;
use super::stands::mosquitto::{Mosquitto, Options};

/// What the driver says to each event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Disk {
    Works,
    /// Events are taken and nothing is said.
    Hangs,
    Fails,
}

/// A door, and a driver that notes what comes in.
struct House {
    events: Arc<Mutex<Vec<Event>>>,
    disk: Arc<Mutex<Disk>>,
    out: Publisher,
    stop: watch::Sender<bool>,
    task: tokio::task::JoinHandle<()>,
    driver: tokio::task::JoinHandle<()>,
}

impl House {
    fn open(settings: MqttSettings, disk: Disk) -> Self {
        let context = Context {
            zone: chrono_tz::Europe::Vienna,
            cats: vec![(CatName::new("pepper").unwrap(), Unit::MgDl)],
            ranges: vec![],
            layouts: vec![],
        };
        let persons = vec![PersonName::new("owner").unwrap()];
        let mqtt = Mqtt::new(settings, context, persons).unwrap();
        let (door, mut inbound) = mpsc::channel::<Inbound>(8);
        let (out, outgoing) = publisher();
        let (stop, stopped) = watch::channel(false);
        let clock = MachineClock::new();
        let task = tokio::spawn(mqtt.run(door, outgoing, Arc::new(move || clock.now()), stopped));
        let events = Arc::new(Mutex::new(Vec::new()));
        let disk = Arc::new(Mutex::new(disk));
        let (noted, state) = (Arc::clone(&events), Arc::clone(&disk));
        let driver = tokio::spawn(async move {
            let mut held: Vec<oneshot::Sender<Kept>> = Vec::new();
            while let Some(Inbound { event, done, .. }) = inbound.recv().await {
                noted.lock().unwrap().push(event);
                let Some(done) = done else { continue };
                match *state.lock().unwrap() {
                    Disk::Works => drop(done.send(Kept::Synced)),
                    Disk::Fails => drop(done.send(Kept::Failed("disk full".to_owned()))),
                    Disk::Hangs => held.push(done),
                }
            }
        });
        Self { events, disk, out, stop, task, driver }
    }

    /// Ends as a killed process would: without a goodbye.
    async fn kill(self) -> Vec<Event> {
        self.task.abort();
        self.driver.abort();
        let _ = self.task.await;
        let _ = self.driver.await;
        self.events.lock().unwrap().clone()
    }

    async fn stop(self) -> Vec<Event> {
        self.stop.send(true).unwrap();
        self.task.await.unwrap();
        self.events.lock().unwrap().clone()
    }

    fn values(&self) -> Vec<f64> {
        values(&self.events.lock().unwrap())
    }

    fn health(&self, watch: Watch) -> Vec<Option<Telling>> {
        let events = self.events.lock().unwrap();
        events
            .iter()
            .filter_map(|event| match event {
                Event::Health(health) if health.watch == watch => Some(health.trouble.clone()),
                _ => None,
            })
            .collect()
    }

    async fn until(&self, what: &str, done: impl Fn(&Self) -> bool) {
        for _ in 0..6000 {
            if done(self) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        panic!("waited in vain for {what}; so far: {:#?}", self.events.lock().unwrap());
    }
}

fn values(events: &[Event]) -> Vec<f64> {
    let batches = events.iter().filter_map(|event| match event {
        Event::Readings(batch) => Some(batch),
        _ => None,
    });
    batches.flat_map(|batch| batch.readings.iter().filter_map(|r| r.value.level())).collect()
}

fn settings(broker: &Mosquitto, rejected: &Path) -> MqttSettings {
    quick(MqttSettings::new(&format!("mqtt://127.0.0.1:{}", broker.port), rejected))
}

fn quick(mut settings: MqttSettings) -> MqttSettings {
    settings.timing = Timing {
        trouble_after: Duration::from_millis(1500),
        steady_after: Duration::from_millis(300),
        first_wait: Duration::from_millis(50),
        offer_again: Duration::from_millis(300),
        backlog: Duration::from_millis(500),
        keep_alive: Duration::from_secs(1),
    };
    settings
}

fn reading(minute: u32, value: u32) -> String {
    format!("{{\"measured_at\":\"2026-01-10T02:{minute:02}:00Z\",\"glucose\":{value}}}")
}

/// Publishes with mosquitto's own client, at least once.
fn publish(broker: &Mosquitto, topic: &str, payload: &str, more: &[&str]) {
    let mut command = Command::new("mosquitto_pub");
    command.args(["-h", "127.0.0.1", "-p", &broker.port.to_string(), "-q", "1", "-t", topic]).args(more);
    if payload.len() > 1000 {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("payload"), payload).unwrap();
        let status = command.arg("-f").arg(folder.path().join("payload")).status();
        assert!(status.expect("the tests need mosquitto_pub").success());
    } else {
        assert!(command.args(["-m", payload]).status().expect("the tests need mosquitto_pub").success());
    }
}

/// The next message on a topic, retained or not.
async fn next(broker: &Mosquitto, topic: &str) -> String {
    let mut command = Command::new("mosquitto_sub");
    command.args(["-h", "127.0.0.1", "-p", &broker.port.to_string(), "-t", topic, "-C", "1", "-W", "10"]);
    let wait = tokio::task::spawn_blocking(move || command.stderr(Stdio::null()).output());
    String::from_utf8(wait.await.unwrap().unwrap().stdout).unwrap().trim().to_owned()
}

fn text<'a>(telling: &'a Option<Telling>, name: &str) -> &'a str {
    match telling.as_ref().and_then(|telling| telling.args.get(name)) {
        Some(Arg::Text(text)) => text,
        other => panic!("{name}: {other:?}"),
    }
}

fn rejected_files(folder: &Path) -> Vec<serde_json::Value> {
    let Ok(entries) = fs::read_dir(folder) else { return vec![] };
    entries.map(|entry| serde_json::from_slice(&fs::read(entry.unwrap().path()).unwrap()).unwrap()).collect()
}

const READING: &str = "lowtide/in/pepper/reading";

#[tokio::test]
async fn a_message_comes_again_until_it_is_on_disk_and_then_never() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let house = House::open(settings(&broker, folder.path()), Disk::Hangs);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    publish(&broker, READING, &reading(0, 101), &[]);
    publish(&broker, READING, &reading(15, 102), &[]);
    house.until("both readings", |h| h.values() == [101.0, 102.0]).await;
    // Killed between taking them and syncing them.
    house.kill().await;
    publish(&broker, READING, &reading(30, 103), &[]);

    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    house.until("all three readings", |h| h.values() == [101.0, 102.0, 103.0]).await;
    house.stop().await;

    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    publish(&broker, READING, &reading(45, 104), &[]);
    house.until("the fourth reading", |h| !h.values().is_empty()).await;
    assert_eq!(house.values(), [104.0], "what was on disk must not come again");
    house.stop().await;
}

#[tokio::test]
async fn what_the_disk_does_not_take_is_offered_again_and_not_acknowledged() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let house = House::open(settings(&broker, folder.path()), Disk::Fails);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    publish(&broker, READING, &reading(0, 101), &[]);
    house.until("a second offer", |h| h.values().len() >= 2).await;
    house.kill().await;
    let house = House::open(settings(&broker, folder.path()), Disk::Fails);
    house.until("the redelivery", |h| h.values().len() >= 2).await;
    *house.disk.lock().unwrap() = Disk::Works;
    let offers = house.values().len();
    house.until("one more offer", |h| h.values().len() > offers).await;
    tokio::time::sleep(Duration::from_millis(700)).await;
    let events = house.stop().await;
    assert_eq!(values(&events).len(), offers + 1, "once kept, it is not offered again");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_connection_that_is_open_at_one_end_only_is_noticed() {
    let broker = Mosquitto::start(&Options::default());
    let folder = tempfile::tempdir().unwrap();
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    // Before it has subscribed for the first time the broker keeps nothing for it.
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    publish(&broker, "lowtide/in/pepper/reading", &reading(0, 100), &[]);
    house.until("the first reading", |h| values(&h.events.lock().unwrap()) == [100.0]).await;
    let signal = |name: &str| {
        assert!(Command::new("kill").args([name, &broker.pid().to_string()]).status().unwrap().success());
    };
    // Its kernel still holds the connection, as after a cable was pulled; nothing ever comes.
    signal("-STOP");
    house.until("the trouble", |h| h.health(Watch::SourceRefused).iter().any(Option::is_some)).await;
    signal("-CONT");
    publish(&broker, "lowtide/in/pepper/reading", &reading(15, 101), &[]);
    house.until("the second reading", |h| values(&h.events.lock().unwrap()) == [100.0, 101.0]).await;
    house.stop().await;
}

#[tokio::test]
async fn a_broker_that_goes_and_comes_back_finds_us_and_nothing_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let mut broker = Mosquitto::start(&Options::default());
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    let pepper = CatName::new("pepper").unwrap();
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    assert!(house.out.state(&pepper, "{\"blood\":112}".to_owned()));
    assert_eq!(next(&broker, "lowtide/out/pepper/state").await, "{\"blood\":112}");
    house.until("the word that all is well", |h| h.health(Watch::SourceRefused) == [None]).await;

    broker.stop();
    house.until("the word that it is not", |h| h.health(Watch::SourceRefused).len() == 2).await;
    let told = house.health(Watch::SourceRefused)[1].clone();
    assert_eq!(told.as_ref().unwrap().key, "source-refused");
    assert_eq!(text(&told, "source"), format!("MQTT 127.0.0.1:{}", broker.port));
    assert!(text(&told, "reason").contains("refused"), "{told:?}");
    assert!(house.out.state(&pepper, "{\"blood\":90}".to_owned()));
    assert!(house.out.finding(&pepper, "{\"watch\":\"low-now\"}".to_owned()));

    broker.begin();
    let finding = next(&broker, "lowtide/out/pepper/finding");
    assert_eq!(finding.await, "{\"watch\":\"low-now\"}");
    assert_eq!(next(&broker, "lowtide/out/pepper/state").await, "{\"blood\":90}");
    publish(&broker, READING, &reading(0, 101), &[]);
    house.until("a reading after that", |h| h.values() == [101.0]).await;
    house.until("the word that it is over", |h| h.health(Watch::SourceRefused).len() == 3).await;
    assert_eq!(house.health(Watch::SourceRefused)[2], None);

    // Without its memory: nobody told it that we had subscribed.
    broker.kill();
    fs::remove_file(broker.memory()).unwrap();
    broker.begin();
    for minute in 1..60 {
        publish(&broker, READING, &reading(minute, 200 + minute), &[]);
        if house.values().len() > 1 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert!(house.values().len() > 1, "we must subscribe again after every connecting");
    house.stop().await;
}

#[tokio::test]
async fn a_message_that_is_too_big_is_put_aside_and_holds_up_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    let big = "x".repeat(400_000);
    publish(&broker, READING, &big, &[]);
    publish(&broker, READING, &reading(0, 101), &[]);
    house.until("the reading behind it", |h| h.values() == [101.0]).await;
    let rejected = rejected_files(folder.path());
    assert_eq!(rejected.len(), 1);
    assert_eq!(rejected[0]["payload"].as_str().unwrap(), big);
    assert!(rejected[0]["reason"].as_str().unwrap().contains("400000 bytes"));
    assert!(house.health(Watch::FileRejected)[0].is_some());
    house.stop().await;

    // The broker has been told: it does not come again.
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    publish(&broker, READING, &reading(15, 102), &[]);
    house.until("one more reading", |h| h.values() == [102.0]).await;
    assert_eq!(rejected_files(folder.path()).len(), 1);
    house.stop().await;
}

#[tokio::test]
async fn a_message_over_every_limit_is_told_with_its_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let mut settings = settings(&broker, folder.path());
    settings.timing.trouble_after = Duration::from_secs(60);
    let house = House::open(settings, Disk::Works);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    publish(&broker, READING, &"x".repeat(17_000_000), &[]);
    house.until("the trouble", |h| h.health(Watch::SourceRefused).iter().any(Option::is_some)).await;
    let told = house.health(Watch::SourceRefused).into_iter().find(Option::is_some).unwrap();
    assert!(
        text(&told, "reason").contains("17000") && text(&told, "reason").contains("clean session"),
        "{told:?}"
    );
    house.kill().await;
}

#[tokio::test]
async fn what_cannot_be_read_is_kept_told_and_acknowledged() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let rejected = folder.path().join("rejected");
    let house = House::open(settings(&broker, &rejected), Disk::Works);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    publish(&broker, READING, "{\"glucose\":", &[]);
    publish(&broker, READING, &format!("[{},{{\"glucose\":5}}]", reading(0, 101)), &[]);
    publish(&broker, "lowtide/in/nobody/reading", &reading(0, 99), &[]);
    house.until("three complaints", |h| h.health(Watch::FileRejected).len() == 3).await;
    let told = &house.health(Watch::FileRejected)[0];
    assert_eq!(told.as_ref().unwrap().key, "message-rejected");
    assert!(rejected.join(text(told, "file")).exists());
    assert!(text(told, "reason").starts_with("lowtide/in/pepper/reading: "), "{told:?}");
    assert_eq!(house.values(), [101.0], "the good row of a message is kept");
    let files = rejected_files(&rejected);
    assert_eq!(files.len(), 3);
    assert!(files.iter().any(|file| file["reason"].as_str().unwrap().contains("no cat is called 'nobody'")));

    publish(&broker, READING, &reading(15, 102), &[]);
    house.until("the all-clear", |h| h.health(Watch::FileRejected).last() == Some(&None)).await;
    house.stop().await;
    let house = House::open(settings(&broker, &rejected), Disk::Works);
    publish(&broker, READING, &reading(30, 103), &[]);
    house.until("a new reading", |h| !h.values().is_empty()).await;
    assert_eq!(house.values(), [103.0]);
    assert_eq!(rejected_files(&rejected).len(), 3, "nothing broken comes again");
    house.stop().await;
}

#[tokio::test]
async fn a_flood_of_broken_messages_is_counted_and_a_good_one_ends_it() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let rejected = folder.path().join("rejected");
    let house = House::open(settings(&broker, &rejected), Disk::Works);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    let broken: Vec<String> = (0..60).map(|minute| reading(minute, 5)).collect();
    for message in &broken {
        publish(&broker, READING, message, &[]);
    }
    publish(&broker, READING, &reading(15, 101), &[]);
    house.until("the reading behind them", |h| h.values() == [101.0]).await;
    let told = house.health(Watch::FileRejected);
    let keys: Vec<&str> =
        told.iter().map(|told| told.as_ref().map_or("over", |told| told.key.as_str())).collect();
    let expected = [["message-rejected"; 5].as_slice(), &["messages-rejected"; 2], &["over"]].concat();
    assert_eq!(keys, expected);
    assert_eq!(told[6].as_ref().unwrap().args["count"], Arg::Count(50));
    assert_eq!(rejected_files(&rejected).len(), 60, "each of them is kept");
    house.stop().await;
}

#[tokio::test]
async fn whoever_answers_under_a_name_that_nobody_has_is_told_of_once_and_silences_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    let answer = |person: &str, finding: u32| {
        let text = format!(
            "{{\"person\":\"{person}\",\"finding\":\"pepper/low-now/{finding}\",\"verdict\":\"taken\"}}"
        );
        publish(&broker, "lowtide/in/pepper/answer", &text, &[]);
    };
    for finding in 0..5 {
        answer("alex", finding);
    }
    answer("owner", 5);
    answer("Owner", 6);
    publish(&broker, READING, &reading(0, 101), &[]);
    house.until("the reading behind them", |h| h.values() == [101.0]).await;
    let told = house.health(Watch::FileRejected);
    let reasons: Vec<&str> = told.iter().map(|told| text(told, "reason")).collect();
    let reason = |name: &str| {
        format!(
            "lowtide/in/pepper/answer: no person is called '{name}', so this answer changes nothing; there is: owner"
        )
    };
    assert_eq!(reasons, [reason("alex"), reason("Owner")], "once for each name, and no all-clear");
    assert_eq!(rejected_files(folder.path()).len(), 6, "and each of their answers is kept");
    let events = house.stop().await;
    assert_eq!(events.iter().filter(|event| matches!(event, Event::Answer(_))).count(), 1, "{events:?}");
}

#[tokio::test]
async fn the_broker_says_when_we_are_gone() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    house.kill().await;
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "offline", "by last will");
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    tokio::time::sleep(Duration::from_millis(500)).await;
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    house.stop().await;
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "offline", "by a goodbye");
}

#[tokio::test]
async fn a_retained_bridge_is_heard_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    publish(&broker, "lowtide/in/pepper/bridge", "offline", &["-r"]);
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    let bridges = |h: &House| -> Vec<bool> {
        let events = h.events.lock().unwrap();
        events
            .iter()
            .filter_map(|event| match event {
                Event::Bridge { online, .. } => Some(*online),
                _ => None,
            })
            .collect()
    };
    house.until("the retained word", |h| bridges(h) == [false]).await;
    publish(&broker, "lowtide/in/pepper/bridge", "online", &["-r"]);
    house.until("the new word", |h| bridges(h) == [false, true]).await;
    house.stop().await;
}

#[tokio::test]
async fn an_answer_that_waited_for_hours_silences_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    house.stop().await;
    publish(&broker, "lowtide/in/pepper/answer", "{\"person\":\"owner\",\"verdict\":\"taken\"}", &[]);
    publish(&broker, READING, &reading(0, 101), &[]);
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    let answers =
        |h: &House| h.events.lock().unwrap().iter().filter(|e| matches!(e, Event::Answer(_))).count();
    house.until("the reading behind it", |h| h.values() == [101.0]).await;
    assert_eq!(answers(&house), 0);
    tokio::time::sleep(Duration::from_millis(700)).await;
    publish(&broker, "lowtide/in/pepper/answer", "{\"person\":\"owner\",\"verdict\":\"taken\"}", &[]);
    house.until("a fresh answer", |h| answers(h) == 1).await;
    house.stop().await;
}

#[tokio::test]
async fn a_hundred_messages_that_waited_all_come_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(&Options::default());
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    assert_eq!(next(&broker, "lowtide/out/daemon").await, "online");
    house.stop().await;
    let lines: String = (0..100).map(|n| reading(n % 60, 100 + n) + "\n").collect();
    let mut feed = Command::new("mosquitto_pub")
        .args(["-h", "127.0.0.1", "-p", &broker.port.to_string(), "-q", "1", "-t", READING, "-l"])
        .stdin(Stdio::piped())
        .spawn()
        .unwrap();
    std::io::Write::write_all(&mut feed.stdin.take().unwrap(), lines.as_bytes()).unwrap();
    assert!(feed.wait().unwrap().success());
    let house = House::open(settings(&broker, folder.path()), Disk::Works);
    house.until("all of them", |h| h.values().len() >= 100).await;
    let expected: Vec<f64> = (100..200).map(f64::from).collect();
    assert_eq!(house.values(), expected);
    house.stop().await;
}

#[tokio::test]
async fn with_tls_and_a_password_and_not_without() {
    let folder = tempfile::tempdir().unwrap();
    let certificate = certificate::make(folder.path());
    let broker = Mosquitto::start(&Options {
        login: Some(("lowtide", "gehäuse")),
        certificate: Some(&certificate),
        ..Options::default()
    });
    let rejected = folder.path().join("rejected");
    let mut good = settings(&broker, &rejected);
    good.broker = format!("mqtts://localhost:{}", broker.port);
    good.ca_file = Some(certificate.authority.clone());
    good.username = Some("lowtide".to_owned());
    good.password = Some(Secret::new("gehäuse\n"));
    let house = House::open(good.clone(), Disk::Works);
    house.until("a steady connection", |h| h.health(Watch::SourceRefused) == [None]).await;
    let authority = certificate.authority.to_str().unwrap();
    publish(&broker, READING, &reading(0, 101), &["--cafile", authority, "-u", "lowtide", "-P", "gehäuse"]);
    house.until("the reading", |h| h.values() == [101.0]).await;
    house.stop().await;

    let mut wrong = good.clone();
    wrong.password = Some(Secret::new("falsch"));
    let mut stranger = good.clone();
    stranger.ca_file = None;
    for (settings, part) in [(wrong, "check username and password_file"), (stranger, "no secure connection")]
    {
        let house = House::open(settings, Disk::Works);
        house.until("the trouble", |h| !h.health(Watch::SourceRefused).is_empty()).await;
        let told = house.health(Watch::SourceRefused)[0].clone();
        assert!(text(&told, "reason").contains(part), "{told:?}");
        assert!(!text(&told, "reason").contains("falsch"));
        house.stop().await;
    }
}

#[tokio::test]
async fn a_broker_that_does_not_let_us_read_is_told() {
    // mosquitto grants every subscription and delivers nothing; other brokers refuse it, as this one does.
    let folder = tempfile::tempdir().unwrap();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            tokio::spawn(refuse_subscriptions(stream));
        }
    });
    let mut settings = quick(MqttSettings::new(&format!("mqtt://127.0.0.1:{port}"), folder.path()));
    settings.timing.trouble_after = Duration::from_millis(300);
    let house = House::open(settings, Disk::Works);
    house.until("the trouble", |h| !h.health(Watch::SourceRefused).is_empty()).await;
    let told = house.health(Watch::SourceRefused)[0].clone();
    assert!(text(&told, "reason").contains("access rules"), "{told:?}");
    house.stop().await;
}

/// MQTT 3.1.1 sections 3.2 and 3.9: lets everybody in, and answers every SUBSCRIBE with the failure code 0x80.
async fn refuse_subscriptions(mut stream: tokio::net::TcpStream) -> std::io::Result<()> {
    loop {
        let (kind, length) = (stream.read_u8().await?, stream.read_u8().await?);
        let mut rest = vec![0; usize::from(length)];
        stream.read_exact(&mut rest).await?;
        match kind >> 4 {
            1 => stream.write_all(&[0x20, 2, 0, 0]).await?,
            8 => stream.write_all(&[0x90, 3, rest[0], rest[1], 0x80]).await?,
            _ => {}
        }
    }
}
