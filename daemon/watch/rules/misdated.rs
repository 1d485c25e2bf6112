//! The part of `clock-wrong` that is about meter checks and notes of the sensor dated in the future; see `future`.

use super::future::LOW_MINUTES;
use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::misdated::{Dated, Misdated};
use crate::watch::state::Memory;
use crate::words::{
    Arg, Audience, Finding, MeterCheck, Moment, SensorEvent, Severity, Telling, Watch, minutes,
};

/// What is to be said of those that wait.
pub(super) fn ruling(see: &See<'_>, memory: &Memory) -> Ruling {
    let waiting = &memory.misdated;
    let (Some(first), Some(last)) = (waiting.first(), waiting.iter().max_by_key(|held| held.came)) else {
        return Ruling::none();
    };
    let next = first.what.at();
    let holding = match low(see, waiting) {
        Some((check, ends)) => {
            let telling = dated(see, "clock-future-check-low", check.measured_at)
                .with("value", Arg::Value(check.glucose))
                .with("plan", see.plan_phrase());
            Holding::new(Severity::Critical, see.now, telling).glucose().look_again(ends)
        }
        None => {
            let holding = Holding::new(Severity::Warning, see.now, telling(see, &last.what));
            holding.to(Audience::Owner).look_again(next)
        }
    };
    // The newest of them is news beside what is held already.
    let said = |was: &Finding| {
        let now = &holding.telling;
        was.telling.key == now.key && was.telling.args.get("dated") == now.args.get("dated")
    };
    let more = last.came == see.now && see.state.open(Watch::ClockWrong).is_some_and(|was| !said(was));
    Ruling::hold(holding.more(more)).waking(Some(next))
}

fn telling(see: &See<'_>, what: &Dated) -> Telling {
    match what {
        Dated::Check(check) => {
            dated(see, "clock-future-check", check.measured_at).with("value", Arg::Value(check.glucose))
        }
        Dated::Sensor(note) if note.event == SensorEvent::Applied => {
            dated(see, "clock-future-applied", note.at)
        }
        Dated::Sensor(note) => dated(see, "clock-future-sensor", note.at),
    }
}

fn dated(see: &See<'_>, key: &str, at: Moment) -> Telling {
    see.telling(key).with("dated", Arg::Time(at)).with("time", Arg::Time(see.now))
}

/// The newest check of them, if it is low and nothing was checked since; and until when it is held.
fn low<'a>(see: &See<'_>, waiting: &'a [Misdated]) -> Option<(&'a MeterCheck, Moment)> {
    let checks = waiting.iter().filter_map(|held| match &held.what {
        Dated::Check(check) => Some((check, held.came)),
        Dated::Sensor(_) => None,
    });
    let (check, came) = checks.max_by_key(|(_, came)| *came)?;
    let checked = see.state.meter.as_ref().is_some_and(|newer| newer.measured_at >= came);
    let said = see.state.meter_word.as_ref().is_some_and(|word| word.at >= came && !word.low);
    let ends = came + minutes(LOW_MINUTES);
    let holds = check.glucose.under(see.settings.plan.meter_low) && !checked && !said && see.now < ends;
    holds.then_some((check, ends))
}
