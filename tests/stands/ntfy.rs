//! A stand-in for an ntfy server: refuses what the real one refuses (by the source of 2.13), keeps and streams what
//! it takes, and misbehaves as told.

use std::collections::{BTreeSet, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Request, State as Shared};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::response::Response;
use lowtide::clock::{Clock, MachineClock};
use serde_json::{Value, json};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;

use super::ntfy_rules::{
    Abilities, Publish, Refusal, check, duration_seconds, is_reserved, is_topic, read_json, split_tags,
};

/// A name, a password and a token of one login.
#[derive(Clone, Debug)]
pub struct Login {
    pub name: String,
    pub password: String,
    pub token: String,
}

/// What the server does with a sequence id.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sequence {
    /// 2.15 and before: it is passed over, and there is nothing to delete.
    Unknown,
    /// 2.16: shown messages can be taken off the phones; what waits is said all the same.
    Shown,
    /// Later: what waits can be taken back.
    Waiting,
}

/// How the server is set up.
#[derive(Clone, Debug)]
pub struct Options {
    /// Without logins, everything is open and credentials are ignored.
    pub logins: Vec<Login>,
    /// With logins: whether those without may read and write.
    pub anonymous: bool,
    /// Topics that nobody may write to.
    pub closed: Vec<String>,
    /// Whether anybody may read.
    pub readable: bool,
    /// Requests at once; one more every `refill`.
    pub bucket: u32,
    pub refill: Duration,
    pub failed_logins: u32,
    pub messages_a_day: u32,
    pub topics: usize,
    pub keepalive: Duration,
    pub abilities: Abilities,
    pub sequence: Sequence,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            logins: Vec::new(),
            anonymous: false,
            closed: Vec::new(),
            readable: true,
            bucket: 60,
            refill: Duration::from_secs(5),
            failed_logins: 30,
            messages_a_day: 17_280,
            topics: 15_000,
            keepalive: Duration::from_secs(45),
            abilities: Abilities {
                cache: true,
                attachments: false,
                message_bytes: 4096,
                file_bytes: 15_000_000,
            },
            sequence: Sequence::Waiting,
        }
    }
}

/// One misbehaviour, for one publish.
#[derive(Clone, Debug)]
pub enum Trick {
    /// Answers this, and stores nothing.
    Answer(u16, Vec<(&'static str, String)>, String),
    /// Takes the request and never answers.
    Hang,
    /// Stores the message and never answers.
    StoreThenHang,
    /// Stores the message and breaks the connection in the middle of the answer.
    StoreThenBreak,
    /// Behaves.
    Behave,
}

impl Trick {
    pub fn status(status: u16) -> Self {
        Self::Answer(status, vec![], Refusal(status, u32::from(status) * 100 + 1, "as told").body())
    }

    /// A page in place of an answer: the login page of a network, or a proxy's.
    pub fn page(status: u16) -> Self {
        let page = "<!doctype html><html><title>Welcome</title><body>Please log in</body></html>";
        Self::Answer(status, vec![("content-type", "text/html".to_owned())], page.to_owned())
    }
}

/// A running stand-in.
#[derive(Clone)]
pub struct Ntfy {
    /// Its base address.
    pub url: String,
    inner: Arc<Mutex<Inner>>,
    task: Arc<Stop>,
}

struct Stop(tokio::task::JoinHandle<()>);

impl Drop for Stop {
    fn drop(&mut self) {
        self.0.abort();
    }
}

struct Inner {
    options: Options,
    script: VecDeque<Trick>,
    stored: Vec<Value>,
    made: usize,
    bodies: Vec<String>,
    requests: usize,
    /// Streams opened before this many breaks have ended.
    breaks: u32,
    /// What goes to whoever follows next, byte for byte.
    raw: VecDeque<Vec<u8>>,
    tokens_taken: f64,
    logins_failed: u32,
    last_refill: Duration,
    clock: MachineClock,
}

impl Ntfy {
    pub async fn start(options: Options) -> Self {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let inner = Arc::new(Mutex::new(Inner {
            options,
            script: VecDeque::new(),
            stored: Vec::new(),
            made: 0,
            bodies: Vec::new(),
            requests: 0,
            breaks: 0,
            raw: VecDeque::new(),
            tokens_taken: 0.0,
            logins_failed: 0,
            last_refill: Duration::ZERO,
            clock: MachineClock::new(),
        }));
        let app = Router::new().fallback(handle).with_state(Arc::clone(&inner));
        let task = tokio::spawn(async move {
            axum::serve(listener, app).await.unwrap();
        });
        Self { url, inner, task: Arc::new(Stop(task)) }
    }

    /// What to do with the next publishes, one each.
    pub fn play(&self, script: impl IntoIterator<Item = Trick>) {
        self.lock().script.extend(script);
    }

    /// Forgets what it was told to do and behaves from here on.
    pub fn behave(&self) {
        self.lock().script.clear();
    }

    /// What subscribers have got by now; without what still waits and what was taken off.
    pub fn stored(&self) -> Vec<Value> {
        let inner = self.lock();
        let now = inner.now();
        inner
            .stored
            .iter()
            .filter(|m| m["event"] == "message" && m["time"].as_i64() <= Some(now))
            .cloned()
            .collect()
    }

    /// What waits for its time.
    pub fn waiting(&self) -> Vec<Value> {
        let inner = self.lock();
        let now = inner.now();
        inner.stored.iter().filter(|m| m["time"].as_i64() > Some(now)).cloned().collect()
    }

    /// The bodies of all publishes, also of those refused.
    pub fn bodies(&self) -> Vec<String> {
        self.lock().bodies.clone()
    }

    /// Sends these bytes to whoever follows a topic, as they are and as if they were lines of it.
    pub fn say_raw(&self, bytes: Vec<u8>) {
        self.lock().raw.push_back(bytes);
    }

    /// Whether all of them are on their way.
    pub fn raw_is_sent(&self) -> bool {
        self.lock().raw.is_empty()
    }

    /// Ends every stream that is open now.
    pub fn break_streams(&self) {
        self.lock().breaks += 1;
    }

    /// How many requests came, of any kind.
    pub fn requests(&self) -> usize {
        self.lock().requests
    }

    /// How many publishes came.
    pub fn publishes(&self) -> usize {
        self.lock().bodies.len()
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap()
    }
}

type SharedInner = Arc<Mutex<Inner>>;

async fn handle(Shared(inner): Shared<SharedInner>, request: Request) -> Response {
    let (head, body) = request.into_parts();
    let body = axum::body::to_bytes(body, 20_000_000).await.unwrap_or_default();
    inner.lock().unwrap().requests += 1;
    let path = head.uri.path().trim_matches('/').to_owned();
    let query = head.uri.query().unwrap_or_default().to_owned();
    let login = match inner.lock().unwrap().login(&head.headers) {
        Ok(login) => login,
        Err(refusal) => return answer(refusal),
    };
    match (&head.method, path.split_once('/')) {
        (&Method::GET, Some(("v1", "health"))) => plain(200, "{\"healthy\":true}\n".to_owned()),
        (&Method::GET, Some((topics, "json"))) => subscribe(inner, topics, &query, login),
        (&Method::POST | &Method::PUT, None) => publish(&inner, &path, &head.headers, &body, login).await,
        (&Method::DELETE, Some((topic, name))) => take_off(&mut inner.lock().unwrap(), topic, name, login),
        _ => answer(Refusal(404, 40401, "page not found")),
    }
}

/// `DELETE /TOPIC/SEQUENCE_ID`.
fn take_off(inner: &mut Inner, topic: &str, name: &str, login: bool) -> Response {
    if inner.options.sequence == Sequence::Unknown || !is_topic(topic) || !is_topic(name) {
        return answer(Refusal(404, 40401, "page not found"));
    }
    if let Err(refusal) = inner.spend() {
        return answer(refusal);
    }
    if !inner.may_write(topic, login) {
        return answer(Refusal(403, 40301, "forbidden"));
    }
    let now = inner.now();
    if inner.options.sequence == Sequence::Waiting {
        let named = |m: &Value| m["topic"] == *topic && m["sequence_id"] == *name;
        inner.stored.retain(|m| !(named(m) && m["time"].as_i64() > Some(now)));
    }
    inner.made += 1;
    let id = format!("d{:011}", inner.made);
    let gone = json!({"id": id, "time": now, "event": "message_delete", "topic": topic, "sequence_id": name});
    inner.stored.push(gone.clone());
    plain(200, format!("{gone}\n"))
}

/// Whether somebody known asks. `Err` on wrong credentials.
impl Inner {
    fn login(&mut self, headers: &HeaderMap) -> Result<bool, Refusal> {
        let given = headers.get(header::AUTHORIZATION).and_then(|v| v.to_str().ok()).unwrap_or_default();
        let (kind, rest) = given.split_once(' ').unwrap_or_default();
        let kind = kind.to_ascii_lowercase();
        if self.options.logins.is_empty() || !["basic", "bearer"].contains(&kind.as_str()) {
            return Ok(false);
        }
        if self.logins_failed >= self.options.failed_logins {
            return Err(Refusal(429, 42909, "limit reached: too many auth failures"));
        }
        let known = self.options.logins.iter().any(|login| {
            if kind == "bearer" {
                return login.token == rest;
            }
            let pair = from_base64(rest).unwrap_or_default();
            pair == format!("{}:{}", login.name, login.password) || pair == format!(":{}", login.token)
        });
        if known {
            return Ok(true);
        }
        self.logins_failed += 1;
        Err(Refusal(401, 40101, "unauthorized"))
    }

    fn spend(&mut self) -> Result<(), Refusal> {
        let now = self.clock.steady();
        let back = (now - self.last_refill).as_secs_f64() / self.options.refill.as_secs_f64();
        self.tokens_taken = (self.tokens_taken - back).max(0.0);
        self.last_refill = now;
        if self.tokens_taken + 1.0 > f64::from(self.options.bucket) {
            return Err(Refusal(429, 42901, "limit reached: too many requests"));
        }
        self.tokens_taken += 1.0;
        Ok(())
    }

    fn may_write(&self, topic: &str, login: bool) -> bool {
        let open = self.options.logins.is_empty() || self.options.anonymous || login;
        open && !self.options.closed.iter().any(|closed| closed == topic)
    }

    fn now(&self) -> i64 {
        self.clock.now().millis() / 1000
    }

    fn store(&mut self, mut publish: Publish, from_json: bool) -> Result<Value, Refusal> {
        let topics: BTreeSet<&str> = self.stored.iter().filter_map(|m| m["topic"].as_str()).collect();
        if !topics.contains(publish.topic.as_str()) && topics.len() >= self.options.topics {
            return Err(Refusal(429, 42904, "limit reached: the total number of topics on the server"));
        }
        let now = self.now();
        let can = self.options.abilities;
        let wait = check(&mut publish, can, now)?;
        if self.stored.len() >= self.options.messages_a_day as usize {
            return Err(Refusal(429, 42908, "limit reached: daily message quota reached"));
        }
        if publish.message.len() >= can.message_bytes || (from_json && !publish.filename.is_empty()) {
            if !can.attachments {
                return Err(Refusal(400, 40014, "attachments not allowed"));
            }
            if publish.message.len() > can.file_bytes {
                return Err(Refusal(413, 41301, "attachment too large"));
            }
            publish.message = "You received a file: attachment.txt".to_owned();
        }
        let message = publish.message.trim();
        self.made += 1;
        let mut stored = json!({
            "id": format!("m{:011}", self.made),
            "time": now + wait,
            "expires": now + wait + 43_200,
            "event": "message",
            "topic": publish.topic,
            "message": if message.is_empty() { "triggered" } else { message },
            "priority": publish.priority,
        });
        let set = |stored: &mut Value, name: &str, value: Value| stored[name] = value;
        for (name, text) in [("title", &publish.title), ("click", &publish.click), ("icon", &publish.icon)] {
            if !text.is_empty() {
                set(&mut stored, name, text.trim().into());
            }
        }
        if !publish.sequence_id.is_empty() && self.options.sequence != Sequence::Unknown {
            set(&mut stored, "sequence_id", publish.sequence_id.into());
        }
        if !publish.tags.is_empty() {
            set(&mut stored, "tags", publish.tags.into());
        }
        if !publish.actions.is_empty() {
            let actions: Vec<Value> = publish.actions.into_iter().map(Value::Object).collect();
            set(&mut stored, "actions", actions.into());
        }
        self.stored.push(stored.clone());
        Ok(stored)
    }
}

async fn publish(
    inner: &SharedInner,
    path: &str,
    headers: &HeaderMap,
    body: &Bytes,
    login: bool,
) -> Response {
    let trick = {
        let mut inner = inner.lock().unwrap();
        inner.bodies.push(String::from_utf8_lossy(body).into_owned());
        inner.script.pop_front().unwrap_or(Trick::Behave)
    };
    match trick {
        Trick::Answer(status, headers, body) => {
            let mut response = Response::builder().status(status);
            for (name, value) in headers {
                response = response.header(name, value);
            }
            return response.body(Body::from(body)).unwrap();
        }
        Trick::Hang => return std::future::pending().await,
        Trick::StoreThenHang | Trick::StoreThenBreak | Trick::Behave => {}
    }
    let result = accept(&mut inner.lock().unwrap(), path, headers, body, login);
    let reply = match result {
        Ok(stored) => stored,
        Err(refusal) => return answer(refusal),
    };
    match trick {
        Trick::StoreThenHang => std::future::pending().await,
        Trick::StoreThenBreak => {
            let (half, rest) = mpsc::channel::<Result<Bytes, std::io::Error>>(2);
            half.try_send(Ok(Bytes::from_static(b"{\"id\":"))).unwrap();
            half.try_send(Err(std::io::Error::other("as told"))).unwrap();
            Response::new(Body::from_stream(ReceiverStream::new(rest)))
        }
        _ => plain(200, format!("{reply}\n")),
    }
}

fn accept(
    inner: &mut Inner,
    path: &str,
    headers: &HeaderMap,
    body: &[u8],
    login: bool,
) -> Result<Value, Refusal> {
    let from_json = path.is_empty();
    let publish = if from_json {
        read_json(body, inner.options.abilities.message_bytes)?
    } else if is_topic(path) {
        from_headers(path, headers, body)?
    } else {
        return Err(Refusal(404, 40401, "page not found"));
    };
    if is_reserved(&publish.topic) {
        return Err(Refusal(400, 40010, "invalid request: topic name is not allowed"));
    }
    inner.spend()?;
    if !inner.may_write(&publish.topic, login) {
        return Err(Refusal(403, 40301, "forbidden"));
    }
    inner.store(publish, from_json)
}

/// A publish as a button makes it: the body is the text, a few headers beside it.
fn from_headers(topic: &str, headers: &HeaderMap, body: &[u8]) -> Result<Publish, Refusal> {
    let text = |name: &str| {
        let value = headers.get(name).or_else(|| headers.get(format!("x-{name}")));
        value.and_then(|v| v.to_str().ok()).unwrap_or_default().to_owned()
    };
    let given = match text("priority").as_str() {
        "" => None,
        "min" => Some(1),
        "low" => Some(2),
        "default" => Some(3),
        "high" => Some(4),
        "max" | "urgent" => Some(5),
        number => Some(number.parse().unwrap_or(-1)),
    };
    let message =
        String::from_utf8(body.to_vec()).map_err(|_| Refusal(400, 40014, "attachments not allowed"))?;
    Ok(Publish {
        topic: topic.to_owned(),
        title: text("title"),
        message,
        tags: split_tags(&text("tags")),
        click: text("click"),
        icon: text("icon"),
        attach: text("attach"),
        delay: text("delay"),
        cache: text("cache") != "no",
        priority_given: given,
        ..Publish::default()
    })
}

fn subscribe(inner: SharedInner, topics: &str, query: &str, login: bool) -> Response {
    let topics: Vec<String> = topics.split(',').map(str::to_owned).collect();
    let part = |name: &str| {
        query.split('&').find_map(|pair| pair.strip_prefix(name)?.strip_prefix('=')).unwrap_or_default()
    };
    let (poll, scheduled) = (part("poll") == "1", part("scheduled") == "1");
    let mut lines = Vec::new();
    let (keepalive, mut seen, breaks) = {
        let mut inner = inner.lock().unwrap();
        let open = inner.options.logins.is_empty() || inner.options.anonymous || login;
        let open = open && inner.options.readable;
        if topics.iter().any(|topic| !is_topic(topic)) {
            return answer(Refusal(404, 40401, "page not found"));
        }
        if let Err(refusal) = inner.spend() {
            return answer(refusal);
        }
        if !open {
            return answer(Refusal(403, 40301, "forbidden"));
        }
        let since = match (part("since"), poll) {
            ("", true) => "all",
            ("", false) => "none",
            (text, _) => text,
        };
        let Some(first) = first_after(&inner.stored, since, inner.now()) else {
            return answer(Refusal(400, 40008, "invalid since parameter"));
        };
        let now = inner.now();
        let mut seen = BTreeSet::new();
        for (at, message) in inner.stored.iter().enumerate() {
            let due = message["time"].as_i64().unwrap_or(0) <= now;
            let ours = topics.iter().any(|topic| message["topic"] == **topic);
            if at >= first && ours && (due || scheduled) {
                lines.push(format!("{message}\n"));
            }
            if at < first || due || scheduled {
                seen.insert(at);
            }
        }
        (inner.options.keepalive, seen, inner.breaks)
    };
    if poll {
        return plain(200, lines.concat());
    }
    let (out, stream) = mpsc::channel::<Result<Bytes, std::io::Error>>(64);
    tokio::spawn(async move {
        let open = format!("{}\n", json!({"id": "open", "event": "open", "topic": topics.join(",")}));
        let mut quiet = Duration::ZERO;
        for line in [open].into_iter().chain(lines) {
            if out.send(Ok(line.into())).await.is_err() {
                return;
            }
        }
        loop {
            tokio::time::sleep(LOOK).await;
            quiet += LOOK;
            let (mut fresh, raw): (Vec<String>, _) = {
                let mut inner = inner.lock().unwrap();
                if inner.breaks != breaks {
                    return;
                }
                let raw = std::mem::take(&mut inner.raw);
                let now = inner.now();
                let due = |m: &Value| m["time"].as_i64().unwrap_or(0) <= now;
                let new: Vec<usize> = (0..inner.stored.len())
                    .filter(|at| !seen.contains(at) && due(&inner.stored[*at]))
                    .collect();
                seen.extend(&new);
                let ours = |m: &&Value| topics.iter().any(|topic| m["topic"] == **topic);
                (
                    new.iter().map(|at| &inner.stored[*at]).filter(ours).map(|m| format!("{m}\n")).collect(),
                    raw,
                )
            };
            for bytes in raw {
                if out.send(Ok(bytes.into())).await.is_err() {
                    return;
                }
            }
            if fresh.is_empty() && quiet >= keepalive {
                fresh.push(format!("{}\n", json!({"id": "keep", "event": "keepalive"})));
            }
            for line in fresh {
                quiet = Duration::ZERO;
                if out.send(Ok(line.into())).await.is_err() {
                    return;
                }
            }
        }
    });
    Response::new(Body::from_stream(ReceiverStream::new(stream)))
}

/// The index from which on messages are wanted.
fn first_after(stored: &[Value], since: &str, now: i64) -> Option<usize> {
    let from = |time: i64| {
        stored.iter().position(|m| m["time"].as_i64().unwrap_or(0) >= time).unwrap_or(stored.len())
    };
    match since {
        "all" => Some(0),
        "none" => Some(stored.len()),
        "latest" => Some(stored.len().saturating_sub(1)),
        text => match text.parse::<i64>() {
            Ok(time) => Some(from(time)),
            // An unknown id means everything.
            Err(_) if text.len() == 12 => {
                Some(stored.iter().position(|m| m["id"] == *text).map_or(0, |at| at + 1))
            }
            Err(_) => duration_seconds(text).map(|back| from(now - back)),
        },
    }
}

fn answer(refusal: Refusal) -> Response {
    plain(refusal.0, refusal.body())
}

fn plain(status: u16, body: String) -> Response {
    Response::builder()
        .status(StatusCode::from_u16(status).unwrap())
        .header(header::CONTENT_TYPE, "application/json")
        .body(Body::from(body))
        .unwrap()
}

fn from_base64(text: &str) -> Option<String> {
    const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let (mut bytes, mut bits, mut held) = (Vec::new(), 0_u32, 0);
    for letter in text.trim_end_matches('=').bytes() {
        bits = bits << 6 | u32::try_from(LETTERS.iter().position(|l| *l == letter)?).ok()?;
        held += 6;
        if held >= 8 {
            held -= 8;
            bytes.push((bits >> held) as u8);
            bits &= (1 << held) - 1;
        }
    }
    String::from_utf8(bytes).ok()
}

/// How often subscribers are looked after.
const LOOK: Duration = Duration::from_millis(20);
