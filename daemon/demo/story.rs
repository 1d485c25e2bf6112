//! A story of the demo: who is there, what happens when, what blood does meanwhile. The stories themselves are in
//! `day` and `week`; here they become events.

use super::cast::{cat_name, person_name};
use crate::turn::House;
use crate::words::{
    Answer, Batch, Button, Channel, ChannelKind, Dose, Event, Household, MeterCheck, MeterKind, Moment,
    Outcome, PersonName, Reading, ReadingKind, SensorEvent, SensorNote, Span, Spare, Value, Verdict, Via,
    minutes,
};

/// One story, from one seed.
pub(super) struct Story {
    pub(super) introduction: &'static str,
    pub(super) start: Moment,
    pub(super) length: Span,
    pub(super) household: Household,
    pub(super) readings: Vec<Reading>,
    /// In order.
    pub(super) beats: Vec<Beat>,
    /// The push server fails from the first to the second.
    pub(super) outage: Option<(Moment, Moment)>,
    /// How long it takes to tell, seconds.
    pub(super) seconds: f64,
}

/// Something that happens.
#[derive(Clone)]
pub(super) struct Beat {
    pub(super) at: Moment,
    pub(super) scene: String,
    pub(super) act: Act,
}

#[derive(Clone, Copy)]
pub(super) enum Act {
    Scan,
    Dose(&'static str),
    Given(&'static str),
    Meter(f64),
    Answer(&'static str),
    /// The same without a button, about everything that is open.
    Typed(&'static str),
    Sensor(Moment),
    Failed,
    Spares(u32),
    Nothing,
}

impl Story {
    /// Everything works, but for the push server's bad hour.
    pub(super) fn carrier(&self, channel: &Channel, at: Moment) -> Outcome {
        let fails = self.outage.is_some_and(|(from, until)| from <= at && at < until);
        if channel.kind == ChannelKind::Ntfy && fails {
            return Outcome::Later { why: "the server answered 503".to_owned(), retry_after_seconds: None };
        }
        Outcome::Delivered { receipt: None }
    }

    fn scan(&self, at: Moment, newest: Option<Moment>) -> Event {
        let oldest = at - minutes(8.0 * 60.0);
        let stored = self.readings.iter().filter(|reading| {
            reading.measured_at > oldest
                && reading.measured_at <= at
                && newest.is_none_or(|held| reading.measured_at > held)
        });
        let readings: Vec<Reading> = stored.copied().collect();
        let last =
            self.readings.iter().rev().find(|reading| reading.measured_at <= at).map(|r| r.measured_at);
        Event::Readings(Batch {
            cat: cat_name(),
            via: Via::Demo,
            source: "scan".to_owned(),
            sensor: None,
            scanned_at: Some(at),
            readings,
            repeated: 0,
            conflicts: Vec::new(),
            newest: last,
        })
    }
}

impl Beat {
    /// What happens; `buttons` are those of the messages on people's phones, the newest last.
    pub(super) fn events(
        &self,
        story: &Story,
        house: &House,
        buttons: &[(PersonName, Button)],
    ) -> Vec<Event> {
        let at = self.at;
        let newest =
            house.cats.get(&cat_name()).and_then(|cat| cat.newest).map(|reading| reading.measured_at);
        match self.act {
            Act::Scan => vec![story.scan(at, newest)],
            Act::Dose(by) => {
                vec![Event::Dose(Dose {
                    cat: cat_name(),
                    given_at: at,
                    units: None,
                    by: Some(by.to_owned()),
                    not_given: false,
                })]
            }
            Act::Meter(level) => vec![Event::Meter(MeterCheck {
                cat: cat_name(),
                measured_at: at,
                glucose: Value::Level(level),
                meter: MeterKind::Pet,
            })],
            Act::Answer(who) => vec![pressed(who, Verdict::Taken, buttons)],
            Act::Typed(who) => vec![Event::Answer(Answer {
                finding: None,
                person: person_name(who),
                via: Via::Command,
                verdict: Verdict::Taken,
                at: None,
            })],
            Act::Given(who) => vec![pressed(who, Verdict::Given, buttons)],
            Act::Sensor(applied) => {
                vec![Event::Sensor(SensorNote { cat: cat_name(), at: applied, event: SensorEvent::Applied })]
            }
            Act::Failed => {
                vec![Event::Sensor(SensorNote { cat: cat_name(), at, event: SensorEvent::Failed })]
            }
            Act::Spares(count) => vec![Event::Spare(Spare { cat: cat_name(), at, count })],
            Act::Nothing => vec![Event::Tick],
        }
    }
}

/// The newest button of that meaning on that phone is pressed.
fn pressed(who: &str, verdict: Verdict, buttons: &[(PersonName, Button)]) -> Event {
    let person = person_name(who);
    let button = buttons.iter().rfind(|(whose, button)| *whose == person && button.verdict == verdict);
    let finding = button.map(|(_, button)| button.finding.clone());
    Event::Answer(Answer { finding, person, via: Via::Button, verdict, at: None })
}

/// What a sensor measures: every 15 minutes, behind blood by a lag, rounded, with a little noise. Minutes count from
/// the start of the story; `wears` are the stretches in which a sensor gives readings.
pub(super) fn sensor(
    (start, seed): (Moment, u64),
    wears: &[(f64, f64)],
    blood: impl Fn(f64) -> f64,
) -> Vec<Reading> {
    let mut dice = oorandom::Rand64::new(u128::from(seed));
    let shift = dice.rand_float() * 4.0 - 2.0;
    let mut readings = Vec::new();
    for (from, until) in wears {
        let mut interstitial = blood(*from);
        for minute in (*from as i64)..=(*until as i64) {
            interstitial += (blood(minute as f64) - interstitial) / LAG_MINUTES;
            if minute.rem_euclid(15) == 5 {
                let noise = (dice.rand_float() + dice.rand_float() - 1.0) * 3.0;
                let level = (interstitial + shift + noise).round().clamp(40.0, 500.0);
                let measured_at = start + minutes(minute as f64);
                readings.push(Reading {
                    measured_at,
                    value: Value::Level(level),
                    kind: ReadingKind::History,
                });
            }
        }
    }
    readings
}

/// Blood glucose in mg/dL between hand-drawn points.
pub(super) fn drawn(curve: &[(f64, f64)], minute: f64) -> f64 {
    let next = curve.partition_point(|(at, _)| *at <= minute).clamp(1, curve.len() - 1);
    let ((from, low), (to, high)) = (curve[next - 1], curve[next]);
    let part = ((minute - from) / (to - from)).clamp(0.0, 1.0);
    low + (high - low) * part * part * (3.0 - 2.0 * part)
}

const LAG_MINUTES: f64 = 8.0;
