//! A day without the broker, a day long by a clock that the test puts forward. What was published meanwhile comes in
//! when it is back, and whoever is told is told once that it is away and once that it is back.

use std::cell::Cell;
use std::net::TcpListener;
use std::sync::atomic::Ordering;
use std::time::Duration;

use lowtide::clock::Clock;
use lowtide::intake::mqtt::Timing;
use lowtide::words::minutes;

use crate::broker::{listening, mqtt, publish};
use crate::running::{Running, Wrong};
use crate::stands::house::{House, ntfy};
use crate::stands::mosquitto::{Mosquitto, Options as Broker};
use crate::stands::ntfy::{Ntfy, Options};

const PERSON: &str = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";

/// The door's own waits go by the machine's time: a day of them in half a minute.
fn quick() -> Timing {
    Timing {
        trouble_after: Duration::from_millis(50),
        steady_after: Duration::from_millis(300),
        first_wait: Duration::from_millis(1),
        offer_again: Duration::from_millis(300),
        keep_alive: Duration::from_secs(5),
        ..Timing::default()
    }
}

/// In the broker's place: somebody who opens and closes again. Counts who knocks.
struct Closed(TcpListener, Cell<u32>);

impl Closed {
    fn instead_of(broker: &Mosquitto) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", broker.port)).unwrap();
        listener.set_nonblocking(true).unwrap();
        Self(listener, Cell::new(0))
    }

    fn knocks(&self) -> u32 {
        while self.0.accept().is_ok() {
            self.1.set(self.1.get() + 1);
        }
        self.1.get()
    }
}

/// What the owner has been told about the broker.
fn told(server: &Ntfy) -> Vec<String> {
    let stored = server.stored();
    let about = stored.iter().filter(|push| push.to_string().contains("MQTT"));
    about.map(|push| push["title"].as_str().unwrap().to_owned()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_without_the_broker_is_told_once_and_ends_in_one_message() {
    let server = Ntfy::start(Options { bucket: 1000, ..Options::default() }).await;
    let mut broker = Mosquitto::start(&Broker::default());
    let house = House::new(&format!("{}{}{PERSON}", mqtt(&broker), ntfy(&server.url)));
    let clock = Wrong::by(0);
    let daemon = Running::start_with(&house, &clock, |config| config.mqtt.as_mut().unwrap().timing = quick());
    let reading =
        |level: u32| format!("{{\"measured_at\":\"{}\",\"glucose\":{level}}}", clock.now() - minutes(1.0));
    listening(&house, &broker).await;
    publish(&broker, "lowtide/in/pepper/reading", &reading(140));
    house.until("the first reading", || house.measured().len() == 1).await;
    // What the door is told while it is away waits here, as on a bridge that publishes at least once.
    let mut meanwhile = Vec::new();
    broker.stop();
    let closed = Closed::instead_of(&broker);
    house.until("it is told", || closed.knocks() > 0 && !told(&server).is_empty()).await;
    for hour in 0..24 {
        let before = closed.knocks();
        house.until("it tries again", || closed.knocks() > before + 1).await;
        clock.ahead_minutes.fetch_add(60, Ordering::SeqCst);
        meanwhile.push(reading(140 + hour));
        // Something happens each hour, so that the daemon looks at its clock.
        house.said(&["log", "note", &format!("hour {hour}")]);
    }
    let away = told(&server);
    assert!(away.len() <= 2, "a flood, a warning is repeated once at the most: {away:?}");
    drop(closed);
    broker.begin();
    for payload in &meanwhile {
        publish(&broker, "lowtide/in/pepper/reading", payload);
    }
    house.until("all of it is there", || house.measured().len() == 25).await;
    house.until("it is told that it is back", || told(&server).len() > away.len()).await;
    for minute in 0..10 {
        clock.ahead_minutes.fetch_add(1, Ordering::SeqCst);
        house.said(&["log", "note", &format!("minute {minute}")]);
    }
    let after = told(&server);
    assert_eq!(after.len(), away.len() + 1, "{after:?}");
    let all = server.stored();
    assert!(
        all.len() <= 8,
        "a flood: {:?}",
        all.iter().map(|push| push["title"].clone()).collect::<Vec<_>>()
    );
    daemon.end().await;
}
