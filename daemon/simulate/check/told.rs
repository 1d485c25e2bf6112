//! What people hear, by true time: repeats, ends, nights, and the pauses of carriers. Times in here are what really has
//! passed, so that a house that lost count because its clock was set is seen.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveTime;

use super::{Checks, criticals, must};
use crate::duty::on_duty;
use crate::simulate::clock::Truth;
use crate::simulate::driver::Taken;
use crate::turn::House;
use crate::words::{
    Arg, Became, Channel, Event, Finding, FindingId, Household, Message, MessageId, Moment, Person,
    PersonName, Reason, Severity, minutes,
};

/// What was said, when it really was said.
#[derive(Default)]
pub(super) struct Told {
    messages: BTreeMap<MessageId, Known>,
    /// Who has heard of a finding, as far as the daemon can know.
    reached: BTreeMap<FindingId, BTreeSet<PersonName>>,
    /// When each finding was answered last.
    answered: BTreeMap<FindingId, Moment>,
    /// When each channel was last seen at work, or nothing was due on it.
    tried: BTreeMap<Channel, Moment>,
    /// When the house last went back with its clock.
    set_back: Option<Moment>,
}

struct Known {
    person: PersonName,
    findings: Vec<FindingId>,
    reason: Reason,
    at: Moment,
}

impl Checks {
    /// Each critical finding that nobody has answered is on somebody's way, has arrived, or will be said again.
    pub(super) fn nothing_critical_unsaid(&mut self, house: &House, truth: Truth) -> Result<(), String> {
        let now: BTreeSet<FindingId> =
            criticals(house).into_iter().map(|finding| finding.id.clone()).collect();
        self.critical_since.retain(|id, _| now.contains(id));
        self.alarmed.retain(|id| now.contains(id));
        for finding in criticals(house) {
            self.criticals.insert(finding.id.clone());
            let Some(spoken) = house.ledger.spoken.get(&finding.id) else {
                return Err(format!("{} is critical and nobody was told", finding.id));
            };
            let answered = spoken.answered.is_some();
            if answered {
                self.critical_since.remove(&finding.id);
            } else {
                self.critical_since.entry(finding.id.clone()).or_insert(truth.now);
            }
            let said = spoken.heard.iter().any(|(person, heard)| {
                let soon = house.now <= heard.last + minutes(REPEAT_MINUTES);
                let on_its_way = house.ledger.outbox.contains_key(&heard.message);
                let arrived = self.delivered.contains(&heard.message);
                on_its_way || arrived || soon || house.ledger.missed.contains_key(person)
            });
            must(answered || said, || format!("{} goes unsaid", finding.id))?;
        }
        Ok(())
    }
}

impl Told {
    pub(super) fn posted(&mut self, message: &Message, at: Moment) {
        let (person, findings) = (message.person.clone(), message.findings.clone());
        self.messages.insert(message.id.clone(), Known { person, findings, reason: message.reason, at });
    }

    /// A server has taken a message that was still on its way.
    pub(super) fn delivered(&mut self, id: &MessageId) {
        let Some(message) = self.messages.get(id) else { return };
        let tells = !matches!(
            message.reason,
            Reason::Taken | Reason::Noted | Reason::Over | Reason::Eased | Reason::Summary
        );
        for finding in message.findings.iter().filter(|_| tells) {
            self.reached.entry(finding.clone()).or_default().insert(message.person.clone());
        }
    }

    pub(super) fn set_back(&mut self, at: Moment) {
        self.set_back = Some(at);
    }

    /// Whether the clock was set within so many minutes. What is older than the step then keeps its stamp, and may seem
    /// younger than it is, by no more than it is old.
    fn is_shaken(&self, truth: Truth, within: f64) -> bool {
        truth.touched.into_iter().chain(self.set_back).any(|at| truth.now <= at + minutes(within))
    }

    /// Who was told of something that ends, and wants to know, hears of the end.
    pub(super) fn ends_are_said(&mut self, house: &House, taken: &Taken) -> Result<(), String> {
        let Some(household) = &house.household else { return Ok(()) };
        if matches!(taken.event, Event::Household { .. }) {
            let gone = |person: &PersonName| household.person(person).is_none();
            self.reached.values_mut().for_each(|reached| reached.retain(|person| !gone(person)));
        }
        for change in taken.said.changes.iter().filter(|change| change.became == Became::Cleared) {
            let id = &change.finding.id;
            let reached = self.reached.remove(id).unwrap_or_default();
            let Some(over) = &change.over else { continue };
            for person in
                reached.iter().filter(|p| over.args.get("person") != Some(&Arg::Person((*p).clone())))
            {
                let mut said = taken.said.messages.iter();
                must(said.any(|message| message.person == *person && message.findings.contains(id)), || {
                    format!("{id} is over and {person}, who was told of it, does not hear so")
                })?;
            }
        }
        Ok(())
    }

    /// A critical finding that nobody has answered, or whose answer has run out, is said again in time.
    pub(super) fn asked_again(
        &mut self,
        house: &House,
        delivered: &BTreeSet<MessageId>,
        truth: Truth,
    ) -> Result<(), String> {
        let shaken = self.is_shaken(truth, 2.0 * RETURN_MINUTES);
        let again = |usual: f64| minutes(if shaken { 2.0 * usual } else { usual } + SLACK_MINUTES);
        for finding in criticals(house) {
            let Some(spoken) = house.ledger.spoken.get(&finding.id) else { continue };
            if let Some(answered) = &spoken.answered {
                let at = *self.answered.entry(finding.id.clone()).or_insert(truth.now);
                must(truth.now <= at.max(truth.up_since) + again(RETURN_MINUTES), || {
                    format!("{} was answered at {at} ({answered:?}) and never comes back", finding.id)
                })?;
                continue;
            }
            self.answered.remove(&finding.id);
            let waits = |id| house.ledger.outbox.contains_key(id) && !delivered.contains(id);
            let last = spoken.heard.values().map(|heard| &heard.message);
            if last.clone().any(waits) || spoken.heard.keys().any(|p| house.ledger.missed.contains_key(p)) {
                continue;
            }
            let last = last.filter_map(|id| self.messages.get(id)).map(|message| message.at).max();
            let since = last.unwrap_or(truth.up_since).max(truth.up_since);
            must(truth.now <= since + again(REPEAT_MINUTES), || {
                format!("{} was said at {since}, nobody answered, and it was not said again", finding.id)
            })?;
        }
        Ok(())
    }

    /// An answer counts from when it came.
    pub(super) fn answered(&mut self, event: &Event, house: &House, at: Moment) {
        let Event::Answer(answer) = event else { return };
        for finding in criticals(house) {
            if answer.finding.as_ref().is_none_or(|id| *id == finding.id) {
                self.answered.insert(finding.id.clone(), at);
            }
        }
    }

    /// A channel on which something is due is tried again and again, with bounded pauses.
    pub(super) fn tried(
        &mut self,
        house: &House,
        now: Moment,
        in_flight: &BTreeSet<(MessageId, Channel)>,
        truth: Truth,
    ) -> Result<(), String> {
        let mut waiting: BTreeMap<&Channel, Severity> = BTreeMap::new();
        for pending in house.ledger.outbox.values().filter(|pending| pending.message.due <= now) {
            for way in pending.ways.iter().filter(|way| !way.refused) {
                let worst = waiting.entry(&way.channel).or_default();
                *worst = pending.message.severity.max(*worst);
            }
        }
        let busy = |channel: &Channel| in_flight.iter().any(|(_, other)| other == channel);
        self.tried.retain(|channel, _| waiting.contains_key(channel) && !busy(channel));
        let shaken = self.is_shaken(truth, 2.0 * PAUSE_MINUTES_MAX);
        for (channel, worst) in waiting.into_iter().filter(|(channel, _)| !busy(channel)) {
            let since = (*self.tried.entry(channel.clone()).or_insert(truth.now)).max(truth.up_since);
            let pause =
                if worst == Severity::Critical { CRITICAL_PAUSE_MINUTES_MAX } else { PAUSE_MINUTES_MAX };
            let pause = if shaken { 2.0 * pause } else { pause };
            must(truth.now <= since + minutes(pause + SLACK_MINUTES), || {
                format!("{} has not been tried since {since}", channel.address)
            })?;
        }
        Ok(())
    }
}

/// Only what is critical, what a person has pressed, and what a person wants to be woken by is due at night.
pub(super) fn nobody_is_woken(house: &House, taken: &Taken) -> Result<(), String> {
    let Some(household) = &house.household else { return Ok(()) };
    let changed = taken.said.changes.iter().map(|change| &change.finding);
    let findings: Vec<&Finding> = house.open().into_iter().chain(changed).collect();
    for message in &taken.said.messages {
        let Some(person) = household.person(&message.person) else { continue };
        let about = || findings.iter().filter(|finding| message.findings.contains(&finding.id));
        let wakes = match message.severity {
            _ if matches!(message.reason, Reason::Taken | Reason::Noted) => true,
            Severity::Critical => true,
            Severity::Warning => person.wake_for_warnings || about().any(|finding| finding.glucose),
            Severity::Notice => {
                let low = |finding: &&&Finding| finding.glucose || finding.severity == Severity::Critical;
                matches!(message.reason, Reason::Over | Reason::Eased) && about().any(|finding| low(&finding))
            }
        };
        must(wakes || !sleeps(person, message.due), || {
            format!("'{}' is due at {}, when {} sleeps", message.title, message.due, person.name)
        })?;
    }
    Ok(())
}

/// How many minutes of the last two days there have been since a finding opened, in which the person on duty was up and
/// wants to hear of it.
pub(super) fn minutes_awake(household: &Household, finding: &Finding, now: Moment) -> usize {
    let since = finding.opened_at.max(now - minutes(2880.0));
    let each_minute = std::iter::successors(Some(since), |at| Some(*at + minutes(1.0)));
    let hears = |at: &Moment| {
        let person = household.person(on_duty(household, *at));
        person.is_some_and(|person| person.receives <= finding.severity && !sleeps(person, *at))
    };
    each_minute.take_while(|at| *at < now).filter(hears).count()
}

fn sleeps(person: &Person, at: Moment) -> bool {
    let Some(quiet) = person.quiet else { return false };
    let clock: NaiveTime = at.at(person.timezone).time();
    if quiet.from <= quiet.until {
        quiet.from <= clock && clock < quiet.until
    } else {
        quiet.from <= clock || clock < quiet.until
    }
}

/// When a critical finding that nobody answers is said again.
const REPEAT_MINUTES: f64 = 10.0;
/// When an answered one comes back.
const RETURN_MINUTES: f64 = 45.0;
/// The longest pause of a carrier: ten minutes and a fifth, and what a server may ask for here.
const PAUSE_MINUTES_MAX: f64 = 12.0;
const CRITICAL_PAUSE_MINUTES_MAX: f64 = 2.0;
/// The daemon sees within 20 seconds that a clock was set, and waits as long before it follows.
const SLACK_MINUTES: f64 = 1.0;
