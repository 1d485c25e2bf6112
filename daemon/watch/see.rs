//! What a rule may look at, and the few questions that many rules ask.

use super::state::CatState;
use crate::glucose::{Artefact, Estimate};
use crate::words::{
    Arg, Basis, CatSettings, Event, Home, Moment, PersonName, Reading, SensorKind, Span, Telling, minutes,
};

/// The hours in which the person on duty sleeps: those that hold now, or the next ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Night {
    /// They begin.
    pub from: Moment,
    /// They end.
    pub until: Moment,
}

/// Who has the cat now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OnHand<'a> {
    /// Who.
    pub person: &'a PersonName,
    /// Until when, as far as that is fixed.
    pub until: Option<Moment>,
    /// Whether the household is told when this duty begins and ends.
    pub tell: bool,
}

/// Whoever did something, in the recorder's words: a person of the household is shown by the name they go by.
#[must_use]
pub fn who(by: &str) -> Arg {
    PersonName::new(by).map_or_else(|_| Arg::Text(by.to_owned()), Arg::Person)
}

/// One cat as a rule sees it.
#[derive(Clone, Copy, Debug)]
pub struct See<'a> {
    /// Its settings.
    pub settings: &'a CatSettings,
    /// The place.
    pub home: &'a Home,
    /// What is kept of it.
    pub state: &'a CatState,
    /// What just happened.
    pub event: &'a Event,
    /// When the person on duty sleeps.
    pub night: Option<Night>,
    /// Whether the person on duty can do a meter check.
    pub meter: bool,
    /// Who has the cat.
    pub duty: OnHand<'a>,
    /// The present.
    pub now: Moment,
}

impl See<'_> {
    /// One sampling interval.
    #[must_use]
    pub fn sample(&self) -> Span {
        minutes(self.settings.sensor.sample_minutes)
    }

    /// How old the newest reading may be to be called "now": two samples and the lag.
    #[must_use]
    pub fn fresh_for(&self) -> Span {
        minutes(2.0 * self.settings.sensor.sample_minutes + self.settings.sensor.lag_minutes)
    }

    /// The newest reading if it is fresh.
    #[must_use]
    pub fn fresh(&self) -> Option<Reading> {
        self.state.newest.filter(|newest| self.now - newest.measured_at <= self.fresh_for())
    }

    /// When the newest reading stops being fresh.
    #[must_use]
    pub fn stale_at(&self) -> Option<Moment> {
        self.state.newest.map(|newest| newest.measured_at + self.fresh_for() + Span::milliseconds(1))
    }

    /// Where blood was at the newest reading: what is told with that reading's time. What comes after it is the
    /// outlook's, so that no rule changes its mind between two readings only because time passes.
    #[must_use]
    pub fn estimate(&self) -> Option<Estimate> {
        self.state.tracker.estimate(self.state.newest?.measured_at)
    }

    /// From when the outlook looks ahead: the moment at which the newest knowledge came.
    #[must_use]
    pub fn anchor(&self) -> Option<Moment> {
        let newest = self.state.newest?.measured_at;
        let check = self.state.meter.as_ref().map(|check| check.measured_at).filter(|at| *at <= self.now);
        Some(newest.max(self.state.arrived.unwrap_or(newest)).max(check.unwrap_or(newest)))
    }

    /// The newest reading as a basis.
    #[must_use]
    pub fn basis(&self) -> Option<Basis> {
        self.state.newest.map(|newest| Basis { value: newest.value, measured_at: newest.measured_at })
    }

    /// Whether somebody has to scan this sensor.
    #[must_use]
    pub fn scanned(&self) -> bool {
        self.settings.sensor.kind == SensorKind::Scanned
    }

    /// When the wear ends by itself, if it is known when it began.
    #[must_use]
    pub fn wear_ends(&self) -> Option<Moment> {
        Some(self.state.wear.as_ref()?.full(self.settings))
    }

    /// Whether no sensor is on the cat.
    #[must_use]
    pub fn wear_over(&self) -> bool {
        self.state.wear_over(self.settings, self.now)
    }

    /// A telling that knows the cat's name.
    #[must_use]
    pub fn telling(&self, key: &str) -> Telling {
        Telling::new(key).with("cat", Arg::Text(self.settings.called.clone()))
    }

    /// The same with where blood is and how it moves, from the newest reading.
    #[must_use]
    pub fn glucose_telling(&self, key: &str) -> Telling {
        let telling = self.telling(key);
        let Some(newest) = self.state.newest else {
            return telling;
        };
        self.with_place(telling)
            .with("value", Arg::Value(newest.value))
            .with("time", Arg::Time(newest.measured_at))
            .with("age", Arg::Ago(newest.measured_at))
    }

    /// The wear's age, as a phrase.
    #[must_use]
    pub fn wear_phrase(&self) -> Arg {
        let Some(wear) = &self.state.wear else {
            return Arg::Word("wear-unknown".into());
        };
        let day = (self.now.minutes_since(wear.applied) / 1440.0).floor() as i64 + 1;
        let phrase = Telling::new("wear-day")
            .with("day", Arg::Count(day))
            .with("days", Arg::Count(self.settings.sensor.wear_days.round() as i64));
        Arg::Phrase(Box::new(phrase))
    }

    /// How many spares there are, as a phrase.
    #[must_use]
    pub fn spares_phrase(&self) -> Arg {
        match self.state.spares {
            None => Arg::Word("spares-unknown".into()),
            Some(0) => Arg::Word("spares-none".into()),
            Some(count) => {
                Arg::Phrase(Box::new(Telling::new("spares-some").with("count", Arg::Count(i64::from(count)))))
            }
        }
    }

    /// What a scan can still save, as a phrase.
    #[must_use]
    pub fn save_phrase(&self) -> Arg {
        if !self.scanned() && self.settings.sensor.memory_hours <= 0.0 {
            return Arg::Word("save-none".into());
        }
        let memory = Arg::Minutes(self.settings.sensor.memory_hours * 60.0);
        Arg::Phrase(Box::new(Telling::new("save-scan").with("memory", memory)))
    }

    /// The plan's words for a low, or whom to ask if there are none.
    #[must_use]
    pub fn plan_phrase(&self) -> Arg {
        match (&self.settings.plan.on_low, self.vet_numbers()) {
            (Some(text), None) => {
                Arg::Phrase(Box::new(Telling::new("plan-low").with("plan", Arg::Text(text.clone()))))
            }
            (Some(text), Some(phone)) => Arg::Phrase(Box::new(
                Telling::new("plan-low-phone").with("plan", Arg::Text(text.clone())).with("phone", phone),
            )),
            (None, Some(phone)) => {
                Arg::Phrase(Box::new(Telling::new("plan-none-phone").with("phone", phone)))
            }
            (None, None) => Arg::Word("plan-none".into()),
        }
    }

    /// The vet's number, and the one for when the vet is closed.
    fn vet_numbers(&self) -> Option<Arg> {
        let number = |number: &String| Arg::Text(number.clone());
        let plan = &self.settings.plan;
        let Some(closed) = &plan.out_of_hours_phone else { return plan.vet_phone.as_ref().map(number) };
        let telling = match &plan.vet_phone {
            Some(phone) => Telling::new("vet-numbers").with("number", number(phone)),
            None => Telling::new("vet-number-closed"),
        };
        Some(Arg::Phrase(Box::new(telling.with("closed", number(closed)))))
    }

    /// The vet's numbers in brackets, to stand behind "your vet"; nothing where there are none.
    #[must_use]
    pub fn vet_aside(&self) -> Arg {
        match self.vet_numbers() {
            Some(numbers) => Arg::Phrase(Box::new(Telling::new("phone").with("number", numbers))),
            None => Arg::Word("nothing".into()),
        }
    }

    /// When the scan window closes; `None` where nothing has to be scanned.
    #[must_use]
    pub fn window_closes(&self) -> Option<Moment> {
        let newest = self.state.newest.filter(|_| self.scanned() && !self.wear_over())?;
        Some(newest.measured_at + minutes(self.settings.sensor.memory_hours * 60.0))
    }

    /// That it may be the sensor, and why: by what is wrong with its readings, or in its first day.
    #[must_use]
    pub fn sensor_phrase(&self) -> Arg {
        let tracker = &self.state.tracker;
        let young = self.state.newest.is_some_and(|newest| tracker.first_day(newest.measured_at));
        let phrase = match tracker.artefact() {
            Some(Artefact::Pressure { .. }) => self.telling("sensor-dip"),
            Some(Artefact::Stuck { .. }) => self.telling("sensor-stuck"),
            Some(Artefact::Noisy { .. }) => self.telling("sensor-noisy"),
            Some(Artefact::Spike { .. }) => self.telling("sensor-jump"),
            None if tracker.doubts() => self.telling("sensor-jump"),
            None => return Arg::Word(if young { "sensor-first-day" } else { "sensor-settled" }.into()),
        };
        Arg::Phrase(Box::new(phrase))
    }

    /// Whether blood seems to fall only because of a reading that may be the cat's weight on the sensor, or an odd one.
    /// One that goes on falling after that is a fall.
    #[must_use]
    pub fn mere_dip(&self) -> bool {
        let tracker = &self.state.tracker;
        let Some(Artefact::Pressure { since }) = tracker.artefact() else {
            return tracker.doubts();
        };
        let ends = since + minutes(DIP_BEGINS_MINUTES);
        let level = |reading: &Reading| reading.value.level().unwrap_or(0.0);
        let begun = tracker.recent().iter().filter(|r| (since..=ends).contains(&r.measured_at)).map(level);
        let begun = begun.fold(f64::INFINITY, f64::min);
        let newest = tracker.newest().map_or(f64::INFINITY, |newest| level(&newest));
        newest >= begun - DIP_DEEPENS
    }

    /// The request for a meter check, if the person on duty can do one.
    #[must_use]
    pub fn meter_phrase(&self) -> Arg {
        Arg::Word(if self.meter { "ask-meter" } else { "no-meter" }.into())
    }
}

/// A dip has begun after so long, minutes: the cat lies down within that. The next reading of a slow sensor is later.
const DIP_BEGINS_MINUTES: f64 = 14.0;
/// One that deepens by more than this later, mg/dL, is a fall; chosen by us.
const DIP_DEEPENS: f64 = 10.0;
