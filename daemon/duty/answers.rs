//! What an answer means: who took what on, and until when that counts.

use super::ledger::{Answered, Ledger};
use crate::words::{Answer, Finding, FindingId, Moment, PersonName, Severity, Verdict, minutes};

/// An answer that counts: which finding, and who else has heard of it and should know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Taken {
    pub(super) finding: FindingId,
    pub(super) by: PersonName,
    pub(super) others: Vec<PersonName>,
}

/// Takes an answer in. The first one counts; later ones, and those to findings that are over, change nothing.
///
/// An answer without a finding answers everything that its person has been told and that is still open.
pub(super) fn take(ledger: &mut Ledger, answer: &Answer, open: &[&Finding], now: Moment) -> Vec<Taken> {
    let mut taken = Vec::new();
    for finding in open {
        let Some(spoken) = ledger.spoken.get_mut(&finding.id) else { continue };
        let meant = match &answer.finding {
            Some(id) => *id == finding.id,
            None => spoken.heard.contains_key(&answer.person),
        };
        if !meant || spoken.answered.is_some() {
            continue;
        }
        spoken.answered = Some(Answered {
            by: answer.person.clone(),
            at: now,
            severity: finding.severity,
            until: until(answer.verdict, finding.severity, now),
        });
        spoken.urgent_since = None;
        let others = spoken.heard.keys().filter(|name| **name != answer.person).cloned().collect();
        taken.push(Taken { finding: finding.id.clone(), by: answer.person.clone(), others });
    }
    taken
}

fn until(verdict: Verdict, severity: Severity, now: Moment) -> Option<Moment> {
    match (verdict, severity) {
        (Verdict::Later, _) => Some(now + minutes(LATER_MINUTES)),
        (_, Severity::Critical) => Some(now + minutes(RETURN_MINUTES)),
        _ => None,
    }
}

const LATER_MINUTES: f64 = 30.0;
/// An answered critical that still holds after this comes back.
const RETURN_MINUTES: f64 = 45.0;
