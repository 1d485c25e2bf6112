//! The present of the running daemon: the machine's clock, as [`crate::round::Present`] makes a present of it. It reads
//! clocks and decides nothing.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crate::clock::Clock;
use crate::round::{self, Time};
use crate::turn::House;
use crate::words::{Event, Moment};

/// Whether the machine's clock can be believed; kept by [`super::machine::watch_clock`].
pub(super) type Believed = Arc<AtomicBool>;

/// Tells the present, and what there is to say of the clock.
pub(super) struct Present {
    clock: Arc<dyn Clock>,
    believed: Believed,
    present: round::Present,
}

impl Present {
    pub(super) fn new(clock: Arc<dyn Clock>, believed: Believed) -> Self {
        Self { clock, believed, present: round::Present::default() }
    }

    /// The house's present; never earlier than `last`, the latest it has seen.
    pub(super) fn now(&mut self, last: Moment) -> Moment {
        self.present.now(last, self.time())
    }

    /// When an event happens that is taken in now.
    pub(super) fn of(&mut self, event: &Event, last: Moment) -> Moment {
        let time = self.time();
        self.present.of(event, last, time)
    }

    /// What there is to say of the clock now.
    pub(super) fn clock_events(&mut self, house: &House) -> Vec<Event> {
        let time = self.time();
        round::clock_events(&mut self.present, house, time)
    }

    /// Time that never steps.
    pub(super) fn steady(&self) -> Duration {
        self.clock.steady()
    }

    fn time(&self) -> Time {
        let believed = self.believed.load(Ordering::Relaxed);
        Time { shown: self.clock.now(), steady: self.clock.steady(), believed }
    }
}
