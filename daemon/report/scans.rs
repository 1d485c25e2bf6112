//! The next scans: the planner fed with a household, its nights and when nobody is there.

use crate::duty::{on_duty, quiet};
use crate::watch::planner::{MARGIN_MINUTES, ScanPlan, Stretch, plan_scans};
use crate::words::{CatSettings, Household, Moment, minutes};

/// The fewest scans from `now` until `until` that leave no gap, or the least loss. `newest` is the newest reading held;
/// `away` are stretches without anybody, besides the nights of whoever has the cat.
#[must_use]
pub fn next_scans(
    household: &Household,
    cat: &CatSettings,
    newest: Moment,
    away: &[Stretch],
    until: Moment,
    now: Moment,
) -> ScanPlan {
    let mut busy = asleep(household, until, now);
    busy.extend_from_slice(away);
    let memory = minutes(cat.sensor.memory_hours * 60.0);
    plan_scans(newest, now, until, memory, minutes(MARGIN_MINUTES), &busy)
}

/// The hours from `now` until `until` in which whoever has the cat sleeps.
#[must_use]
pub fn asleep(household: &Household, until: Moment, now: Moment) -> Vec<Stretch> {
    let mut nights = Vec::new();
    let mut at = now;
    while at < until {
        let person = household.person(on_duty(household, at));
        let Some(night) = person.and_then(|person| quiet(person.quiet, person.timezone, at)) else { break };
        nights.push(Stretch { from: night.from, until: night.until });
        at = night.until;
    }
    nights
}
