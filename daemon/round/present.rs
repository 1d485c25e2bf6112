//! The house's present. Usually it is the machine's clock. While that is behind what the record has seen, the house
//! goes on by the steady clock from where it was, so that repeats and reminders keep coming; and once it is clear that
//! the clock is right now and ran ahead before, the house goes back with it. It decides about time and nothing else.

use std::time::Duration;

use crate::words::{ClockStep, Event, Moment, Span, minutes};

/// What the clocks show at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Time {
    /// The wall clock; may step either way.
    pub shown: Moment,
    /// Time since some fixed point; never steps.
    pub steady: Duration,
    /// Whether the wall clock can be believed.
    pub believed: bool,
}

/// Tells the present, and when to go back.
#[derive(Clone, Copy, Debug, Default)]
pub struct Present {
    /// A moment that was told and when that was, by the steady clock. From here time goes on if the clock is set back, also
    /// the time in which nothing happened: what is to be done after ten minutes does not wait for ten more.
    told: Option<(Moment, Duration)>,
    /// Since when the clock has been behind by more than is let pass, by the steady clock.
    behind: Option<Duration>,
}

impl Present {
    /// The house's present; never earlier than `last`, the latest it has seen.
    pub fn now(&mut self, last: Moment, time: Time) -> Moment {
        let gone_on = self.told.map_or(last, |(at, since)| at + span(time.steady.saturating_sub(since)));
        let now = time.shown.max(gone_on).max(last);
        self.told = Some((now, time.steady));
        if now - time.shown < minutes(BEHIND_MINUTES_MAX) {
            self.behind = None;
        } else {
            self.behind.get_or_insert(time.steady);
        }
        now
    }

    /// When an event happens that is taken in now. A clock that was set back brings its own present, and what was held of
    /// the old one is forgotten.
    pub fn of(&mut self, event: &Event, last: Moment, time: Time) -> Moment {
        let Event::ClockSet(step) = event else { return self.now(last, time) };
        *self = Self { told: Some((step.to, time.steady)), behind: None };
        step.to
    }

    /// The step that the house has to take back now, if it has to.
    ///
    /// A clock that is believed is followed after some seconds: a time server's slip mends itself. One that is not may
    /// be right all the same, set by hand say; a board that does not know the time starts at most about an hour behind
    /// its last shutdown, and by then has usually caught up.
    pub fn step_back(&mut self, last: Moment, time: Time) -> Option<ClockStep> {
        let now = self.now(last, time);
        let since = self.behind?;
        let patience = if time.believed { PATIENCE } else { PATIENCE_UNBELIEVED };
        if time.steady.saturating_sub(since) < patience {
            return None;
        }
        Some(ClockStep { from: now, to: time.shown })
    }

    /// Whether the clock was behind the house when it was last looked at, by more than is let pass.
    #[must_use]
    pub const fn is_behind(&self) -> bool {
        self.behind.is_some()
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
    use super::*;

    struct Desk {
        time: Time,
        present: Present,
        last: Moment,
    }

    impl Desk {
        fn new(believed: bool) -> Self {
            let noon = Moment::parse("2026-06-10T10:00:00Z").unwrap();
            let time = Time { shown: noon, steady: Duration::ZERO, believed };
            Self { time, present: Present::default(), last: noon }
        }

        fn pass(&mut self, seconds: u64) {
            self.time.shown = self.time.shown + Span::seconds(seconds as i64);
            self.time.steady += Duration::from_secs(seconds);
        }

        fn set(&mut self, minutes_off: f64) {
            self.time.shown = self.time.shown + minutes(minutes_off);
        }

        fn now(&mut self) -> Moment {
            self.last = self.present.now(self.last, self.time);
            self.last
        }

        fn step_back(&mut self) -> Option<ClockStep> {
            let step = self.present.step_back(self.last, self.time)?;
            self.last = self.present.of(&Event::ClockSet(step), self.last, self.time);
            assert_eq!(self.last, step.to);
            Some(step)
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
            assert_eq!(desk.step_back(), None);
            desk.pass(11);
            let now = desk.now();
            let step = desk.step_back().unwrap();
            assert_eq!(step, ClockStep { from: now, to: now - minutes(ahead) });
            desk.pass(5);
            assert_eq!(desk.now(), step.to + Span::seconds(5), "it follows the clock again");
            assert_eq!(desk.step_back(), None);
        }
    }

    #[test]
    fn time_in_which_nothing_happened_has_passed_too_when_a_clock_is_set_back() {
        let mut desk = Desk::new(true);
        let before = desk.now();
        desk.pass(540);
        desk.set(-60.0);
        desk.pass(1);
        assert_eq!(desk.now(), before + Span::seconds(541));
        desk.pass(20);
        let step = desk.step_back().unwrap();
        assert_eq!(step.from, before + Span::seconds(561));
        assert_eq!(step.moved(before), before - Span::hours(1), "as far back as the clock went, and no less");
        desk.pass(300);
        desk.set(-60.0);
        assert_eq!(desk.now(), step.to + Span::seconds(300));
    }

    #[test]
    fn a_clock_that_is_just_behind_does_not_use_up_the_patience_of_one_that_slips() {
        let mut desk = Desk::new(true);
        desk.now();
        desk.set(-0.01);
        desk.now();
        desk.pass(600);
        desk.set(-60.0);
        desk.now();
        assert_eq!(desk.step_back(), None);
        desk.pass(21);
        assert!(desk.step_back().is_some());
    }

    #[test]
    fn seconds_are_not_worth_a_step_and_a_slip_mends_itself() {
        let mut desk = Desk::new(true);
        desk.now();
        desk.set(-0.5);
        desk.now();
        desk.pass(600);
        assert_eq!(desk.step_back(), None);
        desk.set(-60.0);
        desk.now();
        desk.pass(5);
        desk.set(60.5);
        let shown = desk.time.shown;
        assert_eq!(desk.now(), shown);
        desk.pass(600);
        assert_eq!(desk.step_back(), None);
    }

    #[test]
    fn a_clock_that_nobody_has_set_is_not_followed_back_before_it_could_have_caught_up() {
        let mut desk = Desk::new(false);
        let before = desk.now();
        desk.set(-45.0);
        desk.now();
        desk.pass(3600);
        assert_eq!(desk.now(), before + Span::hours(1));
        assert_eq!(desk.step_back(), None);
        desk.pass(3601);
        desk.now();
        assert!(desk.step_back().is_some(), "for ever would be no better");
        let mut desk = Desk::new(false);
        desk.now();
        desk.set(-45.0);
        desk.now();
        desk.pass(60);
        // The time service comes and says that the clock is right now.
        desk.time.believed = true;
        desk.now();
        assert!(desk.step_back().is_some());
    }
}
