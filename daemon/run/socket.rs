//! The control socket: how commands reach a running daemon. One line of JSON asks, one line answers.
//!
//! It lies in the data folder with mode 0600, so whoever may read the record may use it, and nobody else.

use std::io::{BufRead, BufReader, Write};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream as StdStream;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader as AsyncReader};
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::{mpsc, oneshot};

use super::RunError;
use crate::intake::{Door, Inbound, Kept};
use crate::page::Look;
use crate::report::{HouseStatus, house_status};
use crate::words::{CatName, Event, Household, PersonName};

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
    /// It was in the record before.
    Known,
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

/// What the socket needs to take requests.
#[derive(Clone)]
pub(super) struct Desk {
    looks: mpsc::Sender<Look>,
    door: Door,
    known: Arc<Known>,
}

impl Desk {
    pub(super) fn new(looks: mpsc::Sender<Look>, door: Door, household: &Household) -> Self {
        let known = Known {
            cats: household.cats.iter().map(|cat| cat.name.clone()).collect(),
            persons: household.persons.iter().map(|person| person.name.clone()).collect(),
        };
        Self { looks, door, known: Arc::new(known) }
    }
}

/// Whom the household has: what is about anybody else is refused, as at every other door.
struct Known {
    cats: Vec<CatName>,
    persons: Vec<PersonName>,
}

impl Known {
    /// Why an event cannot be recorded here, if it cannot.
    fn refusal(&self, event: &Event) -> Option<String> {
        if !recordable(event) {
            return Some("this is nothing that a person records".to_owned());
        }
        if let Some(cat) = event.cat().filter(|cat| !self.cats.contains(cat)) {
            return Some(stranger("cat", cat.as_str(), self.cats.iter().map(CatName::as_str)));
        }
        if let Event::Answer(answer) = event
            && !self.persons.contains(&answer.person)
        {
            let persons = self.persons.iter().map(PersonName::as_str);
            return Some(stranger("person", answer.person.as_str(), persons));
        }
        None
    }
}

fn stranger<'a>(what: &str, name: &str, known: impl Iterator<Item = &'a str>) -> String {
    let known = known.collect::<Vec<_>>().join(", ");
    format!(
        "the running daemon knows no {what} called '{name}'; there is: {known}. Nothing was recorded. A name that is \
         new in the configuration counts once the daemon has been started again"
    )
}

pub(super) async fn listen(listener: UnixListener, desk: Desk) {
    loop {
        match listener.accept().await {
            Ok((stream, _)) => {
                tokio::spawn(serve(stream, desk.clone()));
            }
            Err(error) => {
                tracing::warn!("the control socket: {error}");
                tokio::time::sleep(Duration::from_secs(1)).await;
            }
        }
    }
}

async fn serve(stream: UnixStream, desk: Desk) {
    let (read, mut write) = stream.into_split();
    let mut line = String::new();
    let mut reader = AsyncReader::new(read.take(REQUEST_BYTES_MAX));
    let read = tokio::time::timeout(ANSWER_WITHIN, reader.read_line(&mut line)).await;
    let reply = match read {
        Ok(Ok(_)) => match serde_json::from_str::<Request>(&line) {
            Ok(request) => answer(request, &desk).await,
            Err(error) => Reply::Failed { why: format!("not a request: {error}") },
        },
        _ => return,
    };
    if let Ok(mut text) = serde_json::to_string(&reply) {
        text.push('\n');
        let _ = write.write_all(text.as_bytes()).await;
    }
}

async fn answer(request: Request, desk: &Desk) -> Reply {
    let gone = || Reply::Failed { why: "the daemon is stopping".to_owned() };
    match request {
        Request::Status => {
            let (back, answer) = oneshot::channel();
            if desk.looks.send(Look(back)).await.is_err() {
                return gone();
            }
            let Ok(seen) = answer.await else { return gone() };
            match house_status(&seen.house, seen.now) {
                Some(status) => Reply::Status { status: Box::new(status) },
                None => gone(),
            }
        }
        Request::Log { event } => {
            if let Some(why) = desk.known.refusal(&event) {
                return Reply::Failed { why };
            }
            let (done, kept) = oneshot::channel();
            if desk.door.send(Inbound { event: *event, done: Some(done), by_hand: true }).await.is_err() {
                return gone();
            }
            match kept.await {
                Ok(Kept::Synced) => Reply::Kept,
                Ok(Kept::Known) => Reply::Known,
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
        | Event::MeterUndone { .. }
        | Event::Sensor(_)
        | Event::Spare(_)
        | Event::Note(_)
        | Event::Answer(_) => true,
        Event::Household { .. }
        | Event::Unread(_)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_people_record_of_cats_and_persons_of_the_household_is_taken() {
        let known = Known {
            cats: vec![CatName::new("pepper").unwrap(), CatName::new("mint").unwrap()],
            persons: vec![PersonName::new("owner").unwrap()],
        };
        let refusal = |json: &str| known.refusal(&serde_json::from_str(json).unwrap()).unwrap_or_default();
        let note = r#"{"what":"note","cat":"pepper","at":"2026-03-01T06:00:00Z","text":"ate"}"#;
        assert_eq!(refusal(note), "");
        let wrong = refusal(&note.replace("pepper", "peper"));
        assert!(wrong.contains("no cat called 'peper'; there is: pepper, mint"), "{wrong}");
        let answer = r#"{"what":"answer","person":"owner","via":"command","verdict":"taken"}"#;
        assert_eq!(refusal(answer), "");
        assert!(refusal(&answer.replace("owner", "nobody")).contains("no person called 'nobody'"));
        assert!(refusal(r#"{"what":"tick"}"#).contains("nothing that a person records"));
    }

    fn desk() -> Desk {
        let (looks, door) = (mpsc::channel(1).0, mpsc::channel(1).0);
        Desk { looks, door, known: Arc::new(Known { cats: vec![], persons: vec![] }) }
    }

    #[tokio::test(start_paused = true)]
    async fn who_says_nothing_is_not_waited_for_and_who_says_too_much_is_not_heard() {
        let (_silent, far) = UnixStream::pair().unwrap();
        let begun = tokio::time::Instant::now();
        tokio::time::timeout(ANSWER_WITHIN * 2, serve(far, desk())).await.unwrap();
        assert!(begun.elapsed() >= ANSWER_WITHIN);

        tokio::time::resume();
        let (mut near, far) = UnixStream::pair().unwrap();
        let served = tokio::spawn(serve(far, desk()));
        // A good request, but for the blanks before it.
        let request = format!("{}{{\"ask\":\"status\"}}\n", " ".repeat(REQUEST_BYTES_MAX as usize));
        let _ = near.write_all(request.as_bytes()).await;
        let mut answer = Vec::new();
        // The rest of the request was not read, so the connection may end with an error behind the answer.
        let _ = near.read_to_end(&mut answer).await;
        served.await.unwrap();
        let answer = String::from_utf8(answer).unwrap();
        assert!(answer.contains("not a request"), "{answer}");
    }
}
