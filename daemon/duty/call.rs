//! Whom a finding calls on, and why a person hears of it now.

use super::ledger::{Heard, Ledger, Spoken};
use super::roster::{on_duty, order};
use crate::words::{
    Arg, Audience, Finding, Household, Moment, Person, PersonName, Reason, Severity, minutes,
};

/// Who must hear of a finding now, and why.
pub(super) fn hearings(
    ledger: &Ledger,
    household: &Household,
    finding: &Finding,
    now: Moment,
) -> Vec<(PersonName, Reason)> {
    let nothing = Spoken::default();
    let spoken = ledger.spoken.get(&finding.id).unwrap_or(&nothing);
    if spoken.answered.is_some() {
        // Someone is on it: only more to say is said, and only to those who know of it.
        let behind = spoken.heard.iter().filter(|(_, heard)| finding.step > heard.step);
        return behind.map(|(person, _)| (person.clone(), Reason::More)).collect();
    }
    called(ledger, household, finding, now)
        .into_iter()
        .filter_map(|person| {
            let has_the_cat = *on_duty(household, now) == person.name;
            reason(ledger, finding, spoken, (person, has_the_cat), now)
                .map(|reason| (person.name.clone(), reason))
        })
        .collect()
}

/// Whom a finding calls on at `now`: for a critical one that nobody answers, more people as time goes by, and at
/// once so many that one of them can be reached at all.
pub(super) fn called<'a>(
    ledger: &Ledger,
    household: &'a Household,
    finding: &Finding,
    now: Moment,
) -> Vec<&'a Person> {
    let critical = finding.severity == Severity::Critical;
    let order = order(household, now);
    let enough = |person: &&Person| critical || person.receives <= finding.severity;
    match finding.audience {
        Audience::Everyone => order.into_iter().filter(enough).collect(),
        Audience::Owner => {
            order.into_iter().filter(|p| p.name == household.home.owner).filter(enough).collect()
        }
        Audience::OwnerAndDuty => {
            let duty = on_duty(household, now);
            let concerned = |p: &&Person| p.name == household.home.owner || p.name == *duty;
            order.into_iter().filter(concerned).filter(enough).collect()
        }
        Audience::Named => {
            let named = |person: &&Person| {
                finding.telling.args.values().any(|arg| *arg == Arg::Person(person.name.clone()))
            };
            order.into_iter().filter(named).collect()
        }
        Audience::OnDuty if critical => {
            let since = ledger.spoken.get(&finding.id).and_then(|spoken| spoken.urgent_since);
            let many = match since.map_or(0.0, |since| now.minutes_since(since)) / ESCALATE_MINUTES {
                stage if stage < 1.0 => 1,
                stage if stage < 2.0 => 2,
                _ => order.len(),
            };
            let first = order.iter().position(|person| reachable(ledger, person)).unwrap_or(0);
            order.into_iter().take(many.max(first + 1)).collect()
        }
        Audience::OnDuty => {
            let duty = on_duty(household, now);
            order.into_iter().filter(|p| p.name == *duty).filter(enough).collect()
        }
    }
}

/// Whether any of a person's channels has not refused for good.
fn reachable(ledger: &Ledger, person: &Person) -> bool {
    person.channels.iter().any(|channel| !ledger.channels.get(channel).is_some_and(|state| state.refused))
}

fn reason(
    ledger: &Ledger,
    finding: &Finding,
    spoken: &Spoken,
    (person, has_the_cat): (&Person, bool),
    now: Moment,
) -> Option<Reason> {
    let Some(heard) = spoken.heard.get(&person.name) else {
        // Who takes the cat over is not asked because somebody else did not answer.
        let first = spoken.heard.is_empty()
            || has_the_cat
            || finding.severity < Severity::Critical
            || finding.audience != Audience::OnDuty;
        return Some(if first { Reason::First } else { Reason::Escalated });
    };
    let news = if finding.severity > heard.severity {
        Some(Reason::Worse)
    } else if spoken.returned.is_some_and(|at| heard.last < at) {
        Some(Reason::Returned)
    } else {
        (finding.step > heard.step).then_some(Reason::More)
    };
    // While the last one is still on its way, another one would only stand in the queue behind it.
    let again = || {
        let due = repeat_at(finding, heard).is_some_and(|at| at <= now);
        due && !ledger.is_pending(&heard.message)
    };
    if !heard.lost {
        return news.or_else(|| again().then_some(Reason::Repeat));
    }
    let reached = spoken.reached.contains(&person.name);
    let critical = finding.severity == Severity::Critical;
    let can = ledger.can_reach(person) && anew_at(heard) <= now;
    let sense = finding.best_before.is_none_or(|at| at > now);
    let anew = news.or_else(|| (sense && can || critical && again()).then_some(Reason::Repeat))?;
    Some(if reached { anew } else { Reason::First })
}

/// When a finding that still holds is told anew to a person whose message of it was given up, if they can be reached
/// then.
pub(super) fn anew_at(heard: &Heard) -> Moment {
    heard.last + minutes(REPEAT_WARNING_MINUTES)
}

/// When a finding that nobody answers is told again to someone who has heard of it.
pub(super) fn repeat_at(finding: &Finding, heard: &Heard) -> Option<Moment> {
    match finding.severity {
        Severity::Critical => Some(heard.last + minutes(REPEAT_MINUTES)),
        Severity::Warning if finding.repeats && heard.count == 1 => {
            Some(heard.last + minutes(REPEAT_WARNING_MINUTES))
        }
        _ => None,
    }
}

/// A critical finding that nobody answers goes to the next person after this, and after twice this to everyone.
pub(super) const ESCALATE_MINUTES: f64 = 10.0;
const REPEAT_MINUTES: f64 = 10.0;
const REPEAT_WARNING_MINUTES: f64 = 30.0;
