//! What becomes of the ledger when a clock that ran ahead is set back: repeats, escalation, back-off and answers go
//! on where they were, instead of waiting until that time has come again.

use super::carry::tells;
use super::ledger::Ledger;
use crate::words::{ClockStep, MessageId};

/// Moves everything that the clock stamped back by the same step.
pub(super) fn set_back(ledger: &mut Ledger, step: ClockStep) {
    for spoken in ledger.spoken.values_mut() {
        step.move_all(spoken.heard.values_mut().map(|heard| &mut heard.last));
        step.move_all(spoken.urgent_since.iter_mut().chain(&mut spoken.returned));
        if let Some(answered) = &mut spoken.answered {
            step.move_all([&mut answered.at].into_iter().chain(&mut answered.until));
        }
    }
    for pending in ledger.outbox.values_mut() {
        let message = &mut pending.message;
        step.move_all([&mut message.created, &mut message.due].into_iter().chain(&mut message.best_before));
        for way in &mut pending.ways {
            step.move_all([&mut way.next].into_iter().chain(&mut way.failing_since));
        }
    }
    for state in ledger.channels.values_mut() {
        step.move_all(state.failing_since.iter_mut().chain(&mut state.last_failure).chain(&mut state.hint));
    }
    step.move_all(ledger.pace.values_mut().flatten().map(|(at, _)| at));
    step.move_all(ledger.missed.values_mut().map(|missed| &mut missed.at));
}

/// Takes back what was held for a time of day by a clock that was wrong: it counts as not told, so it is decided
/// anew, by the right hour. Gives what was taken off.
pub(super) fn reconsider(ledger: &mut Ledger, step: ClockStep) -> Vec<MessageId> {
    let held = ledger.outbox.values().filter(|pending| {
        let untried = pending.ways.iter().all(|way| way.attempts == 0);
        untried && pending.message.due > step.to && tells(pending.message.reason)
    });
    let held: Vec<MessageId> = held.map(|pending| pending.message.id.clone()).collect();
    for id in &held {
        ledger.unsay(id);
    }
    held
}
