//! Email over SMTP.
//!
//! Comes in: a parcel whose address is an email address, and its message. Goes out: delivered (with the message's
//! Message-ID), later or refused. Encryption is never given up silently: `smtps://` and `smtp+starttls://` fail
//! where the server cannot do it, and a password never crosses a network in the clear.
//!
//! The client library's own time-out covers the connection only (a server that accepts and stays silent would hold
//! it for ever), so each attempt has a deadline around it. Greylisting (a 4xx at first) is *later*, as RFC 6647
//! describes it.

mod letter;

use std::fs;
use std::path::PathBuf;
use std::time::Duration;

use lettre::message::Mailbox;
use lettre::transport::smtp::Error as SmtpError;
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, Tls, TlsParameters};
use lettre::{Address, AsyncSmtpTransport, AsyncTransport, Tokio1Executor};
use reqwest::Url;

use super::{NotifyError, Secret, chain, cut, delivered, later, one_line, refused, without};
use crate::tls;
use crate::words::{Message, Outcome, Parcel};

/// How to send mail.
#[derive(Clone, Debug)]
pub struct MailSettings {
    /// `smtps://host`, `smtp+starttls://host` or `smtp://host`, with `:port` if it is not 465, 587 or 25.
    pub smtp: String,
    /// The sender: an address, or `Name <address>`.
    pub from: String,
    /// Name of the login.
    pub username: Option<String>,
    /// Password of the login.
    pub password: Option<Secret>,
    /// Authorities to trust besides the system's, PEM.
    pub ca_file: Option<PathBuf>,
    /// Longest wait for a connection.
    pub connect_timeout: Duration,
    /// Longest time for one attempt, everything included.
    pub deadline: Duration,
}

impl MailSettings {
    /// A server without a login, with the usual time limits: 10 s to connect, 60 s in all.
    #[must_use]
    pub fn new(smtp: &str, from: &str) -> Self {
        Self {
            smtp: smtp.to_owned(),
            from: from.to_owned(),
            username: None,
            password: None,
            ca_file: None,
            connect_timeout: Duration::from_secs(10),
            deadline: Duration::from_secs(60),
        }
    }
}

/// A client for one mail server; connects anew for each message, as there are a few a day.
#[derive(Clone, Debug)]
pub struct Mail {
    from: Mailbox,
    host: String,
    /// To keep it out of what is told of the server.
    password: Option<Secret>,
    transport: AsyncSmtpTransport<Tokio1Executor>,
    deadline: Duration,
}

impl Mail {
    /// Checks the settings and builds the client; connects to nothing.
    ///
    /// # Errors
    /// If the server's address, the sender, the login or the CA file cannot be right, or if a password would be
    /// sent in the clear.
    pub fn new(settings: MailSettings) -> Result<Self, NotifyError> {
        let (way, host, port) = server(&settings.smtp)?;
        let from = sender(&settings.from)?;
        let mut builder = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(&host)
            .port(port)
            .timeout(Some(settings.connect_timeout))
            .tls(encryption(way, &host, &settings)?);
        match (&settings.username, &settings.password) {
            (Some(_), Some(_)) if way == Way::Plain && !is_loopback(&host) => {
                return Err(wrong_server(
                    &settings.smtp,
                    "the password would cross the network unprotected; use smtps:// or smtp+starttls://",
                ));
            }
            (Some(name), Some(password)) => {
                builder = builder.credentials(Credentials::new(name.clone(), password.expose().to_owned()));
            }
            (None, None) => {}
            (name, _) => {
                return Err(NotifyError::Setting {
                    key: "notify.email.username",
                    found: name.clone().unwrap_or_default(),
                    why: "username and password_file go together".to_owned(),
                });
            }
        }
        let password = settings.password.clone();
        Ok(Self { from, host, password, transport: builder.build(), deadline: settings.deadline })
    }

    pub(super) async fn carry(&self, parcel: &Parcel, message: &Message) -> Outcome {
        let to: Address = match parcel.channel.address.trim().parse() {
            Ok(to) => to,
            Err(e) => return refused(format!("'{}' is not an email address: {e}", parcel.channel.address)),
        };
        let letter = match letter::write(&self.from, to, message) {
            Ok(letter) => letter,
            Err(e) => return refused(format!("the mail cannot be written: {e}")),
        };
        match tokio::time::timeout(self.deadline, self.transport.send(letter)).await {
            Ok(Ok(_)) => delivered(Some(letter::message_id(&self.from, message))),
            Ok(Err(e)) => self.judge(&e),
            Err(_) => later(format!(
                "no answer from the mail server {} within {} s; the mail may have arrived",
                self.host,
                self.deadline.as_secs_f32().ceil()
            )),
        }
    }

    /// Permanent is refused; everything else is tried again, because the library calls a refused connection
    /// neither transient nor permanent.
    fn judge(&self, error: &SmtpError) -> Outcome {
        // A server may repeat in its error what it was given.
        let hidden: Vec<&str> = self.password.iter().map(Secret::expose).collect();
        let said = without(&cut(&one_line(&chain(error)), 300), &hidden);
        let Some(code) = error.status() else {
            return later(format!("the mail server {} cannot be used now: {said}", self.host));
        };
        let said = format!("the mail server {} answered {code}: {said}", self.host);
        if !error.is_permanent() {
            return later(said);
        }
        // RFC 4954 section 6: these are about the login, whatever the server writes beside them.
        refused(match u16::from(code) {
            530 | 534 | 535 | 538 => {
                format!("{said}; check username and password_file in [notify.email]")
            }
            _ => said,
        })
    }
}

/// How the connection is protected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    Plain,
    Starttls,
    Wrapped,
}

fn server(smtp: &str) -> Result<(Way, String, u16), NotifyError> {
    let url = Url::parse(smtp).map_err(|_| wrong_server(smtp, "write it like smtps://mail.example:465"))?;
    let (way, port) = match url.scheme() {
        "smtp" => (Way::Plain, 25),
        "smtp+starttls" => (Way::Starttls, 587),
        "smtps" => (Way::Wrapped, 465),
        _ => return Err(wrong_server(smtp, "it must start with smtps://, smtp+starttls:// or smtp://")),
    };
    if !url.username().is_empty() || url.password().is_some() {
        return Err(wrong_server(smtp, "the login goes into username and password_file"));
    }
    if !matches!(url.path(), "" | "/") || url.query().is_some() || url.fragment().is_some() {
        return Err(wrong_server(smtp, "leave out everything after the host and port"));
    }
    let host = url.host_str().unwrap_or_default().trim_start_matches('[').trim_end_matches(']');
    if host.is_empty() {
        return Err(wrong_server(smtp, "the host is missing; write it like smtps://mail.example:465"));
    }
    Ok((way, host.to_owned(), url.port().unwrap_or(port)))
}

fn wrong_server(smtp: &str, why: &str) -> NotifyError {
    NotifyError::Setting {
        key: "notify.email.smtp",
        // Whoever put a password into the address must not find it in a log.
        found: match smtp.split_once('@') {
            Some((_, rest)) => format!("(login left out)@{rest}"),
            None => smtp.to_owned(),
        },
        why: why.to_owned(),
    }
}

fn sender(from: &str) -> Result<Mailbox, NotifyError> {
    let mut mailbox: Mailbox = from.parse().map_err(|e| NotifyError::Setting {
        key: "notify.email.from",
        found: from.to_owned(),
        why: format!("it is not an email address ({e}); write it like lowtide@example.org"),
    })?;
    mailbox.name.get_or_insert_with(|| "Lowtide".to_owned());
    Ok(mailbox)
}

fn encryption(way: Way, host: &str, settings: &MailSettings) -> Result<Tls, NotifyError> {
    if way == Way::Plain {
        return Ok(Tls::None);
    }
    tls::install_provider();
    let mut parameters = TlsParameters::builder(host.to_owned());
    if let Some(path) = &settings.ca_file {
        let key = "notify.email.ca_file";
        // Checked as for every other client, so that the complaint is the same.
        tls::client_config(Some(path)).map_err(|source| NotifyError::Tls { key, source })?;
        let pem = fs::read(path).map_err(|why| NotifyError::Client { key, why: why.to_string() })?;
        let authority =
            Certificate::from_pem(&pem).map_err(|e| NotifyError::Client { key, why: chain(&e) })?;
        parameters = parameters.add_root_certificate(authority);
    }
    let parameters =
        parameters.build().map_err(|e| NotifyError::Client { key: "notify.email.smtp", why: chain(&e) })?;
    Ok(match way {
        Way::Wrapped => Tls::Wrapper(parameters),
        Way::Starttls | Way::Plain => Tls::Required(parameters),
    })
}

fn is_loopback(host: &str) -> bool {
    host.eq_ignore_ascii_case("localhost")
        || host.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(settings: MailSettings) -> String {
        Mail::new(settings).unwrap_err().to_string()
    }

    fn with_login(smtp: &str) -> MailSettings {
        let mut settings = MailSettings::new(smtp, "lowtide@example.org");
        settings.username = Some("lowtide".to_owned());
        settings.password = Some(Secret::new("hidden"));
        settings
    }

    #[test]
    fn a_password_never_crosses_a_network_in_the_clear() {
        let error = refusal(with_login("smtp://mail.example"));
        assert!(error.contains("smtps://") && !error.contains("hidden"), "{error}");
        for fine in ["smtp://127.0.0.1:2525", "smtp://[::1]:2525", "smtps://mail.example"] {
            let mail = Mail::new(with_login(fine)).unwrap();
            assert!(!format!("{mail:?}").contains("hidden"), "{mail:?}");
        }
    }

    #[test]
    fn addresses_that_cannot_work_are_refused_with_what_would_be_right() {
        for (smtp, part) in [
            ("mail.example", "write it like"),
            ("http://mail.example", "must start with"),
            ("smtps://me:pw@mail.example", "password_file"),
            ("smtps://mail.example/inbox", "leave out"),
            ("smtps://", "host"),
        ] {
            let error = refusal(MailSettings::new(smtp, "lowtide@example.org"));
            assert!(error.contains(part) && error.contains("notify.email.smtp"), "{smtp}: {error}");
            assert!(!error.contains("pw"), "{error}");
        }
        let error = refusal(MailSettings::new("smtps://mail.example", "nobody"));
        assert!(error.contains("notify.email.from"), "{error}");
    }

    #[test]
    fn each_scheme_has_its_usual_port() {
        // IANA service names: submissions 465, submission 587, smtp 25.
        for (smtp, port) in
            [("smtps://m.example", 465), ("smtp+starttls://m.example", 587), ("smtp://m.example", 25)]
        {
            assert_eq!(server(smtp).unwrap().2, port);
        }
        assert_eq!(server("smtps://[::1]:2465").unwrap(), (Way::Wrapped, "::1".to_owned(), 2465));
    }
}
