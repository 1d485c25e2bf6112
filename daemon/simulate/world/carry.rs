//! Carriers and people of a world: what becomes of a parcel, who reads it, and who answers.

use super::{Happening, World};
use crate::simulate::village::pick;
use crate::words::{Answer, Event, Message, Outcome, Parcel, Verdict, Via, minutes};

impl World {
    /// A carrier takes a parcel: what becomes of it, and when the daemon hears of that.
    pub(super) fn carry(&mut self, parcel: Parcel) {
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
        self.in_flight.insert((parcel.message.clone(), parcel.channel.clone()));
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
