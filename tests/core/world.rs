//! A small world around the core: it turns when something happens and when the core asked to be woken, carries
//! messages as told, and keeps everything that was found and said.

use std::collections::{BTreeMap, BTreeSet};

use lowtide::turn::{House, recall, turn};
use lowtide::words::{
    Answer, Batch, Became, CatName, Channel, Dose, Event, Household, Message, MessageId, MeterCheck,
    MeterKind, Moment, Outcome, Parcel, Reading, ReadingKind, Reason, Said, SensorEvent, SensorNote,
    Severity, Value, Verdict, Via, Watch, minutes,
};

use crate::household::{cat, name};

/// How a carrier takes what it is given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Mood {
    Delivers,
    Later,
    LaterIn(u32),
    Refuses,
    Hangs,
}

/// A message that a server took.
#[derive(Clone, Debug)]
pub(crate) struct Carried {
    pub(crate) at: Moment,
    pub(crate) channel: Channel,
    pub(crate) message: Message,
}

/// A finding that changed.
#[derive(Clone, Debug)]
pub(crate) struct Found {
    pub(crate) at: Moment,
    pub(crate) watch: Watch,
    pub(crate) became: Became,
    pub(crate) severity: Severity,
    pub(crate) key: String,
}

pub(crate) struct World {
    pub(crate) house: House,
    pub(crate) now: Moment,
    pub(crate) wake: Option<Moment>,
    pub(crate) every_minute: bool,
    pub(crate) moods: BTreeMap<String, Mood>,
    pub(crate) found: Vec<Found>,
    pub(crate) said: Vec<Message>,
    pub(crate) withdrawn: Vec<MessageId>,
    pub(crate) carried: Vec<Carried>,
    pub(crate) tried: Vec<(Moment, Parcel)>,
    pub(crate) journal: Vec<(Moment, Event, Said)>,
    in_hand: BTreeSet<Parcel>,
}

impl World {
    pub(crate) fn new(household: Household, now: Moment) -> Self {
        let mut world = Self {
            house: House::default(),
            now,
            wake: None,
            every_minute: false,
            moods: BTreeMap::new(),
            found: Vec::new(),
            said: Vec::new(),
            withdrawn: Vec::new(),
            carried: Vec::new(),
            tried: Vec::new(),
            journal: Vec::new(),
            in_hand: BTreeSet::new(),
        };
        world.settings(household);
        world
    }

    pub(crate) fn settings(&mut self, household: Household) {
        self.event(Event::Household { program: "test".into(), household: Box::new(household) });
    }

    /// Something happens now.
    pub(crate) fn event(&mut self, event: Event) {
        self.turn(event);
        self.carry();
    }

    fn turn(&mut self, event: Event) {
        let turned = turn(&mut self.house, &event, self.now);
        let event = turned.counts_as.clone().unwrap_or(event);
        assert!(turned.wake.is_none_or(|wake| wake > self.now), "{} wakes at {:?}", self.now, turned.wake);
        self.wake = turned.wake;
        for change in &turned.said.changes {
            self.found.push(Found {
                at: self.now,
                watch: change.finding.watch,
                became: change.became,
                severity: change.finding.severity,
                key: change.finding.telling.key.clone(),
            });
        }
        self.said.extend(turned.said.messages.clone());
        self.withdrawn.extend(turned.said.withdrawn.clone());
        self.journal.push((self.now, event, turned.said));
    }

    /// The house as a start would make it: looks at which nothing was found or said are not in the record.
    pub(crate) fn restarted(&self) -> House {
        let mut house = House::default();
        let kept = |event: &Event, said: &Said| *event != Event::Tick || !said.is_empty();
        for (now, event, said) in self.journal.iter().filter(|(_, event, said)| kept(event, said)) {
            recall(&mut house, event, said, *now);
        }
        house
    }

    /// Carries what is due, as each carrier's mood has it.
    pub(crate) fn carry(&mut self) {
        for round in 0.. {
            assert!(round < 200, "carrying at {} does not come to rest", self.now);
            let due = self.house.due(self.now);
            let Some(parcel) = due.into_iter().find(|parcel| !self.in_hand.contains(parcel)) else { return };
            let message = self.house.ledger.outbox[&parcel.message].message.clone();
            self.tried.push((self.now, parcel.clone()));
            let mood = self.moods.get(&parcel.channel.address).copied().unwrap_or(Mood::Delivers);
            let why = "the server is away".to_owned();
            let outcome = match mood {
                Mood::Delivers => Outcome::Delivered { receipt: None },
                Mood::Later => Outcome::Later { why, retry_after_seconds: None },
                Mood::LaterIn(seconds) => Outcome::Later { why, retry_after_seconds: Some(seconds) },
                Mood::Refuses => Outcome::Refused { why: "wrong address".into() },
                Mood::Hangs => {
                    self.in_hand.insert(parcel);
                    continue;
                }
            };
            if mood == Mood::Delivers {
                self.carried.push(Carried { at: self.now, channel: parcel.channel.clone(), message });
            }
            self.turn(Event::Outcome { parcel, outcome });
        }
    }

    /// Lets time pass: turns whenever the core asked to be woken.
    pub(crate) fn until(&mut self, end: Moment) {
        assert!(end >= self.now, "time does not go back");
        for round in 0.. {
            assert!(round < 100_000, "woken without end at {}", self.now);
            let minute = self.every_minute.then(|| self.now + minutes(1.0));
            let Some(next) = self.wake.into_iter().chain(minute).min().filter(|next| *next <= end) else {
                break;
            };
            self.now = next;
            // A note makes every rule look again; a tick only those that asked for it.
            self.event(if self.every_minute { crate::properties::note(next) } else { Event::Tick });
        }
        self.now = end;
    }

    pub(crate) fn pass(&mut self, count: f64) {
        self.until(self.now + minutes(count));
    }

    pub(crate) fn mood(&mut self, address: &str, mood: Mood) {
        self.moods.insert(address.into(), mood);
    }

    /// Readings that a scan at this moment brings.
    pub(crate) fn scan(&mut self, readings: Vec<Reading>) {
        self.bring(cat(), readings);
    }

    /// The same of any cat.
    pub(crate) fn bring(&mut self, cat: CatName, readings: Vec<Reading>) {
        let newest = readings.last().map(|reading| reading.measured_at);
        self.event(Event::Readings(Batch {
            cat,
            via: Via::Folder,
            source: "scan.csv".into(),
            sensor: None,
            scanned_at: Some(self.now),
            readings: alive(readings),
            repeated: 0,
            conflicts: Vec::new(),
            newest,
        }));
    }

    /// A scan that brings the stored samples of the last `count` minutes.
    pub(crate) fn scan_back(&mut self, count: f64, level: impl Fn(f64) -> f64) {
        let readings = samples(self.now - minutes(count), self.now, 15.0, |t| {
            Value::Level(level(t.minutes_since(self.now)))
        });
        self.scan(readings);
    }

    /// A single reading that is streamed now.
    pub(crate) fn stream(&mut self, value: Value) {
        let reading = Reading { measured_at: self.now, value, kind: ReadingKind::History };
        self.deliver(self.now, alive(vec![reading])[0].value);
    }

    /// One message with one reading, exactly as it is.
    pub(crate) fn deliver(&mut self, measured_at: Moment, value: Value) {
        self.event(Event::Readings(Batch {
            cat: cat(),
            via: Via::Mqtt,
            source: "lowtide/in/pepper/reading".into(),
            sensor: None,
            scanned_at: None,
            readings: vec![Reading { measured_at, value, kind: ReadingKind::History }],
            repeated: 0,
            conflicts: Vec::new(),
            newest: Some(measured_at),
        }));
    }

    /// Streams a reading each 15 minutes, the first one now.
    pub(crate) fn stream_levels(&mut self, levels: &[f64]) {
        for level in levels {
            self.stream(Value::Level(*level));
            self.pass(15.0);
        }
    }

    pub(crate) fn dose(&mut self, given_at: Moment, by: &str) {
        self.event(Event::Dose(Dose {
            cat: cat(),
            given_at,
            units: Some(1.0),
            by: Some(by.into()),
            not_given: false,
        }));
    }

    pub(crate) fn meter(&mut self, mg_dl: f64) {
        let glucose = Value::Level(mg_dl);
        let measured_at = self.now;
        self.event(Event::Meter(MeterCheck { cat: cat(), measured_at, glucose, meter: MeterKind::Pet }));
    }

    pub(crate) fn sensor(&mut self, event: SensorEvent) {
        self.event(Event::Sensor(SensorNote { cat: cat(), at: self.now, event }));
    }

    /// Somebody answers everything they were told.
    pub(crate) fn answer(&mut self, who: &str, verdict: Verdict) {
        self.event(Event::Answer(Answer {
            finding: None,
            person: name(who),
            via: Via::Button,
            verdict,
            at: None,
        }));
    }

    /// Whether a watch holds something now.
    pub(crate) fn holds(&self, watch: Watch) -> bool {
        self.house.open().iter().any(|finding| finding.watch == watch)
    }

    /// The catalogue key and severity of what a watch holds.
    pub(crate) fn held(&self, watch: Watch) -> Option<(String, Severity)> {
        let open = self.house.open();
        let finding = open.iter().find(|finding| finding.watch == watch)?;
        Some((finding.telling.key.clone(), finding.severity))
    }

    /// How often a watch opened, changed or cleared.
    pub(crate) fn count(&self, watch: Watch, became: Became) -> usize {
        self.found.iter().filter(|found| found.watch == watch && found.became == became).count()
    }

    /// What has arrived at a person.
    pub(crate) fn heard(&self, who: &str) -> Vec<&Carried> {
        self.carried.iter().filter(|carried| carried.message.person == name(who)).collect()
    }

    /// When and why a person heard something.
    pub(crate) fn reasons(&self, who: &str) -> Vec<(Moment, Reason)> {
        self.heard(who).iter().map(|carried| (carried.at, carried.message.reason)).collect()
    }

    pub(crate) fn last(&self, who: &str) -> &Message {
        let heard = self.heard(who);
        &heard.last().unwrap_or_else(|| panic!("{who} has heard nothing")).message
    }

    /// Forgets what was found and said so far, to look at what comes next.
    pub(crate) fn forget(&mut self) {
        self.found.clear();
        self.said.clear();
        self.withdrawn.clear();
        self.carried.clear();
        self.tried.clear();
    }

    /// Everything found and said, to read when a test fails.
    #[allow(dead_code)]
    pub(crate) fn story(&self) -> String {
        let mut lines: Vec<(Moment, String)> = Vec::new();
        for found in &self.found {
            let what =
                format!("{} {} {} {}", found.watch, found.became.word(), found.severity.word(), found.key);
            lines.push((found.at, what));
        }
        for carried in &self.carried {
            let message = &carried.message;
            let to = &carried.channel.address;
            lines.push((
                carried.at,
                format!("  -> {to} {:?} [{}] {}", message.reason, message.title, message.text),
            ));
        }
        lines.sort_by_key(|(at, _)| *at);
        lines.iter().map(|(at, line)| format!("{at} {line}\n")).collect()
    }
}

/// Stored samples from `from` (not included) to `until`, on a beat of `every` minutes that ends at `until`.
pub(crate) fn samples(
    from: Moment,
    until: Moment,
    every: f64,
    value: impl Fn(Moment) -> Value,
) -> Vec<Reading> {
    let count = (until.minutes_since(from) / every).ceil() as i64;
    (0..count)
        .rev()
        .map(|n| until - minutes(n as f64 * every))
        .filter(|at| *at > from)
        .map(|at| Reading { measured_at: at, value: value(at), kind: ReadingKind::History })
        .collect()
}

/// A living sensor never gives the very same value hour after hour: a quarter of a mg/dL up and down, less than any
/// screen shows, keeps a flat line from looking stuck.
fn alive(readings: Vec<Reading>) -> Vec<Reading> {
    let nudge = |at: Moment| if (at.millis() / 900_000) % 2 == 0 { 0.0 } else { 0.25 };
    let living =
        |value: Value, at: Moment| value.level().map_or(value, |level| Value::Level(level + nudge(at)));
    readings.into_iter().map(|r| Reading { value: living(r.value, r.measured_at), ..r }).collect()
}
