//! What pressing "dose given" comes to, before anything follows from it. The first press for a dose counts as the dose;
//! whoever presses after that hears at once that it was given already, when and by whom, and nothing is recorded. Who
//! pressed by mistake can take their own press back.
//!
//! Comes in: the house and an answer. Goes out: the dose it counts as, or why it does not. Nobody is ever told to give
//! a dose here: what is said is only whether one is recorded.

use super::House;
use crate::watch::DOSE_EARLY_MINUTES;
use crate::words::{Answer, CatSettings, Dose, Event, FindingId, Moment, PersonName, Verdict, Watch};

/// What a press came to.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Press {
    /// It is the dose.
    Dose(Dose),
    /// The dose was not given after all.
    Undo(Dose),
    /// This dose is recorded already.
    Already(Dose),
    /// The button is of a dose long past: which one is meant cannot be known.
    Stale(FindingId),
}

/// What an answer comes to, if it speaks of a dose of a cat that is known, by somebody of the household.
pub(super) fn press(house: &House, answer: &Answer, now: Moment) -> Option<Press> {
    let household = house.household.as_ref()?;
    household.person(&answer.person)?;
    if !matches!(answer.verdict, Verdict::Given | Verdict::GivenToo | Verdict::NotGiven) {
        return None;
    }
    let cat = meant(house, answer)?;
    let at = answer.at.unwrap_or(now).min(now);
    if let Some(id) = answer.finding.as_ref().filter(|id| is_stale(id, at)) {
        return Some(Press::Stale(id.clone()));
    }
    let apart = cat.doses.min_hours_between * 60.0;
    let doses = &house.cats.get(&cat.name)?.doses;
    let held = doses.iter().rev().find(|dose| at.minutes_since(dose.given_at).abs() < apart);
    let dose = |by: &PersonName| Dose {
        cat: cat.name.clone(),
        given_at: at,
        units: None,
        by: Some(by.as_str().to_owned()),
        not_given: false,
    };
    if answer.verdict == Verdict::NotGiven {
        let own = |dose: &&Dose| dose.by.as_deref() == Some(answer.person.as_str());
        return held.filter(own).map(|held| Press::Undo(Dose { not_given: true, ..held.clone() }));
    }
    Some(match held {
        // The same press, delivered twice.
        Some(held) if held.given_at == at && held.by.as_deref() == Some(answer.person.as_str()) => {
            Press::Already(held.clone())
        }
        Some(held) if answer.verdict == Verdict::Given => Press::Already(held.clone()),
        _ => Press::Dose(dose(&answer.person)),
    })
}

/// Which cat: that of the finding, or the only one.
fn meant<'a>(house: &'a House, answer: &Answer) -> Option<&'a CatSettings> {
    let cats = &house.household.as_ref()?.cats;
    match (&answer.finding, cats.as_slice()) {
        (Some(id), cats) => {
            let speaks = matches!(id.watch()?, Watch::BeforeDose | Watch::DoseDue | Watch::DoseLate);
            cats.iter().find(|cat| speaks && id.is_of(&cat.name))
        }
        (None, [only]) => Some(only),
        (None, _) => None,
    }
}

/// Whether a dose that is recorded already is not the one that the pressed button asked for, but one before it.
pub(super) fn is_of_another_time(answer: &Answer, dose: &Dose) -> bool {
    let asked = answer.finding.as_ref().and_then(FindingId::opened_at);
    asked.is_some_and(|asked| asked.minutes_since(dose.given_at) > DOSE_EARLY_MINUTES)
}

fn is_stale(id: &FindingId, at: Moment) -> bool {
    id.opened_at().is_none_or(|opened| at.minutes_since(opened) > STALE_MINUTES)
}

impl Press {
    /// The event that it counts as.
    pub(super) fn event(&self) -> Option<Event> {
        match self {
            Self::Dose(dose) | Self::Undo(dose) => Some(Event::Dose(dose.clone())),
            Self::Already(_) | Self::Stale(_) => None,
        }
    }
}

/// A later press more likely tells of a dose given earlier. Entered as given now, it would come so near the next one that
/// whoever gives that would be told that it was given already. Chosen by us.
const STALE_MINUTES: f64 = 2.0 * 60.0;
