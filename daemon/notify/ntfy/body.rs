//! The JSON that is published, from a message. Pure; knows the server's limits, not the server.

use reqwest::Url;
use serde::Serialize;

use super::super::{cut, one_line};
use crate::token::{Claim, Key, LIFE};
use crate::words::{Message, Reason, Severity};

/// What a message carries besides its words.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Extras<'a> {
    /// Where buttons post to.
    pub(super) base: Option<&'a Url>,
    /// The topic that answers go to.
    pub(super) reply_topic: Option<&'a str>,
    /// What signs the answers; without it there are no buttons.
    pub(super) key: Option<&'a Key>,
    /// What a tap opens.
    pub(super) click: Option<&'a str>,
}

#[derive(Debug, Serialize)]
struct Publish<'a> {
    topic: &'a str,
    #[serde(skip_serializing_if = "String::is_empty")]
    title: String,
    message: String,
    priority: u8,
    tags: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    click: Option<&'a str>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    actions: Vec<Action<'a>>,
}

#[derive(Debug, Serialize)]
struct Action<'a> {
    action: &'static str,
    label: &'a str,
    url: String,
    method: &'static str,
    body: String,
    clear: bool,
}

/// The body of one publish: a text of at most 4095 bytes, fewer than 8192 bytes in all.
pub(super) fn publish(topic: &str, message: &Message, extras: Extras<'_>) -> Vec<u8> {
    let mut publish = Publish {
        topic,
        title: cut(&one_line(&message.title), TITLE_BYTES_MAX),
        message: cut(message.text.trim(), TEXT_BYTES_MAX),
        priority: priority(message),
        tags: tags(message),
        click: extras.click,
        actions: actions(message, extras),
    };
    loop {
        let bytes = serde_json::to_vec(&publish).unwrap_or_default();
        if bytes.len() < BODY_BYTES_MAX || publish.message.len() <= 4 {
            return bytes;
        }
        // Escaping makes some texts longer than they are; take off what is too much.
        let over = bytes.len() + 1 - BODY_BYTES_MAX;
        let fewer = publish.message.len().saturating_sub((over / 6).max(4));
        publish.message = cut(&publish.message, fewer);
    }
}

/// The name by which a message can be found again among those stored.
pub(super) fn reference(message: &Message) -> String {
    // The server splits tags at commas and trims them.
    let safe = |c: char| if c.is_ascii_alphanumeric() || "-_.".contains(c) { c } else { '-' };
    message.id.0.chars().map(safe).collect()
}

/// 5 breaks through a phone's silence if its owner allows that, 4 rings, 3 is the usual sound, 2 makes none
/// (common practice of the ntfy apps, from memory).
fn priority(message: &Message) -> u8 {
    match (message.reason, message.severity) {
        (Reason::Over | Reason::Eased | Reason::Taken | Reason::Noted, Severity::Notice) => 2,
        (_, Severity::Notice) => 3,
        (_, Severity::Warning) => 4,
        (_, Severity::Critical) => 5,
    }
}

fn tags(message: &Message) -> Vec<String> {
    let sign = match (message.reason, message.severity) {
        (Reason::Over | Reason::Taken | Reason::Noted, Severity::Notice) => Some("white_check_mark"),
        (_, Severity::Notice) => None,
        (_, Severity::Warning) => Some("warning"),
        (_, Severity::Critical) => Some("rotating_light"),
    };
    sign.map(str::to_owned).into_iter().chain([reference(message)]).collect()
}

fn actions<'a>(message: &'a Message, extras: Extras<'_>) -> Vec<Action<'a>> {
    let (Some(base), Some(topic), Some(key)) = (extras.base, extras.reply_topic, extras.key) else {
        return Vec::new();
    };
    let Ok(url) = base.join(topic) else {
        return Vec::new();
    };
    message
        .buttons
        .iter()
        .filter(|button| !button.label.trim().is_empty())
        .take(ACTIONS_MAX)
        .map(|button| Action {
            action: "http",
            label: &button.label,
            url: url.to_string(),
            method: "POST",
            body: key.sign(&Claim {
                finding: button.finding.clone(),
                person: message.person.clone(),
                verdict: button.verdict,
                expires: message.created + LIFE,
            }),
            clear: true,
        })
        .collect()
}

/// The server turns a text of 4096 bytes or more into an attachment, or refuses it.
const TEXT_BYTES_MAX: usize = 4095;
/// The server refuses a JSON body of 8192 bytes or more.
const BODY_BYTES_MAX: usize = 8192;
const TITLE_BYTES_MAX: usize = 250;
const ACTIONS_MAX: usize = 3;

#[cfg(test)]
mod tests {
    use super::super::super::tests::message;
    use super::*;
    use crate::words::{Button, MessageId, Verdict};
    use serde_json::Value;

    fn published(message: &Message, extras: Extras<'_>) -> Value {
        serde_json::from_slice(&publish("topic", message, extras)).unwrap()
    }

    #[test]
    fn a_critical_message_breaks_through_and_an_all_clear_makes_no_sound() {
        let mut message = message();
        let body = published(&message, Extras::default());
        assert_eq!(body["priority"], 5);
        assert_eq!(body["tags"], serde_json::json!(["rotating_light", "k7m2"]));
        assert_eq!(body["title"], "Pepper is low");
        message.reason = Reason::Over;
        message.severity = Severity::Notice;
        let body = published(&message, Extras::default());
        assert_eq!((&body["priority"], &body["tags"][0]), (&2.into(), &"white_check_mark".into()));
        message.severity = Severity::Warning;
        let body = published(&message, Extras::default());
        assert_eq!(
            (&body["priority"], &body["tags"][0]),
            (&4.into(), &"warning".into()),
            "not known is no comfort"
        );
        (message.reason, message.severity) = (Reason::Eased, Severity::Notice);
        let body = published(&message, Extras::default());
        assert_eq!((&body["priority"], &body["tags"]), (&2.into(), &serde_json::json!(["k7m2"])));
        message.reason = Reason::First;
        message.severity = Severity::Warning;
        assert_eq!(published(&message, Extras::default())["priority"], 4);
        message.severity = Severity::Notice;
        let body = published(&message, Extras::default());
        assert_eq!((body["priority"].clone(), body["tags"].clone()), (3.into(), serde_json::json!(["k7m2"])));
    }

    #[test]
    fn every_text_fits_whatever_it_is_made_of() {
        let mut message = message();
        for part in ["a", "\"", "\n.", "ü", "猫", "\u{1}"] {
            for count in [1000, 1366, 4095, 4096, 9000] {
                message.text = part.repeat(count);
                let bytes = publish("topic", &message, Extras::default());
                assert!(bytes.len() < 8192, "{part:?} x {count}: {} bytes", bytes.len());
                let body: Value = serde_json::from_slice(&bytes).unwrap();
                let text = body["message"].as_str().unwrap();
                assert!(text.len() <= 4095, "{part:?} x {count}: {}", text.len());
                assert!(text.len() >= 999, "{part:?} x {count}: only {} bytes are left", text.len());
            }
        }
    }

    #[test]
    fn buttons_post_who_says_what_about_which_finding_and_only_where_answers_can_go() {
        let mut message = message();
        let finding = message.findings[0].clone();
        message.buttons = ["I have it", "Sensor is fine", "", "Later", "One too many"]
            .map(|label| Button {
                label: label.to_owned(),
                verdict: Verdict::Taken,
                finding: finding.clone(),
            })
            .to_vec();
        assert!(published(&message, Extras::default()).get("actions").is_none());
        let base = Url::parse("https://ntfy.example/push/").unwrap();
        let key = Key::new([7; 32]);
        let unsigned = Extras { base: Some(&base), reply_topic: Some("answers"), ..Extras::default() };
        assert!(published(&message, unsigned).get("actions").is_none());
        let extras = Extras { key: Some(&key), ..unsigned };
        let actions = published(&message, extras)["actions"].clone();
        assert_eq!(actions.as_array().unwrap().len(), 3);
        assert_eq!(actions[0]["url"], "https://ntfy.example/push/answers");
        let claim = key.verify(actions[0]["body"].as_str().unwrap(), message.created).unwrap();
        assert_eq!((claim.finding, claim.person), (finding, message.person));
        assert_eq!((claim.verdict, claim.expires), (Verdict::Taken, message.created + LIFE));
    }

    #[test]
    fn no_text_becomes_a_key_an_action_or_a_second_line_of_a_title() {
        let mut message = message();
        message.title = "low\r\nTags: skull\u{1b}[2J\",\"priority\":1,\"x\":\"".to_owned();
        message.text =
            "\"],\"actions\":[{\"action\":\"http\",\"url\":\"http://a.example\"}],\"x\":[\"".to_owned();
        let body = published(&message, Extras::default());
        let mut keys: Vec<_> = body.as_object().unwrap().keys().map(String::as_str).collect();
        keys.sort_unstable();
        assert_eq!(keys, ["message", "priority", "tags", "title", "topic"]);
        assert_eq!((&body["priority"], &body["message"]), (&5.into(), &Value::from(message.text.as_str())));
        assert!(!body["title"].as_str().unwrap().contains(char::is_control), "{body}");
    }

    #[test]
    fn a_reference_is_one_tag() {
        let mut message = message();
        message.id = MessageId("owner/a,b c".to_owned());
        assert_eq!(reference(&message), "owner-a-b-c");
    }
}
