//! Everything that is known of a world beforehand: what its cats do, and when which fault strikes.

use super::{Happening, World};
use crate::simulate::clock;
use crate::simulate::village::{self, pick};
use crate::words::{Moment, minutes};

impl World {
    /// Everything that is known beforehand.
    pub(super) fn fill(&mut self, seed: u64) {
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
        for (at, setting) in clock::settings(&mut self.clock_dice, &self.swarm, &self.stretch) {
            self.put(at, Happening::ClockSet(setting));
        }
        for at in self.times(self.swarm.power) {
            self.put(at, Happening::PowerCut);
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
}
