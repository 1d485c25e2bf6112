//! Readings and everything else over MQTT (3.1.1, at least once).
//!
//! Comes in: messages on `PREFIX/in/CAT/KIND`. Goes out: events to the driver; each message is acknowledged to the
//! broker only once everything in it is on disk, so a crash in between brings it again and loses nothing. What
//! cannot be read is written to the folder of rejected things with the reason, and acknowledged: otherwise it
//! would come back at every start. Also out: `PREFIX/out/CAT/state` (retained), `PREFIX/out/CAT/finding`, and
//! `PREFIX/out/daemon`, which says `online` or, by last will, `offline`.
//!
//! This file holds the settings; `line` is one connection, `keeper` the life over many of them, `payload` the
//! reading of one message, `waiting` its way to the disk, `letter` the folder of rejected ones.

mod keeper;
mod letter;
mod line;
mod payload;
mod waiting;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use reqwest::Url;
use rumqttc::{LastWill, MqttOptions, QoS, TlsConfiguration, Transport};
use tokio::sync::{mpsc, watch};

pub use self::payload::{Arrived, Said, Wrong, read};
use super::Door;
use super::formats::Context;
pub use crate::secret::Secret;
use crate::tls::{self, TlsError};
use crate::words::{CatName, Moment, PersonName};

/// Asks for the present; `clock` stands behind it.
pub type Now = Arc<dyn Fn() -> Moment + Send + Sync>;

/// How to reach a broker.
#[derive(Clone, Debug)]
pub struct MqttSettings {
    /// `mqtt://host` or `mqtts://host`, with `:port` if it is not 1883 or 8883.
    pub broker: String,
    /// Name of the login.
    pub username: Option<String>,
    /// Password of the login.
    pub password: Option<Secret>,
    /// Authorities to trust besides the system's, PEM.
    pub ca_file: Option<PathBuf>,
    /// What all topics begin with.
    pub prefix: String,
    /// The name by which the broker keeps messages for us; no other program may use it.
    pub client_id: String,
    /// Where messages go that cannot be read.
    pub rejected: PathBuf,
    /// How long things take.
    pub timing: Timing,
}

impl MqttSettings {
    /// The broker at this address, with the usual settings.
    #[must_use]
    pub fn new(broker: &str, rejected: &Path) -> Self {
        Self {
            broker: broker.to_owned(),
            username: None,
            password: None,
            ca_file: None,
            prefix: "lowtide".to_owned(),
            client_id: "lowtide".to_owned(),
            rejected: rejected.to_owned(),
            timing: Timing::default(),
        }
    }
}

/// How long things take; shorter in tests.
#[derive(Clone, Copy, Debug)]
pub struct Timing {
    /// Without a steady connection for this long, somebody is told.
    pub trouble_after: Duration,
    /// A connection that has lasted this long is steady.
    pub steady_after: Duration,
    /// The wait after a first failure; later ones are 2, 5, 10, 30 and 60 times as long.
    pub first_wait: Duration,
    /// The wait before an event that could not be kept is offered again.
    pub offer_again: Duration,
    /// What comes this soon after connecting was waiting at the broker.
    pub backlog: Duration,
    /// A broker that is silent for about twice this long is taken for gone; whole seconds, at least one.
    pub keep_alive: Duration,
}

impl Default for Timing {
    fn default() -> Self {
        Self {
            trouble_after: Duration::from_secs(120),
            steady_after: Duration::from_secs(10),
            first_wait: Duration::from_secs(1),
            offer_again: Duration::from_secs(30),
            backlog: Duration::from_secs(2),
            keep_alive: Duration::from_secs(30),
        }
    }
}

/// Why the broker cannot be used. The text names the key of the configuration.
#[derive(Debug, thiserror::Error)]
pub enum MqttError {
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
    #[error("intake.mqtt.ca_file: {0}")]
    Tls(#[from] TlsError),
}

/// The door to a broker, its settings checked.
#[derive(Clone, Debug)]
pub struct Mqtt {
    settings: MqttSettings,
    context: Context,
    /// Who may answer.
    persons: Vec<PersonName>,
    options: MqttOptions,
    /// Host and port, for messages.
    place: String,
}

impl Mqtt {
    /// Whether these settings can be right, as far as can be said without connecting.
    ///
    /// # Errors
    /// The same as [`Mqtt::new`].
    pub fn check(settings: &MqttSettings) -> Result<(), MqttError> {
        let context =
            Context { zone: chrono_tz::UTC, cats: Vec::new(), ranges: Vec::new(), layouts: Vec::new() };
        Self::new(settings.clone(), context, Vec::new()).map(|_| ())
    }

    /// Checks the settings; connects to nothing. Of `context` the zone and the cats are used; layouts are for files.
    /// Answers of others than `persons` are put aside.
    ///
    /// # Errors
    /// If the address, a topic prefix, the client id, the login or the CA file cannot be right.
    pub fn new(
        settings: MqttSettings,
        context: Context,
        persons: Vec<PersonName>,
    ) -> Result<Self, MqttError> {
        let (secure, host, port) = address(&settings.broker)?;
        check_names(&settings)?;
        let mut options = MqttOptions::new(&settings.client_id, &host, port);
        options.set_clean_session(false).set_manual_acks(true).set_keep_alive(settings.timing.keep_alive);
        let away = LastWill::new(daemon_topic(&settings.prefix), "offline", QoS::AtLeastOnce, true);
        options.set_last_will(away);
        if secure {
            let tls = tls::client_config(settings.ca_file.as_deref())?;
            options.set_transport(Transport::tls_with_config(TlsConfiguration::Rustls(Arc::new(tls))));
        }
        match (&settings.username, &settings.password) {
            (Some(name), password) => {
                let password = password.as_ref().map_or("", Secret::expose);
                options.set_credentials(name, password);
            }
            (None, Some(_)) => {
                return Err(wrong("intake.mqtt.username", "", "a password_file needs a username beside it"));
            }
            (None, None) => {}
        }
        Ok(Self { place: format!("{host}:{port}"), settings, context, persons, options })
    }

    /// Takes messages and hands them to the driver until `stop` turns true or the driver is gone; then says
    /// `offline` and leaves. Never ends for trouble with the broker: that is told and tried again.
    pub async fn run(self, door: Door, outgoing: Outgoing, now: Now, stop: watch::Receiver<bool>) {
        keeper::Keeper::new(self, door, outgoing.0, now, stop).run().await;
    }
}

/// The driver's side of what goes out; never waits.
#[derive(Clone, Debug)]
pub struct Publisher(mpsc::Sender<Out>);

/// The door's side of what goes out.
#[derive(Debug)]
pub struct Outgoing(mpsc::Receiver<Out>);

#[derive(Debug)]
enum Out {
    State(CatName, String),
    Finding(CatName, String),
}

/// Both sides.
#[must_use]
pub fn publisher() -> (Publisher, Outgoing) {
    let (out, outgoing) = mpsc::channel(OUTGOING_MAX);
    (Publisher(out), Outgoing(outgoing))
}

impl Publisher {
    /// What is true of a cat now, as JSON; the broker keeps the newest. Says whether there was room for it.
    pub fn state(&self, cat: &CatName, json: String) -> bool {
        self.0.try_send(Out::State(cat.clone(), json)).is_ok()
    }

    /// A finding that changed, as JSON. While the broker is away the newest hundred are held. Says whether there
    /// was room for it.
    pub fn finding(&self, cat: &CatName, json: String) -> bool {
        self.0.try_send(Out::Finding(cat.clone(), json)).is_ok()
    }
}

fn daemon_topic(prefix: &str) -> String {
    format!("{prefix}/out/daemon")
}

fn address(broker: &str) -> Result<(bool, String, u16), MqttError> {
    let wrong = |why: &str| {
        // Whoever put a password into the address must not find it in a log.
        let shown = broker.rsplit_once('@').map(|(_, rest)| format!("(login left out)@{rest}"));
        wrong("intake.mqtt.broker", shown.as_deref().unwrap_or(broker), why)
    };
    let url = Url::parse(broker).map_err(|_| wrong("write it like mqtt://127.0.0.1:1883"))?;
    let (secure, port) = match url.scheme() {
        "mqtt" => (false, 1883),
        "mqtts" => (true, 8883),
        _ => return Err(wrong("it must start with mqtt:// or mqtts://")),
    };
    if !url.username().is_empty() || url.password().is_some() {
        return Err(wrong("the login goes into username and password_file"));
    }
    if !matches!(url.path(), "" | "/") || url.query().is_some() || url.fragment().is_some() {
        return Err(wrong("leave out everything after the host and port"));
    }
    match url.host_str() {
        Some(host) if !host.is_empty() => Ok((secure, host.to_owned(), url.port().unwrap_or(port))),
        _ => Err(wrong("the host is missing; write it like mqtt://127.0.0.1:1883")),
    }
}

fn check_names(settings: &MqttSettings) -> Result<(), MqttError> {
    let prefix = &settings.prefix;
    let parts_are_fine = prefix.split('/').all(|part| !part.is_empty());
    if !parts_are_fine || prefix.len() > 100 || prefix.contains(|c: char| "#+$".contains(c) || c.is_control())
    {
        let why = "use a topic like lowtide or home/lowtide, without '#', '+' and '$', not ending in '/'";
        return Err(wrong("intake.mqtt.prefix", prefix, why));
    }
    let id = &settings.client_id;
    if id.is_empty()
        || id.len() > 64
        || !id.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
    {
        return Err(wrong("intake.mqtt.client_id", id, "use 1 to 64 letters (a-z, A-Z), digits, '-' or '_'"));
    }
    Ok(())
}

fn wrong(key: &'static str, found: &str, why: &str) -> MqttError {
    MqttError::Setting { key, found: found.to_owned(), why: why.to_owned() }
}

const OUTGOING_MAX: usize = 256;

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(change: impl FnOnce(&mut MqttSettings)) -> String {
        let mut settings = MqttSettings::new("mqtt://broker.example", Path::new("rejected"));
        change(&mut settings);
        Mqtt::new(settings, context(), vec![]).unwrap_err().to_string()
    }

    fn context() -> Context {
        Context { zone: chrono_tz::UTC, cats: vec![], ranges: vec![], layouts: vec![] }
    }

    #[test]
    fn settings_that_cannot_work_are_refused_with_what_would_be_right() {
        for (broker, part) in [
            ("broker.example", "write it like"),
            ("tcp://broker.example", "mqtt://"),
            ("mqtt://me:pw@broker.example", "password_file"),
            ("mqtt://broker.example/topic", "leave out"),
            ("mqtt://", "host"),
        ] {
            let error = refusal(|s| s.broker = broker.to_owned());
            assert!(error.contains(part) && error.contains("intake.mqtt.broker"), "{broker}: {error}");
            assert!(!error.contains("pw"), "{error}");
        }
        for prefix in ["", "/lowtide", "lowtide/", "low#tide", "a//b", "$SYS"] {
            assert!(refusal(|s| s.prefix = prefix.to_owned()).contains("intake.mqtt.prefix"), "{prefix}");
        }
        assert!(refusal(|s| s.client_id = String::new()).contains("client_id"));
        assert!(refusal(|s| s.password = Some(Secret::new("x"))).contains("username"));
    }

    #[test]
    fn each_scheme_has_its_usual_port_and_no_secret_is_shown() {
        // IANA service names: mqtt 1883, secure-mqtt 8883.
        let mut settings = MqttSettings::new("mqtts://broker.example", Path::new("rejected"));
        settings.username = Some("lowtide".to_owned());
        settings.password = Some(Secret::new("hidden"));
        let door = Mqtt::new(settings.clone(), context(), vec![]).unwrap();
        assert_eq!(door.place, "broker.example:8883");
        assert!(!format!("{settings:?}").contains("hidden"));
        settings.broker = "mqtt://broker.example".to_owned();
        assert_eq!(Mqtt::new(settings, context(), vec![]).unwrap().place, "broker.example:1883");
    }
}
