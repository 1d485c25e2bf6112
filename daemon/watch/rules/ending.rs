//! `sensor-ending`: the wear is nearly over. A reminder at set hours before, moved to before the night if it would
//! fall into the hours in which the person on duty sleeps.

use super::{Ruling, See, next_after};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Moment, Severity, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, _: &mut Memory) -> Ruling {
    let Some(ends) = see.wear_ends().filter(|ends| *ends > see.now && !see.wear_over()) else {
        return Ruling::none();
    };
    let times: Vec<Moment> = see
        .settings
        .watch
        .ending_hours
        .iter()
        .map(|hours| awake(see, ends - minutes(hours * 60.0)))
        .collect();
    let passed = times.iter().filter(|at| **at <= see.now).count() as u32;
    // Whoever takes the cat over may sleep at other hours; what was said of this wear has still been said.
    let was = see.state.open(Watch::SensorEnding);
    let was = was.filter(|was| was.telling.args.get("ends") == Some(&Arg::Time(ends)));
    let passed = passed.max(was.map_or(0, |was| was.step));
    let next = next_after(times.iter().copied().chain([ends]), see.now);
    if passed == 0 {
        return Ruling::none().waking(next);
    }
    let telling = see
        .telling("sensor-ending")
        .with("ends", Arg::Time(ends))
        .with("left", Arg::Minutes(ends.minutes_since(see.now)))
        .with("spares", see.spares_phrase());
    let since = times.into_iter().min().unwrap_or(see.now);
    let holding = Holding::new(Severity::Notice, since, telling).step(passed).best_before(ends);
    Ruling::hold(holding.look_again(next.unwrap_or(ends)))
}

fn awake(see: &See<'_>, at: Moment) -> Moment {
    match see.night {
        Some(night) if night.from <= at && at < night.until => night.from - minutes(30.0),
        _ => at,
    }
}
