//! The one task that owns the house and the record. Everything that happens comes through here, in rounds: take in
//! what has come, turn, commit, and only then acknowledge and send.

use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};

use super::heartbeat::Pulse;
use crate::clock::Clock;
use crate::intake::mqtt::Publisher;
use crate::intake::{Inbound, Kept};
use crate::notify::sender::Job;
use crate::record::{Opened, Record, RecordError};
use crate::report::{HouseStatus, house_status};
use crate::turn::{House, Turned, turn};
use crate::words::{
    Arg, CatName, Change, Channel, Event, Health, Household, MessageId, Moment, Outcome, Parcel, Telling,
    Watch, minutes,
};

/// Somebody wants to see the present.
#[derive(Debug)]
pub struct Question {
    /// Where the answer goes.
    pub back: oneshot::Sender<Answered>,
}

/// The present, if there is one to show.
#[derive(Debug)]
pub struct Answered(pub Option<Box<HouseStatus>>);

/// The keeper's ends of all channels.
pub(super) struct Lines {
    pub(super) inbox: mpsc::Receiver<Inbound>,
    pub(super) outcomes: mpsc::Receiver<(Parcel, Outcome)>,
    pub(super) questions: mpsc::Receiver<Question>,
    pub(super) jobs: mpsc::Sender<Job>,
    pub(super) publisher: Option<Publisher>,
    pub(super) pulse: Pulse,
}

/// Owner of the house and the record.
pub(super) struct Keeper {
    house: House,
    record: Record,
    clock: Arc<dyn Clock>,
    lines: Lines,
    wake: Option<Moment>,
    in_hand: BTreeSet<(MessageId, Channel)>,
    record_fails: bool,
    clock_wrong: bool,
}

/// What a round took in: an event, and who waits to hear that it is kept.
type Taken = (Event, Option<oneshot::Sender<Kept>>);

impl Keeper {
    /// Takes the opened record over, tells of damage, and brings new settings into force.
    pub(super) fn new(
        opened: Opened<House>,
        household: Household,
        clock: Arc<dyn Clock>,
        lines: Lines,
    ) -> Self {
        let mut keeper = Self {
            house: opened.state,
            record: opened.record,
            clock,
            lines,
            wake: None,
            in_hand: BTreeSet::new(),
            record_fails: false,
            clock_wrong: false,
        };
        // What was open when the last run ended is over as soon as it no longer holds.
        let held =
            |house: &House, watch, about: &str| house.health.open.contains_key(&(watch, about.to_owned()));
        keeper.clock_wrong = held(&keeper.house, Watch::ClockWrong, CLOCK);
        keeper.record_fails = held(&keeper.house, Watch::DatabaseError, RECORD);
        let mut first = Vec::new();
        if keeper.house.household.as_deref() != Some(&household) {
            let program = env!("CARGO_PKG_VERSION").to_owned();
            first.push((Event::Household { program, household: Box::new(household) }, None));
        }
        for damage in &opened.damage {
            first.push((record_trouble(DAMAGE, Some(damage.to_string())), None));
        }
        first.push((Event::Tick, None));
        keeper.round(first);
        keeper
    }

    /// Keeps house until `stop` turns true.
    pub(super) async fn keep(mut self, mut stop: watch::Receiver<bool>) {
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Ready]);
        loop {
            let mut batch: Vec<Taken> = Vec::new();
            let sleep = self.until_wake();
            tokio::select! {
                biased;
                stopped = stop.wait_for(|stop| *stop) => {
                    drop(stopped);
                    break;
                }
                Some(question) = self.lines.questions.recv() => self.answer(question),
                Some((parcel, outcome)) = self.lines.outcomes.recv() => {
                    self.in_hand.remove(&(parcel.message.clone(), parcel.channel.clone()));
                    batch.push((Event::Outcome { parcel, outcome }, None));
                }
                Some(inbound) = self.lines.inbox.recv() => batch.push((inbound.event, inbound.done)),
                () = tokio::time::sleep(sleep) => {}
            }
            while batch.len() < ROUND_MAX {
                let Ok(inbound) = self.lines.inbox.try_recv() else { break };
                batch.push((inbound.event, inbound.done));
            }
            tokio::task::block_in_place(|| self.round(batch));
            self.lines.pulse.fetch_add(1, Ordering::Relaxed);
            // Tied to the core's progress: a keeper that hangs is restarted by systemd.
            let _ = sd_notify::notify(&[sd_notify::NotifyState::Watchdog]);
        }
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Stopping]);
        if let Err(error) = self.record.checkpoint(&self.house) {
            tracing::error!("{error}");
        }
    }

    fn answer(&self, question: Question) {
        let status = house_status(&self.house, self.now());
        let _ = question.back.send(Answered(status.map(Box::new)));
    }

    /// The house's present: the clock, but never earlier than what has been.
    fn now(&self) -> Moment {
        self.clock.now().max(self.house.now)
    }

    fn until_wake(&self) -> Duration {
        // A clock that is set while we sleep must not make us oversleep.
        let longest = SLEEP_MAX;
        let Some(wake) = self.wake else { return longest };
        let millis = (wake - self.now()).num_milliseconds().max(0).unsigned_abs();
        Duration::from_millis(millis).min(longest)
    }

    /// One round: turn over everything taken, commit, acknowledge, send.
    fn round(&mut self, batch: Vec<Taken>) {
        let before = self.house.clone();
        let mut waiting = Vec::new();
        let mut changes = Vec::new();
        let mut unsaved = Vec::new();
        for (event, done) in batch.into_iter().chain(self.own_events()) {
            waiting.extend(done);
            let Some(event) = self.record.sift(event) else { continue };
            unsaved.push(event.clone());
            changes.extend(self.take(event));
        }
        match self.record.sync() {
            Ok(()) => {
                for done in waiting {
                    let _ = done.send(Kept::Synced);
                }
                if std::mem::take(&mut self.record_fails) {
                    changes.extend(self.take(record_trouble(RECORD, None)));
                }
            }
            Err(error) => self.take_back(before, unsaved, waiting, &error),
        }
        self.send_due();
        self.publish(&changes);
        if self.record.checkpoint_due(self.house.now)
            && let Err(error) = self.record.checkpoint(&self.house)
        {
            tracing::warn!("{error}");
        }
        for damage in self.record.take_damage() {
            tracing::warn!("{damage}");
        }
    }

    /// What the keeper itself has to say: the clock, and that it is time to look again.
    fn own_events(&mut self) -> Vec<Taken> {
        let mut events = Vec::new();
        let clock = self.clock.now();
        let behind = self.house.now - clock;
        let wrong = behind > minutes(if self.clock_wrong { 0.5 } else { CLOCK_BEHIND_MINUTES_MAX });
        if wrong != self.clock_wrong {
            self.clock_wrong = wrong;
            let trouble = wrong.then(|| {
                Telling::new("clock-wrong")
                    .with("time", Arg::Time(clock))
                    .with("last", Arg::Time(self.house.now))
            });
            let health = Health { watch: Watch::ClockWrong, about: CLOCK.to_owned(), trouble };
            events.push((Event::Health(health), None));
        }
        if self.wake.is_some_and(|wake| wake <= self.now()) {
            events.push((Event::Tick, None));
        }
        events
    }

    /// One turn, entered in the record. A fault in the turn costs that event and nothing else.
    fn take(&mut self, event: Event) -> Vec<Change> {
        let now = self.now();
        let before = self.house.clone();
        let turned = catch_unwind(AssertUnwindSafe(|| turn(&mut self.house, &event, now)));
        let Ok(Turned { said, wake }) = turned else {
            self.house = before;
            return self.set_aside(&event, now);
        };
        self.wake = wake;
        let changes = said.changes.clone();
        // A look at which nothing was found or said follows from the clock alone: not worth the card's wear.
        if event != Event::Tick || !said.is_empty() {
            self.record.append(now, event, said);
        }
        changes
    }

    /// The turn met a fault of ours: keep the event beside the journal, tell the owner, go on.
    fn set_aside(&mut self, event: &Event, now: Moment) -> Vec<Change> {
        let name = format!("set-aside-{}.json", now.millis());
        let path = self.record.folder().join(&name);
        if let Ok(text) = serde_json::to_string(event) {
            let _ = std::fs::write(&path, text);
        }
        tracing::error!(file = %path.display(), "a fault in the program: the event was set aside");
        let telling = Telling::new("fault").with("file", Arg::Text(name.clone()));
        let health =
            Health { watch: Watch::DatabaseError, about: "program".to_owned(), trouble: Some(telling) };
        let event = Event::Health(health);
        let before = self.house.clone();
        let turned = catch_unwind(AssertUnwindSafe(|| turn(&mut self.house, &event, now)));
        let Ok(Turned { said, wake }) = turned else {
            self.house = before;
            return Vec::new();
        };
        self.wake = wake;
        let changes = said.changes.clone();
        self.record.append(now, event, said);
        changes
    }

    /// The record could not be written: nothing of this round counts as kept. What the carriers reported is
    /// believed all the same, or the same messages would go out again and again; and the trouble is told, though
    /// it cannot be written down.
    fn take_back(
        &mut self,
        before: House,
        unsaved: Vec<Event>,
        waiting: Vec<oneshot::Sender<Kept>>,
        error: &RecordError,
    ) {
        tracing::error!("{error}");
        self.house = before;
        for done in waiting {
            let _ = done.send(Kept::Failed(error.to_string()));
        }
        let now = self.now();
        let outcomes =
            unsaved.into_iter().filter(|event| matches!(event, Event::Outcome { .. } | Event::Tick));
        for event in outcomes.chain([record_trouble(RECORD, Some(error.to_string()))]) {
            let Turned { wake, .. } = turn(&mut self.house, &event, now);
            self.wake = wake;
        }
        self.record_fails = true;
    }

    fn send_due(&mut self) {
        let now = self.now();
        for parcel in self.house.due(now) {
            let key = (parcel.message.clone(), parcel.channel.clone());
            if self.in_hand.contains(&key) {
                continue;
            }
            let Some(pending) = self.house.ledger.outbox.get(&parcel.message) else { continue };
            let job = Job { parcel, message: pending.message.clone() };
            // A full queue is no loss: what is due stays due.
            if self.lines.jobs.try_send(job).is_ok() {
                self.in_hand.insert(key);
            }
        }
    }

    fn publish(&self, changes: &[Change]) {
        let Some(publisher) = &self.lines.publisher else { return };
        let (Some(status), Some(household)) = (house_status(&self.house, self.now()), &self.house.household)
        else {
            return;
        };
        for change in changes {
            let Some(cat) = &change.finding.cat else { continue };
            if let Ok(json) =
                serde_json::to_string(&crate::report::change_json(change, household, self.house.now))
            {
                publisher.finding(cat, json);
            }
        }
        for cat in status.cats {
            let name: CatName = cat.cat.clone();
            if let Ok(json) = serde_json::to_string(&cat) {
                publisher.state(&name, json);
            }
        }
    }
}

fn record_trouble(about: &str, why: Option<String>) -> Event {
    let trouble = why.map(|why| Telling::new("database-error").with("reason", Arg::Text(why)));
    Event::Health(Health { watch: Watch::DatabaseError, about: about.to_owned(), trouble })
}

/// Subjects of the keeper's own troubles.
const CLOCK: &str = "computer";
const RECORD: &str = "record";
const DAMAGE: &str = "damage";
const ROUND_MAX: usize = 64;
const SLEEP_MAX: Duration = Duration::from_secs(20);
/// Clocks that are set by the network move by seconds; this much is a fault.
const CLOCK_BEHIND_MINUTES_MAX: f64 = 5.0;
