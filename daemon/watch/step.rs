//! One look at one cat: the event goes in, every rule is asked, and what opened, changed or cleared comes out.

use std::collections::BTreeMap;

use super::holding::{Holding, Ruling};
use super::rules;
use super::see::{Night, OnHand, See};
use super::state::CatState;
use crate::words::{Became, CatName, CatSettings, Change, Event, Finding, FindingId, Home, Moment, Watch};

/// Where a cat lives, as far as its watches need to know.
#[derive(Clone, Copy, Debug)]
pub struct Place<'a> {
    /// The cat's settings.
    pub settings: &'a CatSettings,
    /// The place.
    pub home: &'a Home,
    /// When the person on duty sleeps.
    pub night: Option<Night>,
    /// Whether that person can do a meter check.
    pub meter: bool,
    /// Who has the cat.
    pub duty: OnHand<'a>,
}

/// Takes `event`, which is about this cat, in, asks every rule, and says what changed. Sets the cat's `wake`.
pub fn step(cat: &mut CatState, place: Place<'_>, event: &Event, now: Moment) -> Vec<Change> {
    cat.take(place.settings, event, now);
    let mut changes = Vec::new();
    let mut wakes = Vec::new();
    for (watch, rule) in rules::ALL {
        let mut memory = std::mem::take(&mut cat.memory);
        let see = See {
            settings: place.settings,
            home: place.home,
            state: cat,
            event,
            night: place.night,
            meter: place.meter,
            duty: place.duty,
            now,
        };
        let ruling = rule(&see, &mut memory);
        cat.memory = memory;
        wakes.extend_from_slice(&ruling.wakes);
        let about = ruling.held.as_ref().map(|held| held.about.clone()).unwrap_or_default();
        let slot = Slot { cat: Some(&place.settings.name), watch: *watch, about: &about };
        changes.extend(settle(&mut cat.open, slot, ruling, now));
    }
    // Several rules count by the night of whoever has the cat; each morning it is another one.
    wakes.extend(place.night.into_iter().flat_map(|night| [night.from, night.until]));
    cat.wake = wakes.into_iter().filter(|at| *at > now).min();
    changes
}

/// Which finding is meant.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slot<'a> {
    pub(super) cat: Option<&'a CatName>,
    pub(super) watch: Watch,
    pub(super) about: &'a str,
}

/// Compares what a rule says with what is open, and brings the two together.
///
/// A new wording or a new value alone is no change: the finding carries it quietly, and it is told with the next
/// message. A change is a new severity, a further step, or the word that it is milder.
pub(super) fn settle(
    open: &mut BTreeMap<(Watch, String), Finding>,
    slot: Slot<'_>,
    ruling: Ruling,
    now: Moment,
) -> Option<Change> {
    let key = (slot.watch, slot.about.to_owned());
    match (open.get_mut(&key), ruling.held) {
        (None, None) => None,
        (None, Some(held)) => {
            let finding = opened(slot, held, now);
            open.insert(key, finding.clone());
            Some(Change { became: Became::Opened, finding, over: None, unsure: false })
        }
        (Some(finding), Some(held)) => {
            let before = (finding.severity, finding.step);
            update(finding, held);
            let changed = before != (finding.severity, finding.step) || ruling.eased.is_some();
            changed.then(|| Change {
                became: Became::Changed,
                finding: finding.clone(),
                over: ruling.eased,
                unsure: false,
            })
        }
        (Some(_), None) => {
            let finding = open.remove(&key)?;
            Some(Change { became: Became::Cleared, finding, over: ruling.over, unsure: ruling.unsure })
        }
    }
}

fn opened(slot: Slot<'_>, held: Holding, now: Moment) -> Finding {
    Finding {
        id: FindingId::new(slot.cat, slot.watch, slot.about, now),
        cat: slot.cat.cloned(),
        watch: slot.watch,
        about: held.about,
        severity: held.severity,
        since: held.since,
        opened_at: now,
        step: held.step.unwrap_or(1),
        telling: held.telling,
        basis: held.basis,
        look_again: held.look_again,
        audience: held.audience,
        best_before: held.best_before,
        glucose: held.glucose,
        repeats: held.repeats,
    }
}

fn update(finding: &mut Finding, held: Holding) {
    let worse = held.severity > finding.severity;
    finding.step = held.step.unwrap_or(finding.step + u32::from(held.more || worse)).max(finding.step);
    finding.severity = held.severity;
    finding.since = finding.since.min(held.since);
    finding.telling = held.telling;
    finding.basis = held.basis;
    finding.look_again = held.look_again;
    finding.audience = held.audience;
    finding.best_before = held.best_before;
    finding.repeats = held.repeats;
}
