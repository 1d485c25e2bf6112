//! Makes messages of what one person is to hear: which go together, when they are due, how long they make sense.

use sha2::{Digest, Sha256};

use super::carry::tells;
use super::ledger::Missed;
use super::policy::Noted;
use super::roster::Quiet;
use crate::tell::{Reader, Told, answer_ways, message_words};
use crate::words::{
    Arg, Button, CatName, Finding, FindingId, Household, Message, MessageId, Moment, Person, PersonName,
    Reason, Severity, Span, Telling, Verdict, Watch, minutes,
};

/// One finding to be told to one person.
#[derive(Clone, Debug)]
pub(super) struct Item {
    pub(super) finding: Finding,
    pub(super) telling: Telling,
    pub(super) reason: Reason,
    /// That it is over is only that nothing more is known.
    pub(super) unsure: bool,
    /// Since when nobody has answered it.
    pub(super) unanswered: Option<Moment>,
}

impl Item {
    pub(super) fn new(finding: Finding, telling: Telling, reason: Reason) -> Self {
        Self { finding, telling, reason, unsure: false, unanswered: None }
    }
}

/// One thing that one person is to hear.
#[derive(Clone, Debug)]
pub(super) enum Want {
    /// A finding, or that it is over.
    Finding(Box<Item>),
    /// Somebody else has taken a finding on.
    Taken { finding: Box<Finding>, by: PersonName, at: Moment },
    /// What a button of theirs came to.
    Noted(Box<Noted>),
    /// What could not be said in time.
    Summary(Missed),
}

impl Want {
    pub(super) fn finding(&self) -> Option<&FindingId> {
        match self {
            Self::Finding(item) if tells(item.reason) => Some(&item.finding.id),
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
    (quiet, pace): (Option<Quiet>, Pace),
    now: Moment,
) -> Vec<Message> {
    let mut open = Vec::new();
    let mut over = Vec::new();
    let mut rest = Vec::new();
    for want in wanted {
        match want {
            Want::Finding(item) if item.reason == Reason::Over => over.push(*item),
            Want::Finding(item) if item.reason == Reason::Eased => rest.push(*item),
            Want::Finding(item) => open.push(*item),
            Want::Taken { finding, by, at } => rest.push(taken(household, *finding, &by, at)),
            Want::Noted(noted) => rest.push(note(*noted, now)),
            Want::Summary(missed) => rest.push(summary(missed, now)),
        }
    }
    open.sort_by_key(|item| (std::cmp::Reverse(item.finding.severity), item.finding.watch));
    over.sort_by_key(|item| (std::cmp::Reverse(severity(item)), item.finding.watch));
    let desk = Desk { household, person, cat, quiet, now, pace };
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
    Item::new(finding, telling, Reason::Taken)
}

fn note(noted: Noted, now: Moment) -> Item {
    let severity = if noted.ask { Severity::Warning } else { Severity::Notice };
    let mut finding = plain(severity, now, noted.telling.clone());
    finding.watch = Watch::DoseDue;
    finding.id = noted.finding.unwrap_or(FindingId(String::new()));
    finding.cat = Some(noted.cat);
    Item::new(finding, noted.telling, Reason::Noted)
}

fn summary(missed: Missed, now: Moment) -> Item {
    let telling = Telling::new("summary")
        .with("count", Arg::Count(i64::from(missed.count)))
        .with("time", Arg::Time(missed.at))
        .with("last", Arg::Text(missed.last));
    let finding = Finding { since: missed.at, ..plain(Severity::Notice, now, telling.clone()) };
    Item::new(finding, telling, Reason::Summary)
}

/// What is told without being held.
fn plain(severity: Severity, now: Moment, telling: Telling) -> Finding {
    Finding {
        id: FindingId::new(None, Watch::DeliveryFailing, "summary", now),
        cat: None,
        watch: Watch::DeliveryFailing,
        about: String::new(),
        severity,
        since: now,
        opened_at: now,
        step: 0,
        telling,
        basis: None,
        look_again: None,
        audience: crate::words::Audience::OnDuty,
        best_before: None,
        glucose: false,
        repeats: false,
    }
}

struct Desk<'a> {
    household: &'a Household,
    person: &'a Person,
    cat: Option<&'a CatName>,
    quiet: Option<Quiet>,
    now: Moment,
    pace: Pace,
}

/// How fast one person may be told what is not critical.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Pace {
    /// Not before this: there was much within the last hour, and what comes gathers longer.
    pub(super) not_before: Option<Moment>,
    /// When what waits already was due: news must not push it ahead of itself for ever.
    pub(super) waits_for: Option<Moment>,
}

impl Desk<'_> {
    fn message(&self, items: &[Item]) -> Message {
        let tellings: Vec<Telling> = items.iter().map(|i| addressed(&i.telling, self.person)).collect();
        let told: Vec<Told<'_>> = items
            .iter()
            .zip(&tellings)
            .map(|(i, telling)| Told {
                finding: &i.finding,
                telling,
                reason: i.reason,
                unanswered: i.unanswered,
            })
            .collect();
        let due = self.due(items, items.iter().map(severity).max().unwrap_or_default());
        // Read when it is due: "tomorrow" written in the evening is wrong in the morning.
        let reader = Reader::person(self.person, self.household, due);
        let words = message_words(&reader, &told, self.person.private);
        // `write` never makes an empty group.
        let worst = items.iter().map(severity).max().unwrap_or_default();
        let reason = items.first().map_or(Reason::First, |i| i.reason);
        let buttons = self.buttons(items, worst, &reader);
        let named = items.iter().map(|i| i.finding.id.clone()).filter(|id| !id.0.is_empty());
        let findings: Vec<FindingId> = named.collect();
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
            ways: buttons.first().map(|button| answer_ways(&reader, self.person, self.cat, button.verdict)),
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
        if items.iter().all(|i| matches!(i.reason, Reason::Taken | Reason::Noted)) {
            return self.now;
        }
        let gathered = self.now + minutes(self.household.home.gather_seconds / 60.0);
        let gentle = items.iter().all(|i| matches!(i.reason, Reason::Over | Reason::Eased));
        let wakes = match worst {
            Severity::Critical => return self.now,
            Severity::Warning => self.person.wake_for_warnings || items.iter().any(|i| i.finding.glucose),
            // Who was woken by a low wants to know that it is over; it comes without a sound.
            Severity::Notice => {
                gentle && items.iter().any(|i| i.finding.glucose || i.finding.severity == Severity::Critical)
            }
        };
        let gathered = self.pace.waits_for.map_or(gathered, |due| due.min(gathered)).max(self.now);
        // However much was said within the hour: nobody waits for a low.
        let low = |i: &Item| i.finding.glucose && severity(i) >= Severity::Warning;
        let not_before = self.pace.not_before.filter(|_| !items.iter().any(low));
        let gathered = not_before.map_or(gathered, |at| at.max(gathered));
        match self.quiet {
            Some(quiet) if !wakes && quiet.from <= self.now => gathered.max(quiet.until),
            // What would gather into the night is said before it begins: in the morning it may be too late.
            Some(quiet) if !wakes && quiet.from <= gathered => (quiet.from - Span::seconds(1)).max(self.now),
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
        // What a press came to matters while its phone is in the hand.
        let pressed = items.iter().any(|i| i.reason == Reason::Noted).then(|| self.now + minutes(60.0));
        let own = own.into_iter().chain(pressed).min();
        let usual = self.due(items, worst) + minutes(life);
        own.map_or(usual, |own| own.min(usual)).max(self.now + minutes(1.0))
    }

    fn buttons(&self, items: &[Item], worst: Severity, reader: &Reader<'_>) -> Vec<Button> {
        let Some(first) = items.first() else { return Vec::new() };
        let word = |key: &str, verdict| Button {
            label: reader.word(key),
            verdict,
            finding: first.finding.id.clone(),
        };
        let named = !first.finding.id.0.is_empty();
        if first.reason == Reason::Noted && worst == Severity::Warning {
            return named.then(|| word("button-given-too", Verdict::GivenToo)).into_iter().collect();
        }
        if first.telling.key == "dose-noted" && named {
            return vec![word("button-not-given", Verdict::NotGiven)];
        }
        if !tells(first.reason) {
            return Vec::new();
        }
        buttons(self.household, self.person, &first.finding, worst, reader)
    }
}

/// What a person can answer to a finding that is told to them, where `worst` is the worst told with it. A message has
/// these buttons, and so has whatever else shows the finding to them.
#[must_use]
pub fn buttons(
    household: &Household,
    person: &Person,
    finding: &Finding,
    worst: Severity,
    reader: &Reader<'_>,
) -> Vec<Button> {
    let button = |label: String, verdict| Button { label, verdict, finding: finding.id.clone() };
    let word = |key: &str, verdict| button(reader.word(key), verdict);
    match finding.watch {
        // Where the plan says not to inject there is nothing to be given.
        Watch::BeforeDose if worst == Severity::Notice => vec![word("button-given", Verdict::Given)],
        Watch::DoseDue | Watch::DoseLate => vec![word("button-given", Verdict::Given)],
        _ if worst < Severity::Warning => Vec::new(),
        // What is not to be done yet cannot be put off.
        Watch::DoseStop => vec![word("button-taken", Verdict::Taken)],
        Watch::LowNow | Watch::LowAhead if person.meter => {
            let limit = finding.cat.as_ref().and_then(|cat| household.cat(cat)).map(|cat| cat.plan.meter_low);
            let meter =
                |key: &str, verdict| limit.map(|limit| button(reader.phrase_with_level(key, limit), verdict));
            let taken = word("button-taken", Verdict::Taken);
            let low = meter("button-meter-low", Verdict::MeterLow);
            let fine = meter("button-meter-fine", Verdict::MeterFine);
            [taken].into_iter().chain(low).chain(fine).collect()
        }
        watch => {
            let mut buttons = vec![word("button-taken", Verdict::Taken)];
            // What is critical cannot be put off.
            if worst < Severity::Critical {
                buttons.push(word("button-later", Verdict::Later));
            }
            if matches!(watch, Watch::SensorSilent | Watch::SensorSuspect) {
                buttons.push(word("button-sensor-fine", Verdict::SensorFine));
            }
            buttons
        }
    }
}

/// A telling in the words for the person it speaks of.
#[must_use]
pub fn addressed(telling: &Telling, person: &Person) -> Telling {
    let mine = telling.args.get("person") == Some(&Arg::Person(person.name.clone()));
    let key = match telling.key.as_str() {
        "hand-over" if mine => "hand-over-you",
        "dose-already" if mine => "dose-already-you",
        key => key,
    };
    Telling { key: key.to_owned(), args: telling.args.clone() }
}

fn severity(item: &Item) -> Severity {
    match item.reason {
        Reason::Over if item.unsure => Severity::Warning,
        Reason::Over | Reason::Eased | Reason::Taken | Reason::Summary => Severity::Notice,
        _ => item.finding.severity,
    }
}
