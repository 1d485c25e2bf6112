//! The reference model of what is true: slow and obvious, by true time. It takes no word of the house's for how late it
//! is, or a house that is lost in time would be believed.

use std::collections::{BTreeMap, BTreeSet};

use super::{Held, must};
use crate::simulate::clock::Truth;
use crate::simulate::driver::Taken;
use crate::turn::House;
use crate::words::{Batch, CatName, ClockStep, Event, Moment, SensorKind, Severity, Watch, minutes};

/// What is known of the cats.
#[derive(Default)]
pub(super) struct Reference {
    /// Whether readings may be dated in the future.
    misdated: bool,
    /// Records other than readings that came to a door, as text.
    offered: BTreeSet<String>,
    taken: BTreeSet<String>,
    /// Answers that came to a door, and how often; less those that were taken in.
    answers: BTreeMap<String, i64>,
    doses: BTreeMap<CatName, Vec<Moment>>,
    /// Cats whose newest reading went back with a clock that was set wrong, until there is one after it.
    shifted: BTreeMap<CatName, Moment>,
}

impl Reference {
    pub(super) fn new(misdated: bool) -> Self {
        Self { misdated, ..Self::default() }
    }

    /// Something came to a door.
    pub(super) fn offered(&mut self, event: &Event) {
        if is_record(event) {
            self.offered.insert(text(event));
        }
        if let Event::Answer(_) = event {
            *self.answers.entry(text(event)).or_default() += 1;
        }
    }

    /// Something was taken in.
    pub(super) fn took(&mut self, taken: &Taken) -> Result<(), String> {
        if is_record(&taken.came) {
            let text = text(&taken.came);
            must(self.taken.insert(text.clone()), || format!("{text} was taken in twice"))?;
        }
        if let Event::Answer(_) = &taken.came {
            let text = text(&taken.came);
            let left = self.answers.entry(text.clone()).or_default();
            *left -= 1;
            must(*left >= 0, || format!("{text} counted more often than it came"))?;
        }
        Ok(())
    }

    /// In the end nothing that was offered is missing.
    pub(super) fn nothing_lost(&self) -> Result<(), String> {
        let lost = self.offered.difference(&self.taken).next();
        lost.map_or(Ok(()), |lost| Err(format!("a record was offered and is not in the journal: {lost}")))
    }

    /// The house went back with its clock: what lies ahead was moved.
    pub(super) fn set_back(&mut self, step: ClockStep, journaled: &BTreeSet<Held>) {
        for (cat, at, ..) in journaled.iter().filter(|(_, at, ..)| *at > step.to && *at <= step.from) {
            let shifted = self.shifted.entry(cat.clone()).or_insert(*at);
            *shifted = (*shifted).max(*at);
        }
        for doses in self.doses.values_mut() {
            if doses.iter().any(|at| *at > step.to) {
                doses.clear();
            }
        }
    }

    /// A fresh reading under the plan's danger is critical in the same turn, unless somebody has looked with a meter
    /// within the last 20 minutes.
    pub(super) fn danger_is_told_at_once(
        &self,
        house: &House,
        batch: &Batch,
        truth: Truth,
        journaled: &BTreeSet<Held>,
    ) -> Result<(), String> {
        let settings = house.household.as_ref().and_then(|household| household.cat(&batch.cat));
        let (Some(settings), Some(cat)) = (settings, house.cats.get(&batch.cat)) else { return Ok(()) };
        let Some(newest) = batch.readings.iter().max_by_key(|reading| reading.measured_at) else {
            return Ok(());
        };
        let fresh = 2.0 * settings.sensor.sample_minutes + settings.sensor.lag_minutes;
        // By true time where the clock is right; else by what the house can know.
        let now = if truth.honest() { truth.now } else { house.now };
        let age = now.minutes_since(newest.measured_at);
        let newer = journaled.iter().any(|(cat, at, ..)| {
            *cat == batch.cat && *at > newest.measured_at && *at <= now + minutes(FUTURE_MINUTES)
        });
        let is_newest = if truth.honest() { !newer } else { cat.newest == Some(*newest) };
        let recent = |at: Moment| house.now.minutes_since(at).abs() < 20.0;
        let looked = cat.meter.as_ref().is_some_and(|check| recent(check.measured_at))
            || cat.meter_word.as_ref().is_some_and(|word| recent(word.at));
        let low = newest.value.under(settings.plan.danger);
        if !is_newest || !low || looked || age > fresh || age < -FUTURE_MINUTES {
            return Ok(());
        }
        let open = cat.open(Watch::LowNow).map(|finding| finding.severity);
        must(open == Some(Severity::Critical), || {
            format!("{} reads {:?}, {age} min old, and low-now is {open:?}", batch.cat, newest.value)
        })
    }

    /// A dose within the least time after another one is critical in the same turn; within a quarter of an hour, where it
    /// may be the same one, a warning at least.
    pub(super) fn second_dose_is_told(
        &mut self,
        house: &House,
        taken: &Taken,
        truth: Truth,
    ) -> Result<(), String> {
        let Event::Dose(dose) = &taken.event else { return Ok(()) };
        let settings = house.household.as_ref().and_then(|household| household.cat(&dose.cat));
        let (Some(settings), Some(cat)) = (settings, house.cats.get(&dose.cat)) else { return Ok(()) };
        let doses = self.doses.entry(dose.cat.clone()).or_default();
        if dose.not_given {
            doses.retain(|at| at.minutes_since(dose.given_at).abs() > 1.0);
            return Ok(());
        }
        let apart = settings.doses.min_hours_between * 60.0;
        let near = |at: &&Moment| at.minutes_since(dose.given_at).abs() < apart;
        let first = doses.iter().filter(near).copied().min();
        doses.push(dose.given_at);
        let Some(first) = first.filter(|_| truth.honest()) else { return Ok(()) };
        let over = first.max(dose.given_at) + minutes(apart) <= truth.now + minutes(AROUND_MINUTES);
        let told = cat.open(Watch::DoseTwice).map(|finding| finding.severity);
        let least = match dose.given_at.minutes_since(first).abs() <= 15.0 {
            true => Severity::Warning,
            false => Severity::Critical,
        };
        must(over || told >= Some(least), || {
            format!("doses at {first} and {}, and dose-twice is {told:?}", dose.given_at)
        })
    }

    /// A scanned sensor's window is closed from one memory after the newest reading that was brought off it.
    pub(super) fn windows(&mut self, house: &House, truth: Truth) -> Result<(), String> {
        let Some(household) = house.household.as_ref().filter(|_| truth.honest() && !self.misdated) else {
            return Ok(());
        };
        for settings in household.cats.iter().filter(|cat| cat.sensor.kind == SensorKind::Scanned) {
            let Some(cat) = house.cats.get(&settings.name) else { continue };
            let Some(newest) = cat.newest.map(|reading| reading.measured_at) else { continue };
            if self.shifted.get(&settings.name).is_some_and(|at| newest <= *at) {
                continue;
            }
            self.shifted.remove(&settings.name);
            let applied = cat.wear.as_ref().map(|wear| wear.applied);
            let full = minutes(settings.sensor.wear_days * 1440.0);
            let over = cat.wear.as_ref().is_some_and(|wear| wear.ended.is_some())
                || applied.is_some_and(|applied| applied + full <= truth.now + minutes(AROUND_MINUTES));
            if over || cat.open(Watch::SensorSilent).is_some() {
                continue;
            }
            let begun = applied.map_or(newest, |at| at + minutes(settings.sensor.warm_up_minutes));
            let closes = newest.max(begun) + minutes(settings.sensor.memory_hours * 60.0);
            let closed = cat.open(Watch::WindowClosed).is_some();
            let surely = truth.now.minutes_since(closes);
            must(surely.abs() < AROUND_MINUTES || closed == (surely > 0.0), || {
                format!("the window of {} closes at {closes}, and window-closed is {closed}", settings.name)
            })?;
        }
        Ok(())
    }
}

fn is_record(event: &Event) -> bool {
    matches!(
        event,
        Event::Dose(_) | Event::Meter(_) | Event::MeterUndone { .. } | Event::Sensor(_) | Event::Spare(_)
    )
}

fn text(event: &Event) -> String {
    serde_json::to_string(event).expect("events have text keys and no fallible parts")
}

/// A reading dated further ahead than this waits until its time has come.
const FUTURE_MINUTES: f64 = 10.0;
/// The house may be this far from its clock.
const AROUND_MINUTES: f64 = 1.5;
