//! Nobody is watching: the daemon is killed, halted or stopped, and the push server says so; while it lives, nothing
//! is said. The server stand-in holds what is scheduled as the real one does.

use std::time::Duration;

use crate::stands::house::{House, ntfy};
use crate::stands::ntfy::{Login, Ntfy, Options, Sequence};

const TITLE: &str = "Nobody is watching: Lowtide";
/// 36 seconds: the shortest there is.
const SOON: &str = "nobody_watching_hours = 0.01\n";

fn house(server: &Ntfy, after: &str) -> House {
    let persons = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n\
                   [[person]]\nname = \"sitter\"\nntfy = \"another-one-q9w2e8\"\nlanguage = \"de\"\n\
                   receives = \"critical\"\n";
    House::new(&format!("{}{after}{persons}", ntfy(&server.url)))
}

fn waits(server: &Ntfy) -> usize {
    server.waiting().iter().filter(|message| message["title"] == TITLE).count()
}

fn said(server: &Ntfy) -> usize {
    server.stored().iter().filter(|message| message["title"] == TITLE).count()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_daemon_that_lives_puts_it_off_and_one_that_is_killed_does_not() {
    let server = Ntfy::start(Options { bucket: 1000, ..Options::default() }).await;
    let mut house = house(&server, SOON);
    house.start().await;
    house.until("a message waits", || waits(&server) == 1).await;
    tokio::time::sleep(Duration::from_secs(45)).await;
    assert_eq!((waits(&server), said(&server)), (1, 0), "it must be put off while the daemon lives");
    house.kill();
    house.until("it is said", || said(&server) == 1).await;
    let message = server.stored().into_iter().find(|message| message["title"] == TITLE).unwrap();
    assert!(
        message["message"].as_str().unwrap().contains("pepper")
            || message["message"].as_str().unwrap().contains("Pepper")
    );
    assert_eq!(message["topic"], "a-topic-nobody-guesses-7f3k", "who hears of critical things only does not");
    // Back again: that is said too, and the next one waits.
    house.start().await;
    house
        .until("it says that it is back", || {
            server.stored().iter().any(|message| message["title"] == "Watching again: Lowtide")
        })
        .await;
    assert_eq!((waits(&server), said(&server)), (1, 1));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_daemon_that_hangs_is_noticed_too() {
    let server = Ntfy::start(Options { bucket: 1000, ..Options::default() }).await;
    let mut house = house(&server, SOON);
    house.start().await;
    house.until("a message waits", || waits(&server) == 1).await;
    house.signal("STOP");
    house.until("it is said", || said(&server) == 1).await;
    house.signal("CONT");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_restart_leaves_nothing_behind_and_a_stop_says_when_it_will_be_said() {
    let server = Ntfy::start(Options { bucket: 1000, ..Options::default() }).await;
    let mut house = house(&server, "nobody_watching_hours = 6\n");
    for _ in 0..3 {
        house.start().await;
        house.until("one message waits", || waits(&server) == 1).await;
        house.kill();
    }
    house.start().await;
    house.until("only one waits", || waits(&server) == 1).await;
    tokio::time::sleep(Duration::from_secs(1)).await;
    house.stop();
    assert_eq!((waits(&server), server.stored().len()), (1, 0), "a planned stop warns later, not at once");
    assert!(house.log().contains("the push server says at"), "{}", house.log());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_cannot_take_messages_back_is_found_out_and_not_used() {
    for sequence in [Sequence::Unknown, Sequence::Shown] {
        let server = Ntfy::start(Options { bucket: 1000, sequence, ..Options::default() }).await;
        let mut house = house(&server, SOON);
        house.start().await;
        house.until("it is told", || house.said(&["status"]).contains("cannot take back a message")).await;
        assert!(house.log().contains("ntfy 2.17 or later"), "{}", house.log());
        assert_eq!(waits(&server), 0, "a false alarm would come in {sequence:?}");
        // The trial itself, shown in three days and without a sound.
        let trial = server.waiting();
        assert_eq!(trial.len(), 1);
        assert_eq!(
            (trial[0]["priority"].as_i64(), trial[0]["title"].as_str()),
            (Some(1), Some("The push server is too old: Lowtide"))
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_login_that_is_refused_is_not_tried_again_and_again() {
    let login = Login { name: "lowtide".into(), password: "right".into(), token: "tk_right".into() };
    let server = Ntfy::start(Options { bucket: 1000, logins: vec![login], ..Options::default() }).await;
    let mut house = house(&server, SOON);
    house.start().await;
    house.until("it asks", || server.requests() > 0).await;
    tokio::time::sleep(Duration::from_secs(4)).await;
    assert_eq!(server.requests(), 1, "{}", house.log());
}
