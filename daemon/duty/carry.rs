//! What is to be carried now, and what an outcome means for the next try. Carrying itself is done elsewhere.

use serde::{Deserialize, Serialize};

use super::ledger::{ChannelState, Ledger, Missed, Pending, Way};
use crate::words::{
    Channel, ChannelKind, Household, MessageId, Moment, Outcome, Parcel, PersonName, Severity, Span, minutes,
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

/// Takes an outcome in.
pub(super) fn settle(ledger: &mut Ledger, parcel: &Parcel, outcome: &Outcome, now: Moment) {
    match outcome {
        Outcome::Delivered { .. } => {
            ledger.outbox.remove(&parcel.message);
            ledger.channels.remove(&parcel.channel);
        }
        Outcome::Later { why, retry_after_seconds } => {
            let state = failed(ledger, &parcel.channel, why, now);
            state.hint =
                retry_after_seconds.map(|seconds| now + minutes(f64::from(seconds.min(3600)) / 60.0));
            with_way(ledger, parcel, |way| {
                way.attempts += 1;
                way.failing_since.get_or_insert(now);
                way.why = Some(why.clone());
            });
        }
        Outcome::Refused { why } => {
            failed(ledger, &parcel.channel, why, now).refused = true;
            with_way(ledger, parcel, |way| {
                way.attempts += 1;
                way.failing_since.get_or_insert(now);
                way.why = Some(why.clone());
                way.refused = true;
            });
        }
    }
}

fn failed<'a>(ledger: &'a mut Ledger, channel: &Channel, why: &str, now: Moment) -> &'a mut ChannelState {
    let state = ledger.channels.entry(channel.clone()).or_default();
    state.failures = state.failures.saturating_add(1);
    state.failing_since.get_or_insert(now);
    state.last_failure = Some(now);
    state.why = Some(why.to_owned());
    state
}

fn with_way(ledger: &mut Ledger, parcel: &Parcel, change: impl FnOnce(&mut Way)) {
    let pending = ledger.outbox.get_mut(&parcel.message);
    if let Some(way) = pending.and_then(|p| p.ways.iter_mut().find(|way| way.channel == parcel.channel)) {
        change(way);
    }
}

/// Opens the next channel of each message whose present one has failed for long enough, or was refused.
pub(super) fn open_next_ways(ledger: &mut Ledger, household: &Household, now: Moment) {
    for pending in ledger.outbox.values_mut() {
        let Some(person) = household.person(&pending.message.person) else { continue };
        let Some(last) = pending.ways.last() else { continue };
        if patience_ends(last, pending.message.severity).is_some_and(|at| at <= now) {
            let next = person.channels.iter().find(|c| pending.ways.iter().all(|way| way.channel != **c));
            if let Some(channel) = next {
                pending.ways.push(Way::new(channel.clone(), now));
            }
        }
    }
}

/// When the next channel is to be opened because this way does not work; `None` while it has not failed.
pub(super) fn patience_ends(way: &Way, severity: Severity) -> Option<Moment> {
    let since = way.failing_since?;
    let patience = match severity {
        _ if way.refused => 0.0,
        Severity::Critical => NEXT_CHANNEL_CRITICAL_MINUTES,
        Severity::Warning | Severity::Notice => NEXT_CHANNEL_MINUTES,
    };
    Some(since + minutes(patience))
}

/// Takes off what makes no sense any more: past its best-before, or refused on every channel there is. What nobody
/// has heard is counted, to be told in one summary when a channel works again.
pub(super) fn give_up(ledger: &mut Ledger, household: &Household, now: Moment) -> Vec<MessageId> {
    let hopeless = |p: &Pending| {
        let channels = household.person(&p.message.person).map_or(0, |person| person.channels.len());
        p.ways.len() >= channels && p.ways.iter().all(|way| way.refused)
    };
    let stale = |p: &Pending| p.message.best_before.is_some_and(|at| at <= now);
    let gone: Vec<MessageId> =
        ledger.outbox.iter().filter(|(_, p)| stale(p) || hopeless(p)).map(|(id, _)| id.clone()).collect();
    for id in &gone {
        let Some(pending) = ledger.outbox.remove(id) else { continue };
        let message = pending.message;
        // What only waited for the morning and was overtaken has not failed: nobody needs a summary of it.
        if pending.ways.iter().any(|way| way.attempts > 0) {
            let missed = ledger.missed.entry(message.person.clone()).or_insert(Missed {
                count: 0,
                last: String::new(),
                at: message.created,
            });
            missed.count += 1;
            missed.last = message.title;
            missed.at = message.created;
        }
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
