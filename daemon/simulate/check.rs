//! What must be true after every turn, at every restart, and at the end. Slow and obvious on purpose: nothing in
//! here asks the rooms how they came to their decision.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;

use super::driver::{Driver, Taken};
use super::report::Tally;
use crate::duty::on_duty;
use crate::turn::{House, turn};
use crate::watch::{CatState, Memory};
use crate::words::{
    Batch, Became, CatName, Event, Finding, FindingId, Message, MessageId, Moment, Outcome, PersonName,
    Reading, ReadingKind, Reason, SensorKind, Severity, Value, Watch, minutes,
};

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
    /// Since when each finding is critical, by the house's time.
    critical_since: BTreeMap<FindingId, Moment>,
    /// Critical findings that some person has on a screen as such.
    alarmed: BTreeSet<FindingId>,
    /// Findings that some person really has on a screen.
    known: BTreeMap<FindingId, Moment>,
    hours: BTreeMap<PersonName, VecDeque<(Moment, MessageId)>>,
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
    pub(super) fn after_turn(&mut self, driver: &Driver, taken: &Taken) -> Result<(), String> {
        let house = &driver.house;
        self.look("time never goes back");
        must(house.now >= self.last, || format!("the house went back from {} to {}", self.last, house.now))?;
        self.last = house.now;
        if let Event::Readings(batch) = &taken.event {
            self.look("each reading is in the journal once");
            self.journal_once(batch)?;
            self.look("a fresh reading under the danger is critical in the same turn");
            danger_is_told_at_once(house, batch)?;
        }
        self.look("no message twice, and not too many in an hour");
        self.follow(taken, house.now)?;
        self.look("nothing is said that is not journaled");
        must(taken.journaled || taken.said.is_empty(), || "something was said and not journaled".to_owned())?;
        self.look("what is on its way is what was decided on");
        self.outbox(house)?;
        self.look("every critical finding is on its way, said or answered");
        self.nothing_critical_unsaid(house)?;
        self.look("the state stays small");
        bounded(house)?;
        self.look("somebody wakes the house while a message waits");
        must(driver.wake.is_some() || house.ledger.outbox.is_empty(), || {
            "a message waits and nobody is to wake the house".to_owned()
        })
    }

    fn journal_once(&mut self, batch: &Batch) -> Result<(), String> {
        let came = batch.readings.iter().chain(batch.conflicts.iter().map(|conflict| &conflict.came));
        for reading in came {
            let held = held(&batch.cat, reading);
            must(self.journaled.insert(held), || format!("the journal has {reading:?} twice"))?;
        }
        Ok(())
    }

    fn follow(&mut self, taken: &Taken, now: Moment) -> Result<(), String> {
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
            // What follows from somebody's press comes as often as they press.
            if message.reason == Reason::Noted || matches!(taken.event, Event::Answer(_)) {
                continue;
            }
            let hour = self.hours.entry(message.person.clone()).or_default();
            hour.push_back((now, message.id.clone()));
            while hour.front().is_some_and(|(first, _)| *first <= now - minutes(60.0)) {
                hour.pop_front();
            }
            self.busiest_hour = self.busiest_hour.max(hour.len());
            must(hour.len() <= MESSAGES_AN_HOUR_MAX, || {
                format!("{} messages to {} within an hour", hour.len(), message.person)
            })?;
        }
        if let Event::Outcome { parcel, outcome: Outcome::Delivered { .. } } = &taken.event {
            self.waiting.remove(&parcel.message);
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

    /// Each critical finding that nobody has answered is on somebody's way, has arrived, or will be said again.
    fn nothing_critical_unsaid(&mut self, house: &House) -> Result<(), String> {
        let now: BTreeSet<FindingId> =
            criticals(house).into_iter().map(|finding| finding.id.clone()).collect();
        self.critical_since.retain(|id, _| now.contains(id));
        self.alarmed.retain(|id| now.contains(id));
        for finding in criticals(house) {
            self.critical_since.entry(finding.id.clone()).or_insert(house.now);
            self.criticals.insert(finding.id.clone());
            let Some(spoken) = house.ledger.spoken.get(&finding.id) else {
                return Err(format!("{} is critical and nobody was told", finding.id));
            };
            let said = spoken.heard.iter().any(|(person, heard)| {
                let soon = house.now <= heard.last + minutes(REPEAT_MINUTES);
                let on_its_way = house.ledger.outbox.contains_key(&heard.message);
                let arrived = self.delivered.contains(&heard.message);
                on_its_way || arrived || soon || house.ledger.missed.contains_key(person)
            });
            must(spoken.answered.is_some() || said, || format!("{} goes unsaid", finding.id))?;
        }
        Ok(())
    }

    /// Between two rounds, when everything due has been handed out.
    pub(super) fn between_rounds(&mut self, driver: &Driver, clock: Moment) -> Result<(), String> {
        let house = &driver.house;
        self.look("a clock that is behind is told");
        let behind = house.now - clock;
        let clock_held = house.health.open.keys().any(|(watch, _)| *watch == Watch::ClockWrong);
        must(behind <= minutes(5.1) || clock_held, || format!("the clock is {behind} behind, untold"))?;
        let Some(calm) = self.calm_from else { return Ok(()) };
        self.look("without faults a critical finding is on a screen within five minutes");
        for finding in criticals(house) {
            let since = self.critical_since.get(&finding.id).copied().unwrap_or(house.now).max(calm);
            let spoken = house.ledger.spoken.get(&finding.id);
            let answered = spoken.is_some_and(|spoken| spoken.answered.is_some());
            // An answer that ran out leaves as long again.
            let since = spoken.and_then(|spoken| spoken.returned).map_or(since, |at| since.max(at));
            let told = answered || self.alarmed.contains(&finding.id);
            must(told || house.now <= since + minutes(CALM_PROMISE_MINUTES), || {
                format!("{} is critical since {since} and on nobody's screen", finding.id)
            })?;
        }
        Ok(())
    }

    /// What a crash would leave is what is there.
    pub(super) fn rebuilt(&mut self, driver: &Driver, clock: Moment, all: bool) -> Result<(), String> {
        self.look("a restart says the same and knows the same");
        let (mut live, mut rebuilt) = (driver.house.clone(), driver.rebuilt(all)?);
        // Looks at which nothing was said are not journaled; a full look at everything makes up for them.
        let now = driver.now(clock);
        let said = (look_at_everything(&mut live, now), look_at_everything(&mut rebuilt, now));
        must(said.0 == said.1, || {
            format!("after a restart the house says something else: {:?} instead of {:?}", said.1, said.0)
        })?;
        match difference(&live, &rebuilt) {
            None => Ok(()),
            Some(what) => Err(format!("after a restart {what}")),
        }
    }

    /// The house after a crash still has everything on its way.
    pub(super) fn after_restart(&mut self, driver: &Driver) -> Result<(), String> {
        self.look("a restart loses no message");
        self.outbox(&driver.house)?;
        must(driver.house.now <= self.last, || "the house went ahead at a restart".to_owned())?;
        // Silent looks are not in the record: the house may know of a little less time than before.
        self.last = driver.house.now;
        Ok(())
    }

    /// When all faults are long over and no reading has come for a day and a half.
    pub(super) fn at_the_end(&mut self, driver: &Driver, clock: Moment) -> Result<(), String> {
        let house = &driver.house;
        self.look("in the end every reading is kept, nothing is stuck, and silence was told");
        if let Some(lost) = self.offered.iter().find(|held| !self.journaled.contains(held)) {
            return Err(format!("a reading was offered and is not in the journal: {lost:?}"));
        }
        let stuck = house.ledger.outbox.values().find(|p| p.message.due < clock - minutes(30.0));
        must(stuck.is_none(), || {
            format!("still on its way at the end: {:?}", stuck.map(|p| &p.message.title))
        })?;
        self.silence_is_told(house)
    }

    fn silence_is_told(&self, house: &House) -> Result<(), String> {
        let Some(household) = &house.household else { return Err("no settings at the end".to_owned()) };
        let hears = |name: &PersonName| {
            household.person(name).is_some_and(|person| person.receives <= Severity::Warning)
        };
        for settings in &household.cats {
            let Some(cat) = house.cats.get(&settings.name) else { continue };
            let full = minutes(settings.sensor.wear_days * 1440.0);
            let over = cat.wear.as_ref().is_some_and(|w| w.ended.is_some() || w.applied + full <= house.now);
            if over || cat.newest.is_none() {
                continue;
            }
            let watch = match settings.sensor.kind {
                SensorKind::Scanned => Watch::WindowClosed,
                SensorKind::Streamed => Watch::SensorSilent,
            };
            let found = cat.open.values().find(|finding| finding.watch == watch);
            let Some(finding) = found else {
                return Err(format!("{}: silent for a day and a half, and no {watch}", settings.name));
            };
            let told = self.known.contains_key(&finding.id);
            must(told || !hears(on_duty(household, house.now)), || format!("{} reached nobody", finding.id))?;
        }
        Ok(())
    }
}

fn criticals(house: &House) -> Vec<&Finding> {
    house.open().into_iter().filter(|finding| finding.severity == Severity::Critical).collect()
}

/// The reference: a fresh reading under the plan's danger is critical in the same turn, unless a meter check of
/// the last 20 minutes says otherwise.
fn danger_is_told_at_once(house: &House, batch: &Batch) -> Result<(), String> {
    let settings = house.household.as_ref().and_then(|household| household.cat(&batch.cat));
    let (Some(settings), Some(cat)) = (settings, house.cats.get(&batch.cat)) else { return Ok(()) };
    let Some(newest) = cat.newest.filter(|newest| batch.readings.contains(newest)) else { return Ok(()) };
    let fresh = 2.0 * settings.sensor.sample_minutes + settings.sensor.lag_minutes;
    let age = house.now.minutes_since(newest.measured_at);
    let checked =
        cat.meter.as_ref().is_some_and(|check| house.now.minutes_since(check.measured_at).abs() < 20.0);
    // Somebody who has pressed "the meter says it is not low" has looked.
    let said = cat.meter_word.as_ref().is_some_and(|word| house.now.minutes_since(word.at).abs() < 20.0);
    if !newest.value.under(settings.plan.danger) || age > fresh || checked || said {
        return Ok(());
    }
    let open = cat.open(Watch::LowNow).map(|finding| finding.severity);
    must(open == Some(Severity::Critical), || {
        format!("{} reads {:?}, {age} min old, and low-now is {open:?}", batch.cat, newest.value)
    })
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

/// What was found, and who was told why; without the wording.
type Spoken = (Vec<(Became, FindingId)>, Vec<(PersonName, Reason)>);

/// Has every rule of every cat asked; gives what is said then, without its wording.
fn look_at_everything(house: &mut House, now: Moment) -> Spoken {
    for cat in house.cats.values_mut() {
        Arc::make_mut(cat).wake = Some(now);
    }
    let said = turn(house, &Event::Tick, now).said;
    let changes = said.changes.into_iter().map(|change| (change.became, change.finding.id)).collect();
    (changes, said.messages.into_iter().map(|message| (message.person, message.reason)).collect())
}

/// Where two houses differ in what matters; `None` if they do not.
///
/// Not compared: wordings and looks that a look at the clock refreshes, and when exactly a way was opened.
fn difference(live: &House, rebuilt: &House) -> Option<String> {
    let of = |house: &House| -> Vec<_> {
        let open = house.open();
        open.iter().map(|f| (f.id.clone(), f.severity, f.step, f.opened_at)).collect()
    };
    if of(live) != of(rebuilt) {
        return Some(format!("other findings are open: {:?} instead of {:?}", of(rebuilt), of(live)));
    }
    for (name, cat) in &live.cats {
        let other = rebuilt.cats.get(name)?;
        if cat.newest != other.newest || cat.wear != other.wear {
            let (there, here) = ((other.newest, &other.wear), (cat.newest, &cat.wear));
            return Some(format!("another sensor of {name} is known: {there:?} instead of {here:?}"));
        }
        if cat.tracker != other.tracker {
            return Some(format!(
                "other readings of {name} are known: {}",
                apart(&cat.tracker, &other.tracker)
            ));
        }
        // When to ask for the next scan is worked out anew at every look.
        let memory = |cat: &CatState| Memory { scan_again: None, ..cat.memory.clone() };
        if cat.doses != other.doses || cat.meter != other.meter || memory(cat) != memory(other) {
            let (there, here) = (memory(other), memory(cat));
            return Some(format!("{name} is remembered otherwise: {there:?} instead of {here:?}"));
        }
    }
    if live.ledger.spoken != rebuilt.ledger.spoken {
        return Some(format!(
            "something else was said: {:?} instead of {:?}",
            rebuilt.ledger.spoken, live.ledger.spoken
        ));
    }
    let ways = |house: &House| -> Vec<_> {
        let all = house.ledger.outbox.values();
        all.map(|p| {
            let ways = p.ways.iter().map(|way| (way.channel.clone(), way.attempts, way.refused));
            (p.message.clone(), ways.collect::<Vec<_>>())
        })
        .collect()
    };
    if ways(live) != ways(rebuilt) {
        return Some("other messages are on their way".to_owned());
    }
    (live.ledger.missed != rebuilt.ledger.missed).then(|| "other messages were missed".to_owned())
}

/// The first words in which two states differ as text.
fn apart(live: &impl serde::Serialize, rebuilt: &impl serde::Serialize) -> String {
    let live = serde_json::to_string(live).unwrap_or_default();
    let rebuilt = serde_json::to_string(rebuilt).unwrap_or_default();
    let same = live.bytes().zip(rebuilt.bytes()).take_while(|(a, b)| a == b).count();
    let from = (0..=same.saturating_sub(60)).rev().find(|at| live.is_char_boundary(*at)).unwrap_or(0);
    let shown = |text: &str| text.get(from..).unwrap_or_default().chars().take(160).collect::<String>();
    format!("{} instead of {}", shown(&rebuilt), shown(&live))
}

/// When a critical finding that nobody answers is said again.
const REPEAT_MINUTES: f64 = 10.0;
/// In a world without faults a critical finding is on a screen after this.
const CALM_PROMISE_MINUTES: f64 = 5.0;
/// Six repeats and what changes meanwhile, for two cats and four people who all answer, in a world whose servers refuse a
/// third of everything. More than this teaches people to look away.
const MESSAGES_AN_HOUR_MAX: usize = 40;
