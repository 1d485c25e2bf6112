//! `[notify.ntfy]`, `[notify.email]`: the ways out. In: their sections. Out: settings that the carriers accept;
//! the carriers judge them themselves, here what they say gets its line.

use std::ops::RangeInclusive;
use std::time::Duration;

use super::example::has_topic;
use super::secrets::{Beside, no_login_inside, secret};
use super::section::{Section, quoted};
use super::topic::{guessable, host, is_public};
use crate::notify::{Mail, MailSettings, NotifyError, Ntfy, NtfySettings};

/// Which ways out of the house there are.
#[derive(Clone, Debug, Default)]
pub(super) struct Ways {
    pub(super) ntfy: Option<NtfySettings>,
    pub(super) mail: Option<MailSettings>,
    /// `[notify.ntfy]` is written, rightly or wrongly.
    pub(super) ntfy_written: bool,
    /// `[notify.email]` is written, rightly or wrongly.
    pub(super) mail_written: bool,
    /// The push server is not one of the house's own network: anybody may listen to a topic they guess.
    pub(super) ntfy_public: bool,
}

pub(super) fn ways(notify: &Section<'_>, beside: Beside<'_>) -> Ways {
    let (push, mail) = (notify.table("notify.ntfy"), notify.table("notify.email"));
    let (ntfy_written, mail_written) = (push.is_present(), mail.is_present());
    let ntfy = if ntfy_written { ntfy(&push, beside) } else { None };
    let ntfy_public =
        ntfy.as_ref().is_some_and(|ntfy| host(&ntfy.server).is_some_and(|host| is_public(&host)));
    let mail = if mail_written { email(&mail, beside) } else { None };
    Ways { ntfy, mail, ntfy_written, mail_written, ntfy_public }
}

fn ntfy(section: &Section<'_>, beside: Beside<'_>) -> Option<NtfySettings> {
    let token = secret(section, "token", beside);
    let password = secret(section, "password", beside);
    let ca_file = section.text("ca_file").map(|file| beside.path(file.value));
    let username = section.text("username").map(|name| name.value.to_owned());
    let reply_topic = section.text("reply_topic").map(|topic| topic.value.to_owned());
    let hours = section.number("nobody_watching_hours", NOBODY_WATCHING_HOURS, "hours");
    let nobody_watching = hours.map(|hours| Duration::from_secs_f64(hours * 3600.0));
    if !section.has("server") {
        section.missing("server", "expected the address of an ntfy server, like \"https://ntfy.example\"");
    }
    let server = section.text("server").filter(|server| no_login_inside(section, "server", server.value))?;
    let secured = token.is_some() || password.is_some();
    let settings = NtfySettings {
        token,
        username,
        password,
        reply_topic,
        nobody_watching,
        ca_file,
        ..NtfySettings::new(server.value)
    };
    if let Err(error) = Ntfy::new(settings.clone()) {
        judged(section, &error);
        return Some(settings);
    }
    let public = host(server.value).is_some_and(|host| is_public(&host));
    if public && secured && server.value.starts_with("http://") {
        section.advise(
            "server",
            &quoted(server.value),
            "the login crosses the network unprotected: use https://",
        );
    }
    if public
        && let Some(topic) = &settings.reply_topic
        && !has_topic(topic)
        && let Some(why) = guessable(topic, &[])
    {
        let want = format!("{why}: whoever guesses it can send answers. Better 16 random letters and digits");
        section.advise("reply_topic", &quoted(topic), &want);
    }
    Some(settings)
}

fn email(section: &Section<'_>, beside: Beside<'_>) -> Option<MailSettings> {
    let password = secret(section, "password", beside);
    let ca_file = section.text("ca_file").map(|file| beside.path(file.value));
    let username = section.text("username").map(|name| name.value.to_owned());
    for (key, want) in [
        ("smtp", "expected the address of a mail server, like \"smtps://mail.example:465\""),
        ("from", "expected the sender's address, like \"lowtide@example.org\""),
    ] {
        if !section.has(key) {
            section.missing(key, want);
        }
    }
    let smtp = section.text("smtp").filter(|smtp| no_login_inside(section, "smtp", smtp.value));
    let from = section.text("from");
    let (smtp, from) = (smtp?, from?);
    let settings = MailSettings { username, password, ca_file, ..MailSettings::new(smtp.value, from.value) };
    match Mail::new(settings.clone()) {
        Err(error) => judged(section, &error),
        Ok(_)
            if smtp.value.starts_with("smtp://") && host(smtp.value).is_some_and(|host| is_public(&host)) =>
        {
            section.advise(
                "smtp",
                &quoted(smtp.value),
                "mails cross the network readable for all: use smtps:// or smtp+starttls://",
            );
        }
        Ok(_) => {}
    }
    Some(settings)
}

/// What a carrier says about its settings, at the key it names.
fn judged(section: &Section<'_>, error: &NotifyError) {
    let last = |key: &'static str| key.rsplit('.').next().unwrap_or(key);
    match error {
        NotifyError::Setting { key, found, why } => {
            section.judged(last(key), found, why);
        }
        NotifyError::Tls { key, source } => {
            section.wrong(
                last(key),
                &quoted(section.written(last(key)).trim_matches('"')),
                &source.to_string(),
            );
        }
        NotifyError::Client { why, .. } => {
            section.wrong("", "settings that no client can be built from", why)
        }
        NotifyError::Folder { .. } => section.wrong("", "a folder that cannot be used", &error.to_string()),
    }
}

/// A server holds a message for three days at most; less than an hour is for trying it out.
const NOBODY_WATCHING_HOURS: RangeInclusive<f64> = 0.01..=72.0;
