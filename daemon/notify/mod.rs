//! Carries messages and decides nothing.
//!
//! Comes in: one [`Parcel`] (which message, to which address, which attempt) with its [`Message`]. Goes out: one
//! [`Outcome`]. Who hears what, when it is tried again and when it is too late is decided in `duty`; what happened
//! is written down by `record`. Every carrier keeps its own deadline and never waits on another.
//!
//! - [`ntfy`]: push messages through an ntfy server.
//! - [`mail`]: email over SMTP.
//! - [`file`](mod@file): messages as lines of a file; a dry run.
//! - [`stub`]: keeps what it was given and answers as told; for tests and the demo.
//! - [`sender`]: the task that hands parcels to carriers, a few at a time.

pub mod file;
pub mod mail;
pub mod ntfy;
pub mod sender;
pub mod stub;

use std::time::Duration;

use crate::words::{ChannelKind, Message, Outcome, Parcel};

pub use crate::secret::Secret;
pub use crate::tls::TlsError;
pub use file::FileFolder;
pub use mail::{Mail, MailSettings};
pub use ntfy::{Ntfy, NtfySettings};
pub use stub::{Stub, StubAnswer};

/// Why a carrier cannot be set up. The text names the key of the configuration.
#[derive(Debug, thiserror::Error)]
pub enum NotifyError {
    /// A setting that cannot be right.
    #[error("{key} = \"{found}\": {why}")]
    Setting {
        /// The key, as in the configuration file.
        key: &'static str,
        /// What stands there; never a secret.
        found: String,
        /// What is wrong and what would be right.
        why: String,
    },
    /// The file of own authorities cannot be used.
    #[error("{key}: {source}")]
    Tls {
        /// The key, as in the configuration file.
        key: &'static str,
        /// What is wrong with it.
        source: TlsError,
    },
    /// The client could not be built.
    #[error("{key}: {why}")]
    Client {
        /// The table, as in the configuration file.
        key: &'static str,
        /// What went wrong.
        why: String,
    },
    /// The folder of the dry run cannot be used.
    #[error("cannot write messages to {path}: {source}")]
    Folder {
        /// Which folder.
        path: std::path::PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

/// One way of carrying messages.
#[derive(Clone, Debug)]
pub enum Carrier {
    /// Push messages through an ntfy server.
    Ntfy(Box<Ntfy>),
    /// Email over SMTP.
    Mail(Box<Mail>),
    /// Lines in a file.
    File(FileFolder),
    /// Kept in memory, answered as told.
    Stub(Stub),
}

impl Carrier {
    /// Makes one attempt, and says how it ended; within the carrier's own deadline.
    pub async fn carry(&self, parcel: &Parcel, message: &Message) -> Outcome {
        match self {
            Self::Ntfy(ntfy) => ntfy.carry(parcel, message).await,
            Self::Mail(mail) => mail.carry(parcel, message).await,
            Self::File(folder) => folder.carry(parcel, message).await,
            Self::Stub(stub) => stub.carry(parcel, message).await,
        }
    }
}

/// The carriers of this household: at most one for each kind of channel.
#[derive(Clone, Debug, Default)]
pub struct Carriers {
    /// For push messages.
    pub ntfy: Option<Carrier>,
    /// For email.
    pub mail: Option<Carrier>,
}

impl Carriers {
    /// The carriers of the settings that are there.
    ///
    /// # Errors
    /// If an address, a file or a combination of settings cannot be right.
    pub fn new(ntfy: Option<NtfySettings>, mail: Option<MailSettings>) -> Result<Self, NotifyError> {
        let ntfy = ntfy.map(Ntfy::new).transpose()?.map(|ntfy| Carrier::Ntfy(Box::new(ntfy)));
        let mail = mail.map(Mail::new).transpose()?.map(|mail| Carrier::Mail(Box::new(mail)));
        Ok(Self { ntfy, mail })
    }

    /// Signs the answers that buttons send, where there are buttons.
    pub fn sign_with(&mut self, key: &crate::token::Key) {
        if let Some(Carrier::Ntfy(ntfy)) = &mut self.ntfy {
            ntfy.sign_with(key.clone());
        }
    }

    /// One carrier for every kind of channel: a stub or a folder.
    #[must_use]
    pub fn all(carrier: Carrier) -> Self {
        Self { ntfy: Some(carrier.clone()), mail: Some(carrier) }
    }

    /// Makes one attempt over the carrier of the parcel's channel.
    ///
    /// A channel without a carrier refuses. An attempt that outlives every deadline ends as *later*.
    pub async fn carry(&self, parcel: &Parcel, message: &Message) -> Outcome {
        let (carrier, missing) = match parcel.channel.kind {
            ChannelKind::Ntfy => (&self.ntfy, "no [notify.ntfy] server is configured"),
            ChannelKind::Email => (&self.mail, "no [notify.email] server is configured"),
        };
        let Some(carrier) = carrier else {
            return refused(missing);
        };
        match tokio::time::timeout(LAST_DEADLINE, carrier.carry(parcel, message)).await {
            Ok(outcome) => outcome,
            Err(_) => later(format!("no end after {} seconds", LAST_DEADLINE.as_secs())),
        }
    }
}

/// Longer than any carrier's own deadline; only a fault of ours gets here.
const LAST_DEADLINE: Duration = Duration::from_secs(90);

pub(crate) fn delivered(receipt: Option<String>) -> Outcome {
    Outcome::Delivered { receipt }
}

pub(crate) fn later(why: impl Into<String>) -> Outcome {
    Outcome::Later { why: why.into(), retry_after_seconds: None }
}

pub(crate) fn refused(why: impl Into<String>) -> Outcome {
    Outcome::Refused { why: why.into() }
}

/// An error with its causes, in one line.
pub(crate) fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        let cause_text = cause.to_string();
        // Many libraries repeat the cause in their own text.
        if !text.contains(&cause_text) {
            text.push_str(": ");
            text.push_str(&cause_text);
        }
        next = cause.source();
    }
    // What our TLS says of an answer that is none.
    if text.contains("InvalidContentType") {
        text.push_str(
            ": what answers there does not speak TLS (http:// instead of https://, or another port?)",
        );
    }
    text
}

/// At most `bytes_max` bytes of a text, cut at a character and ended with an ellipsis if anything is missing.
pub(crate) fn cut(text: &str, bytes_max: usize) -> String {
    if text.len() <= bytes_max {
        return text.to_owned();
    }
    let room = bytes_max.saturating_sub(ELLIPSIS.len_utf8());
    let end = (0..=room).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
    let mut short = text[..end].trim_end().to_owned();
    short.push(ELLIPSIS);
    short
}

const ELLIPSIS: char = '\u{2026}';

/// A text as one line, without control characters.
pub(crate) fn one_line(text: &str) -> String {
    let spaced: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A text in which none of these stands any more, the longest taken out first.
pub(crate) fn without(text: &str, hidden: &[&str]) -> String {
    let mut hidden: Vec<&str> =
        hidden.iter().copied().filter(|part| part.len() >= HIDDEN_BYTES_MIN).collect();
    hidden.sort_by_key(|part| std::cmp::Reverse(part.len()));
    hidden.into_iter().fold(text.to_owned(), |text, part| text.replace(part, "(left out)"))
}

/// A shorter secret would take ordinary words to pieces, and is none.
const HIDDEN_BYTES_MIN: usize = 4;

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::words::{Channel, FindingId, MessageId, Moment, PersonName, Reason, Severity};

    /// A message such as the house would send.
    pub(crate) fn message() -> Message {
        Message {
            id: MessageId("k7m2".to_owned()),
            person: PersonName::new("owner").unwrap(),
            cat: None,
            findings: vec![FindingId("pepper/low-now/1767000000".to_owned())],
            reason: Reason::First,
            severity: Severity::Critical,
            title: "Pepper is low".to_owned(),
            text: "Blood is about 48 mg/dL and falling. Follow the vet's instructions now.".to_owned(),
            more: vec!["It rests on the reading of 03:10, 12 minutes old.".to_owned()],
            created: Moment::parse("2026-01-10T02:22:00Z").unwrap(),
            due: Moment::parse("2026-01-10T02:22:00Z").unwrap(),
            best_before: None,
            thread: "pepper/low-now/1767000000".to_owned(),
            buttons: vec![],
            ways: None,
            private: false,
        }
    }

    /// The first attempt at carrying it.
    pub(crate) fn parcel(kind: ChannelKind, address: &str) -> Parcel {
        Parcel {
            message: MessageId("k7m2".to_owned()),
            channel: Channel { kind, address: address.to_owned() },
            attempt: 1,
        }
    }

    #[tokio::test]
    async fn a_channel_without_a_carrier_refuses_and_says_what_is_missing() {
        let none = Carriers::default();
        let outcome = none.carry(&parcel(ChannelKind::Ntfy, "topic"), &message()).await;
        assert_eq!(outcome, refused("no [notify.ntfy] server is configured"));
        let outcome = none.carry(&parcel(ChannelKind::Email, "a@b.example"), &message()).await;
        assert_eq!(outcome, refused("no [notify.email] server is configured"));
    }

    #[test]
    fn a_long_text_keeps_its_start_and_whole_characters() {
        assert_eq!(cut("grün", 5), "grün");
        assert_eq!(cut("grünes", 6), "gr…");
        assert_eq!(cut("猫猫猫", 8), "猫…");
        for bytes in 3..30 {
            assert!(cut("Mieze hört auf: nüchtern 猫", bytes).len() <= bytes, "{bytes}");
        }
    }
}
