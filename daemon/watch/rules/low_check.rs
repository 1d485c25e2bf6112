//! Meter checks beside the sensor: which one counts for `low-now`, and for how long.
//!
//! A check is a value, or somebody's word of one. A low one stands against a sensor that does not show it; one above the
//! limit lowers only what rests on readings that have not fallen since.

use super::See;
use crate::glucose::{Estimate, METER_RANGE};
use crate::watch::state::FUTURE_MINUTES;
use crate::words::{Arg, Moment, PersonName, Reading, Telling, Value, minutes};

/// What a meter says: by its value, or by what somebody said of it.
pub(super) struct Check<'a> {
    pub(super) at: Moment,
    pub(super) low: bool,
    /// The value; else whose word it is.
    pub(super) said: Result<Value, &'a PersonName>,
    pub(super) below: &'static str,
    pub(super) above: &'static str,
    /// What it was, once it no longer decides.
    was: &'static str,
}

impl Check<'_> {
    pub(super) fn enter(&self, telling: Telling, see: &See<'_>) -> Telling {
        let telling = telling
            .with("check_time", Arg::Time(self.at))
            .with("meter_low", Arg::Glucose(see.settings.plan.meter_low));
        match self.said {
            Ok(value) => telling.with("check", Arg::Value(value)),
            Err(person) => telling.with("by", Arg::Person(person.clone())),
        }
    }

    /// The telling with what the check was, as a sentence.
    pub(super) fn with_phrase(&self, see: &See<'_>, telling: Telling) -> Telling {
        telling.with("checked", Arg::Phrase(Box::new(self.enter(see.telling(self.was), see))))
    }

    /// Where blood was at the check, mg/dL, when the sensor read `then`. Of a word only the limit is known: with a sensor
    /// that was low as well it is no lower than that, against one that was not it is taken as low as `danger`.
    fn level(&self, see: &See<'_>, then: f64) -> f64 {
        let plan = &see.settings.plan;
        match self.said {
            Ok(Value::Level(level)) => level,
            Ok(Value::Above) => plan.low.max(plan.meter_low),
            Ok(Value::Below) => METER_RANGE[0],
            Err(_) if then < plan.low => plan.meter_low.min(then),
            Err(_) => plan.danger.min(plan.meter_low),
        }
    }
}

/// The last meter check, or the last word of one, if it is recent.
pub(super) fn recent_check<'a>(see: &See<'a>) -> Option<Check<'a>> {
    check(see, |at| (-FUTURE_MINUTES..METER_MINUTES).contains(&see.now.minutes_since(at)))
}

/// The last meter check, or the last word of one, if it is newer than a reading.
pub(super) fn check_since<'a>(see: &See<'a>, reading: &Reading) -> Option<Check<'a>> {
    check(see, |at| at > reading.measured_at && at <= see.now)
}

/// The last meter check, or the last word of one, if its time counts.
pub(super) fn check<'a>(see: &See<'a>, counts: impl Fn(Moment) -> bool) -> Option<Check<'a>> {
    let known = |at: Moment| see.now.minutes_since(at) >= -FUTURE_MINUTES;
    let measured = see.state.meter.as_ref().filter(|check| known(check.measured_at)).map(|check| Check {
        at: check.measured_at,
        low: check.glucose.under(see.settings.plan.meter_low),
        said: Ok(check.glucose),
        below: "low-now-meter",
        above: "low-now-meter-above",
        was: "meter-showed",
    });
    let told = see.state.meter_word.as_ref().filter(|word| known(word.at)).map(|word| Check {
        at: word.at,
        low: word.low,
        said: Err(&word.by),
        below: "low-now-meter-said",
        above: "low-now-meter-above-said",
        was: if word.low { "meter-said-low" } else { "meter-said-not-low" },
    });
    // A value says more than a word about it, even when its own time no longer counts.
    let last = match (measured, told) {
        (Some(measured), Some(told)) if told.at > measured.at + minutes(WORD_MINUTES) => Some(told),
        (measured, told) => measured.or(told),
    };
    last.filter(|check| counts(check.at))
}

/// The last check if it was low and still stands: neither its time nor the sensor's rise has outdone it.
pub(super) fn standing<'a>(see: &See<'a>) -> Option<Check<'a>> {
    let lasts = |at: Moment| at <= see.now && see.now < at + minutes(OLD_MINUTES);
    check(see, lasts).filter(|check| check.low && !outdone(see, check))
}

/// Whether two readings in a row lay so much over what the sensor read at the check that blood, risen as much from what
/// the meter showed, is over the limit. What the sensor reads a lag later, if that is lower, shows where blood was then.
///
/// A sensor that gave nothing at the check has not contradicted it: what it reads since is news.
fn outdone(see: &See<'_>, check: &Check<'_>) -> bool {
    let plan = &see.settings.plan;
    let lag = minutes(see.settings.sensor.lag_minutes);
    let then = [check.at, check.at + lag].into_iter().filter_map(|at| read_at(see, at)).reduce(f64::min);
    let Some(then) = then else {
        return see.state.newest.is_some_and(|newest| newest.measured_at >= check.at);
    };
    let checked = check.level(see, then);
    let agreed = then < plan.low && then - checked <= FALLEN;
    let clearly = if agreed { 0.0 } else { CLEARLY };
    let over = then + plan.low.max(plan.meter_low) - checked + clearly;
    let readings = see.state.tracker.recent();
    let since = &readings[readings.partition_point(|reading| reading.measured_at <= check.at)..];
    since.windows(2).any(|two| two.iter().all(|reading| level(see, reading) >= over))
}

/// Whether the sensor has fallen since the check that stands against it.
pub(super) fn fallen_since(see: &See<'_>) -> bool {
    let then = standing(see).and_then(|check| read_at(see, check.at));
    then.zip(see.state.newest).is_some_and(|(then, newest)| then - level(see, &newest) > FALLEN)
}

/// Whether a check above the limit still lowers what the sensor says: not if that has fallen since, and not if it is
/// dangerous and newer than the check by more than the sensor lags.
pub(super) fn still_above(see: &See<'_>, check: &Check<'_>, reading: &Reading, estimate: &Estimate) -> bool {
    let fallen = read_at(see, check.at).map_or(0.0, |then| then - level(see, reading));
    let newer = reading.measured_at.minutes_since(check.at) > see.settings.sensor.lag_minutes;
    let danger = see.settings.plan.danger;
    fallen <= FALLEN && !(newer && (reading.value.under(danger) || estimate.blood < danger))
}

/// What the sensor that is on the cat now read at a moment, mg/dL: by the last reading up to then, if that is not too
/// far back.
fn read_at(see: &See<'_>, at: Moment) -> Option<f64> {
    let worn = see.state.wear.as_ref().map(|wear| wear.applied);
    let readings = see.state.tracker.recent();
    let then = readings.iter().rev().find(|reading| reading.measured_at <= at)?;
    let counts =
        at - then.measured_at <= minutes(THEN_MINUTES) && worn.is_none_or(|worn| then.measured_at >= worn);
    counts.then(|| level(see, then))
}

/// A reading in mg/dL; one out of the sensor's range is at its end.
fn level(see: &See<'_>, reading: &Reading) -> f64 {
    let [floor, ceiling] = see.settings.sensor.range;
    match reading.value {
        Value::Below => floor,
        Value::Level(level) => level,
        Value::Above => ceiling,
    }
}

/// A meter check decides for this long (design: 20 minutes; chosen by us).
pub(super) const METER_MINUTES: f64 = 20.0;
/// A low without newer readings, or against the sensor, is held this long, then it is "not known" any more.
pub(super) const OLD_MINUTES: f64 = 180.0;
/// Whoever presses a button about a check and then enters its value means the same check.
const WORD_MINUTES: f64 = 5.0;
/// The sensor's reading at a check is at most this much older.
const THEN_MINUTES: f64 = 60.0;
/// mg/dL by which the rise of a sensor that did not agree with the check must be more than the distance to the limit:
/// more than noise; chosen by us.
const CLEARLY: f64 = 15.0;
/// A check above the limit says nothing of readings that have fallen by more than this since, mg/dL; chosen by us.
const FALLEN: f64 = 15.0;
