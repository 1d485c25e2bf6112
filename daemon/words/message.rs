//! What is sent to whom, over which channel, and how that ended.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{CatName, FindingId, Moment, PersonName, Severity, Verdict};

/// One message, by person and content; short enough to be read out over the phone.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct MessageId(pub String);

impl fmt::Display for MessageId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Why a message is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// This person hears of it for the first time.
    First,
    /// It got worse.
    Worse,
    /// There is more to say.
    More,
    /// Nobody has answered, so the same person is asked again.
    Repeat,
    /// Nobody has answered, so this person is asked too.
    Escalated,
    /// It was answered, but it is still there.
    Returned,
    /// Somebody else has taken it on.
    Taken,
    /// What a button of this person's came to.
    Noted,
    /// It is over, or nothing is known of it any more.
    Over,
    /// It still holds, but is milder than this person heard.
    Eased,
    /// What could not be said in time, in one message.
    Summary,
    /// A test.
    Test,
}

/// A way to reach a person.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ChannelKind {
    /// A push message through an ntfy server.
    Ntfy,
    /// An email.
    Email,
}

impl ChannelKind {
    /// The word used in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ntfy => "ntfy",
            Self::Email => "email",
        }
    }
}

/// A person's address on one channel.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Channel {
    /// Which way.
    pub kind: ChannelKind,
    /// The ntfy topic or the email address.
    pub address: String,
}

/// Something a person can press in a message.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Button {
    /// What it says, in the person's language.
    pub label: String,
    /// What it means.
    pub verdict: Verdict,
    /// The finding it answers.
    pub finding: FindingId,
}

/// One message to one person, in that person's words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Message {
    /// Its name; the same in the push text, the mail's Message-ID and the record.
    pub id: MessageId,
    /// To whom.
    pub person: PersonName,
    /// About which cat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cat: Option<CatName>,
    /// About which findings, the worst first.
    pub findings: Vec<FindingId>,
    /// Why now.
    pub reason: Reason,
    /// The worst severity in it.
    pub severity: Severity,
    /// One line; says the cat's name and what is the matter.
    pub title: String,
    /// What happened and what to do; plain text, whole in its first 150 characters.
    pub text: String,
    /// More lines for mail: since when, what it rests on, when it is looked at again, the usual caution.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub more: Vec<String>,
    /// When it was decided on.
    pub created: Moment,
    /// Not to be carried before this.
    pub due: Moment,
    /// Not to be carried after this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub best_before: Option<Moment>,
    /// Messages with the same thread belong together in a mailbox.
    pub thread: String,
    /// Ways to answer.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub buttons: Vec<Button>,
    /// How to answer without the buttons, in one line and without a value; for mail.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ways: Option<String>,
    /// Whether the lock screen may show only that something is the matter.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub private: bool,
}

/// One attempt at carrying one message.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Parcel {
    /// Which message.
    pub message: MessageId,
    /// Over which channel.
    pub channel: Channel,
    /// Which attempt on this channel, from 1.
    pub attempt: u32,
}

/// How an attempt ended, in the carrier's word.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "ended", rename_all = "kebab-case")]
pub enum Outcome {
    /// The server has it. That is not a person.
    Delivered {
        /// What the server called it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        receipt: Option<String>,
    },
    /// It did not work; trying again makes sense.
    Later {
        /// What went wrong, without secrets.
        why: String,
        /// How long the server asked us to wait, in seconds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        retry_after_seconds: Option<u32>,
    },
    /// It did not work and will not: wrong address, wrong password, refused content.
    Refused {
        /// What went wrong, without secrets.
        why: String,
    },
}
