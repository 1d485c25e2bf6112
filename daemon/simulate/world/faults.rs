//! What strikes the daemon itself: crashes, power cuts, clocks that are set, new settings; and how it starts again.

use super::{Happening, World};
use crate::round::{CLOCK_WAIT, SLEEP_MAX};
use crate::simulate::clock::{Setting, until_synchronised};
use crate::simulate::village::pick;
use crate::words::{Event, Span, minutes};

impl World {
    /// The first start. A board without a clock of its own begins at some time of the past.
    pub(super) fn begin(&mut self) {
        if self.swarm.power.is_some() {
            let behind = if self.clock_dice.chance(0.8) { 60.0 } else { 525_960.0 };
            let behind = minutes(self.clock_dice.between(1.0, behind));
            self.boot(behind, Span::zero());
        }
        self.daemon_up_at = self.waits_until;
        self.put(self.daemon_up_at, Happening::Start);
    }

    /// The machine starts after `gone`, its clock `behind` by so much; the daemon waits for the time, but not for long.
    fn boot(&mut self, behind: Span, gone: Span) {
        self.strike("board started without the time");
        self.boots += 1;
        let at = self.now + gone;
        self.clock.boot(behind, at);
        let set = until_synchronised(&mut self.clock_dice);
        self.put(at + set, Happening::Synchronised { boot: self.boots });
        self.waits_until = at + set.min(Span::from_std(CLOCK_WAIT).unwrap_or_default());
    }

    /// The power goes, and comes back later; the clock goes on from where it was saved last, within an hour.
    pub(super) fn power_cut(&mut self) -> Result<(), String> {
        self.strike("power cut");
        let gone = minutes(self.clock_dice.wait(20.0));
        let behind = gone + minutes(self.clock_dice.between(0.0, 60.0));
        self.boot(behind, gone);
        self.crash(gone)
    }

    pub(super) fn clock_set(&mut self, setting: Setting) {
        self.strike(match setting {
            Setting::By(_, name) => name,
            Setting::Right => "clock set right by hand",
            Setting::Synchronised => "clock set by a time server after the start",
        });
        self.clock.set(setting, self.now);
        // The daemon sees it when it looks next.
        let look = self.now + Span::milliseconds(self.clock_dice.between(1.0, 20_000.0) as i64);
        self.put(look, Happening::Look);
    }

    pub(super) fn crash(&mut self, gone: Span) -> Result<(), String> {
        self.checks.rebuilt(&self.driver, self.truth(), false)?;
        self.driver.restart()?;
        self.life += 1;
        // A machine that has just started waits for its time, and one that is off stays off.
        self.daemon_up_at = self.waits_until.max(self.now + gone);
        self.tape.note(self.now, "crash");
        self.in_flight.clear();
        self.checks.after_restart(&self.driver)?;
        if let Some(key) = self.wake.take() {
            self.queue.remove(&key);
        }
        self.put(self.daemon_up_at, Happening::Start);
        Ok(())
    }

    /// The daemon starts: the clock first, then settings that are new, then a look, as live.
    pub(super) fn start(&mut self) -> Result<(), String> {
        if self.now < self.daemon_up_at {
            // It crashed again on the way; that start comes later.
            return Ok(());
        }
        self.put(self.now + Span::from_std(SLEEP_MAX).unwrap_or_default(), Happening::Look);
        let known = self.driver.house.household.as_deref() == Some(&self.household);
        let settings =
            Event::Household { program: "simulated".to_owned(), household: Box::new(self.household.clone()) };
        let settings = (!known).then_some(settings);
        self.round(settings.into_iter().chain([Event::Tick]).collect())
    }

    pub(super) fn settings(&mut self) -> Result<(), String> {
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
        self.crash(minutes(0.1))
    }
}
