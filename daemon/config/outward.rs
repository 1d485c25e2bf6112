//! `[page]`, `[heartbeat]`: how the house is looked at and how it says that it lives. In: their sections. Out: an
//! address to listen on with its password, a URL to call.

use std::net::SocketAddr;

use reqwest::Url;

use super::secrets::{Beside, secret};
use super::section::{Section, quoted};
use crate::page::PageSettings;
use crate::secret::Secret;

/// Where the page listens, and its password. Others on the network see it only if they know one.
pub(super) fn page(section: &Section<'_>, beside: Beside<'_>) -> Option<PageSettings> {
    if !section.is_present() {
        return None;
    }
    let password = secret(section, "password", beside);
    if password.as_ref().is_some_and(|text| (1..PASSWORD_LETTERS).contains(&text.expose().len())) {
        let why =
            format!("a program in your network could guess it: take {PASSWORD_LETTERS} letters or more");
        section.advise("", "a short password", &why);
    }
    let want = "expected an address of this machine with a port, like \"127.0.0.1:7412\"";
    let Some(text) = section.text("listen").map(|text| text.value) else {
        if !section.has("listen") {
            section.wrong("", "no listen", want);
        }
        return None;
    };
    let Ok(listen) = text.parse::<SocketAddr>() else {
        section.wrong("listen", &quoted(text), want);
        return None;
    };
    if !listen.ip().is_loopback() && password.is_none() {
        let why = "others on the network would see the page: name a password_file, or listen on 127.0.0.1";
        section.wrong("listen", &quoted(text), why);
        return None;
    }
    Some(PageSettings { listen, password })
}

/// The URL that is called while all is well. Whoever knows it can pretend that the daemon lives: it is a secret.
pub(super) fn heartbeat(section: &Section<'_>, beside: Beside<'_>) -> Option<Secret> {
    if !section.is_present() {
        return None;
    }
    let Some(url) = secret(section, "url", beside) else {
        // One that is written here is refused as a secret already.
        if !section.has("url") {
            section.wrong("", "no address", "expected url_file, url_env or url_credential");
        }
        return None;
    };
    let right =
        Url::parse(url.expose()).is_ok_and(|url| matches!(url.scheme(), "http" | "https") && url.has_host());
    if right {
        return Some(url);
    }
    // An empty one could not be had, and that has been said.
    if !url.expose().is_empty() {
        section.wrong(
            "",
            "something that is not a web address",
            "expected https://... in the file or variable named",
        );
    }
    None
}

/// Shorter ones are advised against.
const PASSWORD_LETTERS: usize = 12;
