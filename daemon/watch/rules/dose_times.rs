//! `before-dose`, `dose-due`, `dose-late`: around the times at which doses are due by the settings.
//!
//! A quarter of an hour before, whoever has the cat hears where blood is and what the plan says for that level; under
//! the plan's line, while glucose is low, where the last dose (one that was given very late, say) lies less than the
//! least time between two before this one, or where the last one is recorded twice, that comes through the night and
//! sends them to the vet. At the time itself they are reminded if no dose is recorded, and an hour later asked whether it
//! was given: the latter only in a household that records doses. A dose recorded from three hours before on counts for
//! its time. Silent where no times are set; no dose is ever computed or advised.

use super::{Ruling, See};
use crate::almanac::around;
use crate::watch::holding::Holding;
use crate::watch::place::Place;
use crate::watch::see::who;
use crate::watch::state::Memory;
use crate::words::{Arg, Dose, Finding, Moment, Severity, Telling, Watch, minutes};

/// `before-dose`.
pub(super) fn before(see: &See<'_>, _: &mut Memory) -> Ruling {
    let (_, Some(due)) = around(&see.settings.doses.times, see.home.timezone, see.now) else {
        return Ruling::none();
    };
    let begins = due - minutes(BEFORE_MINUTES);
    if see.now < begins || given(see, due) {
        return Ruling::none().waking(Some(if see.now < begins { begins } else { due }));
    }
    let stop = stop(see, due);
    let key = match (blood(see), see.state.newest) {
        _ if stop.is_some() => "before-dose-hold",
        (Some(_), _) => "before-dose",
        (None, Some(_)) => "before-dose-blind",
        (None, None) => "before-dose-none",
    };
    let telling = see.glucose_telling(key).with("due", Arg::Time(due)).with("state", state(see));
    let telling = telling.with("line", line(see, stop));
    let severity = if stop.is_some() { Severity::Warning } else { Severity::Notice };
    // What stood against this dose once is not taken back: that is the vet's word.
    let was = see.state.open(Watch::BeforeDose).filter(|was| stop.is_none() && is_for(was, due));
    let (severity, telling) = match was.filter(|was| was.severity == Severity::Warning) {
        Some(was) => (was.severity, was.telling.clone()),
        None => (severity, telling),
    };
    let holding = Holding::new(severity, begins, telling).glucose().basis(see.basis());
    Ruling::hold(holding.best_before(due + minutes(BEFORE_MINUTES)).look_again(due))
}

/// `dose-due`.
pub(super) fn due(see: &See<'_>, _: &mut Memory) -> Ruling {
    let (last, next) = around(&see.settings.doses.times, see.home.timezone, see.now);
    let Some(due) = open_dose(see, LATE_MINUTES) else {
        return over(see, last).waking(next);
    };
    let stop = stop(see, due);
    let key = if stop.is_some() { HOLD } else { "dose-due" };
    let telling = see.telling(key).with("time", Arg::Time(due)).with("due", Arg::Time(due));
    let telling = telling.with("state", state(see)).with("line", line(see, stop));
    // As before the dose: what stood against it stands.
    let was = see.state.open(Watch::DoseDue).filter(|was| stop.is_none() && is_for(was, due));
    let telling = was.filter(|was| was.telling.key == HOLD).map_or(telling, |was| was.telling.clone());
    let ends = due + minutes(LATE_MINUTES);
    let holding = Holding::new(Severity::Notice, due, telling).basis(see.basis());
    Ruling::hold(holding.best_before(ends).look_again(ends)).waking(next)
}

/// `dose-late`.
pub(super) fn late(see: &See<'_>, _: &mut Memory) -> Ruling {
    let (last, next) = around(&see.settings.doses.times, see.home.timezone, see.now);
    let Some(due) = last.filter(|due| !given(see, *due) && !see.state.doses.is_empty()) else {
        return over(see, last).waking(next);
    };
    let (begins, ends) = (due + minutes(LATE_MINUTES), due + minutes(LATE_HELD_MINUTES));
    if see.now < begins {
        return Ruling::none().waking(Some(begins));
    }
    if see.now >= ends {
        return Ruling::none().waking(next);
    }
    let telling = see
        .telling("dose-late")
        .with("time", Arg::Time(due))
        .with("late", Arg::Ago(due))
        .with("state", state(see));
    Ruling::hold(Holding::new(Severity::Warning, begins, telling).basis(see.basis()).look_again(ends))
        .waking(next)
}

/// Where blood is, by a fresh reading; the lower of the two where the estimate does not account for it.
fn blood(see: &See<'_>) -> Option<f64> {
    let reading = see.fresh()?;
    let blood = see.estimate()?.blood;
    Some(match see.state.place(see.settings, reading.measured_at)? {
        Place::Odd(_) => reading.value.level().map_or(blood, |level| level.min(blood)),
        Place::Below => see.settings.sensor.range[0].min(blood),
        Place::Above | Place::About(_) | Place::Stuck => blood,
    })
}

/// When the dose was due that is not recorded, if that was less than so many minutes ago.
pub(super) fn open_dose(see: &See<'_>, within: f64) -> Option<Moment> {
    let (last, _) = around(&see.settings.doses.times, see.home.timezone, see.now);
    last.filter(|due| see.now < *due + minutes(within) && !given(see, *due))
}

/// Whether a finding speaks of the dose that is due then.
pub(super) fn is_for(finding: &Finding, due: Moment) -> bool {
    finding.telling.args.get("due") == Some(&Arg::Time(due))
}

fn given(see: &See<'_>, due: Moment) -> bool {
    dose_for(see, due).is_some()
}

fn dose_for<'a>(see: &See<'a>, due: Moment) -> Option<&'a Dose> {
    let from = due - minutes(EARLY_MINUTES);
    see.state.doses.iter().find(|dose| dose.given_at >= from && dose.given_at <= see.now.max(due))
}

/// Who was asked for the dose hears that somebody else gave it.
fn over(see: &See<'_>, due: Option<Moment>) -> Ruling {
    let dose = due.and_then(|due| dose_for(see, due));
    let Some((dose, by)) = dose.and_then(|dose| Some((dose, dose.by.as_ref()?))) else {
        return Ruling::none();
    };
    let telling = see.telling("dose-given").with("person", who(by)).with("time", Arg::Time(dose.given_at));
    Ruling::over(telling)
}

/// Where blood is, in a sentence.
pub(super) fn state(see: &See<'_>) -> Arg {
    match see.fresh() {
        Some(_) => Arg::Phrase(Box::new(see.glucose_telling("dose-state"))),
        None => Arg::Word("dose-state-none".into()),
    }
}

/// What stands against a dose as it would be given every day.
#[derive(Clone, Copy)]
pub(super) enum Stop {
    /// Blood is under the plan's line for holding a dose, mg/dL.
    Held(f64),
    /// Glucose is low.
    Low,
    /// The last dose is recorded twice, at these moments.
    Twice(Moment, Moment),
    /// The last dose was given not long before this one is due, at this moment.
    Recent(Moment),
}

pub(super) fn stop(see: &See<'_>, due: Moment) -> Option<Stop> {
    let plan = &see.settings.plan;
    let blood = blood(see);
    let under = |limit: f64| blood.is_some_and(|blood| blood < limit);
    if let Some(hold) = plan.hold_dose_under.filter(|hold| under(*hold)) {
        return Some(Stop::Held(hold));
    }
    let told = see.state.open(Watch::LowNow).is_some_and(|low| low.severity >= Severity::Warning);
    if told || under(plan.low) {
        return Some(Stop::Low);
    }
    let apart = see.settings.doses.min_hours_between * 60.0;
    let before = see.state.doses.partition_point(|dose| dose.given_at < due);
    match &see.state.doses[..before] {
        [.., first, last]
            if last.given_at.minutes_since(first.given_at) < apart
                && due.minutes_since(last.given_at) <= TWICE_MINUTES =>
        {
            Some(Stop::Twice(first.given_at, last.given_at))
        }
        [.., last] if due.minutes_since(last.given_at) < apart => Some(Stop::Recent(last.given_at)),
        _ => None,
    }
}

/// What the plan says for this level, in the vet's limits.
pub(super) fn line(see: &See<'_>, stop: Option<Stop>) -> Arg {
    let told = |telling: Telling| Arg::Phrase(Box::new(telling.with("phone", see.vet_aside())));
    match stop {
        Some(Stop::Recent(last)) => {
            let apart = Arg::Minutes(see.settings.doses.min_hours_between * 60.0);
            return told(Telling::new("hold-line-recent").with("last", Arg::Time(last)).with("apart", apart));
        }
        Some(Stop::Twice(first, second)) => {
            let telling = Telling::new("hold-line-twice").with("first", Arg::Time(first));
            return told(telling.with("second", Arg::Time(second)));
        }
        _ => {}
    }
    let (key, limit) = match (stop, see.settings.plan.hold_dose_under) {
        (Some(Stop::Held(limit)), _) => ("hold-line", limit),
        (Some(Stop::Low), _) => ("hold-line-low", see.settings.plan.low),
        (_, Some(limit)) => ("hold-line-general", limit),
        (_, None) => return Arg::Word("hold-line-none".into()),
    };
    told(Telling::new(key).with("hold", Arg::Glucose(limit)))
}

/// Before a dose (design: 15 minutes; chosen by us).
const BEFORE_MINUTES: f64 = 15.0;
pub(super) const LATE_MINUTES: f64 = 60.0;
/// By then the next one is nearer than this one.
pub(super) const LATE_HELD_MINUTES: f64 = 6.0 * 60.0;
/// A dose that is recorded twice is a question for the vet at the next one, up to so long after; chosen by us.
const TWICE_MINUTES: f64 = 24.0 * 60.0;
/// The key of a reminder with something against the dose.
pub(super) const HOLD: &str = "dose-due-hold";
/// A dose recorded so long before its time still counts for it.
pub const EARLY_MINUTES: f64 = 3.0 * 60.0;
