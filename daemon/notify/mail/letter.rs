//! One mail, from a message. Pure: the same message gives the same letter, apart from the MIME boundary.
//!
//! A letter can be told from a repeat of itself (its Message-ID comes from the message), sits with the others about
//! the same finding (References, RFC 5322 section 3.6.4), and asks robots not to answer (Auto-Submitted, RFC 3834).

use std::time::{Duration, SystemTime};

use lettre::Address;
use lettre::message::header::{HeaderName, HeaderValue};
use lettre::message::{Mailbox, MultiPart};
use sha2::{Digest, Sha256};

use super::super::{cut, one_line};
use crate::words::{Message, Severity, escaped};

/// Writes the letter.
///
/// # Errors
/// If the library refuses a header; our own texts give it no reason to.
pub(super) fn write(
    from: &Mailbox,
    to: Address,
    message: &Message,
) -> Result<lettre::Message, lettre::error::Error> {
    let thread = format!("<{}@{}>", digest("thread", &message.thread), from.email.domain());
    let mut builder = lettre::Message::builder()
        .from(from.clone())
        .to(Mailbox::new(None, to))
        .subject(cut(&one_line(&message.title), SUBJECT_BYTES_MAX))
        .date(created(message))
        .message_id(Some(message_id(from, message)))
        .in_reply_to(thread.clone())
        .references(thread)
        .raw_header(HeaderValue::new(
            HeaderName::new_from_ascii_str("Auto-Submitted"),
            "auto-generated".to_owned(),
        ));
    if message.severity == Severity::Critical {
        // RFC 4021 section 2.1.54.
        builder = builder
            .raw_header(HeaderValue::new(HeaderName::new_from_ascii_str("Importance"), "high".to_owned()));
    }
    builder.multipart(MultiPart::alternative_plain_html(plain(message), html(message)))
}

/// The Message-ID, with its angle brackets: the same for every attempt at the same message.
pub(super) fn message_id(from: &Mailbox, message: &Message) -> String {
    let id = &message.id.0;
    let plain =
        !id.is_empty() && id.len() <= 64 && id.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
    let left = if plain { format!("message.{id}") } else { digest("message", id) };
    format!("<{left}@{}>", from.email.domain())
}

/// A name that is safe in a header and gives nothing away.
fn digest(kind: &str, text: &str) -> String {
    let hash = Sha256::digest(text.as_bytes());
    let hex: String = hash.iter().take(12).map(|byte| format!("{byte:02x}")).collect();
    format!("{kind}.{hex}")
}

fn created(message: &Message) -> SystemTime {
    let millis = u64::try_from(message.created.millis()).unwrap_or(0);
    SystemTime::UNIX_EPOCH + Duration::from_millis(millis)
}

/// What a private message would show in a mailbox's preview is left out with the rest.
fn more(message: &Message) -> &[String] {
    if message.private { &[] } else { &message.more }
}

fn plain(message: &Message) -> String {
    let mut text = message.text.trim().to_owned();
    for line in message.ways.iter().chain(more(message)) {
        text.push_str("\n\n");
        text.push_str(line.trim());
    }
    text.push('\n');
    text
}

fn html(message: &Message) -> String {
    let mut page = String::from("<!doctype html><html><head><meta charset=\"utf-8\"></head><body>");
    page.push_str(&format!("<p><strong>{}</strong></p>", lines(&message.title)));
    page.push_str(&format!("<p>{}</p>", lines(message.text.trim())));
    for line in message.ways.iter().chain(more(message)) {
        page.push_str(&format!("<p>{}</p>", lines(line.trim())));
    }
    page.push_str("</body></html>\n");
    page
}

/// A text with its line breaks, in which nothing is markup.
fn lines(text: &str) -> String {
    escaped(text).replace('\n', "<br>")
}

/// RFC 5322 allows 998 bytes a line; more than this nobody reads in a list of mails.
const SUBJECT_BYTES_MAX: usize = 200;

#[cfg(test)]
mod tests {
    use super::super::super::tests::message;
    use super::*;
    use crate::words::MessageId;

    fn written(message: &Message) -> String {
        let from: Mailbox = "Lowtide <lowtide@example.org>".parse().unwrap();
        let letter = write(&from, "owner@example.org".parse().unwrap(), message).unwrap();
        String::from_utf8(letter.formatted()).unwrap()
    }

    fn header<'a>(letter: &'a str, name: &str) -> Option<&'a str> {
        let head = letter.split("\r\n\r\n").next().unwrap();
        head.split("\r\n").find_map(|line| line.strip_prefix(name)?.strip_prefix(": "))
    }

    #[test]
    fn a_repeat_is_recognisable_and_updates_sit_together() {
        let first = message();
        let mut update = message();
        update.id = MessageId("p9x1".to_owned());
        update.title = "Pepper is out of the low".to_owned();
        let (first, again, update) = (written(&first), written(&first), written(&update));
        assert_eq!(header(&first, "Message-ID"), Some("<message.k7m2@example.org>"));
        assert_eq!(header(&again, "Message-ID"), header(&first, "Message-ID"));
        assert_ne!(header(&update, "Message-ID"), header(&first, "Message-ID"));
        assert_eq!(header(&update, "References"), header(&first, "References"));
        assert_eq!(header(&update, "In-Reply-To"), header(&first, "References"));
        assert!(header(&first, "References").unwrap().starts_with("<thread."));
        assert_eq!(header(&first, "Date"), Some("Sat, 10 Jan 2026 02:22:00 +0000"));
    }

    #[test]
    fn robots_are_asked_not_to_answer_and_only_a_critical_mail_is_marked() {
        let mut message = message();
        assert_eq!(header(&written(&message), "Auto-Submitted"), Some("auto-generated"));
        assert_eq!(header(&written(&message), "Importance"), Some("high"));
        message.severity = Severity::Warning;
        assert_eq!(header(&written(&message), "Importance"), None);
    }

    #[test]
    fn no_text_can_add_a_header_or_a_tag() {
        let mut message = message();
        message.title = "low\r\nBcc: everyone@example.org\r\n\r\n<script>".to_owned();
        message.id = MessageId("x>\r\nBcc: a@b.example".to_owned());
        message.thread = "t\r\nBcc: a@b.example".to_owned();
        message.text = "<script>alert(1)</script> & \"so on\"".to_owned();
        let letter = written(&message);
        assert_eq!(header(&letter, "Bcc"), None, "{letter}");
        assert_eq!(header(&letter, "Subject"), Some("low Bcc: everyone@example.org <script>"));
        let page = html(&message);
        assert!(!page.contains("<script>") && page.contains("&lt;script&gt;"), "{page}");
    }

    #[test]
    fn a_private_mail_carries_nothing_but_its_own_text() {
        let mut message = message();
        assert!(plain(&message).contains("12 minutes old") && html(&message).contains("12 minutes old"));
        message.private = true;
        message.ways = Some("To answer: lowtide log answer taken --person owner.".to_owned());
        assert!(plain(&message).contains("--person owner") && html(&message).contains("--person owner"));
        assert!(!plain(&message).contains("12 minutes old") && !html(&message).contains("12 minutes old"));
    }
}
