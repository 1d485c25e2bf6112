//! The keeper's part in a simulated world: sift, turn, commit to a journal in memory, wake when asked; and what a
//! crash leaves of it. The order is the live one: commit, then acknowledge, then send.

use std::collections::BTreeSet;

use super::report::Bug;
use crate::record::{Entry, Held};
use crate::turn::{House, Turned, recall, turn};
use crate::words::{
    Arg, Channel, Event, Health, Household, Message, MessageId, Moment, Parcel, Said, Severity, Telling,
    Watch, minutes,
};

/// The daemon as it would run.
pub(super) struct Driver {
    pub(super) house: House,
    pub(super) journal: Vec<Entry>,
    /// The state at some entry, as it would stand in the store.
    checkpoint: (usize, String),
    held: Held,
    pub(super) wake: Option<Moment>,
    /// Parcels that carriers have.
    pub(super) in_hand: BTreeSet<(MessageId, Channel)>,
    clock_wrong: bool,
    bug: Option<Bug>,
    lost: u64,
}

/// What one event brought.
pub(super) struct Taken {
    /// The event as it went in.
    pub(super) event: Event,
    pub(super) said: Said,
    /// Whether it is in the journal.
    pub(super) journaled: bool,
}

impl Driver {
    pub(super) fn new(bug: Option<Bug>) -> Self {
        let house = House::default();
        let json = serde_json::to_string(&house).expect("a house can be kept as text");
        Self {
            house,
            journal: Vec::new(),
            checkpoint: (0, json),
            held: Held::default(),
            wake: None,
            in_hand: BTreeSet::new(),
            clock_wrong: false,
            bug,
            lost: 0,
        }
    }

    /// New settings, as at a start.
    pub(super) fn settle_in(&mut self, household: &Household, clock: Moment) -> Option<Taken> {
        let program = "simulated".to_owned();
        self.take(Event::Household { program, household: Box::new(household.clone()) }, clock)
    }

    /// The house's present: the clock, but never earlier than what has been.
    pub(super) fn now(&self, clock: Moment) -> Moment {
        clock.max(self.house.now)
    }

    /// Takes an event in; `None` if there was nothing new in it.
    pub(super) fn take(&mut self, event: Event, clock: Moment) -> Option<Taken> {
        let event = if self.bug == Some(Bug::SkipDedup) { event } else { self.held.take(event)? };
        if self.bug == Some(Bug::LoseReadings) && matches!(event, Event::Readings(_)) {
            self.lost += 1;
            if self.lost.is_multiple_of(7) {
                return None;
            }
        }
        let now = self.now(clock);
        let Turned { counts_as, said, wake } = turn(&mut self.house, &event, now);
        let event = counts_as.unwrap_or(event);
        self.wake = match self.bug {
            Some(Bug::ForgetWake) => self.wake.filter(|wake| *wake > now),
            _ => wake,
        };
        // As live: a look at which nothing was found or said follows from the clock alone.
        let said = self.spoilt(said);
        let journaled = event != Event::Tick || !said.is_empty();
        if journaled {
            let seq = self.journal.len() as u64 + 1;
            self.journal.push(Entry { seq, at: now, event: event.clone(), said: self.written(&said) });
        }
        Some(Taken { event, said, journaled })
    }

    /// What a mistaken driver leaves of what was said.
    fn spoilt(&mut self, mut said: Said) -> Said {
        if self.bug == Some(Bug::MuteCritical) {
            let mute = |message: &Message| message.severity == Severity::Critical;
            for message in said.messages.extract_if(.., |message| mute(message)) {
                self.house.ledger.outbox.remove(&message.id);
            }
        }
        said
    }

    /// What the journal gets of what was said.
    fn written(&self, said: &Said) -> Said {
        if self.bug == Some(Bug::ForgetWhatWasSaid) { Said::default() } else { said.clone() }
    }

    /// A carrier has answered: whatever is still to be done with the parcel may be tried again.
    pub(super) fn back_in_hand(&mut self, parcel: &Parcel) {
        if self.bug != Some(Bug::ForgetInHand) {
            self.in_hand.remove(&(parcel.message.clone(), parcel.channel.clone()));
        }
    }

    /// What the keeper itself has to say now: about the clock, and that it is time to look again.
    pub(super) fn own_events(&mut self, clock: Moment) -> Vec<Event> {
        let mut events = Vec::new();
        let behind = self.house.now - clock;
        let wrong = behind > minutes(if self.clock_wrong { 0.5 } else { CLOCK_BEHIND_MINUTES_MAX });
        if wrong != self.clock_wrong {
            self.clock_wrong = wrong;
            let trouble = wrong.then(|| {
                Telling::new("clock-wrong")
                    .with("time", Arg::Time(clock))
                    .with("last", Arg::Time(self.house.now))
            });
            events.push(Event::Health(Health {
                watch: Watch::ClockWrong,
                about: "computer".to_owned(),
                trouble,
            }));
        }
        if self.wake.is_some_and(|wake| wake <= self.now(clock)) {
            events.push(Event::Tick);
        }
        events
    }

    /// The parcels to be handed to carriers now.
    pub(super) fn hand_out(&mut self, clock: Moment) -> Vec<Parcel> {
        let due = self.house.due(self.now(clock));
        due.into_iter()
            .filter(|parcel| self.in_hand.insert((parcel.message.clone(), parcel.channel.clone())))
            .collect()
    }

    /// Keeps the state for the next start. Gives what is wrong if it does not come back the same.
    pub(super) fn keep(&mut self) -> Result<(), String> {
        let json = serde_json::to_string(&self.house).expect("a house can be kept as text");
        let back: House =
            serde_json::from_str(&json).map_err(|error| format!("the state cannot be read: {error}"))?;
        if back != self.house {
            return Err("the state does not come back from its text the same".to_owned());
        }
        if json.len() > STATE_BYTES_MAX {
            return Err(format!("the state has grown to {} bytes", json.len()));
        }
        // The checkpoint of a mistaken driver stands before an entry and says that it stands behind it.
        let ahead = self.bug == Some(Bug::CheckpointAhead) && self.checkpoint.0 > 0;
        let json = if ahead { std::mem::take(&mut self.checkpoint.1) } else { json };
        self.checkpoint = (self.journal.len(), json);
        Ok(())
    }

    /// The state after a crash: the last one kept, and what the journal has since.
    pub(super) fn rebuilt(&self, from_the_start: bool) -> Result<House, String> {
        let (from, mut house) = if from_the_start {
            (0, House::default())
        } else {
            let house = serde_json::from_str(&self.checkpoint.1);
            (self.checkpoint.0, house.map_err(|error| format!("the state cannot be read: {error}"))?)
        };
        let mut dropped = self.bug != Some(Bug::DropMessageAtRestart);
        for entry in &self.journal[from..] {
            let mut said = entry.said.clone();
            if !dropped && !said.messages.is_empty() {
                said.messages.pop();
                dropped = true;
            }
            recall(&mut house, &entry.event, &said, entry.at);
        }
        Ok(house)
    }

    /// A crash and a new start: nothing is left but the journal and the last kept state.
    pub(super) fn restart(&mut self) -> Result<(), String> {
        self.house = self.rebuilt(false)?;
        self.in_hand.clear();
        self.wake = Some(self.house.now);
        self.clock_wrong = self.house.health.open.contains_key(&(Watch::ClockWrong, "computer".to_owned()));
        Ok(())
    }
}

/// As in the keeper.
const CLOCK_BEHIND_MINUTES_MAX: f64 = 5.0;
/// A cat's state is about 60 kB of text; twice that for each of two cats, and room for what is on its way.
const STATE_BYTES_MAX: usize = 600_000;
