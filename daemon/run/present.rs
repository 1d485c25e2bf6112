//! The house's present. Usually it is the machine's clock. While that is behind what the record has seen, the house
//! goes on by the steady clock from where it was, so that repeats and reminders keep coming; and once it is clear that
//! the clock is right now and ran ahead before, the house goes back with it. It decides about time and nothing else.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crate::clock::Clock;
use crate::words::{ClockStep, Moment, Span, minutes};

/// Whether the machine's clock can be believed; kept by [`super::machine::watch_clock`].
pub(super) type Believed = Arc<AtomicBool>;

/// Tells the present, and when to go back.
pub(super) struct Present {
    clock: Arc<dyn Clock>,
    believed: Believed,
    /// While the clock is behind: where the house was when that was noticed, by the steady clock.
    behind: Option<(Moment, Duration)>,
}

impl Present {
    pub(super) fn new(clock: Arc<dyn Clock>, believed: Believed) -> Self {
        Self { clock, believed, behind: None }
    }

    /// The house's present; never earlier than `last`, the latest it has seen.
    pub(super) fn now(&mut self, last: Moment) -> Moment {
        let (clock, steady) = (self.clock.now(), self.clock.steady());
        let (from, since) = *self.behind.get_or_insert((last, steady));
        let gone_on = (from + span(steady.saturating_sub(since))).max(last);
        if clock >= gone_on {
            self.behind = None;
            return clock;
        }
        gone_on
    }

    /// The step that the house has to take back now, if it has to.
    ///
    /// A clock that is believed is followed after some seconds: a time server's slip mends itself. One that is not may
    /// be right all the same, set by hand say; a board that does not know the time starts at most about an hour behind
    /// its last shutdown, and by then has usually caught up.
    pub(super) fn step_back(&mut self, last: Moment) -> Option<ClockStep> {
        let now = self.now(last);
        let (_, since) = self.behind?;
        let clock = self.clock.now();
        if now - clock < minutes(BEHIND_MINUTES_MAX) {
            return None;
        }
        let patience = if self.is_believed() { PATIENCE } else { PATIENCE_UNBELIEVED };
        if self.clock.steady().saturating_sub(since) < patience {
            return None;
        }
        self.behind = None;
        Some(ClockStep { from: now, to: clock })
    }

    /// Whether the machine's clock can be believed.
    pub(super) fn is_believed(&self) -> bool {
        self.believed.load(Ordering::Relaxed)
    }

    /// Time that never steps.
    pub(super) fn steady(&self) -> Duration {
        self.clock.steady()
    }

    /// What the machine's clock shows.
    pub(super) fn shown(&self) -> Moment {
        self.clock.now()
    }
}

fn span(length: Duration) -> Span {
    Span::milliseconds(i64::try_from(length.as_millis()).unwrap_or(i64::MAX / 4))
}

/// Less than this is not worth a word: the house is ahead by that much until the next start.
const BEHIND_MINUTES_MAX: f64 = 1.0;
const PATIENCE: Duration = Duration::from_secs(20);
const PATIENCE_UNBELIEVED: Duration = Duration::from_secs(2 * 3600);

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;

    /// A clock set by hand.
    struct Hand(Mutex<(Moment, Duration)>);

    impl Clock for Hand {
        fn now(&self) -> Moment {
            self.0.lock().unwrap().0
        }
        fn steady(&self) -> Duration {
            self.0.lock().unwrap().1
        }
    }

    struct Desk {
        hand: Arc<Hand>,
        believed: Believed,
        present: Present,
        last: Moment,
    }

    impl Desk {
        fn new(believed: bool) -> Self {
            let noon = Moment::parse("2026-06-10T10:00:00Z").unwrap();
            let hand = Arc::new(Hand(Mutex::new((noon, Duration::ZERO))));
            let believed = Arc::new(AtomicBool::new(believed));
            let present = Present::new(hand.clone(), Arc::clone(&believed));
            Self { hand, believed, present, last: noon }
        }

        fn pass(&mut self, seconds: u64) {
            let mut time = self.hand.0.lock().unwrap();
            time.0 = time.0 + Span::seconds(seconds as i64);
            time.1 += Duration::from_secs(seconds);
        }

        fn set(&mut self, minutes_off: f64) {
            let mut time = self.hand.0.lock().unwrap();
            time.0 = time.0 + minutes(minutes_off);
        }

        fn now(&mut self) -> Moment {
            self.last = self.present.now(self.last);
            self.last
        }
    }

    #[test]
    fn a_clock_set_back_is_followed_after_some_seconds_and_time_goes_on_until_then() {
        for ahead in [2.0, 180.0, 525_960.0] {
            let mut desk = Desk::new(true);
            let before = desk.now();
            desk.set(-ahead);
            assert_eq!(desk.now(), before);
            desk.pass(10);
            assert_eq!(desk.now(), before + Span::seconds(10), "it stands still");
            assert_eq!(desk.present.step_back(desk.last), None);
            desk.pass(11);
            let now = desk.now();
            let step = desk.present.step_back(desk.last).unwrap();
            assert_eq!(step, ClockStep { from: now, to: now - minutes(ahead) });
            desk.last = step.to;
            desk.pass(5);
            assert_eq!(desk.now(), step.to + Span::seconds(5), "it follows the clock again");
            assert_eq!(desk.present.step_back(desk.last), None);
        }
    }

    #[test]
    fn seconds_are_not_worth_a_step_and_a_slip_mends_itself() {
        let mut desk = Desk::new(true);
        desk.now();
        desk.set(-0.5);
        desk.now();
        desk.pass(600);
        assert_eq!(desk.present.step_back(desk.last), None);
        desk.set(-60.0);
        desk.now();
        desk.pass(5);
        desk.set(60.5);
        let shown = desk.present.shown();
        assert_eq!(desk.now(), shown);
        desk.pass(600);
        assert_eq!(desk.present.step_back(desk.last), None);
    }

    #[test]
    fn a_clock_that_nobody_has_set_is_not_followed_back_before_it_could_have_caught_up() {
        let mut desk = Desk::new(false);
        let before = desk.now();
        desk.set(-45.0);
        desk.now();
        desk.pass(3600);
        assert_eq!(desk.now(), before + Span::hours(1));
        assert_eq!(desk.present.step_back(desk.last), None);
        desk.pass(3601);
        desk.now();
        assert!(desk.present.step_back(desk.last).is_some(), "for ever would be no better");
        let mut desk = Desk::new(false);
        desk.now();
        desk.set(-45.0);
        desk.now();
        desk.pass(60);
        // The time service comes and says that the clock is right now.
        desk.believed.store(true, Ordering::Relaxed);
        desk.now();
        assert!(desk.present.step_back(desk.last).is_some());
    }
}
