//! What is dated in the future waits until its time has come: readings, meter checks, notes about the sensor. Taken in
//! at once it would count as the newest there is, and hide whatever is really measured until then.
//!
//! A reading may be ten minutes ahead, for clocks differ, and a series keeps its own times. A check or a note that is so
//! little ahead counts as made now. Doses count at once whatever their date: nothing is judged newer for one, and
//! whoever is about to give a second one must be told of it.

use serde::{Deserialize, Serialize};

use super::state::{CatState, FUTURE_MINUTES};
use crate::words::{CatSettings, MeterCheck, Moment, Reading, SensorNote, Value, minutes};

/// A check or a note that waits for its time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Misdated {
    /// What it is.
    pub what: Dated,
    /// When it came.
    pub came: Moment,
}

/// What has a date and is no reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Dated {
    /// A meter check.
    Check(MeterCheck),
    /// What happened to a sensor.
    Sensor(SensorNote),
}

impl Dated {
    /// Its date.
    #[must_use]
    pub fn at(&self) -> Moment {
        match self {
            Self::Check(check) => check.measured_at,
            Self::Sensor(note) => note.at,
        }
    }

    /// The same with another date.
    fn dated(mut self, at: Moment) -> Self {
        match &mut self {
            Self::Check(check) => check.measured_at = at,
            Self::Sensor(note) => note.at = at,
        }
        self
    }
}

impl CatState {
    /// Takes in a check or a note, or keeps it until its time has come.
    pub(super) fn dated(&mut self, what: Dated, now: Moment) {
        let waiting = &mut self.memory.misdated;
        if what.at() <= now + minutes(FUTURE_MINUTES) {
            // Recorded again with a right date, it is the same one.
            let again = |held: &Misdated| {
                let near = what.at() > held.came - minutes(CORRECTED_MINUTES);
                near && held.what.clone().dated(what.at()) == what
            };
            waiting.retain(|held| !again(held));
            let at = what.at().min(now);
            return self.enter(what.dated(at));
        }
        if waiting.iter().all(|held| held.what != what) {
            let place = waiting.partition_point(|held| held.what.at() <= what.at());
            waiting.insert(place, Misdated { what, came: now });
            waiting.truncate(MISDATED_KEPT);
        }
    }

    /// Takes in what of a batch is dated in the future, beside what is not.
    ///
    /// A reading of the present that was measured after those of the future came shows that this computer's clock is right
    /// and their dates are not: judged at their dates they would hide what is measured then.
    pub(super) fn ahead(
        &mut self,
        settings: &CatSettings,
        future: Vec<Reading>,
        present: &[Reading],
        now: Moment,
    ) {
        let memory = &mut self.memory;
        let Some(newest) = future.iter().copied().max_by_key(|reading| reading.measured_at) else {
            let came = memory.future_came;
            if present.iter().any(|reading| Some(reading.measured_at) > came) {
                memory.future = None;
                memory.future_said = None;
                memory.ahead.clear();
            }
            return;
        };
        memory.future = Some(newest.measured_at);
        memory.future_came = Some(now);
        // Near the limit noise goes over it and back all night.
        memory.future_said.take_if(|_| !newest.value.under(settings.plan.low + CLEARLY_OVER));
        let lately = memory.future_low.filter(|(_, came)| now < *came + minutes(LATELY_MINUTES));
        let came = future.iter().filter(|reading| reading.value.under(settings.plan.low));
        let lows = came.map(|reading| (*reading, now)).chain(lately);
        memory.future_low = lows.min_by(|(a, _), (b, _)| depth(a).total_cmp(&depth(b)));
        self.set_aside(future);
    }

    /// Keeps readings of the future until their time has come; the ones furthest ahead go first if there are too many.
    pub(super) fn set_aside(&mut self, future: Vec<Reading>) {
        let ahead = &mut self.memory.ahead;
        ahead.extend(future);
        ahead.sort_by_key(|reading| (reading.measured_at, reading.kind));
        ahead.dedup_by_key(|reading| (reading.measured_at, reading.kind));
        ahead.truncate(AHEAD_KEPT);
    }

    /// Judges what was set aside as dated in the future, now that its time has come or the clock has been put right.
    ///
    /// One by one, by each one's own time, and in the order in which looks would have let them in: the state must not
    /// depend on when somebody looked, because looks at which nothing was found are not in the record.
    pub(super) fn let_in(&mut self, settings: &CatSettings, now: Moment) {
        loop {
            let reading =
                self.memory.ahead.first().map(|reading| reading.measured_at - minutes(FUTURE_MINUTES));
            let reading = reading.filter(|at| *at <= now);
            let other = self.memory.misdated.first().map(|held| held.what.at()).filter(|at| *at <= now);
            match (reading, other) {
                (None, None) => return,
                (Some(at), other) if other.is_none_or(|other| at < other) => {
                    let reading = self.memory.ahead.remove(0);
                    self.judge(settings, &[reading], reading.measured_at);
                }
                _ => {
                    let held = self.memory.misdated.remove(0);
                    if self.still_tells(settings, &held) {
                        self.enter(held.what);
                    }
                }
            }
        }
    }

    /// Whether what waited may still be of its date. Readings measured after it came show that this computer's clock was
    /// right and that its date was not: a check that is not low must not soothe a low that was measured since.
    fn still_tells(&self, settings: &CatSettings, held: &Misdated) -> bool {
        match &held.what {
            Dated::Sensor(_) => true,
            Dated::Check(check) if check.glucose.under(settings.plan.meter_low) => true,
            Dated::Check(_) => self.newest.is_none_or(|newest| newest.measured_at <= held.came),
        }
    }

    fn enter(&mut self, what: Dated) {
        match what {
            Dated::Check(check) => self.check(&check),
            Dated::Sensor(note) => self.sensor(note.event, note.at),
        }
    }
}

/// How low a reading is, mg/dL.
pub(super) fn depth(reading: &Reading) -> f64 {
    match reading.value {
        Value::Below => 0.0,
        Value::Level(level) => level,
        Value::Above => f64::MAX,
    }
}

/// For so long a low among readings of the future is told though newer ones are higher.
pub(super) const LATELY_MINUTES: f64 = 10.0;
/// mg/dL over the plan's low: after that a low from the future is a new one.
const CLEARLY_OVER: f64 = 10.0;
/// Readings of the future kept for later: a day of them at one in 15 minutes.
const AHEAD_KEPT: usize = 96;
/// Checks and notes kept for later.
const MISDATED_KEPT: usize = 64;
/// The right date of what came dated ahead lies no longer than this before it came.
const CORRECTED_MINUTES: f64 = 1440.0;
