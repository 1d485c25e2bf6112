//! The live driver: doors, clock, record and carriers around the turn.
//!
//! One task, the [`keeper`], owns the house and the record. Doors, carriers and the control socket are tasks of
//! their own and talk to it over bounded channels. The order is always: turn, commit, acknowledge, send. If one of those
//! breaks off, the daemon ends with an error, and is started again whole.

mod answer_key;
mod board;
mod heartbeat;
mod keeper;
mod lookout;
mod machine;
mod present;
pub mod reach;
pub mod socket;
mod tasks;
mod unwritten;

use std::path::Path;
use std::sync::Arc;

use tokio::sync::{mpsc, watch};

use crate::clock::Clock;
use crate::config::Config;
use crate::intake::formats::Context;
use crate::intake::replies::{Replies, RepliesSettings};
use crate::intake::{Door, Inbound, folder, mqtt};
use crate::notify::{Carrier, Carriers, Ntfy, sender};
use crate::page;
use crate::record::{Opened, Record, RecordError};
use crate::token::Key;
use crate::turn::{House, recall};
use crate::words::{Household, PersonName};
use keeper::{Keeper, Lines};
use tasks::{Broken, Tasks};

/// Why the daemon cannot run.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The record cannot be opened.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// A carrier's settings cannot be used.
    #[error(transparent)]
    Notify(#[from] crate::notify::NotifyError),
    /// The broker's settings cannot be used.
    #[error(transparent)]
    Mqtt(#[from] mqtt::MqttError),
    /// The reply topic's settings cannot be used.
    #[error(transparent)]
    Replies(#[from] crate::intake::replies::RepliesError),
    /// The key for answers cannot be read or made.
    #[error("cannot keep the key for answers in {}: {source}", folder.display())]
    AnswerKey {
        /// The data folder.
        folder: std::path::PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The control socket cannot be made.
    #[error("cannot listen on {}: {source}", path.display())]
    Socket {
        /// Where.
        path: std::path::PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// Something that has to run beside the keeper does not any more.
    #[error("{part} broke off ({why}): ending, to be started again whole")]
    Broken {
        /// Which part.
        part: &'static str,
        /// How.
        why: String,
    },
}

/// Opens the record and recalls the house from it.
///
/// # Errors
/// If somebody else has it open, or it cannot be read or written.
pub fn open_record(folder: &Path) -> Result<Opened<House>, RecordError> {
    Record::open(folder, House::default, |house, entry| recall(house, &entry.event, &entry.said, entry.at))
}

/// Opens the record; a command that has it for a moment is waited for.
async fn open_when_free(folder: &Path) -> Result<Opened<House>, RecordError> {
    for _ in 0..LOCK_TRIES {
        match open_record(folder) {
            Err(RecordError::Locked { .. }) => tokio::time::sleep(LOCK_WAIT).await,
            opened => return opened,
        }
    }
    open_record(folder)
}

/// Opens the record and says in the log what was found.
async fn open_and_say(folder: &Path) -> Result<Opened<House>, RecordError> {
    let opened = open_when_free(folder).await?;
    for damage in &opened.damage {
        tracing::warn!("{damage}");
    }
    tracing::info!(entries = opened.entries_replayed, folder = %folder.display(), "the record is open");
    Ok(opened)
}

/// Makes the watched folder at the very first start. Later a folder that is gone is a trouble to be told: made anew, it
/// would hide that a share is not mounted.
fn make_inbox(path: &Path, first: bool) {
    if !first {
        return;
    }
    match std::fs::create_dir(path) {
        Ok(()) => tracing::info!(folder = %path.display(), "made the folder for files"),
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
        // The watcher tells of it, with what to do.
        Err(error) => tracing::warn!(folder = %path.display(), "cannot make the folder for files: {error}"),
    }
}

/// What the formats need to know of a configuration.
#[must_use]
pub fn context(config: &Config) -> Context {
    let household = &config.household;
    Context {
        zone: household.home.timezone,
        cats: household.cats.iter().map(|cat| (cat.name.clone(), cat.units)).collect(),
        ranges: household.cats.iter().map(|cat| (cat.name.clone(), cat.sensor.range)).collect(),
        layouts: config.layouts.clone(),
    }
}

/// Runs until `stop` turns true; then takes nothing more in, syncs, and leaves.
///
/// # Errors
/// If the record, the socket, or the settings of a carrier or the broker cannot be used, or a part breaks off.
pub async fn run(
    config: Config,
    mut carriers: Carriers,
    clock: Arc<dyn Clock>,
    mut stop: watch::Receiver<bool>,
) -> Result<(), RunError> {
    let believed = present::Believed::new(true.into());
    if !config.clock_trusted {
        machine::wait_for_the_clock(&clock, &believed, &mut stop).await;
        if *stop.borrow() {
            return Ok(());
        }
    }
    let opened = open_and_say(&config.data).await?;
    let context = context(&config);
    let (door, inbox) = mpsc::channel::<Inbound>(DOOR_PLACES);
    let (jobs, job_inbox) = mpsc::channel(sender::WAITING_MAX);
    let (outcomes, outcome_inbox) = mpsc::channel(sender::WAITING_MAX);
    let (looks, look_inbox) = mpsc::channel(LOOK_PLACES);
    let (publisher, outgoing) = mqtt::publisher();
    let (end, ended) = watch::channel(false);
    let mut tasks = Tasks::default();
    if let Some(replies) = replies(&config)? {
        carriers.sign_with(replies.key());
        tasks.start("the door for answers from phones", replies.run(door.clone(), teller(&clock)));
    }
    let carriers = Arc::new(carriers);
    tasks.start("the desk of the carriers", sender::run(Arc::clone(&carriers), job_inbox, outcomes));
    let desk = socket::Desk::new(looks.clone(), door.clone(), &config.household);
    tasks.start("the control socket", socket::listen(socket::bind(&config.data)?, desk));
    if let Some(settings) = config.folder.clone() {
        make_inbox(&settings.path, opened.record.last_seq() == 0);
        tasks.start("the door for files", folder::watch(settings, context.clone(), door.clone()));
    }
    if let Some(ground) = ground(&config, looks, &door, &clock)? {
        tasks.start("the page", page::serve(ground));
    }
    let mut publishing = None;
    if let Some(settings) = config.mqtt.clone() {
        let broker = mqtt::Mqtt::new(settings, context, names(&config.household))?;
        tasks.start("the door for MQTT", broker.run(door.clone(), outgoing, teller(&clock), ended.clone()));
        publishing = Some(board::Board::new(publisher));
    }
    let pulse = heartbeat::Pulse::default();
    if let Some(url) = config.heartbeat_url.clone() {
        tasks.start_passing("the heartbeat", heartbeat::beat(url, Arc::clone(&pulse), heartbeat::EVERY));
    }
    let lookout = lookout(&config, &carriers, &clock, &pulse);
    let looks_out = lookout.is_some();
    if let Some(lookout) = lookout {
        tasks.start_passing("the lookout", lookout.keep(door.clone()));
    }
    tasks.start("the watch on the disk", machine::watch_disk(config.data.clone(), door));
    if !config.clock_trusted {
        tasks.start_passing(
            "the watch on the clock",
            machine::watch_clock(Arc::clone(&clock), Arc::clone(&believed)),
        );
    }
    let lines = Lines { inbox, outcomes: outcome_inbox, looks: look_inbox, jobs, board: publishing, pulse };
    let keeper = Keeper::new(opened, config.household, present::Present::new(clock, believed), lines);
    let (watched, ()) = tokio::join!(tasks.watch(&mut stop, &end), keeper.keep(ended));
    socket::remove(&config.data);
    if looks_out {
        lookout::leave(&config.data);
    }
    // The broker's door says goodbye in its own time; everything else has nothing left to do.
    tokio::time::sleep(GOODBYE).await;
    tasks.shutdown().await;
    watched.map_err(|Broken { part, why }| RunError::Broken { part, why })
}

/// The lookout, if the push server is to hold a message for the time when nobody is there.
fn lookout(
    config: &Config,
    carriers: &Carriers,
    clock: &Arc<dyn Clock>,
    pulse: &heartbeat::Pulse,
) -> Option<lookout::Lookout> {
    let after = config.ntfy.as_ref()?.nobody_watching?;
    let Some(Carrier::Ntfy(ntfy)) = &carriers.ntfy else { return None };
    let (ntfy, household) = (Ntfy::clone(ntfy), config.household.clone());
    let (clock, pulse) = (Arc::clone(clock), Arc::clone(pulse));
    Some(lookout::Lookout::new(ntfy, household, after, clock, pulse, &config.data))
}

fn teller(clock: &Arc<dyn Clock>) -> mqtt::Now {
    let clock = Arc::clone(clock);
    Arc::new(move || clock.now())
}

/// What the page stands on, if there is to be one.
fn ground(
    config: &Config,
    looks: mpsc::Sender<page::Look>,
    door: &Door,
    clock: &Arc<dyn Clock>,
) -> Result<Option<page::Ground>, RunError> {
    let Some(settings) = config.page.clone() else { return Ok(None) };
    let (key, now) = (answer_key(config)?, teller(clock));
    Ok(Some(page::Ground { settings, key, looks, door: door.clone(), data: config.data.clone(), now }))
}

fn answer_key(config: &Config) -> Result<Key, RunError> {
    answer_key::load(&config.data)
        .map_err(|source| RunError::AnswerKey { folder: config.data.clone(), source })
}

/// Who may answer.
fn names(household: &Household) -> Vec<PersonName> {
    household.persons.iter().map(|person| person.name.clone()).collect()
}

/// The door for answers from phones, if buttons have somewhere to send them.
fn replies(config: &Config) -> Result<Option<Replies>, RunError> {
    let Some((ntfy, topic)) = config.ntfy.as_ref().and_then(|ntfy| Some((ntfy, ntfy.reply_topic.clone()?)))
    else {
        return Ok(None);
    };
    let key = answer_key(config)?;
    let settings = RepliesSettings {
        server: ntfy.server.clone(),
        topic,
        token: ntfy.token.clone(),
        login: ntfy.username.clone().zip(ntfy.password.clone()),
        ca_file: ntfy.ca_file.clone(),
        key,
        persons: names(&config.household),
        file: config.data.join("replies.json"),
    };
    Ok(Some(Replies::new(settings)?))
}

const LOCK_TRIES: u32 = 50;
const LOCK_WAIT: std::time::Duration = std::time::Duration::from_millis(200);
const DOOR_PLACES: usize = 64;
const LOOK_PLACES: usize = 16;
const GOODBYE: std::time::Duration = std::time::Duration::from_millis(200);
