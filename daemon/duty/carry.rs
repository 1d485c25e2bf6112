//! What is to be carried now, and what an outcome means for the next try. Carrying itself is done elsewhere.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::ledger::{ChannelState, Ledger, Missed, Pending, Way};
use crate::words::{
    Channel, ChannelKind, Household, MessageId, Moment, Outcome, Parcel, PersonName, Reason, Severity, Span,
    minutes,
};

/// The parcels that are to be carried at `now`, the worst and oldest first.
///
/// One that is being carried already is named again; whoever carries knows what is in their hands.
#[must_use]
pub fn due(ledger: &Ledger, now: Moment) -> Vec<Parcel> {
    let mut pending: Vec<&Pending> = ledger.outbox.values().filter(|p| p.message.due <= now).collect();
    pending.sort_by_key(|p| (std::cmp::Reverse(p.message.severity), p.message.created));
    pending
        .into_iter()
        .flat_map(|p| p.ways.iter().map(move |way| (p, way)))
        .filter(|(p, way)| !way.refused && open_at(ledger, p, way) <= now)
        .map(|(p, way)| Parcel {
            message: p.message.id.clone(),
            channel: way.channel.clone(),
            attempt: way.attempts + 1,
        })
        .collect()
}

/// When a way may be tried next, its channel's back-off included.
pub(super) fn open_at(ledger: &Ledger, pending: &Pending, way: &Way) -> Moment {
    let start = way.next.max(pending.message.due);
    let Some(state) = ledger.channels.get(&way.channel) else {
        return start;
    };
    let Some(last) = state.last_failure else {
        return start;
    };
    let pause = last + back_off(state.failures, pending.message.severity, &pending.message.id);
    let hint = state.hint.map(|hint| match pending.message.severity {
        // A server may ask for an hour; a cat in danger cannot wait for it.
        Severity::Critical => hint.min(last + minutes(CRITICAL_HINT_MINUTES_MAX)),
        _ => hint,
    });
    start.max(pause).max(hint.unwrap_or(start))
}

/// The pause after so many failures in a row: 5 s to 10 min, for critical messages to 1 min; stretched by up to a
/// fifth, by the message, so that many messages do not come back in one crowd.
fn back_off(failures: u32, severity: Severity, id: &MessageId) -> Span {
    let step = PAUSES_SECONDS[(failures.max(1) as usize - 1).min(PAUSES_SECONDS.len() - 1)];
    let step = if severity == Severity::Critical { step.min(60.0) } else { step };
    let spread = f64::from(crc32fast::hash(format!("{id}{failures}").as_bytes()) % 1000) / 1000.0;
    minutes(step * (1.0 + 0.2 * spread) / 60.0)
}

/// Takes an outcome in. One that came before, or for a message that has left, only counts if it says that the
/// channel works.
pub(super) fn settle(ledger: &mut Ledger, parcel: &Parcel, outcome: &Outcome, now: Moment) {
    let why = match outcome {
        Outcome::Delivered { .. } => return delivered(ledger, parcel),
        Outcome::Later { why, .. } | Outcome::Refused { why } => why,
    };
    let pending = ledger.outbox.get_mut(&parcel.message);
    let way = pending.and_then(|p| p.ways.iter_mut().find(|way| way.channel == parcel.channel));
    let Some(way) = way.filter(|way| way.attempts + 1 == parcel.attempt) else { return };
    way.attempts += 1;
    way.failing_since.get_or_insert(now);
    way.why = Some(why.clone());
    way.refused = matches!(outcome, Outcome::Refused { .. });
    let state = failed(ledger, &parcel.channel, why, now);
    match outcome {
        Outcome::Later { retry_after_seconds, .. } => {
            let seconds = retry_after_seconds.map(|seconds| f64::from(seconds.min(HINT_SECONDS_MAX)));
            state.hint = seconds.map(|seconds| now + minutes(seconds / 60.0));
        }
        Outcome::Delivered { .. } | Outcome::Refused { .. } => state.refused = true,
    }
}

fn delivered(ledger: &mut Ledger, parcel: &Parcel) {
    ledger.channels.remove(&parcel.channel);
    let Some(Pending { message, .. }) = ledger.outbox.remove(&parcel.message) else {
        return ledger.arrived_late(&parcel.message);
    };
    if tells(message.reason) {
        for finding in &message.findings {
            if let Some(spoken) = ledger.spoken.get_mut(finding) {
                spoken.reached.insert(message.person.clone());
            }
        }
    }
    if message.reason == Reason::Summary
        && let Some(missed) = ledger.missed.get_mut(&message.person)
    {
        missed.count = missed.count.saturating_sub(missed.told);
        missed.told = 0;
        if missed.count == 0 {
            ledger.missed.remove(&message.person);
        }
    }
}

/// "Taken", "over" and "eased" speak about a finding without telling it.
pub(super) fn tells(reason: Reason) -> bool {
    !matches!(
        reason,
        Reason::Taken | Reason::Noted | Reason::Over | Reason::Eased | Reason::Summary | Reason::Test
    )
}

fn failed<'a>(ledger: &'a mut Ledger, channel: &Channel, why: &str, now: Moment) -> &'a mut ChannelState {
    let state = ledger.channels.entry(channel.clone()).or_default();
    state.failures = state.failures.saturating_add(1);
    state.failing_since.get_or_insert(now);
    state.last_failure = Some(now);
    state.why = Some(why.to_owned());
    state
}

/// Opens the next channel of each message whose present one has failed for long enough, or was refused.
pub(super) fn open_next_ways(ledger: &mut Ledger, household: &Household, now: Moment) {
    let channels = &ledger.channels;
    for pending in ledger.outbox.values_mut().filter(|pending| pending.message.due <= now) {
        let Some(person) = household.person(&pending.message.person) else { continue };
        while let Some(last) = pending.ways.last() {
            let ends = patience_ends(channels, last, pending.message.severity);
            let next = person.channels.iter().find(|c| pending.ways.iter().all(|way| way.channel != **c));
            let (Some(channel), true) = (next, ends.is_some_and(|at| at <= now)) else { break };
            pending.ways.push(Way::new(channel.clone(), now));
        }
    }
}

/// When the next channel is to be opened because this way does not work; `None` while it has not failed. A channel
/// that was failing before this message came gets no new time of grace.
pub(super) fn patience_ends(
    channels: &BTreeMap<Channel, ChannelState>,
    way: &Way,
    severity: Severity,
) -> Option<Moment> {
    let state = channels.get(&way.channel);
    let since =
        [way.failing_since, state.and_then(|state| state.failing_since)].into_iter().flatten().min()?;
    let patience = match severity {
        _ if way.refused || state.is_some_and(|state| state.refused) => 0.0,
        Severity::Critical => NEXT_CHANNEL_CRITICAL_MINUTES,
        Severity::Warning | Severity::Notice => NEXT_CHANNEL_MINUTES,
    };
    Some(since + minutes(patience))
}

/// Takes off what makes no sense any more: past its best-before, or refused on every channel there is. What nobody
/// has heard is counted, to be told in one summary when a channel works again; what still holds then is told anew.
pub(super) fn give_up(ledger: &mut Ledger, household: &Household, now: Moment) -> Vec<MessageId> {
    let hopeless = |p: &Pending| {
        let channels = household.person(&p.message.person).map_or(0, |person| person.channels.len());
        p.ways.len() >= channels && p.ways.iter().all(|way| way.refused)
    };
    let stale = |p: &Pending| p.message.best_before.is_some_and(|at| at <= now);
    let gone: Vec<MessageId> =
        ledger.outbox.iter().filter(|(_, p)| stale(p) || hopeless(p)).map(|(id, _)| id.clone()).collect();
    for id in &gone {
        let Some(pending) = ledger.take_off(id) else { continue };
        let message = pending.message;
        if message.reason == Reason::Summary {
            if let Some(missed) = ledger.missed.get_mut(&message.person) {
                missed.told = 0;
            }
            continue;
        }
        // What only waited for the morning and was overtaken has not failed: nobody needs a summary of it.
        if pending.ways.iter().any(|way| way.attempts > 0) {
            let missed = ledger.missed.entry(message.person.clone()).or_insert(Missed {
                count: 0,
                last: String::new(),
                at: message.created,
                told: 0,
            });
            missed.count += 1;
            missed.last = message.title;
            missed.at = message.created;
        }
    }
    gone
}

/// Brings the ledger in step with changed settings: nothing stays on its way to someone, or to an address, that
/// the household no longer has, nor about a cat that it no longer has. Gives what was taken off.
pub(super) fn resettle(ledger: &mut Ledger, household: &Household, now: Moment) -> Vec<MessageId> {
    let known = |name: &PersonName| household.person(name).is_some();
    let cat_known = |p: &Pending| p.message.cat.as_ref().is_none_or(|cat| household.cat(cat).is_some());
    let gone: Vec<MessageId> = ledger
        .outbox
        .iter()
        .filter(|(_, p)| !known(&p.message.person) || !cat_known(p))
        .map(|(id, _)| id.clone())
        .collect();
    for id in &gone {
        ledger.unsay(id);
    }
    for pending in ledger.outbox.values_mut() {
        let Some(person) = household.person(&pending.message.person) else { continue };
        pending.ways.retain(|way| person.channels.contains(&way.channel));
        if let (true, Some(first)) = (pending.ways.is_empty(), person.channels.first()) {
            pending.ways.push(Way::new(first.clone(), now));
        }
    }
    ledger.channels.retain(|channel, _| household.persons.iter().any(|p| p.channels.contains(channel)));
    ledger.missed.retain(|person, _| known(person));
    ledger.pace.retain(|person, _| known(person));
    for spoken in ledger.spoken.values_mut() {
        spoken.heard.retain(|person, _| known(person));
        spoken.reached.retain(known);
    }
    gone
}

/// A channel that does not work, for the person who keeps the daemon. Never names the address.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trouble {
    /// Whose channel.
    pub person: PersonName,
    /// Which way.
    pub kind: ChannelKind,
    /// Since when.
    pub since: Moment,
    /// The last failure.
    pub why: String,
}

/// The channels that have failed for longer than [`TROUBLE_MINUTES`], or refuse.
#[must_use]
pub fn troubles(ledger: &Ledger, household: &Household, now: Moment) -> Vec<Trouble> {
    let mut found = Vec::new();
    for (channel, state) in &ledger.channels {
        let Some(since) = state.failing_since else { continue };
        if !state.refused && now < since + minutes(TROUBLE_MINUTES) {
            continue;
        }
        for person in household.persons.iter().filter(|person| person.channels.contains(channel)) {
            let why = state.why.clone().unwrap_or_default();
            found.push(Trouble { person: person.name.clone(), kind: channel.kind, since, why });
        }
    }
    found
}

const PAUSES_SECONDS: [f64; 7] = [5.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0];
/// No server's wish counts for longer than this.
const HINT_SECONDS_MAX: u32 = 3600;
const NEXT_CHANNEL_CRITICAL_MINUTES: f64 = 2.0;
const NEXT_CHANNEL_MINUTES: f64 = 10.0;
const CRITICAL_HINT_MINUTES_MAX: f64 = 2.0;
/// Shorter outages mend themselves and nobody needs to hear of them.
pub(super) const TROUBLE_MINUTES: f64 = 10.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_stay_bounded_and_are_short_for_critical() {
        let id = MessageId("abc".into());
        let seconds =
            |failures, severity| back_off(failures, severity, &id).num_milliseconds() as f64 / 1000.0;
        assert!((5.0..=6.0).contains(&seconds(1, Severity::Notice)));
        assert!((600.0..=720.0).contains(&seconds(50, Severity::Notice)));
        assert!((60.0..=72.0).contains(&seconds(50, Severity::Critical)));
        assert_eq!(seconds(3, Severity::Notice), seconds(3, Severity::Notice));
    }
}
