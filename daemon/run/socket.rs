//! The control socket: how commands reach a running daemon. One line of JSON asks, one line answers.
//!
//! It lies in the data folder with mode 0600, so whoever may read the record may use it, and nobody else.

use std::io::{BufRead, BufReader, Write};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream as StdStream;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::{Deserialize, Serialize};
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader as AsyncReader};
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::{mpsc, oneshot};

use super::RunError;
use super::keeper::{Answered, Question};
use crate::intake::{Door, Inbound, Kept};
use crate::report::HouseStatus;
use crate::words::Event;

/// What a command asks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "ask", rename_all = "kebab-case")]
pub enum Request {
    /// The present.
    Status,
    /// Take this into the record.
    Log {
        /// What happened.
        event: Box<Event>,
    },
}

/// What the daemon answers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "answer", rename_all = "kebab-case")]
pub enum Reply {
    /// The present.
    Status {
        /// All of it.
        status: Box<HouseStatus>,
    },
    /// It is in the record, on disk.
    Kept,
    /// It did not work.
    Failed {
        /// Why, in words.
        why: String,
    },
}

/// Where the socket of a data folder lies.
#[must_use]
pub fn path(data: &Path) -> PathBuf {
    data.join("lowtide.sock")
}

/// Asks a running daemon; `None` if none runs.
///
/// # Errors
/// If one runs but does not answer, or answers something else.
pub fn ask(data: &Path, request: &Request) -> std::io::Result<Option<Reply>> {
    let Ok(mut stream) = StdStream::connect(path(data)) else {
        return Ok(None);
    };
    stream.set_read_timeout(Some(ANSWER_WITHIN))?;
    let mut line = serde_json::to_string(request)?;
    line.push('\n');
    stream.write_all(line.as_bytes())?;
    let mut answer = String::new();
    BufReader::new(stream).read_line(&mut answer)?;
    Ok(Some(serde_json::from_str(&answer)?))
}

pub(super) fn bind(data: &Path) -> Result<UnixListener, RunError> {
    let path = path(data);
    let failed = |source| RunError::Socket { path: path.clone(), source };
    // The record's lock is held by now, so a socket that lies here was left by a daemon that is gone.
    match std::fs::remove_file(&path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(failed(error)),
        _ => {}
    }
    let listener = UnixListener::bind(&path).map_err(failed)?;
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).map_err(failed)?;
    Ok(listener)
}

pub(super) fn remove(data: &Path) {
    // Left behind it does no harm: the next start takes it away.
    let _ = std::fs::remove_file(path(data));
}

pub(super) async fn listen(listener: UnixListener, questions: mpsc::Sender<Question>, door: Door) {
    loop {
        match listener.accept().await {
            Ok((stream, _)) => {
                tokio::spawn(serve(stream, questions.clone(), door.clone()));
            }
            Err(error) => {
                tracing::warn!("the control socket: {error}");
                tokio::time::sleep(Duration::from_secs(1)).await;
            }
        }
    }
}

async fn serve(stream: UnixStream, questions: mpsc::Sender<Question>, door: Door) {
    let (read, mut write) = stream.into_split();
    let mut line = String::new();
    let mut reader = AsyncReader::new(read.take(REQUEST_BYTES_MAX));
    let read = tokio::time::timeout(ANSWER_WITHIN, reader.read_line(&mut line)).await;
    let reply = match read {
        Ok(Ok(_)) => match serde_json::from_str::<Request>(&line) {
            Ok(request) => answer(request, &questions, &door).await,
            Err(error) => Reply::Failed { why: format!("not a request: {error}") },
        },
        _ => return,
    };
    if let Ok(mut text) = serde_json::to_string(&reply) {
        text.push('\n');
        let _ = write.write_all(text.as_bytes()).await;
    }
}

async fn answer(request: Request, questions: &mpsc::Sender<Question>, door: &Door) -> Reply {
    let gone = || Reply::Failed { why: "the daemon is stopping".to_owned() };
    match request {
        Request::Status => {
            let (back, answer) = oneshot::channel();
            if questions.send(Question { back }).await.is_err() {
                return gone();
            }
            match answer.await {
                Ok(Answered(Some(status))) => Reply::Status { status },
                _ => gone(),
            }
        }
        Request::Log { event } if !recordable(&event) => {
            Reply::Failed { why: "this is nothing that a person records".to_owned() }
        }
        Request::Log { event } => {
            let (done, kept) = oneshot::channel();
            if door.send(Inbound { event: *event, done: Some(done) }).await.is_err() {
                return gone();
            }
            match kept.await {
                Ok(Kept::Synced) => Reply::Kept,
                Ok(Kept::Failed(why)) => Reply::Failed { why },
                Err(_) => gone(),
            }
        }
    }
}

/// What people record. Settings, deliveries and looks at the clock are the daemon's own: taken from here, they could
/// only make it believe what is not so.
fn recordable(event: &Event) -> bool {
    match event {
        Event::Readings(_)
        | Event::Dose(_)
        | Event::Meter(_)
        | Event::Sensor(_)
        | Event::Spare(_)
        | Event::Note(_)
        | Event::Answer(_) => true,
        Event::Household { .. }
        | Event::Bridge { .. }
        | Event::Refused { .. }
        | Event::Outcome { .. }
        | Event::Health(_)
        | Event::ClockSet(_)
        | Event::Tick => false,
    }
}

const ANSWER_WITHIN: Duration = Duration::from_secs(20);
const REQUEST_BYTES_MAX: u64 = 256 * 1024;
