//! `[page]`, `[heartbeat]`: how the house is looked at and how it says that it lives. In: their sections. Out: an
//! address to listen on, a URL to call. Nothing uses either yet; whoever makes use of one takes its advice out.

use std::net::SocketAddr;

use reqwest::Url;

use super::secrets::{Beside, secret};
use super::section::{Section, quoted};
use crate::secret::Secret;

/// Where the page listens. Only this machine, until there is a password to ask for.
pub(super) fn page(section: &Section<'_>) -> Option<SocketAddr> {
    let text = section.text("listen")?.value;
    let want = "expected an address of this machine with a port, like \"127.0.0.1:7412\"";
    match text.parse::<SocketAddr>() {
        Ok(address) if address.ip().is_loopback() => {
            section.advise("listen", &quoted(text), "kept for later: this version shows no page yet");
            Some(address)
        }
        Ok(_) => {
            let why = "others on the network would see the page without a password";
            section.wrong("listen", &quoted(text), &format!("{want}: {why}"));
            None
        }
        Err(_) => {
            section.wrong("listen", &quoted(text), want);
            None
        }
    }
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
