//! The decision itself: given what has been said, what holds now and what time it is, what is said next and why.

use std::collections::BTreeMap;

use super::answers::{self, Taken};
use super::carry::{self, open_at, patience_ends};
use super::ledger::{Answered, Heard, Ledger, Spoken};
use super::roster::{on_duty, order, quiet};
use super::write::{Item, Want, write};
use crate::words::{
    Audience, Became, CatName, Change, Event, Finding, FindingId, Household, Message, MessageId, Moment,
    Person, PersonName, Reason, Said, Severity, minutes,
};

/// What holds now.
#[derive(Clone, Copy, Debug)]
pub struct Present<'a> {
    /// The settings.
    pub household: &'a Household,
    /// Every open finding.
    pub open: &'a [&'a Finding],
    /// What changed in this turn.
    pub changes: &'a [Change],
}

/// What was decided.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Decided {
    /// New messages.
    pub messages: Vec<Message>,
    /// Messages that are not to be sent any more.
    pub withdrawn: Vec<MessageId>,
    /// When to decide again if nothing happens before.
    pub wake: Option<Moment>,
}

type Wants = BTreeMap<(PersonName, Option<CatName>), Vec<Want>>;

/// Decides what is said now, and enters it in the ledger.
pub fn decide(ledger: &mut Ledger, present: Present<'_>, event: &Event, now: Moment) -> Decided {
    let mut decided = Decided::default();
    let mut wants = Wants::new();
    for taken in note(ledger, present, event, now) {
        want_taken(&mut wants, present, &taken, now);
    }
    close(ledger, present, &mut wants, &mut decided);
    decided.withdrawn.extend(carry::give_up(ledger, present.household, now));
    for finding in present.open {
        soften(ledger, finding, now);
        for (person, reason) in hearings(ledger, present.household, finding, now) {
            let item = Item { finding: (*finding).clone(), telling: finding.telling.clone(), reason };
            wants
                .entry((person.clone(), finding.cat.clone()))
                .or_default()
                .push(Want::Finding(Box::new(item)));
        }
    }
    want_summaries(ledger, present.household, &mut wants);
    for ((person, cat), wanted) in wants {
        let Some(person) = present.household.person(&person) else { continue };
        speak(ledger, present, (person, cat.as_ref()), wanted, now, &mut decided);
    }
    carry::open_next_ways(ledger, present.household, now);
    decided.wake = wake(ledger, present, now);
    decided
}

/// Enters what was said, as the record has it, without deciding anything: for rebuilding the ledger.
pub fn recall(ledger: &mut Ledger, present: Present<'_>, event: &Event, said: &Said, now: Moment) {
    note(ledger, present, event, now);
    for change in present.changes.iter().filter(|change| change.became == Became::Cleared) {
        ledger.spoken.remove(&change.finding.id);
    }
    carry::give_up(ledger, present.household, now);
    for id in &said.withdrawn {
        ledger.withdraw(id);
    }
    for finding in present.open {
        soften(ledger, finding, now);
    }
    for message in &said.messages {
        if message.reason == Reason::Summary {
            ledger.missed.remove(&message.person);
        }
        post(ledger, present, message);
    }
    carry::open_next_ways(ledger, present.household, now);
}

fn note(ledger: &mut Ledger, present: Present<'_>, event: &Event, now: Moment) -> Vec<Taken> {
    match event {
        Event::Answer(answer) => answers::take(ledger, answer, present.open, now),
        Event::Outcome { parcel, outcome } => {
            carry::settle(ledger, parcel, outcome, now);
            Vec::new()
        }
        _ => Vec::new(),
    }
}

fn post(ledger: &mut Ledger, present: Present<'_>, message: &Message) {
    // "Taken" and "over" speak about a finding without telling it.
    let tells = !matches!(message.reason, Reason::Taken | Reason::Over | Reason::Summary | Reason::Test);
    let told: Vec<(FindingId, Severity, u32)> = present
        .open
        .iter()
        .filter(|finding| tells && message.findings.contains(&finding.id))
        .map(|finding| (finding.id.clone(), finding.severity, finding.step))
        .collect();
    ledger.post(message, present.household, &told);
}

fn want_taken(wants: &mut Wants, present: Present<'_>, taken: &Taken, now: Moment) {
    let Some(finding) = present.open.iter().find(|finding| finding.id == taken.finding) else { return };
    // Who was only told of a warning learns nothing they need from "taken".
    if finding.severity < Severity::Critical {
        return;
    }
    for person in &taken.others {
        let want = Want::Taken { finding: Box::new((*finding).clone()), by: taken.by.clone(), at: now };
        wants.entry((person.clone(), finding.cat.clone())).or_default().push(want);
    }
}

/// What is over leaves the ledger; messages about it that are still on their way are withdrawn, and those who
/// heard of it hear that it is over, if that is worth saying.
fn close(ledger: &mut Ledger, present: Present<'_>, wants: &mut Wants, decided: &mut Decided) {
    for change in present.changes.iter().filter(|change| change.became == Became::Cleared) {
        let id = &change.finding.id;
        let spoken = ledger.spoken.remove(id).unwrap_or_default();
        let waiting: Vec<MessageId> = ledger
            .outbox
            .values()
            .filter(|p| p.message.findings.contains(id))
            .map(|p| p.message.id.clone())
            .collect();
        for message in &waiting {
            withdraw(ledger, message, present.open, decided);
        }
        let Some(over) = &change.over else { continue };
        for (person, _) in spoken.heard.iter().filter(|(_, heard)| !waiting.contains(&heard.message)) {
            let item = Item { finding: change.finding.clone(), telling: over.clone(), reason: Reason::Over };
            wants
                .entry((person.clone(), change.finding.cat.clone()))
                .or_default()
                .push(Want::Finding(Box::new(item)));
        }
    }
}

/// Takes a message off its way. What it would have told and still holds counts as not told to its person.
fn withdraw(ledger: &mut Ledger, id: &MessageId, open: &[&Finding], decided: &mut Decided) {
    let Some(pending) = ledger.outbox.remove(id) else { return };
    for finding in open.iter().filter(|finding| pending.message.findings.contains(&finding.id)) {
        if let Some(spoken) = ledger.spoken.get_mut(&finding.id)
            && spoken.heard.get(&pending.message.person).is_some_and(|heard| heard.message == *id)
        {
            spoken.heard.remove(&pending.message.person);
        }
    }
    decided.withdrawn.push(id.clone());
}

/// Lets the ledger follow a finding down, so that a later rise speaks again; and lets answers run out.
fn soften(ledger: &mut Ledger, finding: &Finding, now: Moment) {
    let Some(spoken) = ledger.spoken.get_mut(&finding.id) else { return };
    for heard in spoken.heard.values_mut().filter(|heard| heard.severity > finding.severity) {
        heard.severity = finding.severity;
        heard.count = 1;
    }
    let critical = finding.severity == Severity::Critical;
    if !critical {
        spoken.urgent_since = None;
    } else if spoken.answered.is_none() && spoken.urgent_since.is_none() {
        spoken.urgent_since = Some(now);
    }
    let void = |answered: &Answered| {
        finding.severity > answered.severity || answered.until.is_some_and(|until| until <= now)
    };
    if spoken.answered.as_ref().is_some_and(void) {
        spoken.answered = None;
        spoken.returned = true;
        if critical {
            spoken.urgent_since = Some(now);
        }
    }
}

/// Who must hear of a finding now, and why.
fn hearings(
    ledger: &Ledger,
    household: &Household,
    finding: &Finding,
    now: Moment,
) -> Vec<(PersonName, Reason)> {
    let nothing = Spoken::default();
    let spoken = ledger.spoken.get(&finding.id).unwrap_or(&nothing);
    if spoken.answered.is_some() {
        // Someone is on it: only more to say is said, and only to those who know of it.
        return spoken
            .heard
            .iter()
            .filter(|(_, heard)| finding.step > heard.step)
            .map(|(person, _)| (person.clone(), Reason::More))
            .collect();
    }
    let called = called(household, finding, spoken, now);
    called
        .into_iter()
        .filter_map(|person| {
            let heard = spoken.heard.get(&person.name);
            reason(ledger, finding, spoken, heard, now).map(|reason| (person.name.clone(), reason))
        })
        .collect()
}

/// Whom a finding calls on at `now`: for a critical one that nobody answers, more people as time goes by.
fn called<'a>(household: &'a Household, finding: &Finding, spoken: &Spoken, now: Moment) -> Vec<&'a Person> {
    let order = order(household, now);
    let enough =
        |person: &&Person| finding.severity == Severity::Critical || person.receives <= finding.severity;
    match finding.audience {
        Audience::Everyone => order.into_iter().filter(enough).collect(),
        Audience::Owner => {
            order.into_iter().filter(|p| p.name == household.home.owner).filter(enough).collect()
        }
        Audience::OnDuty => {
            let unanswered = spoken.urgent_since.map_or(0.0, |since| now.minutes_since(since));
            let stage =
                if finding.severity == Severity::Critical { unanswered / ESCALATE_MINUTES } else { 0.0 };
            let many = match stage {
                s if s < 1.0 => 1,
                s if s < 2.0 => 2,
                _ => order.len(),
            };
            let duty = on_duty(household, now);
            order
                .into_iter()
                .take(many)
                .filter(|p| p.name == *duty || finding.severity == Severity::Critical)
                .filter(enough)
                .collect()
        }
    }
}

fn reason(
    ledger: &Ledger,
    finding: &Finding,
    spoken: &Spoken,
    heard: Option<&Heard>,
    now: Moment,
) -> Option<Reason> {
    let Some(heard) = heard else {
        let first = spoken.heard.is_empty()
            || finding.severity < Severity::Critical
            || finding.audience != Audience::OnDuty;
        return Some(if first { Reason::First } else { Reason::Escalated });
    };
    if finding.severity > heard.severity {
        return Some(Reason::Worse);
    }
    if spoken.returned && spoken.urgent_since.is_some_and(|since| heard.last < since) {
        return Some(Reason::Returned);
    }
    if finding.step > heard.step {
        return Some(Reason::More);
    }
    let again_at = repeat_at(finding, heard)?;
    // While the last one is still on its way, another one would only stand in the queue behind it.
    (again_at <= now && !ledger.is_pending(&heard.message)).then_some(Reason::Repeat)
}

/// When a finding that nobody answers is told again to someone who has heard of it.
fn repeat_at(finding: &Finding, heard: &Heard) -> Option<Moment> {
    match finding.severity {
        Severity::Critical => Some(heard.last + minutes(REPEAT_MINUTES)),
        Severity::Warning if finding.repeats && heard.count == 1 => {
            Some(heard.last + minutes(REPEAT_WARNING_MINUTES))
        }
        _ => None,
    }
}

fn want_summaries(ledger: &mut Ledger, household: &Household, wants: &mut Wants) {
    let works = |person: &PersonName| {
        household.person(person).is_some_and(|p| p.channels.iter().any(|c| !ledger.channels.contains_key(c)))
    };
    let back: Vec<PersonName> = ledger.missed.keys().filter(|person| works(person)).cloned().collect();
    for person in back {
        let Some(missed) = ledger.missed.remove(&person) else { continue };
        wants.entry((person, None)).or_default().push(Want::Summary(missed));
    }
}

/// Writes what one person is to hear about one cat into one message, together with what still waits for them.
fn speak(
    ledger: &mut Ledger,
    present: Present<'_>,
    to: (&Person, Option<&CatName>),
    mut wanted: Vec<Want>,
    now: Moment,
    decided: &mut Decided,
) {
    let (person, cat) = to;
    let waiting: Vec<MessageId> = ledger
        .outbox
        .values()
        .filter(|p| {
            p.message.person == person.name && p.message.cat.as_ref() == cat && can_wait(p.message.reason)
        })
        .filter(|p| p.ways.iter().all(|way| way.attempts == 0) && p.message.due > now)
        .map(|p| p.message.id.clone())
        .collect();
    for id in waiting {
        let Some(pending) = ledger.outbox.remove(&id) else { continue };
        decided.withdrawn.push(id);
        for finding in present.open.iter().filter(|finding| pending.message.findings.contains(&finding.id)) {
            if !wanted.iter().any(|want| want.finding() == Some(&finding.id)) {
                let item = Item {
                    finding: (*finding).clone(),
                    telling: finding.telling.clone(),
                    reason: pending.message.reason,
                };
                wanted.push(Want::Finding(Box::new(item)));
            }
        }
    }
    let quiet = quiet(person.quiet, person.timezone, now).filter(|quiet| quiet.from <= now);
    for message in write(present.household, person, cat, wanted, quiet, now) {
        post(ledger, present, &message);
        decided.messages.push(message);
    }
}

fn can_wait(reason: Reason) -> bool {
    matches!(reason, Reason::First | Reason::More | Reason::Worse | Reason::Repeat)
}

fn wake(ledger: &Ledger, present: Present<'_>, now: Moment) -> Option<Moment> {
    let mut times: Vec<Moment> = Vec::new();
    for pending in ledger.outbox.values() {
        times.extend(pending.message.best_before);
        for way in pending.ways.iter().filter(|way| !way.refused) {
            times.push(open_at(ledger, pending, way));
        }
        times.extend(pending.ways.last().and_then(|way| patience_ends(way, pending.message.severity)));
    }
    for finding in present.open {
        let Some(spoken) = ledger.spoken.get(&finding.id) else { continue };
        times.extend(spoken.answered.as_ref().and_then(|answered| answered.until));
        if spoken.answered.is_none() {
            times.extend(spoken.heard.values().filter_map(|heard| repeat_at(finding, heard)));
            if let Some(since) = spoken.urgent_since {
                times.extend([1.0, 2.0].map(|stage| since + minutes(stage * ESCALATE_MINUTES)));
            }
        }
    }
    for state in ledger.channels.values() {
        times.extend(state.failing_since.map(|since| since + minutes(carry::TROUBLE_MINUTES)));
    }
    times.extend(super::roster::duty_changes(present.household, now).first().map(|(at, _)| *at));
    times.into_iter().filter(|at| *at > now).min()
}

/// A critical finding that nobody answers goes to the next person after this, and after twice this to everyone.
const ESCALATE_MINUTES: f64 = 10.0;
const REPEAT_MINUTES: f64 = 10.0;
const REPEAT_WARNING_MINUTES: f64 = 30.0;
