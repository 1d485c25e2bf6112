//! Tests of the tracker: what it makes of readings, and of meter checks and sensors.

use super::*;
use crate::words::{CatName, MeterKind, ReadingKind, SensorKind, Value};

mod checks;
mod readings;

fn sensor(lag_minutes: f64) -> SensorSettings {
    SensorSettings {
        kind: SensorKind::Scanned,
        sample_minutes: 15.0,
        memory_hours: 8.0,
        wear_days: 14.0,
        warm_up_minutes: 60.0,
        range: [40.0, 500.0],
        lag_minutes,
        price: None,
        currency: None,
    }
}

fn start() -> Moment {
    Moment::parse("2026-03-01T06:00:00Z").unwrap()
}

fn reading(minute: f64, value: Value) -> Reading {
    Reading { measured_at: start() + minutes(minute), value, kind: ReadingKind::History }
}

fn check(minute: f64, level: f64) -> MeterCheck {
    MeterCheck {
        cat: CatName::new("pepper").unwrap(),
        measured_at: start() + minutes(minute),
        glucose: Value::Level(level),
        meter: MeterKind::Pet,
    }
}
