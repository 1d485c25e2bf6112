//! The door for answers from phones: follows the reply topic on the ntfy server, so that no port is open at home.
//!
//! Comes in: the topic as a stream of lines, one JSON object each (`GET /<topic>/json`). Goes out: an answer for each
//! token of ours that is good and unused; a refusal for everything else, so many an hour at most. Where in the topic
//! we are and which tokens are used is kept in a small file, written only after the answer is on disk: a connection
//! that drops or a restart loses nothing and answers nothing twice. Duty decides what an answer means.

mod page;
mod place;

use std::path::PathBuf;
use std::time::Duration;

use reqwest::{Client, Url};
use tokio::sync::oneshot;
use tokio::time::{Instant, sleep};

use super::{Door, Inbound, Kept};
use crate::secret::Secret;
use crate::token::{Key, TokenError};
use crate::words::{Answer, Arg, Event, Health, Moment, PersonName, Telling, Via, Watch, minutes};
use page::{Lines, Post};
use place::Place;

pub use super::mqtt::Now;

/// Which topic is followed, as whom, and how answers are checked.
#[derive(Clone, Debug)]
pub struct RepliesSettings {
    /// Base address of the server.
    pub server: String,
    /// The topic that buttons publish to.
    pub topic: String,
    /// Access token; goes before name and password.
    pub token: Option<Secret>,
    /// Name and password of the login.
    pub login: Option<(String, Secret)>,
    /// Authorities to trust besides the system's, PEM.
    pub ca_file: Option<PathBuf>,
    /// What signs the answers.
    pub key: Key,
    /// Who may answer.
    pub persons: Vec<PersonName>,
    /// Where the place in the topic is kept.
    pub file: PathBuf,
}

/// Why the topic cannot be followed at all.
#[derive(Debug, thiserror::Error)]
#[error("answers cannot be followed: {0}")]
pub struct RepliesError(String);

/// The door, ready to be opened.
#[derive(Debug)]
pub struct Replies {
    settings: RepliesSettings,
    url: Url,
    client: Client,
    place: Place,
    failures: u32,
    trouble: Option<(Instant, bool)>,
    refusals: (u32, Option<Instant>),
}

/// Nobody is left behind the door.
struct Gone;

/// How a connection ended.
struct Ended {
    why: String,
    /// The server does not accept the login, or does not let it read the topic: that mends itself only slowly.
    refused: bool,
}

impl Ended {
    fn because(why: impl Into<String>) -> Self {
        Self { why: why.into(), refused: false }
    }
}

impl Replies {
    /// Checks the settings and reads the place; connects to nothing.
    ///
    /// # Errors
    /// If the address or the CA file cannot be right.
    pub fn new(settings: RepliesSettings) -> Result<Self, RepliesError> {
        let wrong = |why: &dyn std::fmt::Display| RepliesError(why.to_string());
        let mut url = Url::parse(&settings.server).map_err(|e| wrong(&e))?;
        url.path_segments_mut()
            .map_err(|()| wrong(&"the server's address has no path"))?
            .pop_if_empty()
            .push(&settings.topic)
            .push("json");
        let tls = crate::tls::client_config(settings.ca_file.as_deref()).map_err(|e| wrong(&e))?;
        let client = Client::builder()
            .tls_backend_preconfigured(tls)
            .user_agent(concat!("lowtide/", env!("CARGO_PKG_VERSION")))
            .connect_timeout(CONNECT_WITHIN)
            .read_timeout(SILENCE_MAX)
            .redirect(reqwest::redirect::Policy::none())
            .no_proxy()
            .build()
            .map_err(|e| wrong(&e))?;
        let place = Place::read(&settings.file);
        Ok(Self { settings, url, client, place, failures: 0, trouble: None, refusals: (0, None) })
    }

    /// What signs the answers it takes.
    #[must_use]
    pub fn key(&self) -> &Key {
        &self.settings.key
    }

    /// Follows the topic until nobody is left behind the door.
    pub async fn run(mut self, door: Door, now: Now) {
        loop {
            let Ok(Ended { why, refused }) = self.connection(&door, &now).await else { return };
            tracing::warn!("answers from phones are not followed: {why}");
            self.failures = self.failures.saturating_add(1);
            let (since, told) = *self.trouble.get_or_insert((Instant::now(), false));
            if !told && (refused || since.elapsed() >= TROUBLE_AFTER) {
                self.trouble = Some((since, true));
                let telling = Telling::new("source-refused")
                    .with("source", Arg::Text("Answers from phones".to_owned()))
                    .with("reason", Arg::Text(why));
                if give(&door, health(Some(telling))).await.is_err() {
                    return;
                }
            }
            let step = STEPS_SECONDS[(self.failures as usize - 1).min(STEPS_SECONDS.len() - 1)];
            // Each refusal counts against the login, and in the end the server takes no messages from it either.
            let step = if refused { REFUSED_SECONDS } else { step };
            tokio::select! {
                () = sleep(Duration::from_secs(step)) => {}
                () = door.closed() => return,
            }
        }
    }

    /// One connection, from the request to its end; why it ended.
    async fn connection(&mut self, door: &Door, now: &Now) -> Result<Ended, Gone> {
        let mut url = self.url.clone();
        let since = self.place.last.as_deref().unwrap_or("all");
        url.query_pairs_mut().append_pair("since", since);
        let mut request = self.client.get(url);
        request = match (&self.settings.token, &self.settings.login) {
            (Some(token), _) => request.bearer_auth(token.expose()),
            (None, Some((name, password))) => request.basic_auth(name, Some(password.expose())),
            _ => request,
        };
        // The address is left out of every text: a topic is as good as a password.
        let mut response = match request.send().await {
            Ok(response) if response.status().is_success() => response,
            Ok(response) => {
                if response.status().as_u16() == 400 {
                    // It does not know our place, having been replaced by another one, say: what it has is read again,
                    // and what was used counts no second time.
                    self.place.last = None;
                }
                let why = format!("the ntfy server answered {}", response.status());
                return Ok(Ended { why, refused: matches!(response.status().as_u16(), 401 | 403) });
            }
            Err(error) => return Ok(Ended::because(error.without_url().to_string())),
        };
        let mut lines = Lines::default();
        loop {
            let chunk = match response.chunk().await {
                Ok(Some(chunk)) => chunk,
                Ok(None) => return Ok(Ended::because("the ntfy server closed the connection")),
                Err(error) => return Ok(Ended::because(error.without_url().to_string())),
            };
            for line in lines.take(&chunk) {
                let Some(post) = Post::read(&line) else { continue };
                self.connected(door).await?;
                if post.event == "message" {
                    self.take(post, door, now).await?;
                }
            }
        }
    }

    async fn connected(&mut self, door: &Door) -> Result<(), Gone> {
        self.failures = 0;
        match self.trouble.take() {
            Some((_, true)) => give(door, health(None)).await,
            _ => Ok(()),
        }
    }

    /// One message of the topic: what is new and good becomes an answer, and only then is it behind us.
    async fn take(&mut self, post: Post, door: &Door, now: &Now) -> Result<(), Gone> {
        if self.place.seen.contains(&post.id) {
            return Ok(());
        }
        let at = now();
        let text = post.message.trim();
        match self.judge(text, Moment::from_millis(post.time.saturating_mul(1000)), at) {
            Ok((answer, expires)) => {
                give(door, Event::Answer(answer)).await?;
                self.place.used.insert(text.to_owned(), expires);
            }
            Err(why) => {
                if self.may_record_refusal() {
                    tracing::warn!("an answer from outside changes nothing: {why}");
                    give(door, Event::Refused { via: Via::Button, why }).await?;
                }
            }
        }
        self.place.passed(post.id, at);
        if let Err(error) = self.place.write(&self.settings.file) {
            tracing::warn!("{}: {error}", self.settings.file.display());
        }
        Ok(())
    }

    fn judge(&self, text: &str, sent: Moment, now: Moment) -> Result<(Answer, Moment), String> {
        let claim = self.settings.key.verify(text, now).map_err(|why: TokenError| why.to_string())?;
        if self.place.used.contains_key(text) {
            return Err(format!("{}'s answer was used before", claim.person));
        }
        if !self.settings.persons.contains(&claim.person) {
            return Err(format!("{} is not of this household", claim.person));
        }
        // It would have run out by now: the matter must be asked anew.
        if now - sent > minutes(WAITED_MINUTES_MAX) {
            return Err(format!("{}'s answer waited at the server for too long", claim.person));
        }
        let answer = Answer {
            finding: Some(claim.finding),
            person: claim.person,
            via: Via::Button,
            verdict: claim.verdict,
            at: Some(sent.min(now)),
        };
        Ok((answer, claim.expires))
    }

    /// A topic flooded from outside must not fill the disk, be it with records or with the log.
    fn may_record_refusal(&mut self) -> bool {
        let (count, since) = &mut self.refusals;
        if since.is_none_or(|since| since.elapsed() >= Duration::from_secs(3600)) {
            (*count, *since) = (0, Some(Instant::now()));
        }
        *count += 1;
        *count <= REFUSALS_AN_HOUR
    }
}

/// Hands an event over until it is on disk.
async fn give(door: &Door, event: Event) -> Result<(), Gone> {
    loop {
        let (done, kept) = oneshot::channel();
        door.send(Inbound::new(event.clone(), Some(done))).await.map_err(|_| Gone)?;
        if matches!(kept.await, Ok(Kept::Synced | Kept::Known)) {
            return Ok(());
        }
        sleep(OFFER_AGAIN).await;
    }
}

fn health(trouble: Option<Telling>) -> Event {
    Event::Health(Health { watch: Watch::SourceRefused, about: "replies".to_owned(), trouble })
}

const CONNECT_WITHIN: Duration = Duration::from_secs(10);
/// The server sends a sign of life every 45 seconds (its usual setting).
const SILENCE_MAX: Duration = Duration::from_secs(120);
const TROUBLE_AFTER: Duration = Duration::from_secs(600);
const OFFER_AGAIN: Duration = Duration::from_secs(5);
const STEPS_SECONDS: [u64; 6] = [1, 2, 5, 10, 30, 60];
/// Long enough that it never uses up the 30 failed logins a server allows (server configuration of ntfy).
const REFUSED_SECONDS: u64 = 3600;
const REFUSALS_AN_HOUR: u32 = 20;
const WAITED_MINUTES_MAX: f64 = 45.0;
