//! The machine's clock in a world: when it is set wrong and right again, what a board without a clock of its own shows
//! after a power cut, and what the daemon can know of that. Comes in: dice, a [`Swarm`]. Goes out: what the clock shows at
//! each moment of true time.

use std::time::Duration;

use super::cat::dice::Dice;
use super::swarm::Swarm;
use super::village::Stretch;
use crate::round::Time;
use crate::words::{Moment, Span, minutes};

/// The machine's clock.
#[derive(Clone, Copy, Debug)]
pub(super) struct WorldClock {
    begins: Moment,
    /// What it shows is so much later than it is.
    ahead: Span,
    /// Whether it has been set since the machine started.
    believed: bool,
    /// When it was set last, or taken for right, by true time.
    touched: Option<Moment>,
}

/// How a clock is set.
#[derive(Clone, Copy, Debug)]
pub(super) enum Setting {
    /// By so much, and what that is called.
    By(Span, &'static str),
    /// To the right time, by a person or a program that nobody has to believe.
    Right,
    /// To the right time, by a time server.
    Synchronised,
}

/// What is really so, whatever the machine's clock shows.
#[derive(Clone, Copy, Debug)]
pub(super) struct Truth {
    /// True time.
    pub(super) now: Moment,
    /// What the daemon is shown.
    pub(super) time: Time,
    /// Since when the daemon is up, by true time.
    pub(super) up_since: Moment,
    /// When the clock was set last, if it ever was.
    pub(super) touched: Option<Moment>,
    /// Whether the clock is right.
    right: bool,
}

impl Truth {
    /// Whether the house must go by what the clock shows by now: it is believed, and was left alone for a while.
    pub(super) fn followed(&self) -> bool {
        self.time.believed && self.noticed()
    }

    /// Whether the daemon must have seen by now what the clock shows and whether it is believed.
    pub(super) fn noticed(&self) -> bool {
        self.now >= self.up_since.max(self.touched.unwrap_or(self.up_since)) + minutes(FOLLOWED_MINUTES)
    }

    /// Whether the house must go by the right time by now.
    pub(super) fn honest(&self) -> bool {
        self.right && self.followed()
    }
}

impl WorldClock {
    /// A clock that is right.
    pub(super) fn new(begins: Moment) -> Self {
        Self { begins, ahead: Span::zero(), believed: true, touched: None }
    }

    pub(super) fn set(&mut self, setting: Setting, now: Moment) {
        self.touched = Some(now);
        match setting {
            Setting::By(by, _) => self.ahead += by,
            Setting::Right => self.ahead = Span::zero(),
            Setting::Synchronised => {
                self.ahead = Span::zero();
                self.believed = true;
            }
        }
    }

    /// The machine starts at `now`, and its clock goes on from where it was `behind` this long.
    pub(super) fn boot(&mut self, behind: Span, now: Moment) {
        self.touched = Some(now);
        self.ahead -= behind;
        self.believed = false;
    }

    pub(super) fn time(&self, now: Moment) -> Time {
        let steady = u64::try_from((now - self.begins).num_milliseconds()).unwrap_or_default();
        Time { shown: now + self.ahead, steady: Duration::from_millis(steady), believed: self.believed }
    }

    pub(super) fn truth(&self, now: Moment, up_since: Moment) -> Truth {
        Truth {
            now,
            time: self.time(now),
            up_since,
            touched: self.touched,
            right: self.ahead.num_milliseconds() == 0,
        }
    }
}

/// When the clock is set, and how. Most wrong settings are put right after a while.
pub(super) fn settings(dice: &mut Dice, swarm: &Swarm, stretch: &Stretch) -> Vec<(Moment, Setting)> {
    let mut settings = Vec::new();
    let mut at = stretch.begins;
    while let Some(a_day) = swarm.clock {
        at = at + minutes(dice.wait(1440.0 / a_day));
        if at >= stretch.faults_end {
            break;
        }
        settings.push((at, step(dice)));
        let right = at + minutes(dice.wait(90.0));
        if dice.chance(0.7) && right < stretch.faults_end {
            settings.push((right, Setting::Right));
        }
    }
    settings
}

fn step(dice: &mut Dice) -> Setting {
    let forward = dice.chance(0.5);
    let (size, names) = match dice.between(0.0, 10.0) as u32 {
        0..4 => (dice.between(1.0, 60.0), ["clock set forward by minutes", "clock set back by minutes"]),
        4..7 => (dice.between(60.0, 1440.0), ["clock set forward by hours", "clock set back by hours"]),
        7..9 => (dice.between(1.0, 30.0) * 1440.0, ["clock set forward by days", "clock set back by days"]),
        _ => (dice.between(1.0, 5.0) * 525_960.0, ["clock set forward by years", "clock set back by years"]),
    };
    let by = minutes(if forward { size } else { -size });
    Setting::By(by, names[usize::from(!forward)])
}

/// How long after its start a time server sets the clock of a board: mostly within what is waited for, sometimes hours
/// later.
pub(super) fn until_synchronised(dice: &mut Dice) -> Span {
    let (soon, wait) = (dice.chance(0.6), dice.wait(1.0));
    minutes(if soon { wait } else { 3.0 + wait * 120.0 })
}

/// A clock that is believed is followed after 20 seconds, and looked at every 20 seconds.
const FOLLOWED_MINUTES: f64 = 1.0;
