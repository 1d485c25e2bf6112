//! One world: a clock that jumps from one happening to the next, doors, carriers and people with faults, and the
//! checks after each turn. Comes in: a seed, a number of days. Goes out: a [`Report`].
//!
//! Phase one has faults and nothing false may happen. Phase two has none and everything must come to its end:
//! half a day later readings stop for good, and that has to be told.

mod carry;
mod faults;
mod fill;

use std::collections::{BTreeMap, BTreeSet};
use std::panic::{AssertUnwindSafe, catch_unwind};

use super::cat::dice::Dice;
use super::check::Checks;
use super::clock::{Setting, Truth, WorldClock};
use super::driver::Driver;
use super::report::{Failure, Report, SimulateOptions, Tally, Tape};
use super::swarm::Swarm;
use super::village::{self, Stretch};
use crate::round::Time;
use crate::words::{Channel, Event, Household, MessageId, Moment, Outcome, Parcel, Span, minutes};

/// Lives `days` days with faults and two without, in the world of this seed.
///
/// The same seed, days and program give the same report, byte for byte.
#[must_use]
pub fn simulate(seed: u64, days: u32, options: &SimulateOptions) -> Report {
    let mut world = World::new(seed, days, options);
    let lived = catch_unwind(AssertUnwindSafe(|| world.live()));
    let wrong = match lived {
        Ok(Ok(())) => None,
        Ok(Err(wrong)) => Some(wrong),
        Err(fault) => Some(format!("the program met a fault of its own: {}", said_in(fault.as_ref()))),
    };
    let failure =
        wrong.map(|what| Failure { turn: world.turns, at: world.now, what, last: world.tape.last() });
    let (trace, lines) = world.tape.finish();
    Report {
        seed,
        days,
        faults: world.swarm.names(),
        turns: world.turns,
        readings: world.checks.readings(),
        criticals: world.checks.criticals(),
        messages: world.checks.messages(),
        busiest_hour: world.checks.busiest_hour,
        restarts: world.life,
        injected: std::mem::take(&mut world.injected),
        checked: world.checks.looked(),
        cat_days: world.usual.cats.len() as f64 * world.now.minutes_since(world.stretch.begins) / 1440.0,
        trace,
        lines,
        failure,
    }
}

fn said_in(fault: &(dyn std::any::Any + Send)) -> String {
    let text = fault.downcast_ref::<String>().map(String::as_str);
    text.or(fault.downcast_ref::<&str>().copied()).unwrap_or("without a word").to_owned()
}

/// Something that happens at its time.
#[derive(Debug)]
enum Happening {
    /// Something reaches a door.
    Arrives(Event),
    /// A carrier says how an attempt ended, to the daemon of this life.
    Carried { parcel: Parcel, outcome: Outcome, life: u64 },
    /// The machine's clock is set.
    ClockSet(Setting),
    /// A time server sets the clock of the machine that was started so many times.
    Synchronised { boot: u64 },
    /// The daemon looks at the clock, as it does every so often.
    Look,
    /// The house asked to be woken.
    Wake,
    /// The daemon starts.
    Start,
    /// The daemon crashes and is gone for a while.
    Crash(Span),
    /// The power goes.
    PowerCut,
    /// The owner changes the settings and starts the daemon anew.
    Settings,
    /// A channel stops working until then.
    ChannelDown(Channel, Moment),
    /// The last fault is over.
    FaultsEnd,
}

struct World {
    dice: Dice,
    stretch: Stretch,
    swarm: Swarm,
    household: Household,
    /// As drawn, to return to.
    usual: Household,
    queue: BTreeMap<(Moment, u64), Happening>,
    sequence: u64,
    wake: Option<(Moment, u64)>,
    /// True time.
    now: Moment,
    clock: WorldClock,
    /// Dice of the clock, so that the rest of a world is the same whatever its clock does.
    clock_dice: Dice,
    boots: u64,
    faults: bool,
    down_until: BTreeMap<Channel, Moment>,
    daemon_up_at: Moment,
    /// Until when a machine that was started is off, or the daemon on it waits for the time.
    waits_until: Moment,
    /// What carriers really have.
    in_flight: BTreeSet<(MessageId, Channel)>,
    life: u64,
    turns: u64,
    driver: Driver,
    checks: Checks,
    tape: Tape,
    injected: Tally,
}

impl World {
    fn new(seed: u64, days: u32, options: &SimulateOptions) -> Self {
        let mut dice = Dice::new(seed, 40);
        let stretch = Stretch::draw(&mut dice, days);
        let swarm = Swarm::draw(&mut dice).with_lows(&mut Dice::new(seed, 41));
        let swarm = swarm.with_power_cuts(&mut Dice::new(seed, 43));
        let household = village::household(&mut dice, &stretch);
        let mut world = Self {
            stretch,
            usual: household.clone(),
            queue: BTreeMap::new(),
            sequence: 0,
            wake: None,
            now: stretch.begins,
            clock: WorldClock::new(stretch.begins),
            clock_dice: Dice::new(seed, 44),
            boots: 0,
            faults: true,
            down_until: BTreeMap::new(),
            daemon_up_at: stretch.begins,
            waits_until: stretch.begins,
            in_flight: BTreeSet::new(),
            life: 0,
            turns: 0,
            driver: Driver::new(options.bug),
            checks: Checks::new(swarm.future.is_some()),
            tape: Tape::new(options.keep_trace),
            injected: Tally::new(),
            dice,
            swarm,
            household,
        };
        world.fill(seed);
        world
    }

    fn strike(&mut self, what: &'static str) {
        *self.injected.entry(what).or_default() += 1;
    }

    fn put(&mut self, at: Moment, happening: Happening) {
        self.sequence += 1;
        self.queue.insert((at, self.sequence), happening);
    }

    fn time(&self) -> Time {
        self.clock.time(self.now)
    }

    fn truth(&self) -> Truth {
        self.clock.truth(self.now, self.daemon_up_at)
    }

    fn live(&mut self) -> Result<(), String> {
        self.begin();
        while let Some(((at, _), happening)) = self.queue.pop_first() {
            if at > self.stretch.ends {
                break;
            }
            self.now = at;
            self.happen(happening)?;
        }
        self.now = self.stretch.ends;
        let truth = self.truth();
        self.checks.at_the_end(&self.driver, truth)?;
        self.checks.rebuilt(&self.driver, truth, true)
    }

    fn happen(&mut self, happening: Happening) -> Result<(), String> {
        match happening {
            Happening::Arrives(event) => self.arrives(event),
            Happening::Carried { parcel, outcome, life } if life == self.life => {
                self.in_flight.remove(&(parcel.message.clone(), parcel.channel.clone()));
                self.driver.back_in_hand(&parcel);
                self.round(vec![Event::Outcome { parcel, outcome }])
            }
            // The daemon that asked for it is dead; the answer reaches nobody.
            Happening::Carried { .. } => Ok(()),
            Happening::ClockSet(setting) => {
                self.clock_set(setting);
                Ok(())
            }
            Happening::Synchronised { boot } => {
                if boot == self.boots {
                    self.clock_set(Setting::Synchronised);
                }
                Ok(())
            }
            Happening::Look if self.now < self.daemon_up_at => Ok(()),
            Happening::Look => self.round(Vec::new()),
            Happening::Wake => {
                self.wake = None;
                self.round(Vec::new())
            }
            Happening::Start => self.start(),
            Happening::Crash(gone) => {
                self.strike("crash");
                self.crash(gone)
            }
            Happening::PowerCut => self.power_cut(),
            Happening::Settings => {
                self.strike("settings changed");
                self.settings()
            }
            Happening::ChannelDown(channel, until) => {
                self.strike("channel down");
                self.down_until.insert(channel, until);
                Ok(())
            }
            Happening::FaultsEnd => {
                self.faults = false;
                self.clock.set(Setting::Synchronised, self.now);
                self.down_until.clear();
                self.household = self.usual.clone();
                self.waits_until = self.now;
                self.checks.calm_from = Some(self.now + minutes(CALM_AFTER_MINUTES));
                self.crash(minutes(0.1))
            }
        }
    }

    /// One round, as the keeper does it: the clock, what has come, a look if it is time for one; commit, send.
    fn round(&mut self, events: Vec<Event>) -> Result<(), String> {
        self.turn(events)?;
        for parcel in self.driver.hand_out(self.time()) {
            self.checks.sent(&self.driver, self.truth(), &parcel)?;
            self.carry(parcel);
        }
        let truth = self.truth();
        self.checks.handed_out(&self.driver, truth, &self.in_flight)?;
        self.look_soon();
        if self.driver.journal.len().is_multiple_of(ENTRIES_BETWEEN_CHECKPOINTS) {
            self.driver.keep()?;
        }
        Ok(())
    }

    fn turn(&mut self, events: Vec<Event>) -> Result<(), String> {
        let time = self.time();
        let tick = self.driver.wants_a_look(time).then_some(Event::Tick);
        let events = events.into_iter().flat_map(|event| self.driver.as_often(event)).collect::<Vec<_>>();
        for event in self.driver.clock_events(time).into_iter().chain(events).chain(tick) {
            if let Some(taken) = self.driver.take(event, time) {
                self.turns += 1;
                self.tape.add(self.now, &self.driver.house, &taken);
                let truth = self.truth();
                self.checks.after_turn(&self.driver, &taken, truth)?;
            }
        }
        let truth = self.truth();
        self.checks.between_rounds(&self.driver, truth)
    }

    /// Sets the alarm for the moment until which the daemon sleeps.
    fn look_soon(&mut self) {
        if let Some(key) = self.wake.take() {
            self.queue.remove(&key);
        }
        let Some(sleep) = self.driver.sleep(self.time()) else { return };
        let at = (self.now + sleep).max(self.now + Span::milliseconds(1)).max(self.daemon_up_at);
        self.put(at, Happening::Wake);
        self.wake = Some((at, self.sequence));
    }

    fn arrives(&mut self, event: Event) -> Result<(), String> {
        if self.now < self.daemon_up_at {
            let at = self.daemon_up_at + minutes(self.dice.between(0.01, 0.5));
            self.put(at, Happening::Arrives(event));
            return Ok(());
        }
        self.checks.offered(&event);
        let crashes = self.faults && self.swarm.crash.is_some_and(|chance| self.dice.chance(chance));
        if !crashes {
            return self.round(vec![event]);
        }
        self.strike("crash at commit");
        // Not acknowledged either way, so its source offers it again.
        if self.dice.chance(0.5) {
            self.turn(vec![event.clone()])?;
        }
        let again = self.now + minutes(self.dice.between(0.2, 5.0));
        self.put(again, Happening::Arrives(event));
        self.crash(minutes(0.1))
    }
}

/// So long after the last fault the daemon is up again and goes by the right clock.
const CALM_AFTER_MINUTES: f64 = 2.0;
/// Few enough that most restarts find a checkpoint and something after it.
const ENTRIES_BETWEEN_CHECKPOINTS: usize = 97;
