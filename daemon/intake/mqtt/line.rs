//! One connection to the broker: a task that does nothing but listen, and the client that talks.
//!
//! Every connection has its own client. An acknowledgement goes through the client that the message came by; once
//! that connection is over it goes nowhere, so nothing is ever acknowledged across connections, where the same
//! packet number may mean another message. What the broker keeps for us is kept under the client id, not in here.

use rumqttc::mqttbytes::Error as PacketError;
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, EventLoop, MqttOptions, Packet, Publish, QoS,
    StateError, SubscribeReasonCode,
};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

/// What came over the line.
#[derive(Debug)]
pub(super) enum Heard {
    /// The broker let us in; `session` says whether it had kept messages for us.
    Up { session: bool },
    /// The broker took, or refused, the subscription.
    Subscribed { granted: bool },
    /// A message.
    Message(Publish),
    /// The connection is over.
    Broken(Broken),
}

/// Why a connection is over.
#[derive(Debug)]
pub(super) enum Broken {
    /// A packet of so many bytes is larger than the limit.
    TooBig(usize),
    /// Everything else, in words.
    Other(String),
}

#[derive(Debug)]
pub(super) struct Line {
    pub(super) client: AsyncClient,
    pub(super) heard: mpsc::Receiver<Heard>,
    _listener: Listener,
}

/// Ends the listening, and with it the connection, together with the line.
#[derive(Debug)]
struct Listener(JoinHandle<()>);

impl Drop for Listener {
    fn drop(&mut self) {
        self.0.abort();
    }
}

impl Line {
    /// Starts to connect.
    pub(super) fn open(mut options: MqttOptions, packet_bytes_max: usize) -> Self {
        options.set_max_packet_size(packet_bytes_max, packet_bytes_max);
        let (client, events) = AsyncClient::new(options, REQUESTS_MAX);
        let (tell, heard) = mpsc::channel(HEARD_MAX);
        let listener = Listener(tokio::spawn(listen(events, tell)));
        Self { client, heard, _listener: listener }
    }

    /// Asks for everything under a filter, at least once. Says whether the request found room.
    pub(super) fn subscribe(&self, filter: &str) -> bool {
        self.client.try_subscribe(filter, QoS::AtLeastOnce).is_ok()
    }

    /// Sends a message. Says whether it found room.
    pub(super) fn publish(&self, topic: &str, payload: &str, qos: QoS, retain: bool) -> bool {
        self.client.try_publish(topic, qos, retain, payload).is_ok()
    }
}

/// Listens until the connection breaks or nobody wants to hear any more. Waits for nothing but the broker: if the
/// hearer cannot keep up, the connection is given up, and the broker sends again what was not acknowledged.
async fn listen(mut events: EventLoop, tell: mpsc::Sender<Heard>) {
    loop {
        let heard = match events.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(ack))) => Heard::Up { session: ack.session_present },
            Ok(Event::Incoming(Packet::SubAck(ack))) => Heard::Subscribed {
                granted: ack.return_codes.iter().all(|code| *code != SubscribeReasonCode::Failure),
            },
            Ok(Event::Incoming(Packet::Publish(message))) => Heard::Message(message),
            Ok(_) => continue,
            Err(error) => Heard::Broken(broken(&error)),
        };
        let over = matches!(heard, Heard::Broken(_));
        if tell.try_send(heard).is_err() || over {
            return;
        }
    }
}

fn broken(error: &ConnectionError) -> Broken {
    let words = match error {
        ConnectionError::MqttState(StateError::Deserialization(PacketError::PayloadSizeLimitExceeded(
            size,
        ))) => {
            return Broken::TooBig(*size);
        }
        ConnectionError::ConnectionRefused(code) => match code {
            ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
                "it does not accept the login; check username and password_file in [intake.mqtt]".to_owned()
            }
            ConnectReturnCode::BadClientId => {
                "it does not accept the client id; choose another client_id in [intake.mqtt]".to_owned()
            }
            code => format!("it refuses the connection ({code:?})"),
        },
        ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => "it does not answer".to_owned(),
        ConnectionError::MqttState(StateError::ConnectionAborted) => "it closed the connection".to_owned(),
        ConnectionError::Tls(error) => format!("no secure connection: {error}"),
        ConnectionError::Io(error) => error.to_string(),
        other => other.to_string(),
    };
    Broken::Other(words)
}

/// More than the broker's window of unacknowledged messages (20 in mosquitto) and our own few.
const REQUESTS_MAX: usize = 256;
const HEARD_MAX: usize = 1024;
