//! Recorded history, fed through the same turn as live: what would have been found, what would have been sent.
//!
//! Comes in: a household, events with the time each was received. Goes out: lines about findings and messages,
//! and the blood estimate at every reading ([`Sink`]). Simulated time runs on between two events, so that
//! reminders, repeats and silences come when they would have come. Every message is carried at once and nobody
//! answers: what is shown is the most that would have been sent. No network, no record; nothing is left behind.

mod estimates;
mod files;
mod line;

use std::collections::BTreeMap;
use std::io;

use estimates::Estimator;
pub use files::{History, ReplayError, ReplayJob, Unread, load, replay_files, replay_told};
pub use line::{EstimateLine, Line, Sink, Writers};

use crate::record::Held;
use crate::tell::{Reader, plain};
use crate::turn::{House, turn};
use crate::words::{
    Arg, Became, Change, Event, FindingId, Household, Message, Moment, Outcome, Span, Telling, Watch,
};

/// What a replay did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ReplaySummary {
    /// Events fed in.
    pub events: u64,
    /// Readings accepted.
    pub readings: u64,
    /// Readings that were held already.
    pub repeated: u64,
    /// Readings with another value than the one held for the same time; kept beside it and not used.
    pub conflicts: u64,
    /// Findings that opened, changed or cleared.
    pub changes: u64,
    /// Messages that were sent.
    pub messages: u64,
    /// When the first and the last event were received.
    pub span: Option<(Moment, Moment)>,
}

/// Feeds `events` through the turn in the order in which they were received, follows simulated time in between
/// and for [`AFTER`] after the last one, and writes what is found and sent.
///
/// Events received at the same time keep their order. `progress` hears how many events are done, of how many.
///
/// # Errors
/// Only those of the sink.
pub fn replay(
    household: &Household,
    mut events: Vec<(Moment, Event)>,
    sink: &mut impl Sink,
    progress: &mut dyn FnMut(u64, u64),
) -> io::Result<ReplaySummary> {
    events.sort_by_key(|(at, _)| *at);
    let Some(span) = events.first().zip(events.last()).map(|(first, last)| (first.0, last.0)) else {
        return Ok(ReplaySummary::default());
    };
    let total = events.len() as u64;
    let mut player = Player::new(household, sink);
    player.summary.span = Some(span);
    let begins = Event::Household {
        program: env!("CARGO_PKG_VERSION").to_owned(),
        household: Box::new(household.clone()),
    };
    player.turn(&begins, span.0)?;
    for (done, (at, event)) in events.into_iter().enumerate() {
        player.run_until(at)?;
        player.take(event, at)?;
        progress(done as u64 + 1, total);
    }
    player.run_until(span.1 + AFTER)?;
    Ok(player.summary)
}

struct Player<'a, S> {
    household: &'a Household,
    house: House,
    held: Held,
    wake: Option<Moment>,
    /// What a message's finding was about, for its line.
    watches: BTreeMap<FindingId, Watch>,
    sink: &'a mut S,
    summary: ReplaySummary,
}

impl<'a, S: Sink> Player<'a, S> {
    fn new(household: &'a Household, sink: &'a mut S) -> Self {
        Self {
            household,
            house: House::default(),
            held: Held::default(),
            wake: None,
            watches: BTreeMap::new(),
            sink,
            summary: ReplaySummary::default(),
        }
    }

    /// Turns whenever the house asked for it, up to and including `until`.
    fn run_until(&mut self, until: Moment) -> io::Result<()> {
        while let Some(wake) = self.wake.filter(|wake| *wake <= until) {
            // A house that asks to be woken at once, again and again, would hold time still.
            self.turn(&Event::Tick, wake.max(self.house.now + Span::milliseconds(1)))?;
        }
        Ok(())
    }

    /// An event from the history: what is new in it goes in.
    fn take(&mut self, event: Event, at: Moment) -> io::Result<()> {
        let came = if let Event::Readings(batch) = &event { batch.readings.len() } else { 0 };
        let Some(event) = self.held.take(event) else {
            self.summary.repeated += came as u64;
            return Ok(());
        };
        self.summary.events += 1;
        let Event::Readings(batch) = &event else {
            return self.turn(&event, at);
        };
        self.summary.readings += batch.readings.len() as u64;
        self.summary.repeated += u64::from(batch.repeated);
        self.summary.conflicts += batch.conflicts.len() as u64;
        if !self.sink.wants_estimates() {
            return self.turn(&event, at);
        }
        let settings = self.household.cat(&batch.cat);
        let before = self.house.cats.get(&batch.cat).map(|cat| &cat.tracker);
        let Some((settings, estimator)) = settings.zip(before.map(|tracker| Estimator::new(tracker, batch)))
        else {
            return self.turn(&event, at);
        };
        self.turn(&event, at)?;
        let Some(cat) = self.house.cats.get(&batch.cat) else { return Ok(()) };
        estimator
            .lines(&cat.tracker, settings, batch, at)
            .iter()
            .try_for_each(|line| self.sink.estimate(line))
    }

    fn turn(&mut self, event: &Event, at: Moment) -> io::Result<()> {
        let turned = turn(&mut self.house, event, at);
        for change in &turned.said.changes {
            self.change(change, at)?;
        }
        self.wake = turned.wake;
        self.carry(at)
    }

    /// The perfect carrier: whatever is due arrives at once.
    fn carry(&mut self, at: Moment) -> io::Result<()> {
        for _ in 0..ROUNDS_MAX {
            let due = self.house.due(at);
            if due.is_empty() {
                return Ok(());
            }
            for parcel in due {
                let pending = self.house.ledger.outbox.get(&parcel.message);
                let Some(message) = pending.map(|pending| pending.message.clone()) else { continue };
                self.message(&message, parcel.channel.kind.word(), at)?;
                let event = Event::Outcome { parcel, outcome: Outcome::Delivered { receipt: None } };
                let turned = turn(&mut self.house, &event, at);
                for change in &turned.said.changes {
                    self.change(change, at)?;
                }
                self.wake = turned.wake;
            }
        }
        Ok(())
    }

    fn change(&mut self, change: &Change, at: Moment) -> io::Result<()> {
        self.summary.changes += 1;
        let finding = &change.finding;
        self.watches.insert(finding.id.clone(), finding.watch);
        let reader = Reader::home(self.household, at);
        let text = match (&change.over, change.became) {
            (Some(over), _) => plain(&reader, over),
            (None, Became::Cleared) => {
                let matter = Arg::Heading(Box::new(finding.telling.clone()));
                plain(&reader, &Telling::new("no-longer").with("matter", matter))
            }
            (None, _) => plain(&reader, &finding.telling),
        };
        self.sink.line(&Line {
            at,
            cat: finding.cat.as_ref(),
            watch: finding.watch,
            change: change.became.word(),
            severity: Some(finding.severity),
            person: None,
            channel: None,
            text: &text,
        })
    }

    fn message(&mut self, message: &Message, channel: &'static str, at: Moment) -> io::Result<()> {
        self.summary.messages += 1;
        let known = message.findings.iter().find_map(|id| self.watches.get(id));
        self.sink.line(&Line {
            at,
            cat: message.cat.as_ref(),
            // A summary is about messages that could not be carried.
            watch: known.copied().unwrap_or(Watch::DeliveryFailing),
            change: "message",
            severity: None,
            person: Some(&message.person),
            channel: Some(channel),
            text: &format!("{}\n{}", message.title, message.text),
        })
    }
}

/// How far simulated time runs on after the last event: long enough for a window to close and silence to be told.
pub const AFTER: Span = Span::hours(24);
/// An outcome may bring another message; that this goes on for ever would be a fault, not a reason to hang.
const ROUNDS_MAX: usize = 100;
