//! Two mail servers: a real one (aiosmtpd) for the ordinary road, and a scripted one that misbehaves as told.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use serde_json::Value;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader as AsyncBufReader};
use tokio::net::{TcpListener, TcpStream};

use super::certificate::Certificate;

/// How the real server is set up.
#[derive(Default)]
pub struct Options<'a> {
    /// `plain`, `starttls` (required) or `smtps`; empty means `plain`.
    pub way: &'a str,
    pub certificate: Option<&'a Certificate>,
    pub login: Option<(&'a str, &'a str)>,
}

/// A running aiosmtpd.
pub struct Sink {
    pub port: u16,
    child: Child,
    mails: Arc<Mutex<Vec<Value>>>,
}

impl Sink {
    pub fn start(options: &Options<'_>) -> Self {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/stands/smtp_sink.py");
        let path = |of: fn(&Certificate) -> &Path| {
            options.certificate.map_or("-", |certificate| of(certificate).to_str().unwrap()).to_owned()
        };
        let (user, password) = options.login.unwrap_or(("-", "-"));
        let mut child = Command::new(python_with("aiosmtpd.smtp"))
            .arg(script)
            .arg(if options.way.is_empty() { "plain" } else { options.way })
            .args([path(|c| &c.certificate), path(|c| &c.key), user.to_owned(), password.to_owned()])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let port = lines.next().expect("the mail server did not start").unwrap().parse().unwrap();
        let mails = Arc::new(Mutex::new(Vec::new()));
        let kept = Arc::clone(&mails);
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                kept.lock().unwrap().push(serde_json::from_str(&line).unwrap());
            }
        });
        Self { port, child, mails }
    }

    /// The mails taken, once there are `count`; gives up after a minute.
    pub async fn mails(&self, count: usize) -> Vec<Value> {
        for _ in 0..6000 {
            let mails = self.mails.lock().unwrap().clone();
            if mails.len() >= count {
                return mails;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        panic!("{count} mails were awaited, there are {}", self.mails.lock().unwrap().len());
    }
}

impl Drop for Sink {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The first Python that has this module.
pub fn python_with(module: &str) -> &'static str {
    ["/usr/bin/python3", "python3"]
        .into_iter()
        .find(|python| {
            let import = format!("import {module}");
            let check = Command::new(python).args(["-c", &import]).stderr(Stdio::null()).status();
            check.is_ok_and(|status| status.success())
        })
        .unwrap_or_else(|| panic!("the tests need Python with {module}: tests/run.sh installs it"))
}

/// Where in the conversation something goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    Greeting,
    Mail,
    Rcpt,
    Data,
    /// After the last line of the mail.
    End,
    Quit,
}

/// One misbehaviour, for one connection.
#[derive(Clone, Debug)]
pub enum Trick {
    /// Answers this line instead of the usual one.
    Reply(Stage, &'static str),
    /// Says nothing more.
    Hang(Stage),
    /// Closes the connection.
    Close(Stage),
}

/// A scripted mail server without TLS or logins.
#[derive(Clone)]
pub struct Scripted {
    pub port: u16,
    script: Arc<Mutex<VecDeque<Trick>>>,
    taken: Arc<Mutex<Vec<String>>>,
}

impl Scripted {
    /// Plays one trick a connection, then behaves.
    pub async fn start(script: impl IntoIterator<Item = Trick>) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let server = Self {
            port: listener.local_addr().unwrap().port(),
            script: Arc::new(Mutex::new(script.into_iter().collect())),
            taken: Arc::default(),
        };
        let shared = server.clone();
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let trick = shared.script.lock().unwrap().pop_front();
                let taken = Arc::clone(&shared.taken);
                tokio::spawn(async move {
                    let _ = converse(stream, trick, taken).await;
                });
            }
        });
        server
    }

    /// The mails taken, as they came.
    pub fn taken(&self) -> Vec<String> {
        self.taken.lock().unwrap().clone()
    }
}

async fn converse(
    stream: TcpStream,
    trick: Option<Trick>,
    taken: Arc<Mutex<Vec<String>>>,
) -> std::io::Result<()> {
    let mut stream = AsyncBufReader::new(stream);
    let mut stage = (Stage::Greeting, "220 test.invalid ESMTP");
    loop {
        let reply = match &trick {
            Some(Trick::Reply(at, line)) if *at == stage.0 => line,
            Some(Trick::Hang(at)) if *at == stage.0 => std::future::pending().await,
            Some(Trick::Close(at)) if *at == stage.0 => return Ok(()),
            _ => stage.1,
        };
        stream.write_all(format!("{reply}\r\n").as_bytes()).await?;
        if reply.starts_with("354") {
            let mut mail = String::new();
            while !mail.ends_with("\r\n.\r\n") {
                if stream.read_line(&mut mail).await? == 0 {
                    return Ok(());
                }
            }
            taken.lock().unwrap().push(mail);
            stage = (Stage::End, "250 OK");
            continue;
        }
        stage = loop {
            let mut line = String::new();
            if stream.read_line(&mut line).await? == 0 {
                return Ok(());
            }
            match line.get(..4).unwrap_or_default().to_ascii_uppercase().as_str() {
                "EHLO" | "HELO" => stream.write_all(b"250 test.invalid\r\n").await?,
                "MAIL" => break (Stage::Mail, "250 OK"),
                "RCPT" => break (Stage::Rcpt, "250 OK"),
                "DATA" => break (Stage::Data, "354 go on"),
                "QUIT" => break (Stage::Quit, "221 bye"),
                _ => stream.write_all(b"502 not here\r\n").await?,
            }
        };
    }
}
