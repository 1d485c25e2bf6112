//! `clock-wrong`, for one cat: its readings are dated in the future, so either its source's clock is wrong or this
//! computer's. They are kept in the record and not judged.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Audience, Severity};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let Some(future) = memory.future.filter(|at| *at > see.now) else {
        memory.future = None;
        return Ruling::none();
    };
    let telling =
        see.telling("clock-future").with("reading", Arg::Time(future)).with("time", Arg::Time(see.now));
    Ruling::hold(Holding::new(Severity::Warning, see.now, telling).to(Audience::Owner).look_again(future))
}
