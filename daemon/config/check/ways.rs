//! The ways in and out, in words: doors, servers, addresses. Shows no secret, only that there is one.

use crate::config::Config;
use crate::words::{ChannelKind, Person};

/// How readings come in.
pub(super) fn inward(config: &Config) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(folder) = &config.folder {
        let then = if folder.keep {
            "files stay there and are read again when they change".to_owned()
        } else {
            format!("files move to {} once their readings are safe", folder.done.display())
        };
        lines.push(format!("Files in {}; {then}.", folder.path.display()));
        lines.push(format!("What cannot be read goes to {}.", folder.rejected.display()));
    }
    if let Some(mqtt) = &config.mqtt {
        let login = if mqtt.username.is_some() { "with a login" } else { "without a login" };
        lines.push(format!("Messages from the broker {}, {login}, under {}/in/.", mqtt.broker, mqtt.prefix));
        lines.push(format!("What cannot be read of them goes to {}.", mqtt.rejected.display()));
    }
    match config.layouts.len() {
        0 => {}
        1 => lines.push("One table of another layout is described.".to_owned()),
        count => lines.push(format!("{count} tables of other layouts are described.")),
    }
    if lines.is_empty() {
        lines.push("By hand only, with `lowtide log`: no folder and no broker is named.".into());
    }
    lines
}

/// How messages go out.
pub(super) fn outward(config: &Config) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(ntfy) = &config.ntfy {
        let login = match (&ntfy.token, &ntfy.username) {
            (Some(_), _) => "with a token",
            (None, Some(_)) => "with a name and a password",
            (None, None) => "without a login",
        };
        let answers = match &ntfy.reply_topic {
            Some(topic) => format!("buttons answer through the topic {topic}"),
            None => "no reply_topic, so messages have no buttons to answer with".to_owned(),
        };
        lines.push(format!("Push through {}, {login}; {answers}.", ntfy.server));
    }
    if let Some(mail) = &config.mail {
        let login = if mail.username.is_some() { "with a login" } else { "without a login" };
        lines.push(format!("Mail through {}, {login}, from {}.", mail.smtp, mail.from));
    }
    let after = config.ntfy.as_ref().and_then(|ntfy| ntfy.nobody_watching);
    if let Some(after) = after {
        lines.push(format!(
            "After {} hours without Lowtide the push server says that nobody is watching, if it can take messages back; \
             `lowtide run` finds that out.",
            (after.as_secs_f64() / 36.0).round() / 100.0
        ));
    }
    lines.push(match config.heartbeat_url {
        None if after.is_some() => return lines,
        Some(_) => "The [heartbeat] address is called once a minute while all is well.".to_owned(),
        None => "If this machine stops, nothing outside of it notices: look at it now and then.".to_owned(),
    });
    lines
}

/// The web page.
pub(super) fn page(config: &Config) -> Vec<String> {
    let Some(page) = &config.page else {
        return vec!["No page: what there is to see is in `lowtide status`.".to_owned()];
    };
    let listen = page.listen;
    let password = if page.password.is_some() { "with" } else { "without" };
    let mut lines = vec![if listen.ip().is_loopback() {
        format!("At http://{listen}/, {password} a password, for browsers on this machine.")
    } else if listen.ip().is_unspecified() {
        format!("At port {} of each address of this machine, with a password.", listen.port())
    } else {
        format!("At http://{listen}/, with a password.")
    }];
    if !listen.ip().is_loopback() {
        lines.push(
            "Password and pages cross your network unencrypted: keep it at home, never forward this port from outside."
                .to_owned(),
        );
    }
    lines
}

/// How a person is reached.
pub(super) fn channels(person: &Person) -> String {
    let shown: Vec<String> = person
        .channels
        .iter()
        .map(|channel| match channel.kind {
            ChannelKind::Ntfy => format!("push to the topic {}", channel.address),
            ChannelKind::Email => format!("mail to {}", channel.address),
        })
        .collect();
    match shown.as_slice() {
        [] => "but no way to reach them".to_owned(),
        [only] => format!("by {only}"),
        [first, rest @ ..] => format!("by {first}; if that fails, by {}", rest.join(", then by ")),
    }
}
