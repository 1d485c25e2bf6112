//! What the broker is told of the cats: findings as they change, and the retained state when it is another one than
//! last time. In: the house after a round. It decides nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use crate::intake::mqtt::Publisher;
use crate::report::{CatStatus, cat_status, change_json};
use crate::turn::House;
use crate::words::{CatName, Change, Event, Moment};

/// The broker's view of the house.
pub(super) struct Board {
    publisher: Publisher,
    /// The state of each cat as it was last handed over.
    shown: BTreeMap<CatName, CatStatus>,
    /// When all of them were last looked at, by the steady clock.
    looked: Option<Duration>,
}

impl Board {
    pub(super) fn new(publisher: Publisher) -> Self {
        Self { publisher, shown: BTreeMap::new(), looked: None }
    }

    /// Hands over what is new after a round that took these events in, each with its moment; often there are none.
    pub(super) fn show(
        &mut self,
        house: &House,
        changes: &[Change],
        taken: &[(Event, Moment)],
        at: (Moment, Duration),
    ) {
        let (now, steady) = at;
        self.findings(house, changes);
        let idle = self.looked.is_some_and(|looked| steady.saturating_sub(looked) < LOOK_EVERY);
        let all = !idle || taken.iter().any(|(event, _)| is_about_all(event));
        if all {
            self.looked = Some(steady);
            self.shown.retain(|cat, _| house.cats.contains_key(cat));
        }
        // A state costs an outlook: in a house of many cats most have nothing to do with what happened.
        let touched = touched(changes, taken);
        let cats = house.cats.keys().filter(|cat| all || touched.contains(cat));
        for cat in cats.filter_map(|cat| cat_status(house, cat, now)) {
            let same = self.shown.get(&cat.cat).is_some_and(|shown| same(shown, &cat, !taken.is_empty()));
            let Ok(json) = serde_json::to_string(&cat) else { continue };
            // Without room it is not shown, and tried again with the next look.
            if !same && self.publisher.state(&cat.cat, json) {
                self.shown.insert(cat.cat.clone(), cat);
            }
        }
    }

    fn findings(&self, house: &House, changes: &[Change]) {
        let Some(household) = &house.household else { return };
        for change in changes {
            let Some(cat) = &change.finding.cat else { continue };
            if let Ok(json) = serde_json::to_string(&change_json(change, household, house.now)) {
                self.publisher.finding(cat, json);
            }
        }
    }
}

fn touched<'a>(changes: &'a [Change], taken: &'a [(Event, Moment)]) -> BTreeSet<&'a CatName> {
    let found = changes.iter().filter_map(|change| change.finding.cat.as_ref());
    found.chain(taken.iter().filter_map(|(event, _)| event.cat())).collect()
}

/// What may show with every cat: an answer names a finding only.
fn is_about_all(event: &Event) -> bool {
    matches!(event, Event::Household { .. } | Event::ClockSet(_) | Event::Answer(_))
}

/// Whether a state says nothing that the last one did not say. Between two events only time passes, and what an estimate
/// makes of that is no news.
fn same(shown: &CatStatus, new: &CatStatus, happened: bool) -> bool {
    let mut old = CatStatus { at: new.at, ..shown.clone() };
    if !happened && shown.fresh == new.fresh {
        old = CatStatus {
            blood: new.blood,
            blood_sd: new.blood_sd,
            rate_per_min: new.rate_per_min,
            low_ahead_chance: new.low_ahead_chance,
            ahead: new.ahead.clone(),
            completeness_day: new.completeness_day,
            ..old
        };
        for (old, new) in old.open.iter_mut().zip(&new.open) {
            old.text.clone_from(&new.text);
        }
    }
    old == *new
}

/// Freshness and the like run out without an event.
const LOOK_EVERY: Duration = Duration::from_secs(60);

#[cfg(test)]
mod tests {
    use super::*;

    fn state(at: &str, blood: f64) -> CatStatus {
        let look =
            serde_json::json!({"minutes": 30.0, "at": at, "interval80": [blood, 200.0], "low_chance": 0.1});
        let state = serde_json::json!({
            "cat": "pepper", "at": at, "fresh": true, "blood": blood, "low_ahead_minutes": 60.0, "ahead": [look], "open": [],
        });
        serde_json::from_value(state).unwrap()
    }

    #[test]
    fn what_an_estimate_makes_of_passing_time_is_no_news() {
        let (old, new) = (state("2026-06-10T10:00:00Z", 120.0), state("2026-06-10T10:01:00Z", 119.0));
        assert!(same(&old, &new, false), "nothing happened in between");
        assert!(!same(&old, &new, true), "with a reading it is news");
        assert!(!same(&old, &CatStatus { spares: Some(1), ..new }, false));
    }
}
