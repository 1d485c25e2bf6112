//! The reply topic and whoever writes to it, the server included: spoilt lines, forged, replayed and stale tokens, lines
//! without end. The real follower on the ntfy stand-in; only what this house signed counts, and each of it once.

use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use lowtide::clock::{Clock, MachineClock};
use lowtide::intake::Inbound;
use lowtide::intake::replies::{Replies, RepliesSettings};
use lowtide::token::{Claim, Key, LIFE};
use lowtide::words::{Answer, Event, FindingId, Moment, PersonName, Verdict, minutes};
use serde_json::json;
use tokio::sync::mpsc;

use crate::driver::keeps_all;
use crate::mutate::{drawn, mutated};
use crate::stands::ntfy::{Ntfy, Options};

const TOPIC: &str = "replies-nobody-guesses-x81p";

fn now() -> Moment {
    MachineClock::new().now()
}

/// This house: what it signs, all of it good until the same second.
struct Signer {
    key: Key,
    expires: Moment,
}

impl Signer {
    fn new() -> Self {
        Self { key: Key::new([7; 32]), expires: now() + LIFE }
    }

    fn claim(&self, number: u32) -> Claim {
        Claim {
            finding: finding(number),
            person: PersonName::new("owner").unwrap(),
            verdict: Verdict::Taken,
            expires: self.expires,
        }
    }

    fn token(&self, number: u32) -> String {
        self.key.sign(&self.claim(number))
    }
}

fn finding(number: u32) -> FindingId {
    FindingId(format!("pepper/low-now/{number}"))
}

/// A line as the server sends it.
fn line(id: &str, sent: Moment, message: &str) -> String {
    let time = sent.millis() / 1000;
    let post = json!({"id": id, "time": time, "expires": time + 43_200, "event": "message", "topic": TOPIC, "message": message});
    format!("{post}\n")
}

/// A follower and what it has heard.
struct Followed {
    events: Arc<Mutex<Vec<Event>>>,
    task: tokio::task::JoinHandle<()>,
}

impl Followed {
    fn start(server: &Ntfy, folder: &Path) -> Self {
        lowtide::tls::install_provider();
        let settings = RepliesSettings {
            server: server.url.clone(),
            topic: TOPIC.to_owned(),
            token: None,
            login: None,
            ca_file: None,
            key: Signer::new().key,
            persons: vec![PersonName::new("owner").unwrap()],
            file: folder.join("replies.json"),
        };
        let (door, inbox) = mpsc::channel::<Inbound>(8);
        let clock = MachineClock::new();
        let task = tokio::spawn(Replies::new(settings).unwrap().run(door, Arc::new(move || clock.now())));
        let events = keeps_all(inbox);
        Self { events, task }
    }

    fn answers(&self) -> Vec<Answer> {
        let events = self.events.lock().unwrap();
        events
            .iter()
            .filter_map(|event| if let Event::Answer(answer) = event { Some(answer.clone()) } else { None })
            .collect()
    }

    fn count(&self, number: u32) -> usize {
        self.answers().iter().filter(|answer| answer.finding == Some(finding(number))).count()
    }

    async fn until(&self, what: &str, holds: impl Fn(&Self) -> bool) {
        for _ in 0..1200 {
            if holds(self) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("a minute passed and still not: {what}; {:?}", self.answers());
    }
}

/// What must change nothing: each alone on its line.
fn refused(house: &Signer) -> Vec<String> {
    let sign = |claim: &Claim| house.key.sign(claim);
    let stranger = Claim { person: PersonName::new("stranger").unwrap(), ..house.claim(1) };
    let expired = Claim { expires: now() - minutes(1.0), ..house.claim(2) };
    let old = now() - minutes(50.0);
    let mut lines = vec![
        line("r1", now(), &sign(&stranger)),
        line("r2", now(), &sign(&expired)),
        line("r3", now(), &Key::new([8; 32]).sign(&house.claim(3))),
        line("r4", old, &house.token(4)),
        line("r5", now(), "{\"person\":\"owner\",\"verdict\":\"taken\"}"),
        line(&"r".repeat(65), now(), &house.token(5)),
        line("r6", now(), &house.token(6)).replace("\"message\",", "\"open\","),
        line("r7", now(), &format!("{} {}", house.token(7), house.token(8))),
        format!("[{}]\n", line("r8", now(), &house.token(9)).trim()),
        line("r9", Moment::from_millis(i64::MIN), &house.token(10)),
    ];
    // A good one, but for its length: whoever can write so much is not the server that we know.
    let pad = format!("{{\"pad\":\"{}\",", "x".repeat(300_000));
    lines.push(line("r10", now(), &house.token(11)).replacen('{', &pad, 1));
    lines.push("[".repeat(30_000) + "\n");
    lines
}

#[tokio::test(flavor = "multi_thread")]
async fn only_what_this_house_signed_counts_and_each_of_it_once() {
    let server = Ntfy::start(Options::default()).await;
    let folder = tempfile::tempdir().unwrap();
    let followed = Followed::start(&server, folder.path());
    let house = Signer::new();
    refused(&house).into_iter().for_each(|line| server.say_raw(line.into_bytes()));
    // Spoilt lines with good tokens in them; a few of those come through whole, and then they count.
    let samples: Vec<Vec<u8>> = (100..140)
        .map(|number| line(&format!("s{number}"), now(), &house.token(number)).into_bytes())
        .collect();
    let mut spoilt = drawn(mutated(samples), 400);
    spoilt.iter_mut().for_each(|line| line.push(b'\n'));
    spoilt.into_iter().for_each(|line| server.say_raw(line));
    // Good ones between them, each of them three times: as it is, under another id, and in other white space.
    for number in 200..205 {
        let token = house.token(number);
        for (id, text) in [("g", token.clone()), ("h", token.clone()), ("i", format!(" {token}\n"))] {
            server.say_raw(line(&format!("{id}{number}"), now(), &text).into_bytes());
        }
    }
    followed
        .until("all good ones count", |followed| (200..205).all(|number| followed.count(number) > 0))
        .await;
    // The stream breaks; whatever the last id was, the follower comes back and still hears.
    server.say_raw(b"{\"id\":\"no id of any server\",\"event\":\"message\"}\n".to_vec());
    followed.until("the bytes are out", |_| server.raw_is_sent()).await;
    tokio::time::sleep(Duration::from_millis(200)).await;
    server.break_streams();
    server.say_raw(line("last", now(), &house.token(300)).into_bytes());
    followed.until("it follows again", |followed| followed.count(300) > 0).await;
    let answers = followed.answers();
    for answer in &answers {
        let number: u32 = answer.finding.as_ref().unwrap().0.rsplit('/').next().unwrap().parse().unwrap();
        assert_eq!((answer.person.as_str(), answer.verdict), ("owner", Verdict::Taken), "{answer:?}");
        assert!((100..140).contains(&number) || (200..205).contains(&number) || number == 300, "{answer:?}");
        assert_eq!(followed.count(number), 1, "{answer:?} counts twice");
        assert!(answer.at.is_some_and(|at| at <= now() && now() - at <= minutes(60.0)), "{answer:?}");
    }
    let refusals =
        followed.events.lock().unwrap().iter().filter(|event| matches!(event, Event::Refused { .. })).count();
    assert!((5..=20).contains(&refusals), "{refusals} refusals in the record");
    assert_eq!(answers.len() + refusals, followed.events.lock().unwrap().len());
    // After a restart nothing counts again: of what was written down, which comes after it counts.
    // It is written beside and renamed: a follower that starts between the two reads the older one.
    let kept = || -> bool {
        let text = std::fs::read_to_string(folder.path().join("replies.json"));
        text.is_ok_and(|text| text.contains(&house.token(300)))
    };
    followed.until("the last one is written down", |_| kept()).await;
    followed.task.abort();
    server.break_streams();
    let again = Followed::start(&server, folder.path());
    for number in (200..205).chain([300]) {
        server.say_raw(line(&format!("j{number}"), now(), &house.token(number)).into_bytes());
    }
    server.say_raw(line("after", now(), &house.token(301)).into_bytes());
    again.until("it follows", |followed| followed.count(301) > 0).await;
    let answers = again.answers();
    assert_eq!(answers.len(), 1, "{answers:?}");
}
