//! The one task that owns the house and the record. Everything that happens comes through here, in rounds: take in
//! what has come, turn, commit, and only then acknowledge and send.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};

use super::board::Board;
use super::heartbeat::Pulse;
use super::present::Present;
use super::unwritten::Unwritten;
use crate::intake::{Inbound, Kept};
use crate::notify::sender::Job;
use crate::page::{Look, Seen};
use crate::record::{Opened, Record, RecordError};
use crate::round::{Entered, Hands, SLEEP_MAX, enter};
use crate::turn::{House, Turned, turn};
use crate::words::{Arg, Change, Event, Health, Household, Moment, Outcome, Parcel, Said, Telling, Watch};

/// The keeper's ends of all channels.
pub(super) struct Lines {
    pub(super) inbox: mpsc::Receiver<Inbound>,
    pub(super) outcomes: mpsc::Receiver<(Parcel, Outcome)>,
    pub(super) looks: mpsc::Receiver<Look>,
    pub(super) jobs: mpsc::Sender<Job>,
    pub(super) board: Option<Board>,
    pub(super) pulse: Pulse,
}

/// Owner of the house and the record.
pub(super) struct Keeper {
    house: House,
    record: Record,
    present: Present,
    lines: Lines,
    round: Round,
    wake: Option<Moment>,
    hands: Hands,
    record_fails: bool,
    unwritten: Unwritten,
}

/// The house before a round, and what the round has taken in since: enough to go back.
#[derive(Default)]
struct Round {
    before: House,
    taken: Vec<(Event, Moment)>,
}

impl Keeper {
    /// Takes the opened record over, tells of damage, and brings new settings into force.
    pub(super) fn new(opened: Opened<House>, household: Household, present: Present, lines: Lines) -> Self {
        let mut keeper = Self {
            house: opened.state,
            record: opened.record,
            present,
            lines,
            round: Round::default(),
            wake: None,
            hands: Hands::default(),
            record_fails: false,
            unwritten: Unwritten::default(),
        };
        // What was open when the last run ended is over as soon as it no longer holds.
        keeper.record_fails =
            keeper.house.health.open.contains_key(&(Watch::DatabaseError, RECORD.to_owned()));
        let mut first = Vec::new();
        if keeper.house.household.as_deref() != Some(&household) {
            let program = env!("CARGO_PKG_VERSION").to_owned();
            first.push(Inbound::new(Event::Household { program, household: Box::new(household) }, None));
        }
        // All of it stands in the log; a card that is worn through must not become a journal full of complaints.
        for damage in opened.damage.iter().take(DAMAGE_TOLD) {
            first.push(Inbound::new(record_trouble(DAMAGE, Some(damage.to_string())), None));
        }
        first.push(Inbound::new(Event::Tick, None));
        keeper.round(first);
        keeper
    }

    /// Keeps house until `stop` turns true.
    pub(super) async fn keep(mut self, mut stop: watch::Receiver<bool>) {
        let _ =
            sd_notify::notify(&[sd_notify::NotifyState::Ready, sd_notify::NotifyState::Status("watching")]);
        loop {
            let mut batch: Vec<Inbound> = Vec::new();
            let sleep = self.until_wake();
            tokio::select! {
                biased;
                stopped = stop.wait_for(|stop| *stop) => {
                    drop(stopped);
                    break;
                }
                // Before those who only look: however many there are, what became of a message is not to wait.
                Some((parcel, outcome)) = self.lines.outcomes.recv() => {
                    self.hands.back(&parcel);
                    batch.push(Inbound::new(Event::Outcome { parcel, outcome }, None));
                }
                Some(look) = self.lines.looks.recv() => self.show(look),
                Some(inbound) = self.lines.inbox.recv() => batch.push(inbound),
                () = tokio::time::sleep(sleep) => {}
            }
            while batch.len() < ROUND_MAX {
                let Ok(inbound) = self.lines.inbox.try_recv() else { break };
                batch.push(inbound);
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

    fn show(&mut self, look: Look) {
        let seen = Seen { now: self.now(), house: Box::new(self.house.clone()) };
        // Whoever asked may have gone.
        let _ = look.0.send(seen);
    }

    fn now(&mut self) -> Moment {
        self.present.now(self.house.now)
    }

    fn until_wake(&mut self) -> Duration {
        let Some(wake) = self.wake else { return SLEEP_MAX };
        let millis = (wake - self.now()).num_milliseconds().max(0).unsigned_abs();
        Duration::from_millis(millis).min(SLEEP_MAX)
    }

    /// One round: turn over everything taken, commit, acknowledge, send.
    fn round(&mut self, batch: Vec<Inbound>) {
        self.round = Round { before: self.house.clone(), taken: Vec::new() };
        let (mut waiting, mut changes) = (Vec::new(), Vec::new());
        let seq = self.record.last_seq();
        let now = self.now();
        let tick = self.wake.is_some_and(|wake| wake <= now).then(|| Inbound::new(Event::Tick, None));
        // The clock first: everything else is to be taken in by the right time.
        let events: Vec<Inbound> = self.clock_events().into_iter().chain(batch).chain(tick).collect();
        if self.record_fails && !events.is_empty() {
            self.enter_owed();
        }
        for Inbound { event, done, by_hand } in events {
            let new = if by_hand { self.record.sift_by_hand(event) } else { self.record.sift(event) };
            let kept = if by_hand && new.is_none() { Kept::Known } else { Kept::Synced };
            waiting.extend(done.map(|done| (done, kept)));
            let Some(event) = new else { continue };
            changes.extend(self.take(event));
        }
        if self.record_fails && self.record.is_waiting() {
            // That nothing had to be written would show nothing.
            changes.extend(self.take(record_trouble(RECORD, None)));
        }
        match self.record.sync() {
            Ok(()) => {
                for (done, kept) in waiting {
                    let _ = done.send(kept);
                }
                if self.record.last_seq() > seq {
                    self.record_fails = false;
                    self.unwritten.clear();
                }
            }
            Err(error) => self.take_back(waiting, &error),
        }
        self.send_due();
        let at = (self.now(), self.present.steady());
        if let Some(board) = &mut self.lines.board {
            board.show(&self.house, &changes, &self.round.taken, at);
        }
        if self.record.checkpoint_due(self.house.now)
            && let Err(error) = self.record.checkpoint(&self.house)
        {
            tracing::warn!("{error}");
        }
        for damage in self.record.take_damage() {
            tracing::warn!("{damage}");
        }
    }

    /// What the keeper itself has to say of the clock.
    fn clock_events(&mut self) -> Vec<Inbound> {
        let events = self.present.clock_events(&self.house);
        for event in &events {
            if let Event::ClockSet(step) = event {
                tracing::warn!("the clock was ahead: going back from {} to {}", step.from, step.to);
            }
        }
        events.into_iter().map(|event| Inbound::new(event, None)).collect()
    }

    /// One turn, entered in the record. A fault in the turn costs that event and nothing else.
    fn take(&mut self, event: Event) -> Vec<Change> {
        let now = self.present.of(&event, self.house.now);
        let entered = catch_unwind(AssertUnwindSafe(|| enter(&mut self.house, event.clone(), now)));
        let Ok(Entered { event: kept_as, at, said, wake, kept }) = entered else {
            self.as_before_the_fault();
            return self.set_aside(&event, now);
        };
        self.wake = wake;
        self.round.taken.push((event, at));
        let changes = said.changes.clone();
        if kept {
            self.record.append(at, kept_as, said);
        }
        changes
    }

    /// Makes the house of before a fault again, from before the round and what went well since: the same events make
    /// the same house, and no event has to pay for a copy that is hardly ever used.
    fn as_before_the_fault(&mut self) {
        self.house = self.round.before.clone();
        for (event, now) in &self.round.taken {
            turn(&mut self.house, event, *now);
        }
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
        let turned = catch_unwind(AssertUnwindSafe(|| turn(&mut self.house, &event, now)));
        let Ok(Turned { said, wake, .. }) = turned else {
            self.as_before_the_fault();
            return Vec::new();
        };
        self.wake = wake;
        self.round.taken.push((event.clone(), now));
        let changes = said.changes.clone();
        self.record.append(now, event, said);
        changes
    }

    /// Enters what counts in memory only and nobody brings again, before anything that goes by it: readings of a cat
    /// that came with new settings say nothing to a record that does not have these. The house has turned by it already.
    fn enter_owed(&mut self) {
        for event in self.unwritten.owed() {
            self.record.append(self.house.now, event, Said::default());
        }
    }

    /// The record could not be written: nothing of this round counts as kept. Lows are watched all the same, by what of
    /// it counts in memory; the same goes for what the carriers reported, or the same messages would go out again and
    /// again. And the trouble is told, though it cannot be written down.
    fn take_back(&mut self, waiting: Vec<(oneshot::Sender<Kept>, Kept)>, error: &RecordError) {
        tracing::error!("{error}");
        let Round { before, taken } = std::mem::take(&mut self.round);
        self.house = before;
        for (done, _) in waiting {
            let _ = done.send(Kept::Failed(error.to_string()));
        }
        let trouble = record_trouble(RECORD, Some(error.to_string()));
        for event in
            taken.into_iter().map(|(event, _)| event).filter(|event| !is_over(event)).chain([trouble])
        {
            let Some(event) = self.unwritten.counts(&self.house, event) else { continue };
            let now = self.present.of(&event, self.house.now);
            let Turned { wake, .. } = turn(&mut self.house, &event, now);
            self.wake = wake;
        }
        self.record_fails = true;
    }

    /// Hands out what is due, the worst first: to each address one at a time.
    fn send_due(&mut self) {
        let now = self.now();
        for parcel in self.house.due(now) {
            if !self.hands.are_free(&parcel.channel) {
                continue;
            }
            let Some(pending) = self.house.ledger.outbox.get(&parcel.message) else { continue };
            let job = Job { parcel: parcel.clone(), message: pending.message.clone() };
            // A full queue is no loss: what is due stays due.
            if self.lines.jobs.try_send(job).is_ok() {
                self.hands.take(&parcel);
            }
        }
    }
}

/// Whether it says that the trouble with the record is over.
fn is_over(event: &Event) -> bool {
    *event == record_trouble(RECORD, None)
}

fn record_trouble(about: &str, why: Option<String>) -> Event {
    let key = if about == RECORD { "record-fails" } else { "database-error" };
    let trouble = why.map(|why| Telling::new(key).with("reason", Arg::Text(why)));
    Event::Health(Health { watch: Watch::DatabaseError, about: about.to_owned(), trouble })
}

/// Subjects of the keeper's own troubles.
const RECORD: &str = "record";
const DAMAGE: &str = "damage";
const DAMAGE_TOLD: usize = 20;
const ROUND_MAX: usize = 64;

#[cfg(test)]
mod tests;
