//! Messages over the wire: an ntfy server as strict as the real one, a real mail server, and both of them in a bad
//! mood.
#![allow(clippy::unwrap_used)]

mod mail;
mod network;
mod ntfy;
#[path = "../stands/mod.rs"]
mod stands;

use lowtide::words::{
    Channel, ChannelKind, FindingId, Message, MessageId, Moment, Outcome, Parcel, PersonName, Reason,
    Severity,
};

fn message() -> Message {
    Message {
        id: MessageId("k7m2".to_owned()),
        person: PersonName::new("owner").unwrap(),
        cat: None,
        findings: vec![FindingId("pepper/low-now/1767000000".to_owned())],
        reason: Reason::First,
        severity: Severity::Critical,
        title: "Pfeffer ist unterzuckert: 2,7 mmol/L, fällt".to_owned(),
        text: "Blut etwa 2,7 mmol/L um 03:10, fällt weiter. Jetzt tun, was die Tierärztin gesagt hat: „Honig ans \
               Zahnfleisch“. 猫"
            .to_owned(),
        more: vec!["Grundlage: Messung von 03:10, 12 Minuten alt.".to_owned()],
        created: Moment::parse("2026-01-10T02:22:00Z").unwrap(),
        due: Moment::parse("2026-01-10T02:22:00Z").unwrap(),
        best_before: None,
        thread: "pepper/low-now/1767000000".to_owned(),
        buttons: vec![],
        ways: None,
        private: false,
    }
}

fn parcel(kind: ChannelKind, address: &str, attempt: u32) -> Parcel {
    let channel = Channel { kind, address: address.to_owned() };
    Parcel { message: MessageId("k7m2".to_owned()), channel, attempt }
}

fn why(outcome: &Outcome) -> (&'static str, &str) {
    match outcome {
        Outcome::Delivered { receipt } => ("delivered", receipt.as_deref().unwrap_or("")),
        Outcome::Later { why, .. } => ("later", why),
        Outcome::Refused { why } => ("refused", why),
    }
}
