//! `dose-stop`: a dose was asked for, it is not recorded yet, and now blood is under the plan's line for holding a dose
//! or glucose is low.
//!
//! Whoever was told of that dose without a word against it hears at once, through the night too, not to inject yet and
//! whom to call. Told once for each time a dose is due, up to the hour at which it counts as late. Where no doses are
//! recorded it is most likely given soon after its time: there, only what shows within 20 minutes of it counts. When
//! blood is over the line again, nothing is said: whether to inject after all is the vet's word.

use super::dose_times::{HOLD, LATE_MINUTES, Stop, is_for, line, open_dose, state, stop};
use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Moment, Severity, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, _: &mut Memory) -> Ruling {
    let Some(due) = open_dose(see, LATE_MINUTES) else { return Ruling::none() };
    let was = see.state.open(Watch::DoseStop).filter(|was| is_for(was, due));
    let open = !see.state.doses.is_empty() || see.now < due + minutes(UNRECORDED_MINUTES);
    let stop = stop(see, due).filter(|stop| open && matches!(stop, Stop::Held(_) | Stop::Low));
    let telling = match (stop, was) {
        (Some(stop), _) if was.is_some() || asked_for(see, due) => see
            .telling("dose-stop")
            .with("due", Arg::Time(due))
            .with("state", state(see))
            .with("line", line(see, Some(stop))),
        // Over the line again: what was said stands.
        (None, Some(was)) => was.telling.clone(),
        _ => return Ruling::none(),
    };
    let ends = due + minutes(LATE_MINUTES);
    let holding = Holding::new(Severity::Warning, see.now, telling).glucose().basis(see.basis());
    Ruling::hold(holding.best_before(ends).look_again(ends))
}

/// Whether this dose was told of at the last look, and nothing stood against it then. Asked before the reminders are
/// looked at again.
fn asked_for(see: &See<'_>, due: Moment) -> bool {
    let open = |watch| see.state.open(watch).filter(|told| is_for(told, due));
    match open(Watch::DoseDue) {
        Some(told) => told.telling.key != HOLD,
        None => open(Watch::BeforeDose).is_some_and(|told| told.severity == Severity::Notice),
    }
}

/// A reading of a slow sensor comes within this after a dose was due, and whoever was asked for it gives it.
const UNRECORDED_MINUTES: f64 = 20.0;
