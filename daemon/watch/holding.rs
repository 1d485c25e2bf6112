//! What a rule answers: nothing, that it holds something, or that what it held is over.

use crate::words::{Audience, Basis, Moment, Severity, Telling};

/// What a rule currently holds true.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Holding {
    pub(super) about: String,
    pub(super) severity: Severity,
    pub(super) since: Moment,
    pub(super) telling: Telling,
    pub(super) step: Option<u32>,
    pub(super) more: bool,
    pub(super) basis: Option<Basis>,
    pub(super) look_again: Option<Moment>,
    pub(super) audience: Audience,
    pub(super) best_before: Option<Moment>,
    pub(super) glucose: bool,
    pub(super) repeats: bool,
}

impl Holding {
    pub(super) fn new(severity: Severity, since: Moment, telling: Telling) -> Self {
        Self {
            about: String::new(),
            severity,
            since,
            telling,
            step: None,
            more: false,
            basis: None,
            look_again: None,
            audience: Audience::OnDuty,
            best_before: None,
            glucose: false,
            repeats: false,
        }
    }

    /// It is about glucose: its warnings come through quiet hours.
    pub(super) fn glucose(mut self) -> Self {
        self.glucose = true;
        self
    }

    /// A warning that is worth saying twice.
    pub(super) fn repeating(mut self) -> Self {
        self.repeats = true;
        self
    }

    /// There is something new to be said about it.
    pub(super) fn more(mut self, more: bool) -> Self {
        self.more = more;
        self
    }

    /// The step by the rule's own count.
    pub(super) fn step(mut self, step: u32) -> Self {
        self.step = Some(step);
        self
    }

    pub(super) fn basis(mut self, basis: Option<Basis>) -> Self {
        self.basis = basis;
        self
    }

    pub(super) fn best_before(mut self, at: Moment) -> Self {
        self.best_before = Some(at);
        self
    }

    pub(super) fn look_again(mut self, at: Moment) -> Self {
        self.look_again = Some(at);
        self
    }

    pub(super) fn to(mut self, audience: Audience) -> Self {
        self.audience = audience;
        self
    }
}

/// What a rule says at one look.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Ruling {
    pub(super) held: Option<Holding>,
    /// What to tell now that nothing is held any more; only used if something was.
    pub(super) over: Option<Telling>,
    /// Whether nothing is held any more only because nothing more is known.
    pub(super) unsure: bool,
    /// What to tell, without a sound, of something that is held and has become milder.
    pub(super) eased: Option<Telling>,
    /// When the rule wants to look again even if nothing happens. One that has passed hides none that has not.
    pub(super) wakes: Vec<Moment>,
}

impl Ruling {
    /// Nothing to hold, nothing to wait for.
    pub(super) fn none() -> Self {
        Self::default()
    }

    /// Holds this; looks again when the holding says so.
    pub(super) fn hold(holding: Holding) -> Self {
        let wakes = holding.look_again.into_iter().collect();
        Self { held: Some(holding), wakes, ..Self::default() }
    }

    /// What was held is over, and this is to be told.
    pub(super) fn over(telling: Telling) -> Self {
        Self { over: Some(telling), ..Self::default() }
    }

    /// Nothing more is known of what was held, and this is to be told.
    pub(super) fn lost(telling: Telling) -> Self {
        Self { unsure: true, ..Self::over(telling) }
    }

    /// Look again at this moment, too.
    pub(super) fn waking(mut self, at: impl IntoIterator<Item = Moment>) -> Self {
        self.wakes.extend(at);
        self
    }
}
