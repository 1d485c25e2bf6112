//! The events in the kept journal of format 1, `tests/data/journal-1`: one of each kind that belongs to a cat's
//! record, as version 0.1.0 wrote them. The scenario is invented.

use lowtide::record::Record;
use lowtide::words::{
    Answer, Batch, CatName, Channel, ChannelKind, Conflict, Dose, Event, MessageId, MeterCheck, MeterKind,
    Note, Outcome, Parcel, PersonName, Reading, ReadingKind, Said, SensorEvent, SensorNote, Spare, Value,
    Verdict, Via,
};

use super::world::*;

pub(crate) fn events() -> Vec<Event> {
    let cat = CatName::new("pepper").unwrap();
    let person = PersonName::new("sitter").unwrap();
    let spot = Reading { value: Value::Level(95.48268), kind: ReadingKind::Spot, ..sample(2) };
    let low = Reading { value: Value::Below, ..sample(1) };
    let channel = Channel { kind: ChannelKind::Ntfy, address: "a-topic".into() };
    vec![
        readings(0..4),
        Event::Readings(Batch {
            via: Via::Folder,
            source: "scan.csv".into(),
            sensor: Some("left shoulder".into()),
            scanned_at: Some(at("2026-01-01T01:00:00Z")),
            readings: vec![spot, sample(4)],
            repeated: 3,
            conflicts: vec![Conflict { came: low, held: sample(1).value }],
            newest: Some(sample(4).measured_at),
            ..batch(vec![])
        }),
        Event::Dose(Dose {
            cat: cat.clone(),
            given_at: sample(5).measured_at,
            units: Some(1.5),
            by: None,
            not_given: false,
        }),
        Event::Meter(MeterCheck {
            cat: cat.clone(),
            measured_at: sample(6).measured_at,
            glucose: Value::Level(88.0),
            meter: MeterKind::Pet,
        }),
        Event::Sensor(SensorNote {
            cat: cat.clone(),
            at: sample(7).measured_at,
            event: SensorEvent::CameOff,
        }),
        Event::Spare(Spare { cat: cat.clone(), at: sample(7).measured_at, count: 2 }),
        Event::Note(Note {
            cat: cat.clone(),
            at: sample(8).measured_at,
            text: "ate half, \"a bit\" slow\n".into(),
            by: Some("Ülkü".into()),
        }),
        Event::Bridge { cat, online: true },
        Event::Answer(Answer { finding: None, person, via: Via::Button, verdict: Verdict::Taken, at: None }),
        Event::Outcome {
            parcel: Parcel { message: MessageId("m-1".into()), channel: channel.clone(), attempt: 1 },
            outcome: Outcome::Later { why: "busy".into(), retry_after_seconds: Some(30) },
        },
        Event::Outcome {
            parcel: Parcel { message: MessageId("m-1".into()), channel, attempt: 2 },
            outcome: Outcome::Delivered { receipt: None },
        },
        Event::Tick,
    ]
}

/// Writes the journal anew; only for a new format, beside the old one.
#[test]
#[ignore = "writes test data: LOWTIDE_WRITE_JOURNAL=folder"]
fn write_the_kept_journal() {
    let Some(folder) = std::env::var_os("LOWTIDE_WRITE_JOURNAL") else { return };
    let mut record = Record::open(folder.as_ref(), Told::default, Told::hear).unwrap().record;
    for (place, event) in events().into_iter().enumerate() {
        let month = if place < 6 { "2026-01" } else { "2026-02" };
        record.append(at(&format!("{month}-03T00:{place:02}:00Z")), event, Said::default());
    }
    record.sync().unwrap();
}
