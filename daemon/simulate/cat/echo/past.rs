//! What the glucose of an invented cat was: the memory that makes its answers late.
//!
//! Comes in: one level a minute. Goes out: the level some minutes ago, and how much was wanting under the limit of
//! defence, then or over hours. Minutes beyond what is kept count as the oldest one.

/// The last hours, by the minute.
#[derive(Clone, Debug)]
pub(super) struct Past {
    levels: Box<[f64; KEPT]>,
    newest: usize,
    limit: f64,
    long_want: f64,
}

impl Past {
    /// As if it had always been at this level; `limit` is where defence begins (mg/dL).
    pub(super) fn new(level: f64, limit: f64) -> Self {
        Self { levels: Box::new([level; KEPT]), newest: 0, limit, long_want: 0.0 }
    }

    /// One minute on.
    pub(super) fn push(&mut self, level: f64) {
        self.newest = (self.newest + 1) % KEPT;
        self.levels[self.newest] = level;
        let share = 1.0 / (LONG.1 - LONG.0) as f64;
        self.long_want = (self.long_want + share * (self.want(LONG.0) - self.want(LONG.1))).max(0.0);
    }

    /// The level so many minutes ago, mg/dL.
    pub(super) fn ago(&self, minutes: usize) -> f64 {
        self.levels[(self.newest + KEPT - minutes.min(KEPT - 1)) % KEPT]
    }

    /// How far it was under the limit so many minutes ago; 1 is [`FELT_MG_DL`].
    pub(super) fn want(&self, minutes: usize) -> f64 {
        (self.limit - self.ago(minutes)).max(0.0) / FELT_MG_DL
    }

    /// The mean of [`want`](Self::want) between half an hour and four hours ago, enlarged so that an hour's deep low
    /// is about 1.
    pub(super) const fn long_want(&self) -> f64 {
        3.0 * self.long_want
    }
}

const KEPT: usize = 256;
/// From and until how many minutes ago a low is still answered.
const LONG: (usize, usize) = (30, 240);
/// What is felt as half of all that can be felt.
const FELT_MG_DL: f64 = 20.0;
