//! Secrets, looked for in everything that a running household writes. Passwords, tokens, the heartbeat's address and
//! the answer key are in no output at all. A topic is half a secret: whoever knows it can listen. It is in the
//! configuration, in the record (an address of a person, needed to send) and in `check`, which is read by whoever wrote
//! it; nowhere else.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::Command;

use crate::stands::house::{House, csv, free_port};
use crate::stands::mosquitto::{Mosquitto, Options as Broker};
use crate::stands::ntfy::{Ntfy, Options, Trick};
use crate::stands::smtp::{self, Sink};

const SECRETS: &[&str] =
    &["pw-mqtt-7Hq2", "tk_ntfy8Kd3Wz", "pw-mail-9Lm4", "hb-path-5Tr1", "hb-query-6Yp8", "pw-page-4Sf6"];
const TOPICS: &[&str] = &["owners-topic-Xk39", "replies-topic-Qw71", "sitters-topic-Zv55"];

fn secret(folder: &Path, name: &str, text: &str) {
    let file = folder.join(name);
    fs::write(&file, text).unwrap();
    fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).unwrap();
}

fn configuration(broker: u16, ntfy: &str, mail: u16, page: u16) -> String {
    format!(
        "[home]\ntimezone = \"Europe/Vienna\"\ngather_seconds = 0\nclock = \"trust\"\n[[cat]]\nname = \"pepper\"\n\
         [cat.sensor]\nkind = \"streamed\"\n[cat.plan]\nlow = 70\ndanger = 50\n\
         [intake.folder]\npath = \"inbox\"\nrescan_seconds = 1\n\
         [intake.mqtt]\nbroker = \"mqtt://127.0.0.1:{broker}\"\nusername = \"lowtide\"\npassword_file = \"s1\"\n\
         [notify.ntfy]\nserver = \"{ntfy}\"\ntoken_file = \"s2\"\nreply_topic = \"{}\"\n\
         [notify.email]\nsmtp = \"smtp://127.0.0.1:{mail}\"\nfrom = \"lowtide@example.org\"\nusername = \"lowtide\"\n\
         password_file = \"s3\"\n[heartbeat]\nurl_file = \"s4\"\n\
         [page]\nlisten = \"127.0.0.1:{page}\"\npassword_file = \"s5\"\n\
         [[person]]\nname = \"owner\"\nntfy = \"{}\"\nemail = \"owner@example.org\"\n\
         [[person]]\nname = \"sitter\"\nntfy = \"{}\"\n",
        TOPICS[1], TOPICS[0], TOPICS[2]
    )
}

/// Everything under the data folder and beside the inbox, as bytes by name; what is meant to hold secrets left out.
fn written(folder: &Path, into: &mut Vec<(String, Vec<u8>)>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() {
            written(&path, into);
        } else if path.is_file() && !["s1", "s2", "s3", "s4", "s5", "lowtide.toml"].contains(&name.as_str()) {
            into.push((path.display().to_string(), fs::read(&path).unwrap()));
        }
    }
}

fn holds(bytes: &[u8], part: &str) -> bool {
    bytes.windows(part.len()).any(|window| window == part.as_bytes())
}

/// What the page shows to whoever knows the password.
async fn pages(port: u16) -> Vec<(String, Vec<u8>)> {
    lowtide::tls::install_provider();
    let client = reqwest::Client::new();
    let mut pages = Vec::new();
    for path in ["/", "/record", "/history", "/sensors", "/curve", "/sheet", "/metrics", "/enter", "/healthz"]
    {
        let request = client.get(format!("http://127.0.0.1:{port}{path}"));
        let bytes = request.basic_auth("any", Some(SECRETS[5])).send().await.unwrap().bytes().await.unwrap();
        pages.push((path.to_owned(), bytes.to_vec()));
    }
    assert!(pages.iter().any(|(name, text)| name == "/" && holds(text, "epper")), "{pages:?}");
    pages
}

#[tokio::test(flavor = "multi_thread")]
async fn no_secret_is_in_anything_that_is_written_or_shown() {
    let broker = Mosquitto::start(&Broker::default());
    let sink =
        Sink::start(&smtp::Options { login: Some(("lowtide", SECRETS[2])), ..smtp::Options::default() });
    let ntfy = Ntfy::start(Options::default()).await;
    let page = free_port();
    // A server that repeats what it was given, in its error.
    let echo = format!(
        "{{\"code\":40101,\"http\":401,\"error\":\"unknown token {} for {}\"}}",
        SECRETS[1], TOPICS[0]
    );
    ntfy.play([
        Trick::Answer(401, vec![], echo.clone()),
        Trick::Answer(503, vec![], echo),
        Trick::status(500),
    ]);
    let mut house = House::with_config(&configuration(broker.port, &ntfy.url, sink.port, page));
    for (name, text) in [("s1", SECRETS[0]), ("s2", SECRETS[1]), ("s3", SECRETS[2]), ("s5", SECRETS[5])] {
        secret(house.folder.path(), name, text);
    }
    // A heartbeat that cannot be reached is complained about.
    secret(house.folder.path(), "s4", &format!("http://127.0.0.1:9/{}?key={}", SECRETS[3], SECRETS[4]));
    house.start().await;
    let port = broker.port.to_string();
    let mut listener = Command::new("mosquitto_sub")
        .args(["-p", &port, "-v", "-t", "#", "-W", "600"])
        .stdout(fs::File::create(house.path("heard-over-mqtt")).unwrap())
        .spawn()
        .unwrap();
    house.drop_file("a.csv", &csv(&[(35.0, "90"), (20.0, "64"), (5.0, "44"), (4.0, "rubbish")]));
    assert!(!sink.mails(1).await.is_empty(), "the mail steps in where the push server refuses");
    house.until("a reading was refused", || house.path("rejected").is_dir()).await;
    tokio::time::sleep(std::time::Duration::from_secs(4)).await;
    let shown = |arguments: &[&str]| {
        let output = house.run(arguments);
        (arguments.join(" "), [output.stdout, output.stderr].concat())
    };
    let mut all =
        vec![shown(&["status"]), shown(&["status", "--json"]), shown(&["history"]), shown(&["try"])];
    all.extend(pages(page).await);
    let open = vec![shown(&["check"]), shown(&["export"])];
    // A push server that is gone is complained about, and its address holds a topic.
    ntfy.break_streams();
    drop(ntfy);
    let lost = || house.log().matches("answers from phones are not followed").count() >= 2;
    house.until("the follower cannot connect", lost).await;
    house.stop();
    listener.kill().unwrap();
    listener.wait().unwrap();
    all.push(("the log".to_owned(), house.log().into_bytes()));
    let mut files = Vec::new();
    written(house.folder.path(), &mut files);
    let (kept, beside): (Vec<_>, Vec<_>) = files.into_iter().partition(|(name, _)| name.contains("/data/"));
    all.extend(beside);
    // The sweep itself sees something.
    assert!(all.iter().any(|(name, text)| name == "status" && holds(text, "epper")), "{all:?}");
    assert!(kept.iter().any(|(_, text)| holds(text, TOPICS[0])), "the record holds addresses");
    assert!(all.iter().any(|(name, text)| name.contains("heard-over-mqtt") && holds(text, "pepper/state")));
    assert!(holds(&open[0].1, TOPICS[0]), "check shows the topics");
    let key = kept.iter().find(|(name, _)| name.ends_with("answer-key")).unwrap().1.clone();
    assert_eq!(fs::metadata(house.path("data/answer-key")).unwrap().permissions().mode() & 0o777, 0o600);
    assert_eq!(fs::metadata(house.path("data")).unwrap().permissions().mode() & 0o077, 0);
    for (name, text) in
        all.iter().chain(&open).chain(kept.iter().filter(|(name, _)| !name.ends_with("answer-key")))
    {
        for secret in SECRETS {
            assert!(!holds(text, secret), "{name} holds {secret}: {}", String::from_utf8_lossy(text));
        }
        assert!(!text.windows(key.len()).any(|window| window == key), "{name} holds the answer key");
    }
    for (name, text) in &all {
        for topic in TOPICS {
            assert!(!holds(text, topic), "{name} holds {topic}: {}", String::from_utf8_lossy(text));
        }
    }
}
