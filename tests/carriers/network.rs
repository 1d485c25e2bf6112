//! The network in a bad mood: servers that drip, names that lead nowhere, certificates that are not right, mail servers
//! that want to be asked again. Answers of a sane server in trouble are in `ntfy.rs` and `mail.rs`.

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use lowtide::notify::{Carriers, MailSettings, NtfySettings};
use lowtide::words::{ChannelKind, Outcome};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpListener;

use super::stands::certificate::{self, Certificate};
use super::{message, parcel, why};

async fn push(settings: NtfySettings) -> Outcome {
    let carriers = Carriers::new(Some(settings), None).unwrap();
    carriers.carry(&parcel(ChannelKind::Ntfy, "a-topic", 1), &message()).await
}

fn soon(server: &str) -> NtfySettings {
    NtfySettings { deadline: Duration::from_millis(900), ..NtfySettings::new(server) }
}

/// Takes each connection and answers it byte by byte, so that there is always something and never an end.
async fn dripping(start: &'static [u8]) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    tokio::spawn(async move {
        loop {
            let (mut stream, _) = listener.accept().await.unwrap();
            tokio::spawn(async move {
                let mut request = [0; 4096];
                let _ = stream.read(&mut request).await;
                for byte in start.iter().chain(std::iter::repeat(&b' ')) {
                    if stream.write_all(&[*byte]).await.is_err() {
                        return;
                    }
                    tokio::time::sleep(Duration::from_millis(30)).await;
                }
            });
        }
    });
    address
}

#[tokio::test]
#[expect(clippy::disallowed_methods, reason = "measures real time")]
async fn a_server_that_drips_is_left_at_the_deadline() {
    for start in [
        &b""[..],
        b"HTTP/1.1 200 OK\r\nx-slow: ",
        b"HTTP/1.1 200 OK\r\ncontent-length: 100000\r\n\r\n{\"id\":\"",
    ] {
        let address = dripping(start).await;
        let begun = Instant::now();
        let outcome = push(soon(&format!("http://{address}"))).await;
        let took = begun.elapsed();
        assert_eq!(why(&outcome).0, "later", "{outcome:?}");
        assert!(took < LONG_AFTER, "{took:?}: {outcome:?}");
    }
    let address = dripping(b"220-").await;
    let mail = MailSettings {
        deadline: Duration::from_millis(900),
        ..MailSettings::new(&format!("smtp://{address}"), "lowtide@example.org")
    };
    let carriers = Carriers::new(None, Some(mail)).unwrap();
    let begun = Instant::now();
    let outcome = carriers.carry(&parcel(ChannelKind::Email, "a@b.example", 1), &message()).await;
    assert_eq!(why(&outcome).0, "later", "{outcome:?}");
    assert!(begun.elapsed() < LONG_AFTER, "{outcome:?}");
}

/// Takes a connection, answers with a page of a gigabyte, and stops in the middle of it.
async fn endless() -> String {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    tokio::spawn(async move {
        let (mut stream, _) = listener.accept().await.unwrap();
        let mut request = [0; 4096];
        let _ = stream.read(&mut request).await;
        let _ = stream.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 1000000000\r\n\r\n").await;
        let _ = stream.write_all(&vec![b' '; 8 << 20]).await;
        std::future::pending::<()>().await;
    });
    address
}

#[tokio::test]
async fn an_answer_is_read_as_far_as_an_answer_can_be_and_no_further() {
    let address = endless().await;
    let patient =
        NtfySettings { deadline: Duration::from_secs(20), ..NtfySettings::new(&format!("http://{address}")) };
    let outcome = push(patient).await;
    let (how, words) = why(&outcome);
    assert!(how == "later" && words.contains("not an ntfy server"), "{outcome:?}");
}

/// RFC 6761 section 6.4: names under `invalid` never lead anywhere.
#[tokio::test]
async fn a_name_that_leads_nowhere_is_later_and_is_named() {
    let settings =
        NtfySettings { deadline: Duration::from_secs(10), ..NtfySettings::new("https://push.invalid") };
    let outcome = push(settings).await;
    assert_eq!(why(&outcome).0, "later", "{outcome:?}");
    assert!(why(&outcome).1.contains("push.invalid") && !why(&outcome).1.contains("a-topic"), "{outcome:?}");
    let mail = MailSettings {
        deadline: Duration::from_secs(10),
        ..MailSettings::new("smtps://mail.invalid:465", "lowtide@example.org")
    };
    let carriers = Carriers::new(None, Some(mail)).unwrap();
    let outcome = carriers.carry(&parcel(ChannelKind::Email, "a@b.example", 1), &message()).await;
    assert_eq!(why(&outcome).0, "later", "{outcome:?}");
}

/// openssl's own test server, with this certificate.
struct Secured {
    child: Child,
    port: u16,
}

impl Secured {
    async fn start(certificate: &Certificate) -> Self {
        let port = TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap().port();
        let file = |path: &Path| path.to_str().unwrap().to_owned();
        let child = Command::new("openssl")
            .args(["s_server", "-quiet", "-www", "-accept", &port.to_string()])
            .args(["-cert", &file(&certificate.certificate), "-key", &file(&certificate.key)])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the tests need openssl");
        for _ in 0..3000 {
            if tokio::net::TcpStream::connect(("127.0.0.1", port)).await.is_ok() {
                break;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        Self { child, port }
    }
}

impl Drop for Secured {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[tokio::test]
async fn a_certificate_that_is_not_right_gets_no_message_and_is_named() {
    lowtide::tls::install_provider();
    let folders: Vec<_> = (0..3).map(|_| tempfile::tempdir().unwrap()).collect();
    let good = certificate::make(folders[0].path());
    let other = certificate::for_another_host(folders[1].path());
    let old = certificate::run_out(folders[2].path());
    // The last one is good: the message is sent, and this server has no answer to it. So it is the certificate that
    // the others fail by.
    for (certificate, trusted, expected) in [
        (&old, true, "expired"),
        (&other, true, "not valid for"),
        (&good, false, "certificate"),
        (&good, true, "may have arrived"),
    ] {
        let server = Secured::start(certificate).await;
        let ca_file = trusted.then(|| certificate.authority.clone());
        let settings = NtfySettings {
            ca_file,
            deadline: Duration::from_secs(5),
            ..NtfySettings::new(&format!("https://localhost:{}", server.port))
        };
        let outcome = push(settings).await;
        let text = why(&outcome).1.to_lowercase();
        assert_eq!(
            why(&outcome).0,
            "later",
            "it may be put right while the message still matters: {outcome:?}"
        );
        assert!(text.contains(expected), "{expected}: {outcome:?}");
    }
}

/// RFC 6647: a mail server that greylists answers 4xx, and takes the same mail some minutes later.
#[tokio::test]
async fn a_greylisted_mail_is_later_and_then_taken() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        for visit in 0.. {
            let (mut stream, _) = listener.accept().await.unwrap();
            let _ = greylisting(&mut stream, visit == 0).await;
        }
    });
    let settings = MailSettings {
        deadline: Duration::from_secs(5),
        ..MailSettings::new(&format!("smtp://127.0.0.1:{port}"), "lowtide@example.org")
    };
    let carriers = Carriers::new(None, Some(settings)).unwrap();
    let mut outcomes = Vec::new();
    for attempt in 1..=2 {
        let parcel = parcel(ChannelKind::Email, "owner@example.org", attempt);
        outcomes.push(carriers.carry(&parcel, &message()).await);
    }
    assert_eq!(why(&outcomes[0]).0, "later", "{outcomes:?}");
    assert!(why(&outcomes[0]).1.contains("Greylisted"), "{outcomes:?}");
    assert_eq!(why(&outcomes[1]).0, "delivered", "{outcomes:?}");
}

async fn greylisting(stream: &mut tokio::net::TcpStream, first: bool) -> std::io::Result<()> {
    stream.write_all(b"220 mail.example ESMTP\r\n").await?;
    let mut seen = Vec::new();
    let mut in_mail = false;
    loop {
        let mut byte = [0];
        if stream.read(&mut byte).await? == 0 {
            return Ok(());
        }
        seen.push(byte[0]);
        if in_mail {
            if seen.ends_with(b"\r\n.\r\n") {
                in_mail = false;
                seen.clear();
                stream.write_all(b"250 queued\r\n").await?;
            }
            continue;
        }
        if !seen.ends_with(b"\r\n") {
            continue;
        }
        let line = String::from_utf8_lossy(&seen).to_ascii_uppercase();
        seen.clear();
        let reply: &[u8] = match &line[..4] {
            "RCPT" if first => b"451 4.7.1 Greylisted, try again in 5 minutes\r\n",
            "DATA" => {
                in_mail = true;
                b"354 go on\r\n"
            }
            "QUIT" => b"221 bye\r\n",
            _ => b"250 ok\r\n",
        };
        stream.write_all(reply).await?;
    }
}

/// The dripping goes on for ever; a machine with much else to do may notice the deadline late.
const LONG_AFTER: Duration = Duration::from_secs(20);
