//! The invented household of the demo: a cat called Pepper, her owner Robin, and neighbours who help. Everything here
//! is made up.

use chrono_tz::Tz;

use crate::words::{
    AnswerWays, CatName, CatSettings, Channel, ChannelKind, DoseSettings, Home, Household, Person,
    PersonName, Plan, QuietHours, SensorSettings, Severity, Unit, WatchSettings,
};

/// Pepper's household, with these people; Robin keeps the daemon.
pub(super) fn household(language: &str, persons: &[(&str, &str)]) -> Household {
    Household {
        home: Home {
            timezone: Tz::Europe__Vienna,
            units: Unit::MgDl,
            language: language.to_owned(),
            owner: person_name("robin"),
            gather_seconds: 60.0,
            answers: AnswerWays::default(),
        },
        cats: vec![pepper()],
        persons: persons.iter().map(|(name, called)| person(name, called, language)).collect(),
        duty: Vec::new(),
        rounds: Vec::new(),
    }
}

fn pepper() -> CatSettings {
    CatSettings {
        name: cat_name(),
        called: "Pepper".to_owned(),
        units: Unit::MgDl,
        sensor: SensorSettings::default(),
        plan: Plan {
            low: 70.0,
            danger: 50.0,
            meter_low: 60.0,
            high: Some(300.0),
            hold_dose_under: Some(150.0),
            on_low: Some(
                "(invented) Offer her usual food at once, stay with her, check again in 15 minutes."
                    .to_owned(),
            ),
            vet_phone: Some("555 0100".to_owned()),
            ..Plan::default()
        },
        doses: DoseSettings { times: Vec::new(), min_hours_between: 8.0 },
        watch: WatchSettings::default(),
    }
}

fn person(name: &str, called: &str, language: &str) -> Person {
    Person {
        name: person_name(name),
        called: called.to_owned(),
        channels: vec![
            Channel { kind: ChannelKind::Ntfy, address: format!("invented-{name}") },
            Channel { kind: ChannelKind::Email, address: format!("{name}@example.org") },
        ],
        phone: None,
        timezone: Tz::Europe__Vienna,
        units: Unit::MgDl,
        language: language.to_owned(),
        quiet: "23:30:00"
            .parse()
            .ok()
            .zip("06:30:00".parse().ok())
            .map(|(from, until)| QuietHours { from, until }),
        receives: Severity::Notice,
        meter: true,
        private: false,
        wake_for_warnings: false,
    }
}

pub(super) fn cat_name() -> CatName {
    CatName::new("pepper").expect("a good name, checked by the demo's test")
}

pub(super) fn person_name(name: &str) -> PersonName {
    PersonName::new(name).expect("a good name, checked by the demo's test")
}
