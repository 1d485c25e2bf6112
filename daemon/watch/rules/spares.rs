//! `spares-low`: few unused sensors are left. A notice to whoever keeps the daemon, once for each count.
//!
//! Silent while nobody has ever counted them. Ends when more are counted.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::Memory;
use crate::words::{Arg, Audience, Severity, Watch};

/// The rule.
pub(super) fn rule(see: &See<'_>, _: &mut Memory) -> Ruling {
    let Some(count) = see.state.spares.filter(|count| *count <= see.settings.watch.spares_low) else {
        return Ruling::none();
    };
    let was = see.state.open(Watch::SparesLow);
    let telling = see.telling("spares-low").with("count", Arg::Count(i64::from(count)));
    let more = was.is_some_and(|was| was.telling.args.get("count") != telling.args.get("count"));
    let since = was.map_or(see.now, |was| was.since);
    Ruling::hold(Holding::new(Severity::Notice, since, telling).to(Audience::Owner).more(more))
}
