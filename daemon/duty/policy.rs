//! The decision itself: given what has been said, what holds now and what time it is, what is said next and why.

use std::collections::{BTreeMap, BTreeSet};

use super::answers::{self, Taken};
use super::call::{ESCALATE_MINUTES, anew_at, called, hearings, repeat_at};
use super::carry::{self, open_at, patience_ends, tells};
use super::ledger::{Ledger, Pending};
use super::roster::quiet;
use super::set_back::{reconsider, set_back};
use super::write::{Item, Pace, Want, write};
use crate::words::{
    Arg, Became, CatName, Change, Event, Finding, FindingId, Household, Message, MessageId, Moment, Person,
    PersonName, Reason, Said, Severity, Telling, minutes,
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
    /// What a press of a button came to, for whoever pressed it.
    pub noted: Option<&'a Noted>,
}

/// What whoever pressed a button is to hear at once.
#[derive(Clone, Debug, PartialEq)]
pub struct Noted {
    /// Who pressed it.
    pub person: PersonName,
    /// About which cat.
    pub cat: CatName,
    /// Which finding the button spoke of.
    pub finding: Option<FindingId>,
    /// What is to be said.
    pub telling: Telling,
    /// Whether it did not count, and asks whether there is something else to record.
    pub ask: bool,
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

/// Takes in how an attempt at carrying ended, and that the clock was set back. Comes before [`decide`] and [`recall`]: it
/// shows which channels are in trouble, and that is a finding.
///
/// Ways whose time has come are opened first: live that happened at a look which is not in the record, and the outcome
/// of a way that is not open would count for nothing after a restart.
pub fn hear_back(ledger: &mut Ledger, household: &Household, event: &Event, now: Moment) {
    carry::open_next_ways(ledger, household, now);
    if let Event::Outcome { parcel, outcome } = event {
        carry::settle(ledger, parcel, outcome, now);
    }
    if let Event::ClockSet(step) = event {
        set_back(ledger, *step);
    }
}

/// Decides what is said now, and enters it in the ledger.
pub fn decide(ledger: &mut Ledger, present: Present<'_>, event: &Event, now: Moment) -> Decided {
    let mut decided = Decided::default();
    let mut wants = Wants::new();
    settle(ledger, present, event, (&mut wants, &mut decided), now);
    for finding in present.open {
        for (person, reason) in hearings(ledger, present.household, finding, now) {
            let item = item(ledger, finding, reason);
            want(&mut wants, person, finding, Want::Finding(Box::new(item)));
        }
    }
    if let Some(noted) = present.noted {
        let want = Want::Noted(Box::new(noted.clone()));
        wants.entry((noted.person.clone(), Some(noted.cat.clone()))).or_default().push(want);
    }
    want_summaries(ledger, present.household, &mut wants, &mut decided);
    let old = |p: &&Pending| has_waited(p, now) || overtaken(ledger, p, present.open, event, now);
    let anew: BTreeSet<MessageId> =
        ledger.outbox.values().filter(old).map(|p| p.message.id.clone()).collect();
    for message in anew.iter().filter_map(|id| ledger.outbox.get(id)).map(|pending| &pending.message) {
        wants.entry((message.person.clone(), message.cat.clone())).or_default();
    }
    for ((person, cat), wanted) in wants {
        let Some(person) = present.household.person(&person) else { continue };
        speak(ledger, present, (person, cat.as_ref()), (wanted, &anew), now, &mut decided);
    }
    carry::open_next_ways(ledger, present.household, now);
    // What was taken back and said again in the same turn has the same name, and counts.
    let again = |id: &MessageId| decided.messages.iter().any(|message| message.id == *id);
    for id in decided.withdrawn.iter().filter(|id| !again(id)) {
        ledger.forget_pace(id);
    }
    decided.wake = wake(ledger, present, now);
    decided
}

/// Enters what was said, as the record has it, without deciding anything: for rebuilding the ledger.
pub fn recall(ledger: &mut Ledger, present: Present<'_>, event: &Event, said: &Said, now: Moment) {
    settle(ledger, present, event, (&mut Wants::new(), &mut Decided::default()), now);
    for id in &said.withdrawn {
        ledger.take_off(id);
        ledger.forget_pace(id);
    }
    for message in &said.messages {
        post(ledger, present, message);
    }
    carry::open_next_ways(ledger, present.household, now);
}

/// Everything that follows without a decision: settings, answers, what is over, what has run out.
fn settle(
    ledger: &mut Ledger,
    present: Present<'_>,
    event: &Event,
    (wants, decided): (&mut Wants, &mut Decided),
    now: Moment,
) {
    if let Event::Household { .. } = event {
        decided.withdrawn.extend(carry::resettle(ledger, present.household, now));
    }
    if let Event::ClockSet(step) = event {
        decided.withdrawn.extend(reconsider(ledger, *step));
    }
    answers::run_out(ledger, present.household, present.open, event, now);
    if let Event::Answer(answer) = event {
        let taken = answers::take(ledger, present.household, answer, present.open, now);
        let own: Vec<&FindingId> =
            taken.iter().filter(|t| t.by == answer.person).map(|t| &t.finding).collect();
        silence(ledger, present, &own, decided);
        for taken in &taken {
            want_taken(wants, present, taken);
        }
    }
    close(ledger, present, wants, decided);
    ease(ledger, present, wants);
    decided.withdrawn.extend(carry::give_up(ledger, present.household, now));
    for finding in present.open {
        soften(ledger, finding, now);
    }
}

fn post(ledger: &mut Ledger, present: Present<'_>, message: &Message) {
    let told: Vec<(FindingId, Severity, u32)> = present
        .open
        .iter()
        .filter(|finding| tells(message.reason) && message.findings.contains(&finding.id))
        .map(|finding| (finding.id.clone(), finding.severity, finding.step))
        .collect();
    ledger.post(message, present.household, &told);
}

/// A finding in the words of now.
fn item(ledger: &Ledger, finding: &Finding, reason: Reason) -> Item {
    let unanswered = ledger.spoken.get(&finding.id).and_then(|spoken| spoken.urgent_since);
    Item { unanswered, ..Item::new(finding.clone(), finding.telling.clone(), reason) }
}

fn want(wants: &mut Wants, person: PersonName, finding: &Finding, want: Want) {
    wants.entry((person, finding.cat.clone())).or_default().push(want);
}

fn want_taken(wants: &mut Wants, present: Present<'_>, taken: &Taken) {
    let Some(finding) = present.open.iter().find(|finding| finding.id == taken.finding) else { return };
    for person in &taken.others {
        let told = Want::Taken { finding: Box::new((*finding).clone()), by: taken.by.clone(), at: taken.at };
        want(wants, person.clone(), finding, told);
    }
}

/// After an answer: what is still on its way and only calls for somebody, though somebody has come, is withdrawn. News
/// that whoever answered has not heard yet stays on its way: they answered what they knew.
fn silence(ledger: &mut Ledger, present: Present<'_>, taken: &[&FindingId], decided: &mut Decided) {
    let answered = |id: &FindingId| ledger.spoken.get(id).is_some_and(|spoken| spoken.answered.is_some());
    let news = |message: &Message| {
        let open = present.open.iter().filter(|finding| message.findings.contains(&finding.id));
        is_news(message.reason)
            && open.into_iter().any(|finding| is_news_to_whoever_answered(ledger, finding))
    };
    let calls = |message: &Message| {
        let just_now = message.findings.iter().any(|id| taken.contains(&id));
        tells(message.reason) && just_now && message.findings.iter().all(answered) && !news(message)
    };
    let moot: Vec<MessageId> =
        ledger.outbox.values().filter(|p| calls(&p.message)).map(|p| p.message.id.clone()).collect();
    for id in moot {
        ledger.unsay(&id);
        decided.withdrawn.push(id);
    }
}

fn is_news(reason: Reason) -> bool {
    matches!(reason, Reason::More | Reason::Worse)
}

fn is_news_to_whoever_answered(ledger: &Ledger, finding: &Finding) -> bool {
    let Some(spoken) = ledger.spoken.get(&finding.id) else { return false };
    let Some(heard) = spoken.answered.as_ref().and_then(|answered| spoken.heard.get(&answered.by)) else {
        return true;
    };
    let waits = ledger.outbox.get(&heard.message).is_some_and(|pending| is_news(pending.message.reason));
    waits || heard.step < finding.step
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
        for message in waiting {
            ledger.unsay(&message);
            decided.withdrawn.push(message);
        }
        let Some(over) = &change.over else { continue };
        let by = over.args.get("person");
        for person in &spoken.reached {
            // Who ended it knows.
            if by == Some(&Arg::Person(person.clone())) {
                continue;
            }
            let item = Item::new(change.finding.clone(), over.clone(), Reason::Over);
            let item = Item { unsure: change.unsure, ..item };
            want(wants, person.clone(), &change.finding, Want::Finding(Box::new(item)));
        }
    }
}

/// What still holds but has become milder is said to those who heard of it.
fn ease(ledger: &Ledger, present: Present<'_>, wants: &mut Wants) {
    for change in present.changes.iter().filter(|change| change.became == Became::Changed) {
        let spoken = ledger.spoken.get(&change.finding.id);
        let (Some(eased), Some(spoken)) = (&change.over, spoken) else { continue };
        for person in &spoken.reached {
            let item = Item::new(change.finding.clone(), eased.clone(), Reason::Eased);
            want(wants, person.clone(), &change.finding, Want::Finding(Box::new(item)));
        }
    }
}

/// Lets the ledger follow a finding down, so that a later rise speaks again; an answer does not cover what is worse.
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
    if spoken.answered.as_ref().is_some_and(|answered| finding.severity > answered.severity) {
        spoken.answered = None;
        spoken.returned = Some(now);
        spoken.urgent_since = critical.then_some(now);
    } else if let Some(answered) = &mut spoken.answered {
        // An answer to a critical matter that has become milder does not cover its return.
        answered.severity = answered.severity.min(finding.severity);
    }
}

/// A summary of what could not be said: once a channel works again, or, where nothing else is on its way that would
/// show that, as the message that shows it.
fn want_summaries(ledger: &mut Ledger, household: &Household, wants: &mut Wants, decided: &mut Decided) {
    let mut due = Vec::new();
    for (name, missed) in ledger.missed.iter().filter(|(_, missed)| missed.told < missed.count) {
        let Some(person) = household.person(name) else { continue };
        let works = ledger.can_reach(person);
        let mine = ledger.outbox.values().filter(|pending| pending.message.person == *name);
        let (old, others): (Vec<&Pending>, Vec<&Pending>) =
            mine.partition(|pending| pending.message.reason == Reason::Summary);
        if works || others.is_empty() {
            let old: Vec<MessageId> = old.iter().map(|pending| pending.message.id.clone()).collect();
            due.push((name.clone(), missed.clone(), old));
        }
    }
    for (name, missed, old) in due {
        for id in old {
            ledger.outbox.remove(&id);
            decided.withdrawn.push(id);
        }
        wants.entry((name, None)).or_default().push(Want::Summary(missed));
    }
}

/// Whether a message was held back, for the morning say, is due now, and has not been tried: what it says may be old.
fn has_waited(pending: &Pending, now: Moment) -> bool {
    let message = &pending.message;
    may_rewrite(pending) && message.due <= now && message.due - message.created > minutes(WAITED_MINUTES)
}

/// Whether a message that still gathers, or waits for its channel, tells of a reading that `event` has brought a newer
/// one of. What is held back for longer is written anew when its time comes, and not at each reading of the night.
fn overtaken(ledger: &Ledger, pending: &Pending, open: &[&Finding], event: &Event, now: Moment) -> bool {
    let Event::Readings(batch) = event else { return false };
    let message = &pending.message;
    let at_its_carrier = pending.ways.iter().any(|way| open_at(ledger, pending, way) <= now);
    let held_back = message.due - message.created > minutes(WAITED_MINUTES);
    if !may_rewrite(pending) || at_its_carrier || held_back {
        return false;
    }
    let told = open.iter().filter(|finding| message.findings.contains(&finding.id));
    let basis: Vec<Moment> =
        told.filter_map(|finding| finding.basis).map(|basis| basis.measured_at).collect();
    message.cat.as_ref() == Some(&batch.cat) && batch.readings.iter().any(|r| basis.contains(&r.measured_at))
}

fn may_rewrite(pending: &Pending) -> bool {
    let reason = pending.message.reason;
    matches!(reason, Reason::First | Reason::More | Reason::Worse | Reason::Repeat | Reason::Returned)
        && pending.ways.iter().all(|way| way.attempts == 0)
}

/// Whether everything a message on its way tells is told anew: the older word must not arrive after the newer one. Nor must
/// the comfort that something is over or milder, once it is told again.
fn superseded(message: &Message, wanted: &[Want]) -> bool {
    if matches!(message.reason, Reason::Over | Reason::Eased) {
        let matters = || message.findings.iter().map(FindingId::matter);
        return wanted.iter().filter_map(Want::finding).any(|told| matters().any(|m| m == told.matter()));
    }
    let again = |id: &FindingId| wanted.iter().any(|want| want.finding() == Some(id));
    tells(message.reason) && message.findings.iter().all(again)
}

/// Writes what one person is to hear about one cat into one message, together with what still waits for them. What
/// has waited is written anew, in the words of now.
fn speak(
    ledger: &mut Ledger,
    present: Present<'_>,
    (person, cat): (&Person, Option<&CatName>),
    (mut wanted, anew): (Vec<Want>, &BTreeSet<MessageId>),
    now: Moment,
    decided: &mut Decided,
) {
    let waiting: Vec<MessageId> = ledger
        .outbox
        .values()
        .filter(|p| p.message.person == person.name && p.message.cat.as_ref() == cat)
        .filter(|p| {
            let gathers = may_rewrite(p) && p.message.due > now;
            gathers || anew.contains(&p.message.id) || superseded(&p.message, &wanted)
        })
        .map(|p| p.message.id.clone())
        .collect();
    let mut pace = Pace::default();
    for id in waiting {
        let Some(pending) = ledger.take_off(&id) else { continue };
        // What only gets newer words goes out when it was to go out.
        if pending.message.due > now || anew.contains(&id) && !has_waited(&pending, now) {
            pace.waits_for = pace.waits_for.into_iter().chain([pending.message.due]).min();
        }
        ledger.forget_pace(&id);
        decided.withdrawn.push(id);
        first_word(ledger, person, &pending.message, &mut wanted);
        for finding in present.open.iter().filter(|finding| pending.message.findings.contains(&finding.id)) {
            // Who has handed the cat over in the meantime need not hear of it any more, unless it is more of what
            // somebody is on.
            let called =
                called(ledger, present.household, finding, now).iter().any(|p| p.name == person.name);
            let still = called || ledger.spoken.get(&finding.id).is_some_and(|s| s.answered.is_some());
            if still && !wanted.iter().any(|want| want.finding() == Some(&finding.id)) {
                let item = item(ledger, finding, pending.message.reason);
                wanted.push(Want::Finding(Box::new(item)));
            }
        }
    }
    let quiet = quiet(person.quiet, person.timezone, now);
    pace.not_before = ledger.not_before(&person.name, now);
    for message in write(present.household, person, cat, wanted, (quiet, pace), now) {
        post(ledger, present, &message);
        decided.messages.push(message);
    }
}

/// What is told anew before the first word of it went out is that first word: nobody is told "worse" of what they never
/// heard.
fn first_word(ledger: &Ledger, person: &Person, unsaid: &Message, wanted: &mut [Want]) {
    for want in wanted {
        let Want::Finding(item) = want else { continue };
        let id = &item.finding.id;
        let reached = ledger.spoken.get(id).is_some_and(|spoken| spoken.reached.contains(&person.name));
        if unsaid.findings.contains(id) && !reached && matches!(item.reason, Reason::More | Reason::Worse) {
            item.reason = if unsaid.reason == Reason::Escalated { Reason::Escalated } else { Reason::First };
        }
    }
}

fn wake(ledger: &Ledger, present: Present<'_>, now: Moment) -> Option<Moment> {
    let mut times: Vec<Moment> = Vec::new();
    for pending in ledger.outbox.values() {
        times.extend(pending.message.best_before);
        times.push(pending.message.due);
        for way in pending.ways.iter().filter(|way| !way.refused) {
            times.push(open_at(ledger, pending, way));
        }
        let last = pending.ways.last();
        times.extend(last.and_then(|way| patience_ends(&ledger.channels, way, pending.message.severity)));
    }
    for finding in present.open {
        let Some(spoken) = ledger.spoken.get(&finding.id) else { continue };
        times.extend(spoken.answered.as_ref().and_then(|answered| answered.until));
        if spoken.answered.is_none() {
            times.extend(spoken.heard.values().filter_map(|heard| repeat_at(finding, heard)));
            times.extend(spoken.heard.values().filter(|heard| heard.lost).map(anew_at));
            if let Some(since) = spoken.urgent_since {
                times.extend([1.0, 2.0].map(|stage| since + minutes(stage * ESCALATE_MINUTES)));
            }
        }
    }
    for state in ledger.channels.values() {
        times.extend(state.failing_since.map(|since| since + minutes(carry::TROUBLE_MINUTES)));
    }
    times.extend(super::roster::next_look(present.household, now));
    times.into_iter().filter(|at| *at > now).min()
}

/// Longer than things gather, shorter than any night.
const WAITED_MINUTES: f64 = 5.0;
