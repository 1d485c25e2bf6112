//! `lowtide try`: a test message to each person, over each of their channels, how it went, and what nobody would hear.

use std::process::ExitCode;

use super::log::the_person;
use super::{Done, Failure};
use crate::clock::{Clock, MachineClock};
use crate::config::{Config, RECEIVES};
use crate::notify::Carriers;
use crate::tell::{Reader, caution, plain, title};
use crate::words::{
    Arg, Channel, Message, MessageId, Moment, Outcome, Parcel, Person, Reason, Severity, Telling, minutes,
};

/// Sends the test messages, `loud` as critical ones are sent; fails if one did not arrive at its server.
pub(super) fn try_out(config: &Config, only: Option<&str>, loud: bool) -> Done {
    crate::tls::install_provider();
    let only = only.map(|name| the_person(config, name)).transpose()?;
    let wanted = |person: &&Person| only.as_ref().is_none_or(|name| person.name == *name);
    let persons: Vec<&Person> = config.household.persons.iter().filter(wanted).collect();
    let carriers = Carriers::new(config.ntfy.clone(), config.mail.clone()).map_err(Failure::failed)?;
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::failed)?;
    let now = MachineClock::new().now();
    let (mut well, mut taken) = (true, false);
    for person in persons {
        let message = message(config, person, now, loud);
        for channel in &person.channels {
            let parcel = Parcel { message: message.id.clone(), channel: channel.clone(), attempt: 1 };
            let outcome = runtime.block_on(carriers.carry(&parcel, &message));
            let delivered = matches!(outcome, Outcome::Delivered { .. });
            (well, taken) = (well && delivered, taken || delivered);
            say!("{}", line(person, channel, &outcome));
        }
    }
    if taken {
        say!("A server that took a message has not yet shown it: look at the phone and into the mailbox.");
        say!(
            "{}",
            if loud {
                "A phone that stayed silent would stay silent at night: docs/operating.md, \"Phones\", says what to set."
            } else {
                "To hear how a critical message sounds at night: the same with --loud."
            }
        );
    }
    if !well {
        say!(
            "What does not get through now does not at a low either: look at the server's address, the login and the \
             network, and try again."
        );
    }
    // Other advice may name topics, and does not bear on who hears what.
    for advice in config.advice.iter().filter(|advice| advice.key == RECEIVES) {
        say!("Worth knowing: {}", advice.shown(&config.file));
    }
    Ok(if well { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn line(person: &Person, channel: &Channel, outcome: &Outcome) -> String {
    let how = match outcome {
        Outcome::Delivered { .. } => "taken by the server".to_owned(),
        Outcome::Later { why, .. } => format!("did not work, might later: {why}"),
        Outcome::Refused { why } => format!("refused: {why}"),
    };
    format!("{} by {}: {how}", person.called, channel.kind.word())
}

fn message(config: &Config, person: &Person, now: Moment, loud: bool) -> Message {
    let reader = Reader::person(person, &config.household, now);
    let (key, severity) = if loud { ("test-loud", Severity::Critical) } else { ("test", Severity::Notice) };
    let telling = Telling::new(key)
        .with("person", Arg::Person(person.name.clone()))
        .with("time", Arg::Time(now))
        .with("level", Arg::Glucose(100.0));
    Message {
        id: MessageId(format!("{key}-{}-{}", person.name, now.millis() / 1000)),
        person: person.name.clone(),
        cat: None,
        findings: Vec::new(),
        reason: Reason::Test,
        severity,
        title: title(&reader, &telling),
        text: plain(&reader, &telling),
        more: vec![caution(&reader)],
        created: now,
        due: now,
        best_before: Some(now + minutes(60.0)),
        thread: "test".to_owned(),
        buttons: Vec::new(),
        ways: None,
        private: false,
    }
}
