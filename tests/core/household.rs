//! An invented household to try the core on: one cat, its owner, and others who can stand in.

use lowtide::words::{
    AnswerWays, CatName, CatSettings, Channel, ChannelKind, DoseSettings, DutySpan, Home, Household, Moment,
    Person, PersonName, Plan, QuietHours, SensorKind, SensorSettings, Severity, Unit, WatchSettings,
};

/// An instant in RFC 3339.
pub(crate) fn at(text: &str) -> Moment {
    Moment::parse(text).unwrap_or_else(|| panic!("{text} is no time"))
}

pub(crate) fn cat() -> CatName {
    CatName::new("pepper").unwrap()
}

pub(crate) fn name(name: &str) -> PersonName {
    PersonName::new(name).unwrap()
}

pub(crate) fn ntfy(address: &str) -> Channel {
    Channel { kind: ChannelKind::Ntfy, address: address.into() }
}

pub(crate) fn email(address: &str) -> Channel {
    Channel { kind: ChannelKind::Email, address: address.into() }
}

pub(crate) fn quiet(from: &str, until: &str) -> Option<QuietHours> {
    Some(QuietHours {
        from: format!("{from}:00").parse().unwrap(),
        until: format!("{until}:00").parse().unwrap(),
    })
}

/// Somebody with a push channel and a mailbox, in Vienna, who sleeps from 22:30 to 06:30.
pub(crate) fn person(called: &str) -> Person {
    let short = called.to_lowercase();
    Person {
        name: name(&short),
        called: called.into(),
        channels: vec![ntfy(&format!("topic-{short}")), email(&format!("{short}@example.org"))],
        phone: None,
        timezone: chrono_tz::Europe::Vienna,
        units: Unit::MgDl,
        language: "en".into(),
        quiet: quiet("22:30", "06:30"),
        receives: Severity::Notice,
        meter: true,
        private: false,
        wake_for_warnings: false,
    }
}

/// The cat, with a scanned sensor and a plan that says everything.
pub(crate) fn pepper() -> CatSettings {
    CatSettings {
        name: cat(),
        called: "Pepper".into(),
        units: Unit::MgDl,
        sensor: SensorSettings::default(),
        plan: Plan {
            low: 70.0,
            danger: 50.0,
            meter_low: 60.0,
            high: Some(300.0),
            hold_dose_under: Some(150.0),
            on_low: Some("Rub honey on the gums, then call.".into()),
            vet_phone: Some("555 0100".into()),
            ..Plan::default()
        },
        doses: DoseSettings { times: Vec::new(), min_hours_between: 8.0 },
        watch: WatchSettings::default(),
    }
}

/// Olive keeps the daemon; Rowan and Hazel can stand in.
pub(crate) fn household() -> Household {
    Household {
        home: Home {
            timezone: chrono_tz::Europe::Vienna,
            units: Unit::MgDl,
            language: "en".into(),
            owner: name("olive"),
            gather_seconds: 60.0,
            answers: AnswerWays::default(),
        },
        cats: vec![pepper()],
        persons: vec![person("Olive"), person("Rowan"), person("Hazel")],
        duty: Vec::new(),
        rounds: Vec::new(),
    }
}

/// The same with a sensor that streams every reading.
pub(crate) fn streaming() -> Household {
    let mut household = household();
    household.cats[0].sensor.kind = SensorKind::Streamed;
    household
}

/// `who` has the cat from `from` to `until`.
pub(crate) fn duty(who: &str, from: &str, until: &str) -> DutySpan {
    DutySpan { person: name(who), from: at(from), until: at(until), hand_over: false }
}
