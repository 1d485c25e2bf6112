//! The lookout: the push server holds a message saying that nobody is watching, some hours ahead, and the daemon takes
//! it back and sets it anew as long as the core turns. When daemon, machine, power or network are gone, nobody does,
//! and it is said. In: whom to tell and in which words. It decides nothing else.
//!
//! Each time a second message is set before the first is taken back, so there is no moment without one. Their names
//! are in `lookout.json` in the data folder, so that a daemon that was killed takes back what it left.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use tokio::sync::mpsc::Sender;

use super::heartbeat::Pulse;
use crate::clock::Clock;
use crate::intake::Inbound;
use crate::notify::ntfy::{AHEAD_SECONDS_MAX, Ahead, AheadError, Ntfy, fresh_name};
use crate::report::{Calls, nobody_watching};
use crate::words::{Arg, ChannelKind, Event, Health, Household, Moment, Severity, Span, Telling, Watch};

/// What the lookout needs.
pub(super) struct Lookout {
    ntfy: Ntfy,
    household: Household,
    after: Duration,
    clock: Arc<dyn Clock>,
    pulse: Pulse,
    file: PathBuf,
    kept: Kept,
    /// Whether the last one of those has not been set on every topic.
    unfinished: bool,
}

/// What is waiting at the server, for the next start.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
struct Kept {
    /// Names of what may wait there; the last one is the one that counts.
    names: Vec<String>,
    /// When that one is said.
    due: Option<Moment>,
}

impl Lookout {
    pub(super) fn new(
        ntfy: Ntfy,
        household: Household,
        after: Duration,
        clock: Arc<dyn Clock>,
        pulse: Pulse,
        data: &Path,
    ) -> Self {
        let file = data.join("lookout.json");
        let kept = std::fs::read(&file).ok().and_then(|text| serde_json::from_slice(&text).ok());
        Self { ntfy, household, after, clock, pulse, file, kept: kept.unwrap_or_default(), unfinished: false }
    }

    /// Keeps a message ahead until the driver drops it. `door` hears if the server cannot do it.
    pub(super) async fn keep(mut self, door: Sender<Inbound>) {
        let every = self.after / 3;
        let Some(able) = self.find_out().await else { return };
        let _ = door.send(trouble(!able)).await;
        if !able {
            tracing::warn!("{UNABLE}");
            return;
        }
        let mut seen = None;
        let mut failing = false;
        loop {
            let turned = self.pulse.load(Ordering::Relaxed);
            if seen == Some(turned) {
                // A core that does not turn is not watching, whatever else of the daemon lives on.
                tokio::time::sleep(LOOK_AT_THE_CORE).await;
                continue;
            }
            let pause = match self.put_off().await {
                Ok(()) => {
                    seen = Some(turned);
                    failing = false;
                    every
                }
                Err(error) => {
                    if !std::mem::replace(&mut failing, true) {
                        tracing::warn!("cannot put off what the push server is to say: {error}");
                    }
                    pause_after(&error, every)
                }
            };
            tokio::time::sleep(pause).await;
        }
    }

    /// Whether the server can take a message back; asks until it says something. `None` if nobody has a topic.
    async fn find_out(&mut self) -> Option<bool> {
        let calls = self.calls(Calls::Trial);
        let (topic, (title, text)) = calls.into_iter().next()?;
        loop {
            let name = fresh_name(self.clock.now());
            let trial =
                Ahead { topic: topic.clone(), name, title: title.clone(), text: text.clone(), priority: 1 };
            match self.ntfy.can_take_back(&trial).await {
                Ok(able) => return Some(able),
                Err(error) => {
                    tracing::warn!("cannot find out whether the push server takes messages back: {error}");
                    tokio::time::sleep(pause_after(&error, RETRY)).await;
                }
            }
        }
    }

    /// Sets a new message and takes back those before it.
    async fn put_off(&mut self) -> Result<(), AheadError> {
        let asked = self.clock.now();
        let said = self.kept.due.is_some_and(|due| due <= asked);
        // One that could not be set everywhere is set again under its name: an outage must not make a long list.
        let unfinished = if self.unfinished { self.kept.names.pop() } else { None };
        let name = unfinished.unwrap_or_else(|| fresh_name(asked));
        self.unfinished = true;
        let seconds = self.after.as_secs().clamp(SECONDS_MIN, AHEAD_SECONDS_MAX);
        // On disk first: what is set and not written down could never be taken back.
        self.kept.names.push(name.clone());
        self.write();
        for (topic, (title, text)) in self.calls(Calls::Warning) {
            let ahead = Ahead { topic, name: name.clone(), title, text, priority: 4 };
            self.ntfy.say_ahead(&ahead, Some(seconds)).await?;
        }
        // The server counts in whole seconds, so it may be said up to one earlier.
        self.kept.due = Some(asked + Span::seconds(seconds as i64 - 1));
        let old: Vec<String> = self.kept.names.iter().filter(|held| **held != name).cloned().collect();
        for topic in self.calls(Calls::Warning).into_iter().map(|(topic, _)| topic) {
            for name in &old {
                self.ntfy.take_back(&topic, name).await?;
            }
        }
        self.kept.names = vec![name];
        self.unfinished = false;
        self.write();
        if said {
            for (topic, (title, text)) in self.calls(Calls::Back) {
                let name = fresh_name(self.clock.now());
                self.ntfy.say_ahead(&Ahead { topic, name, title, text, priority: 2 }, None).await?;
            }
        }
        Ok(())
    }

    /// Whom to tell, on which topic, in which words: everyone who hears of warnings.
    fn calls(&self, what: Calls) -> Vec<(String, (String, String))> {
        let hears = |person: &&crate::words::Person| {
            person.receives <= Severity::Warning || person.name == self.household.home.owner
        };
        let now = self.clock.now();
        let hours = self.after.as_secs_f64() / 3600.0;
        let persons = self.household.persons.iter().filter(hears);
        persons
            .filter_map(|person| {
                let topic = person.channels.iter().find(|channel| channel.kind == ChannelKind::Ntfy)?;
                Some((
                    topic.address.clone(),
                    nobody_watching(&self.household, person, what, hours * 60.0, now),
                ))
            })
            .collect()
    }

    fn write(&self) {
        let beside = self.file.with_extension("new");
        let text = serde_json::to_vec(&self.kept).unwrap_or_default();
        let written = std::fs::write(&beside, text).and_then(|()| std::fs::rename(&beside, &self.file));
        if let Err(error) = written {
            tracing::warn!("cannot keep {}: {error}", self.file.display());
        }
    }
}

/// Says when the message that waits will be said, as it was left in the data folder: it is not taken back.
pub(super) fn leave(data: &Path) {
    let text = std::fs::read(data.join("lookout.json")).unwrap_or_default();
    if let Ok(Kept { due: Some(due), .. }) = serde_json::from_slice(&text) {
        tracing::info!("unless it is started again, the push server says at {due} that nobody is watching");
    }
}

fn trouble(unable: bool) -> Inbound {
    let source = || Arg::Word("nobody-watching-source".to_owned());
    let trouble = unable.then(|| Telling::new("nobody-watching-unable").with("source", source()));
    let health = Health { watch: Watch::SourceRefused, about: "nobody-watching".to_owned(), trouble };
    Inbound::new(Event::Health(health), None)
}

/// A refused login is not asked again soon: each try counts against it.
fn pause_after(error: &AheadError, usual: Duration) -> Duration {
    match error {
        AheadError::Later(_) => RETRY.min(usual),
        AheadError::Refused(_) => RETRY_REFUSED,
    }
}

const UNABLE: &str = "the push server cannot take back a message that waits, so nothing outside will say that nobody \
    is watching: bring it up to date (ntfy 2.17 or later), or use [heartbeat]";
const LOOK_AT_THE_CORE: Duration = Duration::from_secs(1);
const RETRY: Duration = Duration::from_secs(60);
const RETRY_REFUSED: Duration = Duration::from_secs(3600);
/// The server's own minimum is 10.
const SECONDS_MIN: u64 = 12;
