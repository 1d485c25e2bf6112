//! An invented household for one world, and everything that will happen to its cats, with the faults of the way
//! already in it. Comes in: dice, a [`Swarm`]. Goes out: settings, and events with the time each reaches a door.

use chrono::NaiveTime;
use chrono_tz::Tz;

use super::cat::dice::Dice;
use super::cat::{self, Trace};
use super::plunge::plunge;
use super::report::Tally;
use super::swarm::Swarm;
use crate::words::{
    AnswerWays, Batch, CatName, CatSettings, Channel, ChannelKind, Dose, DoseSettings, DutySpan, Event, Home,
    Household, MeterCheck, MeterKind, Moment, Person, PersonName, Plan, QuietHours, Reading, SensorEvent,
    SensorKind, SensorNote, SensorSettings, Severity, Spare, Unit, Value, Via, WatchSettings, minutes,
};

/// The stretch of time that a world lives through.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    /// It begins.
    pub(super) begins: Moment,
    /// Faults end.
    pub(super) faults_end: Moment,
    /// The last reading.
    pub(super) readings_end: Moment,
    /// Nothing more happens.
    pub(super) ends: Moment,
}

impl Stretch {
    /// `days` with faults, half a day without, then silence for a day and a half.
    pub(super) fn draw(dice: &mut Dice, days: u32) -> Self {
        // Two of these lead over a clock change of the European Union.
        let starts = ["2026-03-27T00:00:00Z", "2026-10-23T00:00:00Z", "2026-06-01T00:00:00Z"];
        let begins = pick(dice, &starts);
        let begins = Moment::parse(begins).unwrap_or_default();
        let faults_end = begins + minutes(f64::from(days) * 1440.0);
        let readings_end = faults_end + minutes(12.0 * 60.0);
        Self { begins, faults_end, readings_end, ends: readings_end + minutes(36.0 * 60.0) }
    }
}

pub(super) fn pick<'a, T>(dice: &mut Dice, from: &'a [T]) -> &'a T {
    let place = dice.between(0.0, from.len() as f64) as usize;
    &from[place.min(from.len() - 1)]
}

/// The settings.
pub(super) fn household(dice: &mut Dice, stretch: &Stretch) -> Household {
    let count = dice.between(1.0, 5.0) as usize;
    let mut persons: Vec<Person> = Vec::new();
    for called in ["owner", "partner", "neighbour", "sitter"].into_iter().take(count) {
        persons.push(person(dice, called));
    }
    let cats = if dice.chance(0.3) { vec!["pepper", "mint"] } else { vec!["pepper"] };
    let cats = cats.into_iter().map(|name| cat_settings(dice, name)).collect();
    let mut duty = Vec::new();
    while dice.chance(0.6) && duty.len() < 6 {
        let from = stretch.begins + minutes(dice.between(0.0, 8.0 * 1440.0));
        let until = from + minutes(dice.between(60.0, 4.0 * 1440.0));
        duty.push(DutySpan { person: pick(dice, &persons).name.clone(), from, until, hand_over: true });
    }
    let gather_seconds = *pick(dice, &[0.0, 30.0, 60.0, 60.0]);
    let home = Home {
        timezone: chrono_tz::Europe::Vienna,
        units: Unit::MgDl,
        language: "en".into(),
        owner: name("owner"),
        gather_seconds,
        answers: AnswerWays::default(),
    };
    Household { home, cats, persons, duty, rounds: Vec::new() }
}

fn name(text: &str) -> PersonName {
    PersonName::new(text).expect("the village's names are plain letters")
}

fn person(dice: &mut Dice, called: &str) -> Person {
    let ntfy = Channel { kind: ChannelKind::Ntfy, address: format!("topic-{called}") };
    let email = Channel { kind: ChannelKind::Email, address: format!("{called}@example.org") };
    let channels = pick(dice, &[vec![ntfy.clone(), email.clone()], vec![ntfy], vec![email]]).clone();
    let zones: [Tz; 4] = [
        chrono_tz::Europe::Vienna,
        chrono_tz::America::New_York,
        chrono_tz::Australia::Lord_Howe,
        chrono_tz::Tz::UTC,
    ];
    let clock = |hour: u32, minute: u32| NaiveTime::from_hms_opt(hour, minute, 0).unwrap_or_default();
    let nights = [None, Some((clock(22, 30), clock(6, 30))), Some((clock(0, 15), clock(9, 0)))];
    Person {
        name: name(called),
        called: called.to_owned(),
        channels,
        phone: None,
        timezone: *pick(dice, &zones),
        units: *pick(dice, &[Unit::MgDl, Unit::MmolL]),
        language: "en".into(),
        quiet: pick(dice, &nights).map(|(from, until)| QuietHours { from, until }),
        receives: *pick(dice, &[Severity::Notice, Severity::Notice, Severity::Warning, Severity::Critical]),
        meter: dice.chance(0.5),
        private: dice.chance(0.2),
        wake_for_warnings: dice.chance(0.3),
    }
}

fn cat_settings(dice: &mut Dice, called: &str) -> CatSettings {
    let kind = *pick(dice, &[SensorKind::Scanned, SensorKind::Streamed]);
    CatSettings {
        name: CatName::new(called).expect("the village's names are plain letters"),
        called: called.to_owned(),
        units: Unit::MgDl,
        sensor: SensorSettings { kind, ..SensorSettings::default() },
        plan: Plan {
            low: *pick(dice, &[65.0, 70.0, 80.0]),
            danger: *pick(dice, &[50.0, 54.0]),
            meter_low: 60.0,
            high: Some(300.0),
            on_low: dice.chance(0.5).then(|| "what the vet said".to_owned()),
            ..Plan::default()
        },
        doses: DoseSettings { times: vec!["07:00".into(), "19:00".into()], min_hours_between: 8.0 },
        watch: WatchSettings::default(),
    }
}

/// Something that reaches a door.
#[derive(Clone, Debug)]
pub(super) struct Arrival {
    pub(super) at: Moment,
    pub(super) event: Event,
}

/// Everything that will reach the doors about one cat.
pub(super) fn arrivals(
    dice: &mut Dice,
    seed: u64,
    settings: &CatSettings,
    stretch: &Stretch,
    swarm: &Swarm,
    injected: &mut Tally,
) -> Vec<Arrival> {
    let options = cat::Options { start: stretch.begins, ..cat::Options::default() };
    let days = (stretch.readings_end.minutes_since(stretch.begins) / 1440.0).ceil() as u32;
    let mut trace = cat::simulate(seed, days, &options);
    if let Some(a_day) = swarm.plunges {
        *injected.entry("low").or_default() += plunge(&mut Dice::new(seed, 42), &mut trace, a_day);
    }
    let mut way = Way { dice, settings, stretch, swarm, injected, newest: None, arrivals: Vec::new() };
    way.others(&trace);
    match settings.sensor.kind {
        SensorKind::Streamed => way.stream(&trace),
        SensorKind::Scanned => way.scans(&trace),
    }
    way.arrivals
}

/// The way from the cat to the door.
struct Way<'a> {
    dice: &'a mut Dice,
    settings: &'a CatSettings,
    stretch: &'a Stretch,
    swarm: &'a Swarm,
    injected: &'a mut Tally,
    /// The newest sample brought off a scanned sensor.
    newest: Option<Moment>,
    arrivals: Vec<Arrival>,
}

impl Way<'_> {
    fn others(&mut self, trace: &Trace) {
        let cat = &self.settings.name;
        let at = self.stretch.begins;
        self.send(at, Event::Spare(Spare { cat: cat.clone(), at, count: 2 }));
        if trace.sensor.first().is_none_or(|(_, event)| *event != SensorEvent::Applied) {
            let event = SensorEvent::Applied;
            let put_on = at - minutes(self.dice.between(0.1, 10.0) * 1440.0);
            self.send(at, Event::Sensor(SensorNote { cat: cat.clone(), at: put_on, event }));
        }
        for (at, event) in trace.sensor.iter().filter(|(at, _)| *at < self.stretch.readings_end) {
            self.send(*at, Event::Sensor(SensorNote { cat: cat.clone(), at: *at, event: *event }));
        }
        for given_at in trace.doses.iter().filter(|at| **at < self.stretch.readings_end) {
            let dose =
                Dose { cat: cat.clone(), given_at: *given_at, units: None, by: None, not_given: false };
            self.send(*given_at, Event::Dose(dose));
        }
        let mut at = self.stretch.begins;
        while let Some(a_day) = self.swarm.meter {
            at = at + minutes(self.dice.wait(1440.0 / a_day));
            let Some(blood) = trace.blood_at(at).filter(|_| at < self.stretch.faults_end) else { break };
            let glucose = Value::Level((blood * self.dice.factor(0.08)).round().max(20.0));
            let meter = MeterKind::Pet;
            self.send(at, Event::Meter(MeterCheck { cat: cat.clone(), measured_at: at, glucose, meter }));
        }
    }

    fn stream(&mut self, trace: &Trace) {
        let cat = &self.settings.name;
        self.send(self.stretch.begins, Event::Bridge { cat: cat.clone(), online: true });
        let mut at = self.stretch.begins;
        while let Some(a_day) = self.swarm.bridge {
            at = at + minutes(self.dice.wait(1440.0 / a_day));
            let back = at + minutes(self.dice.wait(60.0));
            if back >= self.stretch.faults_end {
                break;
            }
            *self.injected.entry("bridge off line").or_default() += 1;
            self.send(at, Event::Bridge { cat: cat.clone(), online: false });
            self.send(back, Event::Bridge { cat: cat.clone(), online: true });
            at = back;
        }
        for reading in trace.readings.iter().filter(|r| r.measured_at < self.stretch.readings_end) {
            self.batch(reading.measured_at + minutes(0.3), vec![*reading], None);
        }
    }

    fn scans(&mut self, trace: &Trace) {
        for scan in trace.scans.iter().filter(|scan| scan.at < self.stretch.readings_end) {
            let mut readings = trace.stored(self.newest, 8.0, scan.at).to_vec();
            self.newest = readings.last().map(|r| r.measured_at).or(self.newest);
            readings.extend(scan.spot);
            readings.sort_by_key(|reading| (reading.measured_at, reading.kind));
            self.batch(scan.at + minutes(0.5), readings, Some(scan.at));
        }
    }

    fn batch(&mut self, at: Moment, mut readings: Vec<Reading>, scanned_at: Option<Moment>) {
        if self.faulty("batch missing", at, self.swarm.missing) {
            return;
        }
        let mut scanned_at = scanned_at;
        if self.faulty("batch dated ahead", at, self.swarm.future) {
            // A zone read wrongly is the usual cause, and whole hours hit the true sample times.
            let ahead = if self.dice.chance(0.5) { 60.0 } else { self.dice.between(5.0, 300.0).round() };
            for reading in &mut readings {
                reading.measured_at = reading.measured_at + minutes(ahead);
            }
            scanned_at = scanned_at.map(|at| at + minutes(ahead));
        }
        let batch = Batch {
            cat: self.settings.name.clone(),
            via: Via::Mqtt,
            source: "invented".into(),
            sensor: None,
            scanned_at,
            newest: readings.last().map(|reading| reading.measured_at),
            readings,
            repeated: 0,
            conflicts: Vec::new(),
        };
        self.send(at, Event::Readings(batch));
    }

    fn faulty(&mut self, what: &'static str, at: Moment, chance: Option<f64>) -> bool {
        let strikes = at < self.stretch.faults_end && chance.is_some_and(|chance| self.dice.chance(chance));
        if strikes {
            *self.injected.entry(what).or_default() += 1;
        }
        strikes
    }

    /// Puts something on its way: late, twice or behind the next ones, if this world has that.
    fn send(&mut self, at: Moment, event: Event) {
        let faults = at < self.stretch.faults_end;
        let mut arrives = at;
        if let Some(mean) = self.swarm.late.filter(|_| faults) {
            arrives = arrives + minutes(self.dice.wait(mean));
            *self.injected.entry("late").or_default() += 1;
        }
        if self.faulty("behind the next ones", at, self.swarm.shuffled) {
            arrives = arrives + minutes(self.dice.between(20.0, 200.0));
        }
        if self.faulty("twice", at, self.swarm.twice) {
            let again = arrives + minutes(self.dice.wait(60.0));
            self.put(again, event.clone());
        }
        self.put(arrives, event);
    }

    fn put(&mut self, at: Moment, event: Event) {
        // What is late is there at the latest an hour after the faults have ended.
        let latest = self.stretch.faults_end + minutes(60.0);
        let at = if at > latest { at.min(latest.max(event_at(&event).unwrap_or(at))) } else { at };
        self.arrivals.push(Arrival { at, event });
    }
}

fn event_at(event: &Event) -> Option<Moment> {
    match event {
        Event::Readings(batch) => batch.newest,
        Event::Dose(dose) => Some(dose.given_at),
        Event::Sensor(note) => Some(note.at),
        _ => None,
    }
}
