//! The only file that may ask the machine for the time.

use std::time::Duration;

use crate::words::Moment;

/// A source of the present.
pub trait Clock: Send + Sync {
    /// The wall clock; may step either way.
    fn now(&self) -> Moment;
    /// Time since some fixed point; never steps, stops with the process.
    fn steady(&self) -> Duration;
}

/// The machine's own clock.
#[derive(Debug)]
pub struct MachineClock {
    start: std::time::Instant,
}

impl MachineClock {
    /// Starts counting steady time.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "this file is the one place that may")]
    pub fn new() -> Self {
        Self { start: std::time::Instant::now() }
    }
}

impl Default for MachineClock {
    fn default() -> Self {
        Self::new()
    }
}

impl Clock for MachineClock {
    #[expect(clippy::disallowed_methods, reason = "this file is the one place that may")]
    fn now(&self) -> Moment {
        Moment::from(chrono::Utc::now())
    }

    fn steady(&self) -> Duration {
        self.start.elapsed()
    }
}
