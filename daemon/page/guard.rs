//! What a request has to be before anything is done for it: addressed to this machine, sent from a page of ours if it
//! changes something, and let in if there is a password. And what every answer says of itself to the browser.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::header::{
    AUTHORIZATION, CACHE_CONTROL, CONTENT_SECURITY_POLICY, COOKIE, HOST, ORIGIN, REFERRER_POLICY,
    WWW_AUTHENTICATE, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};

use super::entry::{basic_password, cookie};
use super::web::{Peer, Web};

/// The cookie with a browser's pass.
pub(super) const PASS_COOKIE: &str = "lowtide";

/// Stops what is not meant for us or not allowed; adds to every answer what browsers are to do with it.
pub(super) async fn guard(State(web): State<Arc<Web>>, request: Request, next: Next) -> Response {
    let mut response = match refused(&web, &request) {
        Some(refused) => refused,
        None => next.run(request).await,
    };
    let headers = response.headers_mut();
    let mut say = |name, value: &'static str| {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    };
    say(CONTENT_SECURITY_POLICY, POLICY);
    say(X_CONTENT_TYPE_OPTIONS, "nosniff");
    // Not `no-referrer`: with it browsers hide where a form comes from.
    say(REFERRER_POLICY, "same-origin");
    say(CACHE_CONTROL, "no-store");
    response
}

fn refused(web: &Web, request: &Request) -> Option<Response> {
    let headers = request.headers();
    let host = text(headers, HOST.as_str())
        .or_else(|| request.uri().authority().map(axum::http::uri::Authority::as_str));
    // A page of somebody else can have its own name point here. Without a password only names of this machine count;
    // with one such a page has no pass, because passes go by name. A server in front may call itself this machine, for whoever
    // it lets through.
    let here = host.is_some_and(is_this_machine) && !FORWARDED.iter().any(|name| headers.contains_key(*name));
    if web.ground.settings.password.is_none() && !here {
        let why = "Without a password this page is shown to this machine only: open it as http://127.0.0.1\n";
        return Some((StatusCode::MISDIRECTED_REQUEST, why).into_response());
    }
    let changes = request.method() != Method::GET && request.method() != Method::HEAD;
    if changes && !is_ours(text(headers, ORIGIN.as_str()), host) {
        let why = "This was not sent from a page of this Lowtide, so nothing was done.\n";
        return Some((StatusCode::FORBIDDEN, why).into_response());
    }
    if is_built_in_elsewhere(headers) && !OPEN.contains(&request.uri().path()) {
        let why = "This was asked for by a page of somebody else, so nothing is shown.\n";
        return Some((StatusCode::FORBIDDEN, why).into_response());
    }
    let from = request.extensions().get::<Peer>().copied();
    if OPEN.contains(&request.uri().path()) || is_let_in(web, headers, from) {
        return None;
    }
    if request.uri().path() == "/metrics" {
        let asks = [(WWW_AUTHENTICATE, "Basic realm=\"Lowtide\", charset=\"UTF-8\"")];
        return Some((StatusCode::UNAUTHORIZED, asks, "the page's password is needed\n").into_response());
    }
    Some(Redirect::to("/enter").into_response())
}

fn is_let_in(web: &Web, headers: &HeaderMap, from: Option<Peer>) -> bool {
    let Some(password) = &web.ground.settings.password else { return true };
    let pass = text(headers, COOKIE.as_str()).and_then(|cookies| cookie(cookies, PASS_COOKIE));
    let now = (web.ground.now)();
    if pass.is_some_and(|pass| web.ground.key.admits(pass, password.expose(), now)) {
        return true;
    }
    // A try like any other: whoever was wrong too often waits here as well.
    let given = text(headers, AUTHORIZATION.as_str()).and_then(basic_password);
    let Some((given, Peer(from))) = given.zip(from) else { return false };
    if web.attempts.wait(from, now).is_some() {
        return false;
    }
    let right = web.ground.key.same(&given, password.expose());
    if !right {
        web.attempts.wrong(from, now);
    }
    right
}

pub(super) fn text<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers.get(name)?.to_str().ok()
}

/// Whether a `Host` names this machine as only this machine can: a loopback address or `localhost`, with any port.
fn is_this_machine(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost")
        || name.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

/// Whether a page of somebody else wants this as a part of itself. It could not read it, but have the whole record read a
/// thousand times. A link to here is fine, and browsers that do not say so are taken at the rest.
fn is_built_in_elsewhere(headers: &HeaderMap) -> bool {
    text(headers, "sec-fetch-site") == Some("cross-site")
        && text(headers, "sec-fetch-dest") != Some("document")
}

/// Whether a form was sent from a page of this very address.
fn is_ours(origin: Option<&str>, host: Option<&str>) -> bool {
    let from = origin.and_then(|origin| origin.split_once("://")).map(|(_, from)| from);
    from.zip(host).is_some_and(|(from, host)| from.eq_ignore_ascii_case(host))
}

/// What a server in front adds (RFC 7239, and what is common practice beside it).
const FORWARDED: [&str; 4] = ["forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip"];
/// Shown to everybody: they say nothing of the cat.
const OPEN: [&str; 3] = ["/enter", "/healthz", "/page.css"];
/// Nothing from anywhere else, no script at all, no frame around it.
const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; \
     frame-ancestors 'none'";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_that_nobody_else_can_point_here_are_this_machine() {
        for host in ["127.0.0.1:7412", "localhost", "LocalHost:80", "[::1]:7412", "127.9.9.9"] {
            assert!(is_this_machine(host), "{host}");
        }
        for host in [
            "",
            "evil.example",
            "localhost.evil.example:7412",
            "192.0.2.7",
            "[2001:db8::1]",
            "[",
            "127.0.0.1.evil.example",
        ] {
            assert!(!is_this_machine(host), "{host}");
        }
    }

    #[test]
    fn a_form_counts_only_from_a_page_of_the_same_address() {
        assert!(is_ours(Some("http://pi.example:7412"), Some("pi.example:7412")));
        assert!(is_ours(Some("https://Pi.example"), Some("pi.example")));
        for (origin, host) in [
            (None, Some("pi.example")),
            (Some("null"), Some("pi.example")),
            (Some("http://evil.example"), Some("pi.example")),
            (Some("http://pi.example:8080"), Some("pi.example:7412")),
            (Some("http://pi.example"), None),
        ] {
            assert!(!is_ours(origin, host), "{origin:?} {host:?}");
        }
    }
}
