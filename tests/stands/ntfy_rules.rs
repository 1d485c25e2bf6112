//! What an ntfy server (2.13, by its source) accepts in one publish, checked in its own order.

use serde_json::{Map, Value};

/// An error as the server gives it: HTTP status, code, text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refusal(pub u16, pub u32, pub &'static str);

impl Refusal {
    pub fn body(self) -> String {
        format!("{{\"code\":{},\"http\":{},\"error\":\"{}\",\"link\":\"\"}}\n", self.1, self.0, self.2)
    }
}

/// What this server can do.
#[derive(Clone, Copy, Debug)]
pub struct Abilities {
    pub cache: bool,
    pub attachments: bool,
    pub message_bytes: usize,
    pub file_bytes: usize,
}

/// One publish, understood.
#[derive(Clone, Debug, Default)]
pub struct Publish {
    pub topic: String,
    pub title: String,
    pub message: String,
    pub priority: u8,
    pub tags: Vec<String>,
    pub click: String,
    pub icon: String,
    pub attach: String,
    pub filename: String,
    pub email: String,
    pub call: String,
    pub delay: String,
    pub sequence_id: String,
    pub cache: bool,
    pub actions: Vec<Map<String, Value>>,
    pub priority_given: Option<i64>,
}

pub fn is_topic(text: &str) -> bool {
    (1..=64).contains(&text.len())
        && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
}

pub fn is_reserved(topic: &str) -> bool {
    ["docs", "static", "file", "app", "metrics", "account", "settings", "signup", "login", "v1"]
        .contains(&topic)
}

/// Reads a JSON publish: types only, as the server's decoder does.
pub fn read_json(body: &[u8], message_bytes: usize) -> Result<Publish, Refusal> {
    if body.len() >= 2 * message_bytes {
        return Err(Refusal(413, 41303, "message too large"));
    }
    let bad = Refusal(400, 40024, "invalid request: request body must be valid JSON");
    // Only the first value of the body is read, and names match without regard to case.
    let first = serde_json::Deserializer::from_slice(body).into_iter::<Value>().next();
    let Some(Ok(Value::Object(fields))) = first else { return Err(bad) };
    let mut publish = Publish { cache: true, ..Publish::default() };
    for (name, value) in fields {
        let name = name.to_ascii_lowercase();
        if value.is_null() {
            continue;
        }
        let text = || value.as_str().map(str::to_owned).ok_or(bad);
        match name.as_str() {
            "topic" => publish.topic = text()?,
            "title" => publish.title = text()?,
            "message" => publish.message = text()?,
            "click" => publish.click = text()?,
            "icon" => publish.icon = text()?,
            "attach" => publish.attach = text()?,
            "filename" => publish.filename = text()?,
            "email" => publish.email = text()?,
            "call" => publish.call = text()?,
            "delay" => publish.delay = text()?,
            "sequence_id" => publish.sequence_id = text()?,
            "cache" => publish.cache = !matches!(text()?.as_str(), "no" | "0" | "false"),
            "firebase" => drop(text()?),
            "markdown" => drop(value.as_bool().ok_or(bad)?),
            "priority" => publish.priority_given = Some(value.as_i64().ok_or(bad)?),
            "tags" => {
                let list = value.as_array().ok_or(bad)?;
                let texts: Option<Vec<&str>> = list.iter().map(Value::as_str).collect();
                publish.tags = split_tags(&texts.ok_or(bad)?.join(","));
            }
            "actions" => {
                let list = value.as_array().ok_or(bad)?;
                let objects: Option<Vec<_>> = list.iter().map(|a| a.as_object().cloned()).collect();
                publish.actions = objects.ok_or(bad)?;
            }
            _ => {}
        }
    }
    if !is_topic(&publish.topic) {
        return Err(Refusal(400, 40009, "invalid request: topic invalid"));
    }
    Ok(publish)
}

pub fn split_tags(text: &str) -> Vec<String> {
    text.split(',').map(str::trim).filter(|tag| !tag.is_empty()).map(str::to_owned).collect()
}

/// Checks what is inside; gives the seconds of delay. `now` in seconds.
pub fn check(publish: &mut Publish, can: Abilities, now: i64) -> Result<i64, Refusal> {
    let web = |url: &str| url.is_empty() || url.starts_with("http://") || url.starts_with("https://");
    if !web(&publish.attach) {
        return Err(Refusal(400, 40013, "invalid request: attachment URL is invalid"));
    }
    if !web(&publish.icon) {
        return Err(Refusal(400, 40021, "invalid request: icon URL is invalid"));
    }
    if !publish.email.is_empty() {
        return Err(Refusal(400, 40001, "e-mail notifications are not enabled"));
    }
    if !publish.call.is_empty() {
        return Err(Refusal(400, 40032, "invalid request: calling is disabled"));
    }
    publish.priority = match publish.priority_given.unwrap_or(0) {
        0 => 3,
        level @ 1..=5 => level as u8,
        _ => return Err(Refusal(400, 40007, "invalid priority parameter")),
    };
    let wait = delay(publish, can.cache, now)?;
    for action in &publish.actions {
        check_action(action)?;
    }
    if publish.actions.len() > 3 {
        return Err(Refusal(
            400,
            40018,
            "invalid request: actions invalid; too many actions, only 3 allowed",
        ));
    }
    Ok(wait)
}

fn delay(publish: &Publish, cache: bool, now: i64) -> Result<i64, Refusal> {
    if publish.delay.is_empty() {
        return Ok(0);
    }
    if !cache || !publish.cache {
        return Err(Refusal(400, 40002, "cannot disable cache for delayed message"));
    }
    let wait = match publish.delay.parse::<i64>() {
        Ok(at) => at - now,
        Err(_) => duration_seconds(&publish.delay).ok_or(Refusal(
            400,
            40004,
            "invalid delay parameter: unable to parse delay",
        ))?,
    };
    match wait {
        ..0 => Err(Refusal(400, 40004, "invalid delay parameter: unable to parse delay")),
        0..10 => Err(Refusal(400, 40005, "invalid delay parameter: too small")),
        10..=259_200 => Ok(wait),
        _ => Err(Refusal(400, 40006, "invalid delay parameter: too large")),
    }
}

/// `30s`, `30 min`, `3h`, `2 days`, `1h30m`. The server knows English phrases too; this one does not.
pub fn duration_seconds(text: &str) -> Option<i64> {
    let (mut total, mut rest) = (0, text.trim());
    while !rest.is_empty() {
        let digits = rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let number: i64 = rest[..digits].parse().ok()?;
        rest = rest[digits..].trim_start();
        let letters = rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_alphabetic()).len();
        total += number
            * match &rest[..letters] {
                "s" | "sec" | "secs" | "second" | "seconds" => 1,
                "m" | "min" | "mins" | "minute" | "minutes" => 60,
                "h" | "hour" | "hours" => 3600,
                "d" | "day" | "days" => 86_400,
                _ => return None,
            };
        rest = rest[letters..].trim_start();
    }
    Some(total)
}

fn check_action(action: &Map<String, Value>) -> Result<(), Refusal> {
    let text = |name: &str| action.get(name).and_then(Value::as_str).unwrap_or_default();
    let kind = text("action").to_ascii_lowercase();
    if !["view", "http", "broadcast"].contains(&kind.as_str()) {
        return Err(Refusal(400, 40018, "invalid request: actions invalid; action unknown"));
    }
    if text("label").is_empty() {
        return Err(Refusal(400, 40018, "invalid request: actions invalid; parameter 'label' is required"));
    }
    if kind != "broadcast" && text("url").is_empty() {
        return Err(Refusal(400, 40018, "invalid request: actions invalid; parameter 'url' is required"));
    }
    let method = text("method").to_ascii_uppercase();
    if kind == "http" && (method == "GET" || method == "HEAD") && !text("body").is_empty() {
        return Err(Refusal(
            400,
            40018,
            "invalid request: actions invalid; body not allowed with GET or HEAD",
        ));
    }
    if action.get("clear").is_some_and(|clear| !clear.is_boolean()) {
        return Err(Refusal(400, 40018, "invalid request: actions invalid; JSON"));
    }
    Ok(())
}
