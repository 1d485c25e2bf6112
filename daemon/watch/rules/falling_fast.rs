//! `falling-fast`: blood falls faster than the limit while under a level from where that matters.
//!
//! Silent while `low-now` or `low-ahead` speak: they say how fast it falls, too. A low that is only held because it was
//! not clearly over does not silence it. Ends when the fall has halved, or when there is nothing fresh to go by.

use super::low_again::NEAR;
use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Severity, Telling, Watch};

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let low = see.state.open(Watch::LowNow).is_some_and(|low| low.telling.key != NEAR);
    if low || see.state.open(Watch::LowAhead).is_some() {
        return Ruling::none();
    }
    let (Some(reading), Some(estimate)) = (see.fresh(), see.estimate()) else {
        return Ruling::none();
    };
    let settings = &see.settings.watch;
    let was = see.state.open(Watch::FallingFast);
    let limit = if was.is_some() { settings.falling_rate / 2.0 } else { settings.falling_rate };
    if was.is_none() && see.mere_dip() {
        return Ruling::none().waking(see.stale_at());
    }
    if estimate.rate_per_min > limit || estimate.blood > settings.falling_under {
        return Ruling::none().waking(see.stale_at());
    }
    let rescan = match memory.scan_again {
        Some(at) if see.scanned() => {
            Arg::Phrase(Box::new(Telling::new("rescan-at").with("time", Arg::Time(at))))
        }
        _ => Arg::Word("rescan-none".into()),
    };
    let since = was.map_or(reading.measured_at, |was| was.since);
    let telling = see.glucose_telling("falling-fast").with("rescan", rescan);
    let holding = Holding::new(Severity::Warning, since, telling).glucose().basis(see.basis());
    let stale = see.stale_at().unwrap_or(see.now);
    Ruling::hold(holding.best_before(stale).look_again(stale))
}
