//! The keeper's part in a simulated world: sift, turn, commit to a journal in memory, wake when asked; and what a
//! crash leaves of it. The order is the live one: commit, then acknowledge, then send. What the present is, what is said
//! of the clock and what a turn leaves for the record is the live keeper's own code, [`crate::round`].

use super::report::Bug;
use crate::record::{Entry, Held};
use crate::round::{Entered, Hands, Present, SLEEP_MAX, Time, clock_events, enter};
use crate::turn::{House, recall};
use crate::words::{Dose, Event, Message, Moment, Parcel, Reason, Said, Severity, Span, minutes};

/// The daemon as it would run.
pub(super) struct Driver {
    pub(super) house: House,
    pub(super) journal: Vec<Entry>,
    /// The state at some entry, as it would stand in the store.
    checkpoint: (usize, String),
    held: Held,
    present: Present,
    pub(super) wake: Option<Moment>,
    /// Parcels that carriers are held to have.
    hands: Hands,
    bug: Option<Bug>,
    /// How often a mistake has had its chance.
    chances: u64,
    last_dose: Option<Dose>,
}

/// What one event brought.
pub(super) struct Taken {
    /// The event as it came, without what was held already.
    pub(super) came: Event,
    /// The event as the record keeps it.
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
            present: Present::default(),
            wake: None,
            hands: Hands::default(),
            bug,
            chances: 0,
            last_dose: None,
        }
    }

    fn has(&self, bug: Bug) -> bool {
        self.bug == Some(bug)
    }

    /// The house's present.
    pub(super) fn now(&mut self, time: Time) -> Moment {
        self.present.now(self.house.now, time)
    }

    /// The same, for those who only look.
    pub(super) fn present(&self, time: Time) -> Moment {
        let mut present = self.present;
        present.now(self.house.now, time)
    }

    /// How long the daemon sleeps if nothing happens, as the live keeper works it out.
    pub(super) fn sleep(&mut self, time: Time) -> Option<Span> {
        let wake = self.wake.map(|wake| wake - self.now(time));
        let longest = Span::from_std(SLEEP_MAX).unwrap_or_default();
        // Between two looks at a clock that is right nothing happens: only what is behind is looked at so often.
        let look = self.present.is_behind().then_some(longest);
        wake.into_iter().chain(look).min()
    }

    /// An event as often as it is taken in.
    pub(super) fn as_often(&self, event: Event) -> Vec<Event> {
        let twice = self.has(Bug::CountAnswersTwice) && matches!(event, Event::Answer(_));
        vec![event; if twice { 2 } else { 1 }]
    }

    /// Takes an event in; `None` if there was nothing new in it.
    pub(super) fn take(&mut self, event: Event, time: Time) -> Option<Taken> {
        let event = self.sifted(event)?;
        Some(self.turn(event, time))
    }

    fn turn(&mut self, event: Event, time: Time) -> Taken {
        let now = self.present.of(&event, self.house.now, time);
        let came = event.clone();
        let Entered { event, at, said, wake, kept } = enter(&mut self.house, event, now);
        self.wake = match self.bug {
            Some(Bug::ForgetWake) => self.wake.filter(|wake| *wake > now),
            Some(Bug::Oversleep) => wake.map(|wake| wake.max(now + minutes(30.0))),
            _ => wake,
        };
        let said = self.spoilt(said);
        let forgotten = self.has(Bug::ForgetClockStep) && matches!(event, Event::ClockSet(_));
        if kept && !forgotten {
            let seq = self.journal.len() as u64 + 1;
            self.journal.push(Entry { seq, at, event: event.clone(), said: self.written(&said) });
        }
        Taken { came, event, said, journaled: kept }
    }

    /// What is new in an event, as a driver sees it that may be mistaken.
    fn sifted(&mut self, event: Event) -> Option<Event> {
        let event = if self.has(Bug::SkipDedup) { event } else { self.held.take(event)? };
        match &event {
            Event::Readings(_) if self.has(Bug::LoseReadings) => {
                self.chances += 1;
                (!self.chances.is_multiple_of(7)).then_some(event)
            }
            Event::Dose(dose) if self.has(Bug::TakeSecondDoseForRepeat) => {
                let last = self.last_dose.replace(dose.clone());
                let near = |last: Dose| last.given_at.minutes_since(dose.given_at).abs() < 8.0 * 60.0;
                (!last.is_some_and(near)).then_some(event)
            }
            _ => Some(event),
        }
    }

    /// What a mistaken driver leaves of what was said.
    fn spoilt(&mut self, mut said: Said) -> Said {
        let mute = |message: &Message| match self.bug {
            Some(Bug::MuteCritical) => message.severity == Severity::Critical,
            Some(Bug::ForgetTheEnd) => message.reason == Reason::Over,
            _ => false,
        };
        for message in said.messages.extract_if(.., |message| mute(message)) {
            self.house.ledger.outbox.remove(&message.id);
        }
        said
    }

    /// What the journal gets of what was said.
    fn written(&self, said: &Said) -> Said {
        if self.has(Bug::ForgetWhatWasSaid) { Said::default() } else { said.clone() }
    }

    /// A carrier has answered: whatever is still to be done with the parcel may be tried again.
    pub(super) fn back_in_hand(&mut self, parcel: &Parcel) {
        if self.bug != Some(Bug::ForgetInHand) {
            self.hands.back(parcel);
        }
    }

    /// What the keeper itself has to say of the clock.
    pub(super) fn clock_events(&mut self, time: Time) -> Vec<Event> {
        let time = Time { believed: time.believed || self.has(Bug::BelieveAnyClock), ..time };
        let mut events = clock_events(&mut self.present, &self.house, time);
        if self.has(Bug::IgnoreClockStep) {
            events.retain(|event| !matches!(event, Event::ClockSet(_)));
        }
        events
    }

    /// Whether it is time to look again.
    pub(super) fn wants_a_look(&mut self, time: Time) -> bool {
        let now = self.now(time);
        self.wake.is_some_and(|wake| wake <= now)
    }

    /// The parcels to be handed to carriers now.
    pub(super) fn hand_out(&mut self, time: Time) -> Vec<Parcel> {
        let now = self.now(time);
        let now = if self.has(Bug::SendBeforeDue) { now + minutes(12.0 * 60.0) } else { now };
        let mut due = self.house.due(now);
        if self.has(Bug::SendTheOldestFirst) {
            let created =
                |parcel: &Parcel| self.house.ledger.outbox.get(&parcel.message).map(|p| p.message.created);
            due.sort_by_key(created);
        }
        due.into_iter().filter(|parcel| self.hands.take(parcel)).collect()
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
        let ahead = self.has(Bug::CheckpointAhead) && self.checkpoint.0 > 0;
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
        self.present = Present::default();
        self.hands.clear();
        self.wake = Some(self.house.now);
        Ok(())
    }
}

/// A cat's state is about 60 kB of text; twice that for each of two cats, and room for what is on its way.
const STATE_BYTES_MAX: usize = 600_000;
