//! Messages that the push server is to say later, unless it is told not to: how a house that has gone dark is noticed.
//! Comes in: what to say and in how many seconds. Goes out: requests to the server, and whether it can take a message
//! back at all. It decides nothing.
//!
//! Scheduling is old; taking back by a sequence id (`DELETE /TOPIC/ID`) came with ntfy 2.16 for messages that were shown,
//! and soon after for those that still wait (pull request 1556 of the server; that 2.17 is the first release with it is
//! from memory). A server that does not know it answers as if all were well, so it is found out by trying.

use reqwest::{Response, Url};
use serde::Deserialize;
use serde_json::json;

use super::{Ntfy, read, said};
use crate::words::Moment;

/// What the server is to say, if nobody takes it back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ahead {
    /// Where.
    pub topic: String,
    /// By what name it can be taken back.
    pub name: String,
    /// Title.
    pub title: String,
    /// Text.
    pub text: String,
    /// From 1, without a sound, to 5.
    pub priority: u8,
}

/// Why the server did not do what it was asked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AheadError {
    /// It may work later.
    #[error("{0}")]
    Later(String),
    /// The login or the topic is refused: asking soon again only makes it worse.
    #[error("{0}")]
    Refused(String),
}

#[derive(Deserialize)]
struct Scheduled {
    id: String,
    #[serde(default)]
    time: i64,
}

impl Ntfy {
    /// Has the server say this `seconds` from now: at least 10, at most three days. At once if `None`.
    ///
    /// # Errors
    /// If the server cannot be reached or does not take it.
    pub async fn say_ahead(&self, ahead: &Ahead, seconds: Option<u64>) -> Result<(), AheadError> {
        self.schedule(ahead, seconds).await.map(drop)
    }

    async fn schedule(&self, ahead: &Ahead, seconds: Option<u64>) -> Result<Scheduled, AheadError> {
        let mut body = json!({
            "topic": ahead.topic,
            "title": ahead.title,
            "message": ahead.text,
            "priority": ahead.priority,
            "sequence_id": ahead.name,
        });
        if let Some(seconds) = seconds {
            body["delay"] = format!("{seconds}s").into();
        }
        let request = self
            .with_login(self.client.post(self.base.clone()))
            .header(reqwest::header::CONTENT_TYPE, "application/json")
            .body(body.to_string());
        let bytes = self.taken(request.send().await).await?;
        serde_json::from_slice(&bytes).map_err(|_| AheadError::Later(super::NO_RECEIPT.to_owned()))
    }

    /// Takes back everything of that name which still waits. `false` if the server knows no way to.
    ///
    /// # Errors
    /// If the server cannot be reached or refuses.
    pub async fn take_back(&self, topic: &str, name: &str) -> Result<bool, AheadError> {
        let request = self.with_login(self.client.delete(self.under(&[topic, name])));
        match request.send().await {
            Ok(response) if matches!(response.status().as_u16(), 400 | 404 | 405 | 501) => Ok(false),
            sent => self.taken(sent).await.map(|_| true),
        }
    }

    /// Whether this server takes back what waits, found out with `trial`: a message that is only ever shown, three days
    /// from now, if it does not.
    ///
    /// # Errors
    /// If the server cannot be reached or refuses.
    pub async fn can_take_back(&self, trial: &Ahead) -> Result<bool, AheadError> {
        let waiting = self.schedule(trial, Some(AHEAD_SECONDS_MAX)).await?;
        if !self.take_back(&trial.topic, &trial.name).await? {
            return Ok(false);
        }
        let mut url = self.under(&[&trial.topic, "json"]);
        url.set_query(Some(&format!("poll=1&scheduled=1&since={}", waiting.time - 60)));
        // A login that may only write cannot look; then the server's word has to do.
        let Ok(held) = self.taken(self.with_login(self.client.get(url)).send().await).await else {
            return Ok(true);
        };
        let mut held = String::from_utf8_lossy(&held).into_owned();
        held.retain(|letter| letter != '\r');
        let still = |line: &str| {
            serde_json::from_str::<Scheduled>(line).is_ok_and(|found| found.id == waiting.id)
                && !line.contains("\"message_delete\"")
        };
        Ok(!held.lines().any(still))
    }

    fn under(&self, path: &[&str]) -> Url {
        let mut url = self.base.clone();
        if let Ok(mut segments) = url.path_segments_mut() {
            segments.pop_if_empty().extend(path);
        }
        url
    }

    async fn taken(&self, sent: Result<Response, reqwest::Error>) -> Result<Vec<u8>, AheadError> {
        let response = sent.map_err(|error| AheadError::Later(self.broken(error)))?;
        let status = response.status();
        let bytes = read(response).await.map_err(|error| AheadError::Later(self.broken(error)))?;
        match status.as_u16() {
            200..=299 => Ok(bytes),
            401 | 403 => Err(AheadError::Refused(said(status, &bytes))),
            _ => Err(AheadError::Later(said(status, &bytes))),
        }
    }
}

/// A name for [`Ahead`] that no other house uses: from the moment it was first made.
#[must_use]
pub fn fresh_name(now: Moment) -> String {
    format!("lowtide-{:x}", now.millis())
}

/// The longest a server holds a message: three days (server configuration of ntfy, `message-delay-limit`).
pub const AHEAD_SECONDS_MAX: u64 = 3 * 24 * 3600;
