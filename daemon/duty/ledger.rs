//! What has been said: to whom, how severe it was then, what they answered, and what is still on its way.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::words::{
    Channel, FindingId, Household, Message, MessageId, Moment, Person, PersonName, Reason, Severity, minutes,
};

/// What one person has heard of one finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Heard {
    /// The worst that was told.
    pub severity: Severity,
    /// The finding's step when it was last told.
    pub step: u32,
    /// When it was last told, or will be: the message's due time.
    pub last: Moment,
    /// How often it was told at this severity, repeats counted.
    pub count: u32,
    /// The message that told it last.
    pub message: MessageId,
    /// Whether that message was taken off its way before any server had it, so that it has to be told anew.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub lost: bool,
}

/// An answer to a finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answered {
    /// Who answered.
    pub by: PersonName,
    /// When.
    pub at: Moment,
    /// How severe it was then; if it gets worse the answer no longer counts.
    pub severity: Severity,
    /// When it comes back if it still holds; `None` for what is not critical.
    pub until: Option<Moment>,
    /// Whether it was only put off: then anybody may still take it on.
    #[serde(default)]
    pub put_off: bool,
    /// Who had the cat then, or has it since new settings came.
    #[serde(default)]
    pub duty: Option<PersonName>,
}

/// All that was said about one finding.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Spoken {
    /// By person, messages still on their way included.
    pub heard: BTreeMap<PersonName, Heard>,
    /// Those whose server has taken at least one message about it.
    #[serde(default)]
    pub reached: BTreeSet<PersonName>,
    /// Since when it is critical and unanswered: what escalation counts from.
    #[serde(default)]
    pub urgent_since: Option<Moment>,
    /// The answer that counts, if any.
    #[serde(default)]
    pub answered: Option<Answered>,
    /// When an answer last ran out or was overtaken.
    #[serde(default)]
    pub returned: Option<Moment>,
}

impl Spoken {
    /// Lets an answer run out whose time has come, or whose cat is in other hands since `left`: whoever takes it over has
    /// not answered. Its own end counts, and not when somebody looked: that look may not be in the record. For the same
    /// reason it comes before anything else that a turn does with answers.
    ///
    /// Who has heard of it before hears of it again, after a hand-over only of what is about glucose.
    pub(super) fn run_out(&mut self, left: Option<Moment>, glucose: bool, now: Moment) {
        let over = |answered: &Answered| answered.until.filter(|until| *until <= now);
        let ends = |answered: &Answered| over(answered).into_iter().chain(left).min();
        let Some(end) = self.answered.as_ref().and_then(ends) else { return };
        let Some(answered) = self.answered.take() else { return };
        if glucose || over(&answered) == Some(end) {
            self.returned = Some(end);
        }
        self.urgent_since = Some(end).filter(|_| answered.severity == Severity::Critical);
    }
}

/// One way of one message to its person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Way {
    /// The channel.
    pub channel: Channel,
    /// Attempts made.
    pub attempts: u32,
    /// Not before this.
    pub next: Moment,
    /// When the first attempt failed.
    pub failing_since: Option<Moment>,
    /// What the last failure was.
    pub why: Option<String>,
    /// Whether it is given up.
    pub refused: bool,
}

/// A message on its way, with the ways opened for it so far.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pending {
    /// The message.
    pub message: Message,
    /// Ways opened so far, the preferred one first.
    pub ways: Vec<Way>,
}

/// How a channel is doing, over all messages.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ChannelState {
    /// Failures in a row.
    pub failures: u32,
    /// Since when it fails.
    pub failing_since: Option<Moment>,
    /// What the last failure was.
    pub why: Option<String>,
    /// When it failed last.
    pub last_failure: Option<Moment>,
    /// Until when the server asked us to wait.
    pub hint: Option<Moment>,
    /// Whether it refused for good: wrong address or password.
    #[serde(default)]
    pub refused: bool,
}

/// A message that could not be carried before it stopped making sense.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Missed {
    /// How many.
    pub count: u32,
    /// The title of the last one.
    pub last: String,
    /// When the last one was decided on.
    pub at: Moment,
    /// How many of them the summary on its way speaks of.
    #[serde(default)]
    pub told: u32,
}

/// Everything said and still to be said. Bounded: findings that cleared leave, messages that arrived leave.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Ledger {
    /// By finding.
    pub spoken: BTreeMap<FindingId, Spoken>,
    /// On the way.
    pub outbox: BTreeMap<MessageId, Pending>,
    /// By channel.
    #[serde(with = "as_pairs")]
    pub channels: BTreeMap<Channel, ChannelState>,
    /// What could not be said in time, by person.
    #[serde(default)]
    pub missed: BTreeMap<PersonName, Missed>,
    /// What was told within the last hour that is not critical, by person: when it was due, and its name.
    #[serde(default)]
    pub pace: BTreeMap<PersonName, Vec<(Moment, MessageId)>>,
}

impl Ledger {
    /// Takes a message on: it is now on its way, and its person counts as told.
    pub fn post(
        &mut self,
        message: &Message,
        household: &Household,
        findings: &[(FindingId, Severity, u32)],
    ) {
        let Some(person) = household.person(&message.person) else {
            return;
        };
        for (id, severity, step) in findings {
            self.hear(id, *severity, *step, message);
        }
        if message.severity < Severity::Critical && !matches!(message.reason, Reason::Noted | Reason::Test) {
            let told = self.pace.entry(message.person.clone()).or_default();
            told.retain(|(due, _)| *due > message.created - minutes(HOUR));
            told.push((message.due, message.id.clone()));
            told.sort();
        }
        if message.reason == Reason::Summary
            && let Some(missed) = self.missed.get_mut(&message.person)
        {
            missed.told = missed.count;
        }
        let first = person.channels.first().cloned();
        let ways = first.map(|channel| Way::new(channel, message.due)).into_iter().collect();
        self.outbox.insert(message.id.clone(), Pending { message: message.clone(), ways });
    }

    fn hear(&mut self, id: &FindingId, severity: Severity, step: u32, message: &Message) {
        let spoken = self.spoken.entry(id.clone()).or_default();
        if severity == Severity::Critical && spoken.urgent_since.is_none() {
            spoken.urgent_since = Some(message.created);
        }
        let before = spoken.heard.get(&message.person).filter(|heard| heard.severity == severity);
        let count = match (message.reason, before) {
            // Written anew before it went out it is the same repeat.
            (Reason::Repeat, Some(heard)) => heard.count + u32::from(!heard.lost),
            (Reason::More, Some(heard)) => heard.count,
            _ => 1,
        };
        let heard =
            Heard { severity, step, last: message.due, count, message: message.id.clone(), lost: false };
        spoken.heard.insert(message.person.clone(), heard);
    }

    /// Until when what is not critical has to gather for a person, who was told much within the last hour.
    pub(super) fn not_before(&self, person: &PersonName, now: Moment) -> Option<Moment> {
        let told = self.pace.get(person)?;
        let hour: Vec<Moment> =
            told.iter().map(|(due, _)| *due).filter(|due| *due > now - minutes(HOUR)).collect();
        let first = hour.len().checked_sub(AN_HOUR_MAX)?;
        hour.get(first).map(|due| *due + minutes(HOUR))
    }

    /// A message will not be told after all: it does not count for the pace.
    pub(super) fn forget_pace(&mut self, id: &MessageId) {
        for told in self.pace.values_mut() {
            told.retain(|(_, message)| message != id);
        }
        self.pace.retain(|_, told| !told.is_empty());
    }

    /// Takes a message off its way. What it would have told, and none has yet, counts as not told to its person.
    pub(super) fn unsay(&mut self, id: &MessageId) {
        let Some(pending) = self.outbox.remove(id) else { return };
        self.forget_pace(id);
        let person = &pending.message.person;
        for finding in &pending.message.findings {
            let Some(spoken) = self.spoken.get_mut(finding) else { continue };
            if spoken.heard.get(person).is_some_and(|heard| heard.message == *id) {
                spoken.heard.remove(person);
            }
        }
    }

    /// Takes a message off its way that no server has: whoever was to hear a finding by it has not.
    pub(super) fn take_off(&mut self, id: &MessageId) -> Option<Pending> {
        for heard in self.heard_by(id).map(|(_, heard)| heard) {
            heard.lost = true;
        }
        self.outbox.remove(id)
    }

    /// A server has a message that had been taken off its way: it was under way by then.
    pub(super) fn arrived_late(&mut self, id: &MessageId) {
        let reached: Vec<(FindingId, PersonName)> = self
            .heard_by(id)
            .map(|(names, heard)| {
                heard.lost = false;
                names
            })
            .collect();
        for (finding, person) in reached {
            self.spoken.entry(finding).or_default().reached.insert(person);
        }
    }

    /// What was last heard by this message.
    fn heard_by(&mut self, id: &MessageId) -> impl Iterator<Item = ((FindingId, PersonName), &mut Heard)> {
        self.spoken.iter_mut().flat_map(move |(finding, spoken)| {
            let by = spoken.heard.iter_mut().filter(move |(_, heard)| heard.message == *id);
            by.map(|(person, heard)| ((finding.clone(), person.clone()), heard))
        })
    }

    /// Whether a person has a channel that is not known to fail.
    pub(super) fn can_reach(&self, person: &Person) -> bool {
        person.channels.iter().any(|channel| !self.channels.contains_key(channel))
    }

    /// Whether the message has not been carried yet, by any channel.
    #[must_use]
    pub fn is_pending(&self, id: &MessageId) -> bool {
        self.outbox.contains_key(id)
    }
}

/// Minutes.
const HOUR: f64 = 60.0;
/// So many messages an hour that are not critical reach a person one by one; what comes then gathers into one.
const AN_HOUR_MAX: usize = 6;

impl Way {
    /// A way not tried yet.
    #[must_use]
    pub fn new(channel: Channel, next: Moment) -> Self {
        Self { channel, attempts: 0, next, failing_since: None, why: None, refused: false }
    }
}

/// JSON has no maps with structured keys: kept as a list of pairs.
mod as_pairs {
    use std::collections::BTreeMap;

    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<K: Serialize, V: Serialize, S: Serializer>(
        map: &BTreeMap<K, V>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(map)
    }

    pub(super) fn deserialize<'de, K, V, D>(deserializer: D) -> Result<BTreeMap<K, V>, D::Error>
    where
        K: Deserialize<'de> + Ord,
        V: Deserialize<'de>,
        D: Deserializer<'de>,
    {
        Ok(Vec::<(K, V)>::deserialize(deserializer)?.into_iter().collect())
    }
}
