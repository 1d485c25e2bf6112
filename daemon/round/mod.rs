//! What every driver that keeps house does alike in a round: what the present is, what there is to say of the clock, one
//! turn with what the record gets of it, and what carriers have in their hands. [`crate::run`] does it by the machine's
//! clock and [`crate::simulate`] by an invented one, so that what is tried there is what runs here. Comes in: what the
//! clocks show, and events. Goes out: what is to be entered in the record. It asks no clock, keeps nothing and sends nothing.

mod hands;
mod present;

pub use hands::Hands;
pub use present::{Present, Time};

use std::time::Duration;

use crate::turn::{House, Turned, turn};
use crate::words::{Arg, ClockStep, Event, Health, Moment, Said, Telling, Watch};

/// What one event came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Entered {
    /// The event as the record keeps it.
    pub event: Event,
    /// When it happened, by the house's time.
    pub at: Moment,
    /// What was found and said.
    pub said: Said,
    /// When to turn again if nothing happens before.
    pub wake: Option<Moment>,
    /// Whether the record keeps it. A look at which nothing was found or said follows from the clock alone, and is not
    /// worth the card's wear.
    pub kept: bool,
}

/// Takes one event in, at the moment that [`Present::of`] gives for it.
pub fn enter(house: &mut House, event: Event, at: Moment) -> Entered {
    let Turned { counts_as, said, wake } = turn(house, &event, at);
    let event = counts_as.unwrap_or(event);
    let kept = event != Event::Tick || !said.is_empty();
    Entered { event, at, said, wake, kept }
}

/// What there is to say of the clock, if anything. Comes before everything else in a round, so that the rest is taken in
/// by the right time.
pub fn clock_events(present: &mut Present, house: &House, time: Time) -> Vec<Event> {
    let mut events = Vec::new();
    let doubted = !time.believed;
    if doubted != house.health.open.contains_key(&(Watch::ClockWrong, CLOCK.to_owned())) {
        let shown = Arg::Time(time.shown);
        let trouble = doubted.then(|| Telling::new("clock-unset").with("time", shown));
        events.push(clock_trouble(CLOCK, trouble));
    }
    if let Some(step) = present.step_back(house.now, time) {
        events.push(Event::ClockSet(step));
        events.push(clock_trouble(SET_BACK, Some(set_back(step))));
    }
    events
}

fn set_back(step: ClockStep) -> Telling {
    Telling::new("clock-set-back")
        .with("span", Arg::Minutes(step.from.minutes_since(step.to)))
        .with("time", Arg::Time(step.to))
}

fn clock_trouble(about: &str, trouble: Option<Telling>) -> Event {
    Event::Health(Health { watch: Watch::ClockWrong, about: about.to_owned(), trouble })
}

/// How long a machine that has just started is given to have its clock set, before anything is judged by it. A time
/// service that can be reached has usually set the clock within a minute of the network being there. Chosen by us: as
/// long as nobody watches, it must be short.
pub const CLOCK_WAIT: Duration = Duration::from_secs(180);
/// The longest that a driver may sleep: a clock that is set meanwhile must not make it oversleep.
pub const SLEEP_MAX: Duration = Duration::from_secs(20);

/// Subjects of what is said of the clock.
const CLOCK: &str = "computer";
const SET_BACK: &str = "set-back";
