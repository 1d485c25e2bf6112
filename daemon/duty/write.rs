//! Makes messages of what one person is to hear: which go together, when they are due, how long they make sense.

use sha2::{Digest, Sha256};

use super::carry::tells;
use super::ledger::Missed;
use super::roster::Quiet;
use crate::tell::{Reader, Told, answer_ways, message_words};
use crate::words::{
    Arg, Button, CatName, Finding, FindingId, Household, Message, MessageId, Moment, Person, PersonName,
    Reason, Severity, Telling, Verdict, Watch, minutes,
};

/// One finding to be told to one person.
#[derive(Clone, Debug)]
pub(super) struct Item {
    pub(super) finding: Finding,
    pub(super) telling: Telling,
    pub(super) reason: Reason,
}

/// One thing that one person is to hear.
#[derive(Clone, Debug)]
pub(super) enum Want {
    /// A finding, or that it is over.
    Finding(Box<Item>),
    /// Somebody else has taken a finding on.
    Taken { finding: Box<Finding>, by: PersonName, at: Moment },
    /// What could not be said in time.
    Summary(Missed),
}

impl Want {
    pub(super) fn finding(&self) -> Option<&FindingId> {
        match self {
            Self::Finding(item) if item.reason != Reason::Over => Some(&item.finding.id),
            _ => None,
        }
    }
}

/// Writes the messages: one for what is open, one each for what is over, taken or summed up.
pub(super) fn write(
    household: &Household,
    person: &Person,
    cat: Option<&CatName>,
    wanted: Vec<Want>,
    quiet: Option<Quiet>,
    now: Moment,
) -> Vec<Message> {
    let mut open = Vec::new();
    let mut over = Vec::new();
    let mut rest = Vec::new();
    for want in wanted {
        match want {
            Want::Finding(item) if item.reason == Reason::Over => over.push(*item),
            Want::Finding(item) => open.push(*item),
            Want::Taken { finding, by, at } => rest.push(taken(household, *finding, &by, at)),
            Want::Summary(missed) => rest.push(summary(missed, now)),
        }
    }
    open.sort_by_key(|item| (std::cmp::Reverse(item.finding.severity), item.finding.watch));
    over.sort_by_key(|item| item.finding.watch);
    let desk = Desk { household, person, cat, quiet, now };
    let groups = [open, over].into_iter().filter(|group| !group.is_empty());
    groups.chain(rest.into_iter().map(|item| vec![item])).map(|group| desk.message(&group)).collect()
}

fn taken(household: &Household, finding: Finding, by: &PersonName, at: Moment) -> Item {
    let called = finding
        .cat
        .as_ref()
        .and_then(|cat| household.cat(cat))
        .map_or_else(String::new, |c| c.called.clone());
    let telling = Telling::new("taken")
        .with("cat", Arg::Text(called))
        .with("person", Arg::Person(by.clone()))
        .with("time", Arg::Time(at))
        .with("matter", Arg::Heading(Box::new(finding.telling.clone())));
    Item { finding, telling, reason: Reason::Taken }
}

fn summary(missed: Missed, now: Moment) -> Item {
    let telling = Telling::new("summary")
        .with("count", Arg::Count(i64::from(missed.count)))
        .with("time", Arg::Time(missed.at))
        .with("last", Arg::Text(missed.last));
    let finding = Finding {
        id: FindingId::new(None, Watch::DeliveryFailing, "summary", now),
        cat: None,
        watch: Watch::DeliveryFailing,
        about: String::new(),
        severity: Severity::Notice,
        since: missed.at,
        opened_at: now,
        step: 0,
        telling: telling.clone(),
        basis: None,
        look_again: None,
        audience: crate::words::Audience::OnDuty,
        best_before: None,
        glucose: false,
        repeats: false,
    };
    Item { finding, telling, reason: Reason::Summary }
}

struct Desk<'a> {
    household: &'a Household,
    person: &'a Person,
    cat: Option<&'a CatName>,
    quiet: Option<Quiet>,
    now: Moment,
}

impl Desk<'_> {
    fn message(&self, items: &[Item]) -> Message {
        let told: Vec<Told<'_>> = items
            .iter()
            .map(|i| Told { finding: &i.finding, telling: &i.telling, reason: i.reason })
            .collect();
        let due = self.due(items, items.iter().map(severity).max().unwrap_or_default());
        // Read when it is due: "tomorrow" written in the evening is wrong in the morning.
        let reader = Reader::person(self.person, self.household, due);
        let words = message_words(&reader, &told, self.person.private);
        // `write` never makes an empty group.
        let worst = items.iter().map(severity).max().unwrap_or_default();
        let reason = items.first().map_or(Reason::First, |i| i.reason);
        let buttons = self.buttons(items, worst, &reader);
        let findings: Vec<FindingId> = items.iter().map(|i| i.finding.id.clone()).collect();
        Message {
            id: self.id(items),
            person: self.person.name.clone(),
            cat: self.cat.cloned(),
            reason,
            severity: worst,
            title: words.title,
            text: words.text,
            more: words.more,
            created: self.now,
            due,
            best_before: Some(self.best_before(items, worst)),
            thread: findings.first().map_or_else(String::new, |id| id.0.clone()),
            ways: (!buttons.is_empty()).then(|| answer_ways(&reader, self.person, self.cat)),
            buttons,
            findings,
            private: self.person.private,
        }
    }

    /// The same content gives the same id, so that a decision taken twice is one message.
    fn id(&self, items: &[Item]) -> MessageId {
        let mut hash = Sha256::new();
        hash.update(self.person.name.as_str());
        hash.update(self.now.millis().to_be_bytes());
        for item in items {
            hash.update(item.finding.id.0.as_bytes());
            hash.update(item.finding.step.to_be_bytes());
            hash.update([item.reason as u8, item.finding.severity as u8]);
        }
        let letters = b"abcdefghjkmnpqrstuvwxyz023456789";
        let bytes: [u8; 32] = hash.finalize().into();
        MessageId(bytes.iter().take(8).map(|b| char::from(letters[usize::from(b % 32)])).collect())
    }

    /// Critical goes at once. Other things gather for a minute, so that what belongs together is one message; and
    /// they wait for the morning, except a warning about glucose.
    fn due(&self, items: &[Item], worst: Severity) -> Moment {
        // Who is on their way hears at once that somebody else has come.
        if items.iter().all(|i| i.reason == Reason::Taken) {
            return self.now;
        }
        let gathered = self.now + minutes(self.household.home.gather_seconds / 60.0);
        let gentle = items.iter().all(|i| i.reason == Reason::Over);
        let wakes = match worst {
            Severity::Critical => return self.now,
            Severity::Warning => self.person.wake_for_warnings || items.iter().any(|i| i.finding.glucose),
            // Who was woken by a low wants to know that it is over; it comes without a sound.
            Severity::Notice => {
                gentle && items.iter().any(|i| i.finding.glucose || i.finding.severity == Severity::Critical)
            }
        };
        match self.quiet {
            Some(quiet) if !wakes => gathered.max(quiet.until),
            _ => gathered,
        }
    }

    fn best_before(&self, items: &[Item], worst: Severity) -> Moment {
        let life = match worst {
            Severity::Critical => 60.0,
            Severity::Warning => 6.0 * 60.0,
            Severity::Notice => 48.0 * 60.0,
        };
        // That something is over makes sense long after it itself did.
        let own = items.iter().filter(|i| tells(i.reason)).filter_map(|i| i.finding.best_before).min();
        let usual = self.due(items, worst) + minutes(life);
        own.map_or(usual, |own| own.min(usual)).max(self.now + minutes(1.0))
    }

    fn buttons(&self, items: &[Item], worst: Severity, reader: &Reader<'_>) -> Vec<Button> {
        let Some(first) = items.first() else { return Vec::new() };
        if worst < Severity::Warning || matches!(first.reason, Reason::Over | Reason::Taken | Reason::Summary)
        {
            return Vec::new();
        }
        let button = |key: &str, verdict| Button {
            label: reader.word(key),
            verdict,
            finding: first.finding.id.clone(),
        };
        let mut buttons = vec![button("button-taken", Verdict::Taken)];
        // What is critical cannot be put off.
        if worst < Severity::Critical {
            buttons.push(button("button-later", Verdict::Later));
        }
        if matches!(first.finding.watch, Watch::SensorSilent | Watch::SensorSuspect) {
            buttons.push(button("button-sensor-fine", Verdict::SensorFine));
        }
        buttons
    }
}

fn severity(item: &Item) -> Severity {
    match item.reason {
        Reason::Over | Reason::Taken | Reason::Summary => Severity::Notice,
        _ => item.finding.severity,
    }
}
