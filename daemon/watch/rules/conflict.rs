//! `file-rejected`, for one cat: a source says something else for an instant than what is held already. Both values
//! are kept, the first counts. A notice to whoever keeps the daemon; ends after a day.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Audience, Severity, Watch, minutes};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let ends = memory.conflict.as_ref().map(|(came, ..)| *came + minutes(HELD_MINUTES));
    let (Some((came, rows, first, source)), Some(ends)) =
        (memory.conflict.clone(), ends.filter(|ends| *ends > see.now))
    else {
        memory.conflict = None;
        return Ruling::none();
    };
    let telling = see
        .telling("value-conflict")
        .with("rows", Arg::Count(i64::from(rows)))
        .with("file", Arg::Text(source))
        .with("time", Arg::Time(first.came.measured_at))
        .with("came", Arg::Value(first.came.value))
        .with("held", Arg::Value(first.held));
    let more = see.state.open(Watch::FileRejected).is_some_and(|was| was.telling != telling);
    let holding = Holding::new(Severity::Notice, came, telling).to(Audience::Owner);
    Ruling::hold(holding.more(more).look_again(ends))
}

const HELD_MINUTES: f64 = 24.0 * 60.0;
