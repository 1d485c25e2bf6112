//! What must be true after every turn, at every restart, and at the end. Slow and obvious on purpose: nothing in
//! here asks the rooms how they came to their decision.

mod reference;
mod restart;
mod told;

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use super::clock::Truth;
use super::driver::{Driver, Taken};
use super::report::Tally;
use crate::turn::House;
use crate::words::{
    Batch, CatName, Channel, Event, Finding, FindingId, Message, MessageId, Moment, Outcome, Parcel,
    PersonName, Reading, ReadingKind, Reason, Severity, Value, Watch, minutes,
};
use reference::Reference;
use told::Told;

type Held = (CatName, Moment, ReadingKind, String);

/// What has been seen so far.
#[derive(Default)]
pub(super) struct Checks {
    /// Every reading that came to a door and was not refused.
    offered: BTreeSet<Held>,
    /// Every reading in the journal.
    journaled: BTreeSet<Held>,
    /// When each message was decided on, by the house's time.
    posted: BTreeMap<MessageId, Moment>,
    /// On their way, by the journal's word.
    waiting: BTreeSet<MessageId>,
    /// Acknowledged by a server.
    delivered: BTreeSet<MessageId>,
    /// Critical findings there were.
    criticals: BTreeSet<FindingId>,
    /// Since when each finding is critical and unanswered, by true time.
    critical_since: BTreeMap<FindingId, Moment>,
    /// Critical findings that some person has on a screen as such.
    alarmed: BTreeSet<FindingId>,
    /// Findings that some person really has on a screen.
    known: BTreeMap<FindingId, Moment>,
    /// What was told within the last hour of true time.
    hours: BTreeMap<PersonName, VecDeque<(Moment, MessageId)>>,
    told: Told,
    reference: Reference,
    pub(super) busiest_hour: usize,
    last: Moment,
    looked: Tally,
    /// From when on there are no faults.
    pub(super) calm_from: Option<Moment>,
}

/// Gives the text if the condition does not hold.
fn must(holds: bool, what: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(what()) }
}

fn held(cat: &CatName, reading: &Reading) -> Held {
    let value = match reading.value {
        Value::Below => "LO".to_owned(),
        Value::Above => "HI".to_owned(),
        Value::Level(level) => format!("{level:?}"),
    };
    (cat.clone(), reading.measured_at, reading.kind, value)
}

impl Checks {
    /// In a world whose readings may be `misdated`: from the future.
    pub(super) fn new(misdated: bool) -> Self {
        Self { reference: Reference::new(misdated), ..Self::default() }
    }

    /// How often each thing that must be true was looked at.
    pub(super) fn looked(&mut self) -> Tally {
        std::mem::take(&mut self.looked)
    }

    fn look(&mut self, what: &'static str) {
        *self.looked.entry(what).or_default() += 1;
    }

    pub(super) fn readings(&self) -> usize {
        self.journaled.len()
    }

    pub(super) fn messages(&self) -> usize {
        self.posted.len()
    }

    pub(super) fn criticals(&self) -> usize {
        self.criticals.len()
    }

    /// Something came to a door.
    pub(super) fn offered(&mut self, event: &Event) {
        if let Event::Readings(batch) = event {
            self.offered.extend(batch.readings.iter().map(|reading| held(&batch.cat, reading)));
        }
        self.reference.offered(event);
    }

    /// A message is on a person's screen.
    pub(super) fn reached(&mut self, message: &Message, at: Moment) {
        for finding in &message.findings {
            self.known.entry(finding.clone()).or_insert(at);
            if message.severity == Severity::Critical {
                self.alarmed.insert(finding.clone());
            }
        }
    }

    /// After each turn.
    pub(super) fn after_turn(&mut self, driver: &Driver, taken: &Taken, truth: Truth) -> Result<(), String> {
        let house = &driver.house;
        self.look("time goes back only with the clock, and only if that can be believed");
        self.time(house, taken, truth)?;
        if let Event::Readings(batch) = &taken.event {
            self.look("each reading is in the journal once");
            self.journal_once(batch)?;
            self.look("a fresh reading under the danger is critical in the same turn");
            self.reference.danger_is_told_at_once(house, batch, truth, &self.journaled)?;
        }
        self.look("each record and each answer counts once");
        self.reference.took(taken)?;
        self.look("a second dose too soon is critical in the same turn");
        self.reference.second_dose_is_told(house, taken, truth)?;
        self.look("no message twice, and not too many in an hour");
        self.follow(taken, house.now, truth.now)?;
        self.look("nothing is said that is not journaled");
        must(taken.journaled || taken.said.is_empty(), || "something was said and not journaled".to_owned())?;
        self.look("what is on its way is what was decided on");
        self.outbox(house)?;
        self.told.answered(&taken.came, house, truth.now);
        self.look("every critical finding is on its way, said or answered");
        self.nothing_critical_unsaid(house, truth)?;
        self.look("who was told of something hears that it is over");
        self.told.ends_are_said(house, taken)?;
        self.look("nobody is woken by what can wait");
        told::nobody_is_woken(house, taken)?;
        self.look("the state stays small");
        bounded(house)?;
        self.look("somebody wakes the house while a message waits");
        must(driver.wake.is_some() || house.ledger.outbox.is_empty(), || {
            "a message waits and nobody is to wake the house".to_owned()
        })
    }

    fn time(&mut self, house: &House, taken: &Taken, truth: Truth) -> Result<(), String> {
        if let Event::ClockSet(step) = &taken.event {
            let waited = truth.now >= truth.up_since + minutes(UNBELIEVED_MINUTES);
            must(truth.time.believed || waited, || {
                "a clock that nobody has set was followed back".to_owned()
            })?;
            must(house.now == step.to, || format!("the house did not go back to {}", step.to))?;
            self.told.set_back(truth.now);
            self.reference.set_back(*step, &self.journaled);
            self.last = step.to;
        }
        must(house.now >= self.last, || format!("the house went back from {} to {}", self.last, house.now))?;
        self.last = house.now;
        Ok(())
    }

    fn journal_once(&mut self, batch: &Batch) -> Result<(), String> {
        let came = batch.readings.iter().chain(batch.conflicts.iter().map(|conflict| &conflict.came));
        for reading in came {
            let held = held(&batch.cat, reading);
            must(self.journaled.insert(held), || format!("the journal has {reading:?} twice"))?;
        }
        Ok(())
    }

    fn follow(&mut self, taken: &Taken, now: Moment, truly: Moment) -> Result<(), String> {
        // A message that is written anew within one moment keeps its id: it is withdrawn, and then there again.
        for id in &taken.said.withdrawn {
            self.waiting.remove(id);
            // What was written anew before it went out is one message, not two.
            self.hours.values_mut().for_each(|hour| hour.retain(|(_, told)| told != id));
        }
        for message in &taken.said.messages {
            // While the machine's clock is behind, the house's time stands still: what opens, clears and opens again
            // in that moment is one message, by its id.
            let before = self.posted.insert(message.id.clone(), now);
            must(before.is_none_or(|before| before == now), || format!("message {} twice", message.id))?;
            self.waiting.insert(message.id.clone());
            self.told.posted(message, truly);
            // What follows from somebody's press comes as often as they press.
            if message.reason == Reason::Noted || matches!(taken.came, Event::Answer(_)) {
                continue;
            }
            let hour = self.hours.entry(message.person.clone()).or_default();
            hour.push_back((truly, message.id.clone()));
            while hour.front().is_some_and(|(first, _)| *first <= truly - minutes(60.0)) {
                hour.pop_front();
            }
            self.busiest_hour = self.busiest_hour.max(hour.len());
            must(hour.len() <= MESSAGES_AN_HOUR_MAX, || {
                format!("{} messages to {} within an hour", hour.len(), message.person)
            })?;
        }
        if let Event::Outcome { parcel, outcome: Outcome::Delivered { .. } } = &taken.event {
            if self.waiting.remove(&parcel.message) {
                self.told.delivered(&parcel.message);
            }
            self.delivered.insert(parcel.message.clone());
        }
        Ok(())
    }

    /// What is on its way is exactly what was decided on, and neither delivered nor withdrawn.
    fn outbox(&self, house: &House) -> Result<(), String> {
        let there: BTreeSet<&MessageId> = house.ledger.outbox.keys().collect();
        if let Some(lost) = self.waiting.iter().find(|id| !there.contains(id)) {
            return Err(format!("message {lost} is gone without having been delivered or withdrawn"));
        }
        match there.iter().find(|id| !self.waiting.contains(**id)) {
            Some(risen) => Err(format!("message {risen} is on its way though it was delivered or withdrawn")),
            None => Ok(()),
        }
    }

    /// Between two rounds, when everything that was to be taken in has been.
    pub(super) fn between_rounds(&mut self, driver: &Driver, truth: Truth) -> Result<(), String> {
        let house = &driver.house;
        self.look("the house goes by the clock, whichever way that is set");
        let ahead = house.now - truth.time.shown;
        must(!truth.followed() || ahead <= minutes(AHEAD_MINUTES_MAX), || {
            format!("the house is {ahead} ahead of a clock that is right")
        })?;
        self.look("a clock that nobody has set is told");
        let doubted = house.health.open.contains_key(&(Watch::ClockWrong, "computer".to_owned()));
        must(doubted != truth.time.believed || !truth.noticed(), || {
            format!("the clock is believed: {}, and told as doubted: {doubted}", truth.time.believed)
        })?;
        self.look("a critical finding that nobody answers is said again in time");
        self.told.asked_again(house, &self.delivered, truth)?;
        self.look("a window is closed when its time has come, and not before");
        self.reference.windows(house, truth)?;
        let Some(calm) = self.calm_from.filter(|calm| *calm <= truth.now) else { return Ok(()) };
        self.look("without faults a critical finding is on a screen within five minutes");
        for finding in criticals(house) {
            let Some(since) = self.critical_since.get(&finding.id) else { continue };
            let since = calm.max(*since);
            let told = self.alarmed.contains(&finding.id);
            must(told || truth.now <= since + minutes(CALM_PROMISE_MINUTES), || {
                format!("{} is critical since {since} and on nobody's screen", finding.id)
            })?;
        }
        Ok(())
    }

    /// A parcel is handed to a carrier.
    pub(super) fn sent(&mut self, driver: &Driver, truth: Truth, parcel: &Parcel) -> Result<(), String> {
        self.look("nothing is sent before it is due");
        let now = driver.present(truth.time);
        let pending = driver.house.ledger.outbox.get(&parcel.message);
        must(pending.is_none_or(|pending| pending.message.due <= now), || {
            format!("message {} is sent before it is due", parcel.message)
        })?;
        self.look("the worst of what is due to an address goes first");
        let outbox = &driver.house.ledger.outbox;
        let severity = |parcel: &Parcel| outbox.get(&parcel.message).map(|pending| pending.message.severity);
        let due = driver.house.due(now).into_iter().filter(|other| other.channel == parcel.channel);
        let worst = due.filter_map(|other| severity(&other)).max();
        must(severity(parcel) >= worst, || format!("message {} goes before a worse one", parcel.message))
    }

    /// After a round: what is due is with a carrier.
    pub(super) fn handed_out(
        &mut self,
        driver: &Driver,
        truth: Truth,
        in_flight: &BTreeSet<(MessageId, Channel)>,
    ) -> Result<(), String> {
        self.look("what is due is with a carrier");
        let now = driver.present(truth.time);
        let busy: BTreeSet<&Channel> = in_flight.iter().map(|(_, channel)| channel).collect();
        for parcel in driver.house.due(now) {
            let there = busy.contains(&parcel.channel);
            must(there, || {
                format!("{parcel:?} is due, and no carrier has it or another one for that address")
            })?;
        }
        must(busy.len() == in_flight.len(), || {
            format!("more than one at a time to an address: {in_flight:?}")
        })?;
        self.look("no channel rests for longer than its pause while something waits for it");
        self.told.tried(&driver.house, now, in_flight, truth)
    }

    /// When all faults are long over and no reading has come for a day and a half.
    pub(super) fn at_the_end(&mut self, driver: &Driver, truth: Truth) -> Result<(), String> {
        let house = &driver.house;
        self.look("in the end every reading is kept, nothing is stuck, and silence was told");
        if let Some(lost) = self.offered.iter().find(|held| !self.journaled.contains(held)) {
            return Err(format!("a reading was offered and is not in the journal: {lost:?}"));
        }
        self.reference.nothing_lost()?;
        let stuck = house.ledger.outbox.values().find(|p| p.message.due < truth.now - minutes(30.0));
        must(stuck.is_none(), || {
            format!("still on its way at the end: {:?}", stuck.map(|p| &p.message.title))
        })?;
        self.silence_is_told(house)
    }

    fn silence_is_told(&self, house: &House) -> Result<(), String> {
        let Some(household) = &house.household else { return Err("no settings at the end".to_owned()) };
        for settings in &household.cats {
            let Some(cat) = house.cats.get(&settings.name) else { continue };
            let full = minutes(settings.sensor.wear_days * 1440.0);
            let over = cat.wear.as_ref().is_some_and(|w| w.ended.is_some() || w.applied + full <= house.now);
            if over || cat.newest.is_none() {
                continue;
            }
            // A window that has closed, a sensor that went silent, or one that was put on and never began.
            let silence = [Watch::WindowClosed, Watch::SensorSilent, Watch::SensorNotStarted];
            let found = cat.open.values().find(|finding| silence.contains(&finding.watch));
            let Some(finding) = found else {
                return Err(format!(
                    "{}: silent for a day and a half, and nothing says so; newest {:?}, wear {:?}",
                    settings.name, cat.newest, cat.wear
                ));
            };
            // Whoever answers everything that is open has seen this too, if not in a message.
            let spoken = house.ledger.spoken.get(&finding.id);
            let told = self.known.contains_key(&finding.id)
                || spoken.is_some_and(|spoken| spoken.answered.is_some());
            let awake = told::minutes_awake(household, finding, house.now);
            must(told || awake < SILENCE_MINUTES_MAX, || {
                format!("{} reached nobody, and somebody had {awake} minutes to hear it", finding.id)
            })?;
        }
        Ok(())
    }
}

fn criticals(house: &House) -> Vec<&Finding> {
    house.open().into_iter().filter(|finding| finding.severity == Severity::Critical).collect()
}

fn bounded(house: &House) -> Result<(), String> {
    let ledger = &house.ledger;
    let open = house.open().len();
    let people = house.household.as_ref().map_or(0, |household| household.persons.len());
    must(ledger.outbox.len() <= 40 + 20 * people, || format!("{} messages wait", ledger.outbox.len()))?;
    must(ledger.spoken.len() <= open, || {
        format!("{} findings are spoken of, {open} are open", ledger.spoken.len())
    })?;
    must(open <= 60, || format!("{open} findings are open"))
}

/// A clock that nobody has set is not followed back before this.
const UNBELIEVED_MINUTES: f64 = 119.0;
/// The house may be this far ahead of its clock: less than a minute is not worth a step.
const AHEAD_MINUTES_MAX: f64 = 1.01;
/// Silence that cannot wake anybody is told when they have been up and on duty for this long: an hour in which much else
/// gathers, and half an hour for two channels.
const SILENCE_MINUTES_MAX: usize = 90;
/// In a world without faults a critical finding is on a screen after this.
const CALM_PROMISE_MINUTES: f64 = 5.0;
/// Six repeats and what changes meanwhile, for two cats and four people who all answer, in a world whose servers refuse a
/// third of everything: 17 in the busiest hour of the 200 worlds of the gate. More than this teaches people to look away.
const MESSAGES_AN_HOUR_MAX: usize = 24;
