//! The keeper in rounds, while the record cannot be written and after.

use std::fs;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};

use super::*;
use crate::clock::Clock;
use crate::turn::recall;
use crate::words::{Batch, CatName, Reading, ReadingKind, Value, Via, minutes};

/// A clock that the test sets.
#[derive(Clone)]
struct Set(Arc<Mutex<(Moment, Duration)>>);

impl Set {
    /// Time passes, and the wall clock is set by so many minutes on top.
    fn pass(&self, seconds: u64, set: f64) {
        let mut held = self.0.lock().unwrap();
        *held = (held.0 + minutes(seconds as f64 / 60.0 + set), held.1 + Duration::from_secs(seconds));
    }
}

impl Clock for Set {
    fn now(&self) -> Moment {
        self.0.lock().unwrap().0
    }

    fn steady(&self) -> Duration {
        self.0.lock().unwrap().1
    }
}

struct Home {
    folder: tempfile::TempDir,
    clock: Set,
}

impl Home {
    fn new() -> Self {
        let noon = Moment::parse("2026-06-10T10:00:00Z").unwrap();
        let clock = Set(Arc::new(Mutex::new((noon, Duration::ZERO))));
        Self { folder: tempfile::tempdir().unwrap(), clock }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn household(&self, cats: &[&str]) -> Household {
        let cats: String = cats
            .iter()
            .map(|cat| format!("[[cat]]\nname = \"{cat}\"\n[cat.plan]\nlow = 70\ndanger = 50\n[cat.sensor]\nkind = \"streamed\"\n"))
            .collect();
        let text = format!(
            "[home]\ntimezone = \"Europe/Vienna\"\n{cats}[[person]]\nname = \"owner\"\nntfy = \"a-topic-7f3kx9q2w8\"\n\
             [notify.ntfy]\nserver = \"http://127.0.0.1:9\"\n"
        );
        fs::write(self.path("lowtide.toml"), text).unwrap();
        crate::config::load(&self.path("lowtide.toml")).unwrap().household
    }

    fn opened(&self) -> Opened<House> {
        let recall = |house: &mut House, entry: &crate::record::Entry| {
            recall(house, &entry.event, &entry.said, entry.at);
        };
        Record::open(&self.path("data"), House::default, recall).unwrap()
    }

    fn keeper(&self, opened: Opened<House>, cats: &[&str]) -> Keeper {
        let believed = Arc::new(std::sync::atomic::AtomicBool::new(true));
        let present = Present::new(Arc::new(self.clock.clone()), believed);
        let lines = Lines {
            inbox: mpsc::channel(1).1,
            outcomes: mpsc::channel(1).1,
            looks: mpsc::channel(1).1,
            jobs: mpsc::channel(1).0,
            board: None,
            pulse: Pulse::default(),
        };
        Keeper::new(opened, self.household(cats), present, lines)
    }

    /// From now on nothing can be written, or everything again: the journal's folder is gone, or back.
    fn writes(&self, can: bool) {
        let (here, away) = (self.path("data/journal"), self.path("away"));
        let (from, to) = if can { (away, here) } else { (here, away) };
        fs::rename(from, to).unwrap();
    }

    /// A reading of now.
    fn reading(&self, cat: &str, level: f64) -> Inbound {
        let measured_at = self.clock.now();
        let reading = Reading { measured_at, value: Value::Level(level), kind: ReadingKind::History };
        let batch = Batch {
            cat: CatName::new(cat).unwrap(),
            via: Via::Mqtt,
            source: "bridge".into(),
            sensor: None,
            scanned_at: None,
            readings: vec![reading],
            repeated: 0,
            conflicts: Vec::new(),
            newest: None,
        };
        Inbound::new(Event::Readings(batch), None)
    }
}

fn newest(house: &House, cat: &str) -> Option<Moment> {
    house.cats[&CatName::new(cat).unwrap()].newest.map(|newest| newest.measured_at)
}

#[test]
fn settings_that_could_not_be_written_come_into_the_record_before_what_goes_by_them() {
    let home = Home::new();
    drop(home.keeper(home.opened(), &["pepper"]));
    let opened = home.opened();
    home.writes(false);
    let mut keeper = home.keeper(opened, &["pepper", "mint"]);
    assert!(keeper.record_fails);
    home.clock.pass(60, 0.0);
    home.writes(true);
    keeper.round(vec![home.reading("mint", 120.0)]);
    let (held, at) = (newest(&keeper.house, "mint"), home.clock.now());
    assert!(!keeper.record_fails && held == Some(at), "{held:?}");
    drop(keeper);
    assert_eq!(newest(&home.opened().state, "mint"), held, "a start knows what was known");
}

#[test]
fn a_clock_that_is_set_back_while_nothing_can_be_written_is_followed_and_known_after_a_start() {
    let home = Home::new();
    home.clock.pass(0, 180.0);
    let mut keeper = home.keeper(home.opened(), &["pepper"]);
    keeper.round(vec![home.reading("pepper", 120.0)]);
    drop(keeper);
    // Begun anew: a file that is open already would still take something.
    let opened = home.opened();
    home.writes(false);
    let mut keeper = home.keeper(opened, &["pepper"]);
    home.clock.pass(0, -180.0);
    keeper.round(Vec::new());
    home.clock.pass(21, 0.0);
    for _ in 0..3 {
        keeper.round(vec![home.reading("pepper", 118.0)]);
        assert!(keeper.record_fails);
        assert_eq!(keeper.house.now, home.clock.now(), "the house goes by the clock");
        assert_eq!(newest(&keeper.house, "pepper"), Some(home.clock.now()));
        home.clock.pass(60, 0.0);
    }
    home.writes(true);
    keeper.round(vec![home.reading("pepper", 117.0)]);
    assert!(!keeper.record_fails);
    let now = keeper.house.now;
    drop(keeper);
    assert_eq!(home.opened().state.now, now, "a start goes by it too");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_became_of_a_message_does_not_wait_for_those_who_look() {
    let home = Home::new();
    let mut keeper = home.keeper(home.opened(), &["pepper"]);
    keeper.round(vec![home.reading("pepper", 40.0)]);
    let parcel = keeper.house.due(home.clock.now()).remove(0);
    let (outcomes, inbox) = mpsc::channel(1);
    let (looks, look_inbox) = mpsc::channel(1);
    let (back, seen) = tokio::sync::oneshot::channel();
    outcomes.send((parcel.clone(), crate::words::Outcome::Delivered { receipt: None })).await.unwrap();
    looks.send(Look(back)).await.unwrap();
    (keeper.lines.outcomes, keeper.lines.looks) = (inbox, look_inbox);
    let (end, ended) = watch::channel(false);
    let kept = tokio::spawn(keeper.keep(ended));
    let house = seen.await.unwrap().house;
    assert!(!house.due(house.now).contains(&parcel), "{parcel:?}");
    end.send(true).unwrap();
    kept.await.unwrap();
}
