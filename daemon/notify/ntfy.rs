//! Push messages through an ntfy server, published as JSON.
//!
//! Comes in: a parcel whose address is a topic, and its message. Goes out: delivered (with the server's id), later
//! or refused. A 200 means that the server has stored the message; it does not mean that a phone showed it.
//!
//! What was learned from the server's source (2.13) and is kept to here: nothing is idempotent, so a try that may
//! have succeeded is looked up by the message's reference before it is repeated; there is no `Retry-After` from the
//! server itself, but proxies in front send one; each 401 uses up a small budget of failed logins, so it is not
//! retried. This file does not choose words and does not follow the answers that buttons send.

mod ahead;
mod body;
mod retry_after;

use std::path::PathBuf;
use std::time::Duration;

use reqwest::{Client, RequestBuilder, Response, StatusCode, Url};
use serde::Deserialize;

pub use ahead::{AHEAD_SECONDS_MAX, Ahead, AheadError, fresh_name};

use super::{NotifyError, Secret, chain, cut, delivered, later, one_line, refused, without};
use crate::tls;
use crate::token::Key;
use crate::words::{Message, Outcome, Parcel};

/// How to reach an ntfy server.
#[derive(Clone, Debug)]
pub struct NtfySettings {
    /// Base address, `https://` or `http://`.
    pub server: String,
    /// Access token; goes before name and password.
    pub token: Option<Secret>,
    /// Name of the login.
    pub username: Option<String>,
    /// Password of the login.
    pub password: Option<Secret>,
    /// Topic that buttons publish answers to; without it messages carry no buttons.
    pub reply_topic: Option<String>,
    /// What opens when the message is tapped.
    pub click: Option<String>,
    /// After so much silence of the daemon the server is to say that nobody is watching.
    pub nobody_watching: Option<Duration>,
    /// Authorities to trust besides the system's, PEM.
    pub ca_file: Option<PathBuf>,
    /// Longest wait for a connection.
    pub connect_timeout: Duration,
    /// Longest time for one attempt, everything included.
    pub deadline: Duration,
}

impl NtfySettings {
    /// The server at this address, without a login, with the usual time limits: 5 s to connect, 15 s in all.
    #[must_use]
    pub fn new(server: &str) -> Self {
        Self {
            server: server.to_owned(),
            token: None,
            username: None,
            password: None,
            reply_topic: None,
            click: None,
            nobody_watching: None,
            ca_file: None,
            connect_timeout: Duration::from_secs(5),
            deadline: Duration::from_secs(15),
        }
    }
}

/// A client for one ntfy server.
#[derive(Clone, Debug)]
pub struct Ntfy {
    settings: NtfySettings,
    key: Option<Key>,
    base: Url,
    client: Client,
}

impl Ntfy {
    /// Checks the settings and builds the client; connects to nothing.
    ///
    /// # Errors
    /// If the address, a topic, the login or the CA file cannot be right.
    pub fn new(settings: NtfySettings) -> Result<Self, NotifyError> {
        let base = base_address(&settings.server)?;
        if let Some(topic) = settings.reply_topic.as_deref().filter(|t| !is_topic(t)) {
            return Err(NotifyError::Setting {
                key: "notify.ntfy.reply_topic",
                found: topic.to_owned(),
                why: TOPIC_RULE.to_owned(),
            });
        }
        if settings.username.is_some() != settings.password.is_some() {
            return Err(NotifyError::Setting {
                key: "notify.ntfy.username",
                found: settings.username.clone().unwrap_or_default(),
                why: "username and password_file go together".to_owned(),
            });
        }
        let tls = tls::client_config(settings.ca_file.as_deref())
            .map_err(|source| NotifyError::Tls { key: "notify.ntfy.ca_file", source })?;
        let client = Client::builder()
            .tls_backend_preconfigured(tls)
            .user_agent(concat!("lowtide/", env!("CARGO_PKG_VERSION")))
            .connect_timeout(settings.connect_timeout)
            .timeout(settings.deadline)
            .redirect(reqwest::redirect::Policy::none())
            .no_proxy()
            .build()
            .map_err(|e| NotifyError::Client { key: "notify.ntfy", why: chain(&e) })?;
        Ok(Self { settings, key: None, base, client })
    }

    /// Signs what buttons send from here on; without a key messages carry no buttons.
    pub fn sign_with(&mut self, key: Key) {
        self.key = Some(key);
    }

    pub(super) async fn carry(&self, parcel: &Parcel, message: &Message) -> Outcome {
        if !is_topic(&parcel.channel.address) {
            return refused(format!("'{}' is not an ntfy topic: {TOPIC_RULE}", parcel.channel.address));
        }
        match tokio::time::timeout(self.settings.deadline, self.attempt(parcel, message)).await {
            Ok(outcome) => self.discreet(outcome, &parcel.channel.address),
            Err(_) => later(unsure(self.settings.deadline)),
        }
    }

    /// An outcome is journaled and told. A server may repeat in its error what it was given.
    fn discreet(&self, outcome: Outcome, topic: &str) -> Outcome {
        let settings = &self.settings;
        let secrets =
            [&settings.token, &settings.password].into_iter().flatten().map(|secret| secret.expose());
        let hidden: Vec<&str> = secrets.chain(settings.reply_topic.as_deref()).chain([topic]).collect();
        match outcome {
            Outcome::Later { why, retry_after_seconds } => {
                Outcome::Later { why: without(&why, &hidden), retry_after_seconds }
            }
            Outcome::Refused { why } => Outcome::Refused { why: without(&why, &hidden) },
            delivered @ Outcome::Delivered { .. } => delivered,
        }
    }

    async fn attempt(&self, parcel: &Parcel, message: &Message) -> Outcome {
        let topic = &parcel.channel.address;
        // An attempt before this one may have been stored although its answer was lost.
        if parcel.attempt > 1
            && let Some(receipt) = self.stored(topic, message).await
        {
            return delivered(Some(receipt));
        }
        let full = body::publish(topic, message, self.extras());
        match self.publish(full).await {
            Answer::Ended(outcome) => outcome,
            Answer::Rejected(first) => {
                // Once more without anything that a server could dislike: the words are what matters.
                let plain = body::publish(topic, message, body::Extras::default());
                match self.publish(plain).await {
                    Answer::Ended(outcome) => outcome,
                    Answer::Rejected(_) => refused(first),
                }
            }
        }
    }

    fn extras(&self) -> body::Extras<'_> {
        body::Extras {
            base: Some(&self.base),
            reply_topic: self.settings.reply_topic.as_deref(),
            key: self.key.as_ref(),
            click: self.settings.click.as_deref(),
        }
    }

    async fn publish(&self, body: Vec<u8>) -> Answer {
        let request = self
            .with_login(self.client.post(self.base.clone()))
            .header(reqwest::header::CONTENT_TYPE, "application/json")
            .body(body);
        match request.send().await {
            Ok(response) => self.judge(response).await,
            Err(e) => Answer::Ended(later(self.broken(e))),
        }
    }

    async fn judge(&self, response: Response) -> Answer {
        let status = response.status();
        let wait = retry_after::seconds(response.headers());
        let target = response
            .headers()
            .get(reqwest::header::LOCATION)
            .and_then(|value| value.to_str().ok())
            .map(|to| cut(&one_line(to), 200));
        let bytes = match read(response).await {
            Ok(bytes) => bytes,
            Err(e) => return Answer::Ended(later(self.broken(e))),
        };
        if status.is_success() {
            return Answer::Ended(match serde_json::from_slice::<Receipt>(&bytes) {
                Ok(Receipt { id, event }) if !id.is_empty() && event == "message" => delivered(Some(id)),
                _ => later(NO_RECEIPT),
            });
        }
        let said = said(status, &bytes);
        match status.as_u16() {
            401 => Answer::Ended(refused(format!(
                "{said}: the login is not accepted; check token_file, or username and password_file, in [notify.ntfy]"
            ))),
            403 => Answer::Ended(refused(format!(
                "{said}: this login may not write to the topic; check the topic, and its access rules on the server"
            ))),
            300..=399 => Answer::Ended(later(format!(
                "{said}, pointing to {}; if that is right, make it the server in [notify.ntfy]",
                target.as_deref().unwrap_or("nothing")
            ))),
            408 | 429 | 500..=599 => Answer::Ended(Outcome::Later { why: said, retry_after_seconds: wait }),
            _ => Answer::Rejected(said),
        }
    }

    /// The id of this message on the server, if an earlier attempt got there. Not being able to look says nothing.
    async fn stored(&self, topic: &str, message: &Message) -> Option<String> {
        let mut url = self.base.clone();
        url.path_segments_mut().ok()?.pop_if_empty().push(topic).push("json");
        url.set_query(Some("poll=1&since=all"));
        let look = async {
            let response = self.with_login(self.client.get(url)).send().await.ok()?;
            if response.status() != StatusCode::OK {
                return None;
            }
            let bytes = read(response).await.ok()?;
            let reference = body::reference(message);
            String::from_utf8_lossy(&bytes)
                .lines()
                .filter_map(|line| serde_json::from_str::<Stored>(line).ok())
                .find(|stored| stored.event == "message" && stored.tags.contains(&reference))
                .map(|stored| stored.id)
        };
        tokio::time::timeout(self.settings.deadline / 3, look).await.ok().flatten()
    }

    fn with_login(&self, request: RequestBuilder) -> RequestBuilder {
        match (&self.settings.token, &self.settings.username, &self.settings.password) {
            (Some(token), _, _) => request.bearer_auth(token.expose()),
            (None, Some(name), Some(password)) => request.basic_auth(name, Some(password.expose())),
            _ => request,
        }
    }

    /// Why there is no answer. The address is left out: a topic is as good as a password.
    fn broken(&self, error: reqwest::Error) -> String {
        let error = error.without_url();
        if error.is_connect() {
            let host = self.base.host_str().unwrap_or_default();
            format!("cannot reach the ntfy server {host}: {}", chain(&error))
        } else if error.is_timeout() {
            unsure(self.settings.deadline)
        } else {
            format!("the ntfy server's answer was lost ({}); the message may have arrived", chain(&error))
        }
    }
}

/// What the server made of one publish.
enum Answer {
    Ended(Outcome),
    /// It does not like the request itself.
    Rejected(String),
}

#[derive(Debug, Deserialize)]
struct Receipt {
    id: String,
    #[serde(default = "message_event")]
    event: String,
}

#[derive(Debug, Deserialize)]
struct Stored {
    id: String,
    event: String,
    #[serde(default)]
    tags: Vec<String>,
}

#[derive(Debug, Deserialize)]
struct ServerError {
    code: u32,
    error: String,
}

fn message_event() -> String {
    "message".to_owned()
}

fn unsure(deadline: Duration) -> String {
    format!(
        "no answer from the ntfy server within {} s; the message may have arrived",
        deadline.as_secs_f32().ceil()
    )
}

/// What the server said, in one line; a proxy in front may answer with a page instead of JSON.
fn said(status: StatusCode, bytes: &[u8]) -> String {
    match serde_json::from_slice::<ServerError>(bytes) {
        Ok(ServerError { code, error }) => {
            format!(
                "the ntfy server answered {}: {} (code {code})",
                status.as_u16(),
                cut(&one_line(&error), 200)
            )
        }
        Err(_) => format!("the ntfy server answered {status}"),
    }
}

async fn read(mut response: Response) -> Result<Vec<u8>, reqwest::Error> {
    let mut bytes = Vec::new();
    while let Some(chunk) = response.chunk().await? {
        let room = REPLY_BYTES_MAX - bytes.len();
        bytes.extend_from_slice(&chunk[..chunk.len().min(room)]);
        if bytes.len() == REPLY_BYTES_MAX {
            break;
        }
    }
    Ok(bytes)
}

fn base_address(server: &str) -> Result<Url, NotifyError> {
    let wrong = |why: &str| NotifyError::Setting {
        key: "notify.ntfy.server",
        // Whoever put a password into the address must not find it in a log.
        found: match server.split_once('@') {
            Some((_, rest)) => format!("(login left out)@{rest}"),
            None => server.to_owned(),
        },
        why: why.to_owned(),
    };
    let mut url = Url::parse(server).map_err(|_| wrong("write it like https://ntfy.example"))?;
    if !matches!(url.scheme(), "http" | "https") || !url.has_host() {
        return Err(wrong("it must start with https:// or http://"));
    }
    if !url.username().is_empty() || url.password().is_some() {
        return Err(wrong("the login goes into token_file, or username and password_file"));
    }
    if url.query().is_some() || url.fragment().is_some() {
        return Err(wrong("leave out everything from '?' or '#' on"));
    }
    if !url.path().ends_with('/') {
        url.set_path(&format!("{}/", url.path()));
    }
    Ok(url)
}

/// Whether the server would take this as a topic.
#[must_use]
pub fn is_topic(text: &str) -> bool {
    (1..=64).contains(&text.len())
        && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
}

const TOPIC_RULE: &str = "use 1 to 64 letters (a-z, A-Z), digits, '-' or '_'";
const NO_RECEIPT: &str = "what answered is not an ntfy server (a page or an answer without an id): \
    a login page of the network, or a wrong server in [notify.ntfy]";
/// A day of one topic fits; a page that never ends does not.
const REPLY_BYTES_MAX: usize = 1 << 20;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_that_cannot_work_are_refused_with_what_would_be_right() {
        for (server, part) in [
            ("ntfy.example", "write it like"),
            ("ftp://ntfy.example", "https://"),
            ("https://me:pw@ntfy.example", "token_file"),
            ("https://ntfy.example/?x=1", "leave out"),
        ] {
            let error = Ntfy::new(NtfySettings::new(server)).unwrap_err().to_string();
            assert!(error.contains(part) && error.contains("notify.ntfy.server"), "{error}");
            assert!(!error.contains("pw"), "{error}");
        }
        assert!(Ntfy::new(NtfySettings::new("http://127.0.0.1:8080/push")).is_ok());
    }

    #[test]
    fn half_a_login_and_an_impossible_reply_topic_are_refused() {
        let mut settings = NtfySettings::new("https://ntfy.example");
        settings.username = Some("lowtide".to_owned());
        assert!(Ntfy::new(settings.clone()).unwrap_err().to_string().contains("go together"));
        settings.username = None;
        settings.reply_topic = Some("a/b".to_owned());
        assert!(Ntfy::new(settings).unwrap_err().to_string().contains("reply_topic"));
    }

    #[test]
    fn settings_never_show_a_token() {
        let mut settings = NtfySettings::new("https://ntfy.example");
        settings.token = Some(Secret::new("tk_hidden"));
        let ntfy = Ntfy::new(settings.clone()).unwrap();
        assert!(!format!("{settings:?} {ntfy:?}").contains("tk_hidden"));
    }
}
