//! The life of the door over many connections: takes messages, acknowledges what is on disk (`waiting` says when),
//! publishes, waits and connects again, and tells when that goes wrong for long.

mod aside;

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::time::Duration;

use rumqttc::{MqttOptions, Publish, QoS};
use tokio::sync::{mpsc, watch};
use tokio::time::{Instant, sleep, sleep_until, timeout};

use super::letter::Letters;
use super::line::{Broken, Heard, Line};
use super::payload::{self, Arrived, PAYLOAD_BYTES_MAX};
use super::waiting::{Waiting, give_on, settle};
use super::{Door, Mqtt, Now, Out, Timing, daemon_topic};
use crate::intake::Inbound;
use crate::intake::flood::Flood;
use crate::words::{Arg, Event, Health, Telling, Watch};
use aside::rejected;

pub(super) struct Keeper {
    mqtt: Mqtt,
    door: Door,
    /// What the driver wants published; `None` once the driver has dropped its side.
    outgoing: Option<mpsc::Receiver<Out>>,
    now: Now,
    stop: watch::Receiver<bool>,
    letters: Letters,
    /// The newest of each retained topic: said again after each connecting.
    retained: BTreeMap<String, String>,
    /// Findings that could not be published yet.
    unsent: VecDeque<(String, String)>,
    trouble: Trouble,
    /// Topics whose last message could not be read.
    bad_topics: BTreeSet<String>,
    /// How many messages could not be read, by topic.
    flood: Flood<String>,
    /// Who was said to answer and is not of the household, as far as that has been told.
    strangers: BTreeSet<String>,
    /// The last connection broke at a packet that was too big.
    oversize: u32,
    failures: u32,
}

/// Since when there is no steady connection, and whether somebody has been told.
#[derive(Debug, Default)]
struct Trouble {
    since: Option<Instant>,
    why: String,
    told: bool,
    /// Whether a good connection has been reported at all: what an earlier run told may still stand.
    cleared: bool,
}

/// Why `connection` came back.
enum End {
    /// We are to stop, or nobody is left behind the door.
    Over,
    Broken(Broken),
}

impl Keeper {
    pub(super) fn new(
        mqtt: Mqtt,
        door: Door,
        outgoing: mpsc::Receiver<Out>,
        now: Now,
        stop: watch::Receiver<bool>,
    ) -> Self {
        let letters = Letters::new(&mqtt.settings.rejected);
        Self {
            mqtt,
            door,
            outgoing: Some(outgoing),
            now,
            stop,
            letters,
            retained: BTreeMap::new(),
            unsent: VecDeque::new(),
            trouble: Trouble::default(),
            bad_topics: BTreeSet::new(),
            flood: Flood::default(),
            strangers: BTreeSet::new(),
            oversize: 0,
            failures: 0,
        }
    }

    pub(super) async fn run(mut self) {
        loop {
            let broken = match self.connection().await {
                End::Over => return,
                End::Broken(broken) => broken,
            };
            self.failed(broken);
            if self.pause().await.is_err() {
                return;
            }
        }
    }

    fn timing(&self) -> Timing {
        self.mqtt.settings.timing
    }

    fn options(&self) -> (MqttOptions, usize) {
        // A message over the limit would break every connection and hold up all behind it for ever; so it is let
        // in once, to be put aside.
        let limit = if self.oversize > 0 { OVERSIZE_BYTES_MAX } else { PAYLOAD_BYTES_MAX + TOPIC_ROOM };
        (self.mqtt.options.clone(), limit)
    }

    /// One connection, from the first try to its end.
    async fn connection(&mut self) -> End {
        let (options, limit) = self.options();
        let mut line = Line::open(options, limit);
        let mut waiting: VecDeque<Waiting> = VecDeque::new();
        let mut steady_at: Option<Instant> = None;
        let mut backlog_until: Option<Instant> = None;
        loop {
            let (alarm_at, again) = (self.alarm_at(), self.timing().offer_again);
            tokio::select! {
                () = stopped(&mut self.stop) => {
                    self.leave(line, waiting).await;
                    return End::Over;
                }
                heard = line.heard.recv(), if waiting.len() < WAITING_MAX => match heard {
                    Some(Heard::Up { session }) => {
                        backlog_until = session.then(|| Instant::now() + self.timing().backlog);
                        if let Err(end) = self.up(&line) {
                            return end;
                        }
                    }
                    Some(Heard::Subscribed { granted: true }) => {
                        tracing::info!(broker = self.mqtt.place, "the MQTT broker is connected");
                        steady_at = Some(Instant::now() + self.timing().steady_after);
                    }
                    Some(Heard::Subscribed { granted: false }) => {
                        return broken("it does not let this login read the topics; check its access rules");
                    }
                    Some(Heard::Message(message)) => {
                        // The backlog ends with the first pause between messages.
                        backlog_until = backlog_until
                            .filter(|until| Instant::now() < *until)
                            .map(|_| Instant::now() + self.timing().backlog);
                        match self.take(message, backlog_until.is_some()).await {
                            Ok(taken) => waiting.push_back(taken),
                            Err(end) => return end,
                        }
                        give_on(&mut waiting, &self.door);
                    }
                    Some(Heard::Broken(why)) => return End::Broken(why),
                    None => {
                        return broken("more messages came than could be taken; they come again");
                    }
                },
                settled = settle(waiting.front_mut(), &self.door, again) => {
                    if settled.is_err() {
                        return End::Over;
                    }
                    self.acknowledge(&line, &mut waiting).await;
                }
                out = next_out(&mut self.outgoing) => self.publish(Some(&line), out),
                () = at(alarm_at) => if self.tell_trouble().await.is_err() { return End::Over },
                () = at(steady_at) => {
                    steady_at = None;
                    if self.steady().await.is_err() {
                        return End::Over;
                    }
                }
            }
        }
    }

    /// Connected: ask for everything, say that we are there, and say again what is retained.
    fn up(&mut self, line: &Line) -> Result<(), End> {
        let prefix = &self.mqtt.settings.prefix;
        let mut fits = line.subscribe(&format!("{prefix}/in/+/+"));
        fits &= line.publish(&daemon_topic(prefix), "online", QoS::AtLeastOnce, true);
        for (topic, payload) in &self.retained {
            fits &= line.publish(topic, payload, QoS::AtMostOnce, true);
        }
        while let Some((topic, payload)) = self.unsent.pop_front() {
            fits &= line.publish(&topic, &payload, QoS::AtLeastOnce, false);
        }
        if fits { Ok(()) } else { Err(broken("there was no room for our own messages")) }
    }

    /// Hands what a message says to the driver, and puts aside what cannot be read.
    async fn take(&mut self, message: Publish, waited: bool) -> Result<Waiting, End> {
        let arrived =
            Arrived { topic: &message.topic, payload: &message.payload, retained: message.retain, waited };
        let Mqtt { settings, context, persons, .. } = &self.mqtt;
        let said = payload::read(arrived, &settings.prefix, context, persons);
        let mut events = said.events;
        if let Some(wrong) = said.wrong {
            events.extend(self.put_aside(&message, wrong).await?);
        } else if self.bad_topics.remove(&message.topic) {
            events.push(rejected(&message.topic, None));
        }
        Ok(Waiting::new(message, events))
    }

    /// Acknowledges the foremost message, everything in it being on disk. The broker wants them in order.
    async fn acknowledge(&mut self, line: &Line, waiting: &mut VecDeque<Waiting>) {
        let Some(front) = waiting.front() else { return };
        if line.client.try_ack(&front.message).is_ok() {
            waiting.pop_front();
        } else {
            // The queue is full, or the connection is over, which will be heard next.
            sleep(FULL_WAIT).await;
        }
    }

    fn publish(&mut self, line: Option<&Line>, out: Out) {
        let prefix = &self.mqtt.settings.prefix;
        match out {
            Out::State(cat, json) => {
                let topic = format!("{prefix}/out/{cat}/state");
                if let Some(line) = line {
                    line.publish(&topic, &json, QoS::AtMostOnce, true);
                }
                self.retained.insert(topic, json);
            }
            Out::Finding(cat, json) => {
                let topic = format!("{prefix}/out/{cat}/finding");
                let sent = line.is_some_and(|line| line.publish(&topic, &json, QoS::AtLeastOnce, false));
                if !sent {
                    self.unsent.push_back((topic, json));
                    if self.unsent.len() > UNSENT_MAX {
                        self.unsent.pop_front();
                    }
                }
            }
        }
    }

    fn failed(&mut self, broken: Broken) {
        self.failures = self.failures.saturating_add(1);
        let why = match broken {
            Broken::TooBig(bytes) => {
                self.oversize = self.oversize.saturating_add(1);
                format!(
                    "a message of {bytes} bytes waits there and holds up all behind it; it must be removed at the \
                     broker, or everything that waits for client id '{}' forgotten by connecting once with a \
                     clean session",
                    self.mqtt.settings.client_id
                )
            }
            Broken::Other(why) => {
                self.oversize = 0;
                why
            }
        };
        tracing::warn!(broker = self.mqtt.place, why, "the MQTT broker is not connected");
        self.trouble.why = why;
        self.trouble.since.get_or_insert_with(Instant::now);
    }

    /// Waits before the next try; what is to be published is kept meanwhile. `Err` if it is over.
    async fn pause(&mut self) -> Result<(), ()> {
        let until = Instant::now() + self.wait();
        loop {
            let alarm_at = self.alarm_at();
            tokio::select! {
                () = stopped(&mut self.stop) => return Err(()),
                () = self.door.closed() => return Err(()),
                () = sleep_until(until) => return Ok(()),
                out = next_out(&mut self.outgoing) => self.publish(None, out),
                () = at(alarm_at) => self.tell_trouble().await?,
            }
        }
    }

    /// 1, 2, 5, 10, 30, then 60 times the first wait, and up to a quarter more, so that many clients of one broker
    /// do not come back in step.
    fn wait(&self) -> Duration {
        if self.oversize == 1 {
            return Duration::ZERO;
        }
        let at = (self.failures.saturating_sub(1) as usize).min(STEPS.len() - 1);
        let step = self.timing().first_wait * STEPS[at];
        let jitter =
            std::process::id().wrapping_mul(2_654_435_761).wrapping_add(self.failures * 40_503) % 256;
        step + step / 4 * jitter / 256
    }

    fn alarm_at(&self) -> Option<Instant> {
        let since = self.trouble.since.filter(|_| !self.trouble.told)?;
        // A packet over every limit does not go away by waiting.
        let patience = if self.oversize >= 3 { Duration::ZERO } else { self.timing().trouble_after };
        Some(since + patience)
    }

    async fn tell_trouble(&mut self) -> Result<(), ()> {
        self.trouble.told = true;
        let mut reason = self.trouble.why.clone();
        if self.failures > 5 && reason.contains("closed the connection") {
            reason.push_str(&format!(
                " again and again; does another program use the client id '{}'?",
                self.mqtt.settings.client_id
            ));
        }
        let telling = Telling::new("source-refused")
            .with("source", Arg::Text(format!("MQTT {}", self.mqtt.place)))
            .with("reason", Arg::Text(reason));
        self.give(refused(Some(telling))).await
    }

    /// The connection has lasted: what went wrong before is over.
    async fn steady(&mut self) -> Result<(), ()> {
        self.failures = 0;
        self.oversize = 0;
        self.trouble.since = None;
        if self.trouble.told || !self.trouble.cleared {
            self.trouble.told = false;
            self.trouble.cleared = true;
            return self.give(refused(None)).await;
        }
        Ok(())
    }

    /// `Err` if it is over: a driver that stops may not empty the channel any more.
    async fn give(&mut self, event: Event) -> Result<(), ()> {
        tokio::select! {
            sent = self.door.send(Inbound::new(event, None)) => sent.map_err(|_| ()),
            () = stopped(&mut self.stop) => Err(()),
        }
    }

    /// Acknowledges what is on disk by now, says `offline` (a proper goodbye keeps the last will from being said)
    /// and leaves.
    async fn leave(&mut self, mut line: Line, mut waiting: VecDeque<Waiting>) {
        let flush = async {
            while !waiting.is_empty() {
                if settle(waiting.front_mut(), &self.door, self.timing().offer_again).await.is_err() {
                    return;
                }
                if waiting.front().is_some_and(|front| line.client.try_ack(&front.message).is_err()) {
                    return;
                }
                waiting.pop_front();
            }
        };
        let _ = timeout(LEAVE_WITHIN, flush).await;
        line.publish(&daemon_topic(&self.mqtt.settings.prefix), "offline", QoS::AtLeastOnce, true);
        if line.client.try_disconnect().is_err() {
            return;
        }
        // Until the broker closes the connection: closed by us with something unread in it, it would be reset, and
        // the broker might never read the acknowledgements on the way to it.
        let goodbye = async { while !matches!(line.heard.recv().await, None | Some(Heard::Broken(_))) {} };
        let _ = timeout(LEAVE_WITHIN, goodbye).await;
    }
}

async fn next_out(outgoing: &mut Option<mpsc::Receiver<Out>>) -> Out {
    if let Some(receiver) = outgoing {
        if let Some(out) = receiver.recv().await {
            return out;
        }
        *outgoing = None;
    }
    std::future::pending().await
}

async fn stopped(stop: &mut watch::Receiver<bool>) {
    // A driver that is gone without a word has stopped too.
    let _ = stop.wait_for(|stop| *stop).await;
}

async fn at(when: Option<Instant>) {
    match when {
        Some(when) => sleep_until(when).await,
        None => std::future::pending().await,
    }
}

fn broken(why: &str) -> End {
    End::Broken(Broken::Other(why.to_owned()))
}

fn refused(trouble: Option<Telling>) -> Event {
    Event::Health(Health { watch: Watch::SourceRefused, about: "mqtt".to_owned(), trouble })
}

const STEPS: [u32; 6] = [1, 2, 5, 10, 30, 60];
/// Messages taken and not yet on disk. More than mosquitto's window.
const WAITING_MAX: usize = 64;
const UNSENT_MAX: usize = 100;
const TOPIC_ROOM: usize = 1024;
/// A message between the two limits is let in to be put aside; a larger one is not.
const OVERSIZE_BYTES_MAX: usize = 16 * 1024 * 1024;
const FULL_WAIT: Duration = Duration::from_millis(50);
const LEAVE_WITHIN: Duration = Duration::from_secs(2);
