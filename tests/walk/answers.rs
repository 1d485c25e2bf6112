//! Answers from phones, with no port open at home: a button is pressed as a phone would press it.

use std::time::Duration;

use serde_json::Value;

use crate::stands::house::{House, ntfy};
use crate::stands::ntfy::{Login, Ntfy, Options};

const OWNER: &str = "owner-topic-nobody-guesses-7f3k";
const SITTER: &str = "sitter-topic-nobody-guesses-2m9q";
const REPLIES: &str = "replies-nobody-guesses-x81p";

fn house(server: &Ntfy) -> House {
    house_with(server, "")
}

/// The same with more about the cat.
fn house_with(server: &Ntfy, cat: &str) -> House {
    House::new(&format!(
        "{cat}[notify.ntfy]\nserver = \"{}\"\nreply_topic = \"{REPLIES}\"\n\
         [[person]]\nname = \"owner\"\ncalled = \"Robin\"\nntfy = \"{OWNER}\"\n\
         [[person]]\nname = \"sitter\"\ncalled = \"Sam\"\nntfy = \"{SITTER}\"\n",
        server.url
    ))
}

fn on(server: &Ntfy, topic: &str) -> Vec<Value> {
    server.stored().into_iter().filter(|push| push["topic"] == topic).collect()
}

/// Two doses at once are critical, to everyone; gives the push that each of the two got.
async fn two_doses(house: &House, server: &Ntfy) -> (Value, Value) {
    house.said(&["log", "dose", "--by", "Robin"]);
    house.said(&["log", "dose", "--by", "Sam", "--again"]);
    house.until("both are told", || !on(server, OWNER).is_empty() && !on(server, SITTER).is_empty()).await;
    (on(server, OWNER)[0].clone(), on(server, SITTER)[0].clone())
}

fn text<'a>(push: &'a Value, key: &str) -> &'a str {
    push["actions"][0][key].as_str().unwrap()
}

/// What a phone does when the first button is pressed.
async fn press(push: &Value) {
    assert_eq!((text(push, "action"), text(push, "method")), ("http", "POST"));
    post(text(push, "url"), text(push, "body")).await;
}

async fn post(url: &str, body: &str) {
    lowtide::tls::install_provider();
    let sent = reqwest::Client::new().post(url).body(body.to_owned()).send().await.unwrap();
    assert_eq!(sent.status(), 200);
}

/// How many events of a kind the record holds.
fn recorded(house: &House, kind: &str) -> usize {
    let lines = house.said(&["export"]);
    lines.lines().filter(|line| line.contains(&format!("\"what\":\"{kind}\""))).count()
}

fn taken(house: &House) -> bool {
    house.said(&["status"]).to_lowercase().contains("taken by")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pressed_button_answers_and_the_other_person_hears_who_took_it() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = house(&server);
    house.start().await;
    let (owner, _) = two_doses(&house, &server).await;
    press(&owner).await;
    house.until("the answer counts", || taken(&house)).await;
    let heard = |push: &Value| push["title"].as_str().is_some_and(|title| title.contains("Robin is on it"));
    house.until("the sitter hears who took it", || on(&server, SITTER).iter().any(heard)).await;
    assert!(!on(&server, OWNER).iter().any(heard));

    // Published again by somebody who listens, it is used; with one letter changed, it is forged.
    press(&owner).await;
    let forged = text(&owner, "body").replacen('A', "B", 1);
    post(text(&owner, "url"), &forged).await;
    post(text(&owner, "url"), "{\"person\":\"owner\",\"verdict\":\"taken\"}").await;
    house.until("the refusals are recorded", || recorded(&house, "refused") == 3).await;
    assert_eq!(recorded(&house, "answer"), 1);
    let export = house.said(&["export"]);
    assert!(export.contains("used before") && export.contains("signature is not ours"), "{export}");
    assert!(!export.contains(text(&owner, "body")), "a token stands in the record");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_answer_is_not_lost_when_the_stream_breaks_or_the_daemon_is_away_and_counts_once() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = house(&server);
    house.start().await;
    let (owner, _) = two_doses(&house, &server).await;
    server.break_streams();
    press(&owner).await;
    house.until("the answer counts", || taken(&house)).await;

    server.break_streams();
    tokio::time::sleep(Duration::from_millis(1500)).await;
    house.stop();
    house.start().await;
    tokio::time::sleep(Duration::from_millis(1500)).await;
    assert_eq!((recorded(&house, "answer"), recorded(&house, "refused")), (1, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_answer_that_waited_at_the_server_is_applied_once_after_a_restart() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = house(&server);
    house.start().await;
    let (_, sitter) = two_doses(&house, &server).await;
    house.kill();
    press(&sitter).await;
    house.start().await;
    house.until("the answer counts", || taken(&house)).await;
    house.kill();
    house.start().await;
    tokio::time::sleep(Duration::from_millis(1500)).await;
    assert_eq!((recorded(&house, "answer"), recorded(&house, "refused")), (1, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn without_a_reply_topic_there_are_no_buttons() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!(
        "[notify.ntfy]\nserver = \"{}\"\n[[person]]\nname = \"owner\"\nntfy = \"{OWNER}\"\n",
        server.url
    ));
    house.start().await;
    house.said(&["log", "dose", "--by", "Robin"]);
    house.said(&["log", "dose", "--by", "Robin", "--again"]);
    house.until("the owner is told", || !on(&server, OWNER).is_empty()).await;
    assert!(on(&server, OWNER)[0].get("actions").is_none());
    assert!(!house.path("data/answer-key").exists());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reply_topic_that_may_not_be_read_is_told_at_once_and_asked_rarely() {
    let login = Login { name: "lowtide".into(), password: "right".into(), token: "tk_right".into() };
    let server = Ntfy::start(Options { logins: vec![login], ..Options::default() }).await;
    let mut house = House::new(&format!(
        "{}reply_topic = \"k3v9p1xw7hq2zr8d\"\n[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n",
        ntfy(&server.url)
    ));
    house.start().await;
    house.until("it is told", || house.said(&["status"]).contains("source-refused")).await;
    // The topic once, and the message about it to the owner, which is refused as well.
    tokio::time::sleep(std::time::Duration::from_secs(5)).await;
    assert_eq!(
        (server.requests() - server.publishes(), server.publishes() <= 2),
        (1, true),
        "{}",
        house.log()
    );
}

/// A dose is due now: the owner presses "Dose given", and whoever says so after that is stopped.
#[tokio::test(flavor = "multi_thread")]
async fn a_dose_is_recorded_by_a_button_and_the_second_one_is_stopped() {
    let server = Ntfy::start(Options::default()).await;
    let due = crate::stands::house::now().at(chrono_tz::Europe::Vienna).format("%H:%M").to_string();
    let mut house = house_with(&server, &format!("[cat.doses]\ntimes = [\"{due}\"]\n"));
    house.start().await;
    let pressed =
        |push: &Value| push["title"] == "Dose due: Pepper" && push["actions"][0]["label"] == "Dose given";
    house.until("the dose is due", || on(&server, OWNER).iter().any(pressed)).await;
    let push = on(&server, OWNER).into_iter().find(pressed).unwrap();
    press(&push).await;
    let titled = |topic: &str, title: &str| on(&server, topic).into_iter().any(|push| push["title"] == title);
    house.until("the dose is recorded", || titled(OWNER, "Dose recorded: Pepper")).await;
    assert_eq!((recorded(&house, "dose"), recorded(&house, "answer")), (1, 0));

    let stopped = house.run(&["log", "answer", "given", "--person", "sitter"]);
    assert!(String::from_utf8_lossy(&stopped.stderr).contains("is recorded already"), "{stopped:?}");
    house.until("the sitter is stopped", || titled(SITTER, "Dose was given already: Pepper")).await;
    let told = on(&server, SITTER)
        .into_iter()
        .find(|push| push["title"] == "Dose was given already: Pepper")
        .unwrap();
    assert!(told["message"].as_str().unwrap().starts_with("Robin gave it at "), "{told}");
    let refused = house.run(&["log", "dose", "--by", "Sam"]);
    assert!(!refused.status.success());
    assert!(String::from_utf8_lossy(&refused.stderr).contains("is recorded already: nothing was recorded"));
    assert_eq!(recorded(&house, "dose"), 1);
}
