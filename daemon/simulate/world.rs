//! One world: a clock that jumps from one happening to the next, doors, carriers and people with faults, and the
//! checks after each turn. Comes in: a seed, a number of days. Goes out: a [`Report`].
//!
//! Phase one has faults and nothing false may happen. Phase two has none and everything must come to its end:
//! half a day later readings stop for good, and that has to be told.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};

use super::cat::dice::Dice;
use super::check::Checks;
use super::driver::Driver;
use super::report::{Failure, Report, SimulateOptions, Tally, Tape};
use super::swarm::Swarm;
use super::village::{self, Stretch, pick};
use crate::words::{
    Answer, Channel, Event, Household, Message, Moment, Outcome, Parcel, Span, Verdict, Via, minutes,
};

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
    ClockSet(Span),
    /// The house asked to be woken.
    Wake,
    /// The daemon crashes and is gone for a while.
    Crash(Span),
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
    /// What the machine's clock shows is so much later.
    clock_ahead: Span,
    faults: bool,
    down_until: BTreeMap<Channel, Moment>,
    daemon_up_at: Moment,
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
        let household = village::household(&mut dice, &stretch);
        let mut world = Self {
            stretch,
            usual: household.clone(),
            queue: BTreeMap::new(),
            sequence: 0,
            wake: None,
            now: stretch.begins,
            clock_ahead: Span::zero(),
            faults: true,
            down_until: BTreeMap::new(),
            daemon_up_at: stretch.begins,
            life: 0,
            turns: 0,
            driver: Driver::new(options.bug),
            checks: Checks::default(),
            tape: Tape::new(options.keep_trace),
            injected: Tally::new(),
            dice,
            swarm,
            household,
        };
        world.fill(seed);
        world
    }

    /// Everything that is known beforehand.
    fn fill(&mut self, seed: u64) {
        let cats = self.household.cats.clone();
        for (number, settings) in cats.iter().enumerate() {
            let cat_seed = seed.wrapping_mul(7).wrapping_add(number as u64);
            let (dice, injected) = (&mut self.dice, &mut self.injected);
            let arrivals = village::arrivals(dice, cat_seed, settings, &self.stretch, &self.swarm, injected);
            for arrival in arrivals {
                self.put(arrival.at, Happening::Arrives(arrival.event));
            }
        }
        self.outages();
        for at in self.times(self.swarm.clock) {
            let size = if self.dice.chance(0.7) { self.dice.wait(5.0) } else { self.dice.wait(90.0) };
            let way = if self.dice.chance(0.5) { 1.0 } else { -1.0 };
            self.put(at, Happening::ClockSet(minutes((way * size).clamp(-240.0, 240.0))));
        }
        for at in self.times(self.swarm.restart) {
            let gone = minutes(if self.dice.chance(0.8) { 0.2 } else { self.dice.wait(120.0) });
            self.put(at, Happening::Crash(gone));
        }
        for at in self.times(self.swarm.settings) {
            self.put(at, Happening::Settings);
        }
        for at in self.times(self.swarm.down) {
            let person = pick(&mut self.dice, &self.household.persons);
            let channel = pick(&mut self.dice, &person.channels).clone();
            let until = at + minutes(self.dice.wait(300.0).min(1440.0));
            self.put(at, Happening::ChannelDown(channel, until));
        }
        self.put(self.stretch.faults_end, Happening::FaultsEnd);
    }

    /// While the doors are away everything waits for their return, in its order.
    fn outages(&mut self) {
        let away: Vec<(Moment, Moment)> = self
            .times(self.swarm.away)
            .into_iter()
            .map(|from| (from, (from + minutes(self.dice.wait(90.0))).min(self.stretch.faults_end)))
            .collect();
        let queue = std::mem::take(&mut self.queue);
        for ((at, sequence), happening) in queue {
            let later =
                away.iter().filter(|(from, until)| *from <= at && at < *until).map(|(_, until)| *until);
            let later = later.max();
            if later.is_some() {
                self.strike("held up at a closed door");
            }
            self.queue.insert((later.unwrap_or(at), sequence), happening);
        }
    }

    /// Moments at which a fault of so many times a day strikes.
    fn times(&mut self, a_day: Option<f64>) -> Vec<Moment> {
        let mut times = Vec::new();
        let mut at = self.stretch.begins;
        while let Some(a_day) = a_day {
            at = at + minutes(self.dice.wait(1440.0 / a_day));
            if at >= self.stretch.faults_end {
                break;
            }
            times.push(at);
        }
        times
    }

    fn strike(&mut self, what: &'static str) {
        *self.injected.entry(what).or_default() += 1;
    }

    fn put(&mut self, at: Moment, happening: Happening) {
        self.sequence += 1;
        self.queue.insert((at, self.sequence), happening);
    }

    fn clock(&self) -> Moment {
        self.now + self.clock_ahead
    }

    fn live(&mut self) -> Result<(), String> {
        if let Some(taken) = self.driver.settle_in(&self.household, self.clock()) {
            self.entered(&taken)?;
        }
        while let Some(((at, _), happening)) = self.queue.pop_first() {
            if at > self.stretch.ends {
                break;
            }
            self.now = at;
            self.happen(happening)?;
        }
        self.now = self.stretch.ends;
        let clock = self.clock();
        self.checks.at_the_end(&self.driver, clock)?;
        self.checks.rebuilt(&self.driver, clock, true)
    }

    fn happen(&mut self, happening: Happening) -> Result<(), String> {
        match happening {
            Happening::Arrives(event) => self.arrives(event),
            Happening::Carried { parcel, outcome, life } if life == self.life => {
                self.driver.back_in_hand(&parcel);
                self.round(Some(Event::Outcome { parcel, outcome }))
            }
            // The daemon that asked for it is dead; the answer reaches nobody.
            Happening::Carried { .. } => Ok(()),
            Happening::ClockSet(by) => {
                self.strike("clock set");
                self.clock_ahead += by;
                self.look_soon();
                Ok(())
            }
            Happening::Wake => {
                self.wake = None;
                self.round(None)
            }
            Happening::Crash(gone) => {
                self.strike("crash");
                self.crash(gone)
            }
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
                self.clock_ahead = Span::zero();
                self.down_until.clear();
                self.checks.calm_from = Some(self.now.max(self.driver.house.now));
                self.household = self.usual.clone();
                self.crash(minutes(0.1))?;
                self.settle()
            }
        }
    }

    /// One round, as the keeper does it: turn, commit, send.
    fn round(&mut self, event: Option<Event>) -> Result<(), String> {
        self.turn(event)?;
        for parcel in self.driver.hand_out(self.clock()) {
            self.carry(parcel);
        }
        self.look_soon();
        if self.driver.journal.len().is_multiple_of(ENTRIES_BETWEEN_CHECKPOINTS) {
            self.driver.keep()?;
        }
        Ok(())
    }

    fn turn(&mut self, event: Option<Event>) -> Result<(), String> {
        let clock = self.clock();
        let own = self.driver.own_events(clock);
        for event in event.into_iter().chain(own) {
            if let Some(taken) = self.driver.take(event, clock) {
                self.entered(&taken)?;
            }
        }
        self.checks.between_rounds(&self.driver, clock)
    }

    fn entered(&mut self, taken: &super::driver::Taken) -> Result<(), String> {
        self.turns += 1;
        self.tape.add(self.now, &self.driver.house, taken);
        self.checks.after_turn(&self.driver, taken)
    }

    /// Sets the alarm for the moment at which the machine's clock shows what the house asked for.
    fn look_soon(&mut self) {
        if let Some(key) = self.wake.take() {
            self.queue.remove(&key);
        }
        let Some(wake) = self.driver.wake else { return };
        let at = (wake - self.clock_ahead).max(self.now + Span::milliseconds(1)).max(self.daemon_up_at);
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
            return self.round(Some(event));
        }
        self.strike("crash at commit");
        // Not acknowledged either way, so its source offers it again.
        if self.dice.chance(0.5) {
            self.turn(Some(event.clone()))?;
        }
        let again = self.now + minutes(self.dice.between(0.2, 5.0));
        self.put(again, Happening::Arrives(event));
        self.crash(minutes(0.1))
    }

    fn crash(&mut self, gone: Span) -> Result<(), String> {
        let clock = self.clock();
        self.checks.rebuilt(&self.driver, clock, false)?;
        self.driver.restart()?;
        self.life += 1;
        self.daemon_up_at = self.now + gone;
        self.tape.note(self.now, "crash");
        self.checks.after_restart(&self.driver)?;
        self.look_soon();
        Ok(())
    }

    fn settings(&mut self) -> Result<(), String> {
        match self.dice.between(0.0, 4.0) as u32 {
            0 => {
                for cat in &mut self.household.cats {
                    cat.plan.low = *pick(&mut self.dice, &[65.0, 70.0, 80.0]);
                }
            }
            1 if self.household.persons.len() > 1 => {
                let gone = self.household.persons.pop();
                self.household.duty.retain(|span| gone.as_ref().is_none_or(|gone| gone.name != span.person));
            }
            2 => {
                for person in &mut self.household.persons {
                    person.quiet = None;
                }
            }
            _ => self.household = self.usual.clone(),
        }
        self.crash(minutes(0.1))?;
        self.settle()
    }

    fn settle(&mut self) -> Result<(), String> {
        let household = self.household.clone();
        if let Some(taken) = self.driver.settle_in(&household, self.clock()) {
            self.entered(&taken)?;
        }
        self.look_soon();
        // As live, the first round of a start ends by sending what is due.
        self.put(self.daemon_up_at.max(self.now + Span::milliseconds(1)), Happening::Wake);
        Ok(())
    }

    /// A carrier takes a parcel: what becomes of it, and when the daemon hears of that.
    fn carry(&mut self, parcel: Parcel) {
        let Some(pending) = self.driver.house.ledger.outbox.get(&parcel.message) else { return };
        let message = pending.message.clone();
        let later =
            |why: &str, retry_after_seconds| Outcome::Later { why: why.to_owned(), retry_after_seconds };
        let down = self.down_until.get(&parcel.channel).is_some_and(|until| self.now < *until);
        let swarm = &self.swarm;
        let (refuse, stall, lose_answer) = (swarm.refuse, swarm.stall, swarm.lose_answer);
        let (outcome, seconds, arrives) = if down {
            let hint = if self.strikes("channel down: asked to wait", Some(0.3)) { Some(600) } else { None };
            (later("connection refused", hint), 0.5, false)
        } else if self.strikes("carrier refuses", refuse) {
            (Outcome::Refused { why: "403 forbidden".to_owned() }, 0.5, false)
        } else if self.strikes("carrier stalls", stall) {
            (later("no answer within 30 s", None), 30.0, false)
        } else if self.strikes("answer of the server lost", lose_answer) {
            (later("connection lost", None), 10.0, true)
        } else {
            (Outcome::Delivered { receipt: None }, 0.7, true)
        };
        if arrives {
            self.checks.reached(&message, self.now);
            self.read(&message);
        }
        let at = self.now + minutes(seconds / 60.0);
        self.put(at, Happening::Carried { parcel, outcome, life: self.life });
    }

    /// Whether a fault of this chance strikes now.
    fn strikes(&mut self, what: &'static str, chance: Option<f64>) -> bool {
        let strikes = self.faults && chance.is_some_and(|chance| self.dice.chance(chance));
        if strikes {
            self.strike(what);
        }
        strikes
    }

    /// A person has a message on the phone, and may answer.
    fn read(&mut self, message: &Message) {
        let unanswered = if self.faults { self.swarm.unanswered } else { 0.05 };
        if message.buttons.is_empty() || self.dice.chance(unanswered) {
            return;
        }
        let button = pick(&mut self.dice, &message.buttons);
        // Hardly anybody takes a dose back or has injected twice, or the presses would go back and forth for ever.
        let rare = matches!(button.verdict, Verdict::NotGiven | Verdict::GivenToo);
        if rare && !self.dice.chance(0.1) {
            return;
        }
        let answer = Event::Answer(Answer {
            finding: self.dice.chance(0.9).then(|| button.finding.clone()),
            person: message.person.clone(),
            via: Via::Button,
            verdict: button.verdict,
            at: None,
        });
        let at = self.now + minutes(self.dice.wait(self.swarm.answer_minutes));
        if self.faults && self.swarm.answered_twice.is_some_and(|chance| self.dice.chance(chance)) {
            self.strike("answered twice");
            self.put(at + minutes(0.1), Happening::Arrives(answer.clone()));
        }
        self.put(at, Happening::Arrives(answer));
    }
}

/// Few enough that most restarts find a checkpoint and something after it.
const ENTRIES_BETWEEN_CHECKPOINTS: usize = 97;
