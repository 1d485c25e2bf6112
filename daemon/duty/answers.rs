//! What an answer means: who took what on, and until when that counts.

use super::ledger::{Answered, Ledger};
use super::roster::{left_hands, on_duty};
use crate::words::{
    Answer, Audience, Event, Finding, FindingId, Household, Moment, PersonName, Severity, Verdict, minutes,
};

/// An answer that counts: which finding, and who else has heard of it and should know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Taken {
    pub(super) finding: FindingId,
    pub(super) by: PersonName,
    pub(super) at: Moment,
    pub(super) others: Vec<PersonName>,
}

/// Takes an answer in. The first one counts; later ones, those to findings that are over and those of people who
/// are not of the household change nothing. Who answers second is told who was first. What was only put off can still
/// be taken on.
///
/// It counts from when it was given: one that waited, at a server or because the record could not be written, does not
/// begin its time anew when it comes, and changes nothing if its time is over.
///
/// An answer without a finding answers everything that its person has been told and that is still open. What is
/// critical cannot be put off: a button pressed half asleep must not silence it.
pub(super) fn take(
    ledger: &mut Ledger,
    household: &Household,
    answer: &Answer,
    open: &[&Finding],
    now: Moment,
) -> Vec<Taken> {
    let mut taken = Vec::new();
    let doses = matches!(answer.verdict, Verdict::Given | Verdict::GivenToo | Verdict::NotGiven);
    if household.person(&answer.person).is_none() || doses {
        return taken;
    }
    let put_off = answer.verdict == Verdict::Later;
    let at = answer.at.unwrap_or(now).min(now);
    for finding in open {
        let Some(spoken) = ledger.spoken.get_mut(&finding.id) else { continue };
        let meant = match &answer.finding {
            Some(id) => *id == finding.id,
            // What still gathers has not been sent, so it is not what they mean, unless there was a word of it before.
            // What was due counts, though a server may be away: who answers at home has seen it there.
            None => {
                let due = spoken.heard.get(&answer.person).is_some_and(|heard| heard.last <= now);
                due || spoken.reached.contains(&answer.person)
            }
        };
        // Pressed again by the same person it counts anew: they are still there.
        let again = spoken
            .answered
            .as_ref()
            .is_some_and(|first| first.by == answer.person && !first.put_off && !put_off);
        let counts = again || spoken.answered.as_ref().is_none_or(|first| first.put_off && !put_off);
        if let Some(first) = spoken.answered.as_ref().filter(|first| meant && !counts && !first.put_off)
            && first.by != answer.person
        {
            let others = vec![answer.person.clone()];
            taken.push(Taken { finding: finding.id.clone(), by: first.by.clone(), at: first.at, others });
        }
        let until = until(answer.verdict, finding.severity, at);
        let left =
            finding.audience == Audience::OnDuty && left_hands(household, &answer.person, at, now).is_some();
        let over = left || until.is_some_and(|until| until <= now);
        if !meant || !counts || over || (put_off && finding.severity == Severity::Critical) {
            continue;
        }
        spoken.answered = Some(Answered {
            by: answer.person.clone(),
            at,
            severity: finding.severity,
            until,
            put_off,
            duty: Some(on_duty(household, now).clone()),
        });
        spoken.urgent_since = None;
        let others = spoken.reached.iter().filter(|name| **name != answer.person).cloned().collect();
        let others = if put_off || again { Vec::new() } else { others };
        taken.push(Taken { finding: finding.id.clone(), by: answer.person.clone(), at, others });
    }
    taken
}

/// Lets answers run out: by their time, and where whoever has the cat is to act, as soon as it is in other hands than
/// before and not in those of who answered.
pub(super) fn run_out(
    ledger: &mut Ledger,
    household: &Household,
    open: &[&Finding],
    event: &Event,
    now: Moment,
) {
    for finding in open {
        let Some(spoken) = ledger.spoken.get_mut(&finding.id) else { continue };
        let answered = spoken.answered.as_mut().filter(|_| finding.audience == Audience::OnDuty);
        let left = answered.and_then(|answered| left(answered, household, event, now));
        spoken.run_out(left, finding.glucose, now);
    }
}

/// When the cat came into other hands since an answer: as the roster has it, or because new settings say so.
fn left(answered: &mut Answered, household: &Household, event: &Event, now: Moment) -> Option<Moment> {
    let by_roster = left_hands(household, &answered.by, answered.at, now);
    if by_roster.is_some() || !matches!(event, Event::Household { .. }) {
        return by_roster;
    }
    let duty = on_duty(household, now);
    let before = answered.duty.replace(duty.clone());
    (*duty != answered.by && before.is_some_and(|before| before != *duty)).then_some(now)
}

fn until(verdict: Verdict, severity: Severity, at: Moment) -> Option<Moment> {
    match (verdict, severity) {
        (Verdict::Later, _) => Some(at + minutes(LATER_MINUTES)),
        (_, Severity::Critical) => Some(at + minutes(RETURN_MINUTES)),
        _ => None,
    }
}

const LATER_MINUTES: f64 = 30.0;
/// An answered critical that still holds after this comes back.
const RETURN_MINUTES: f64 = 45.0;
