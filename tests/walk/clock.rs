//! The whole daemon (record, doors, carriers) around a clock that the test sets: ahead and set back, and not set at all
//! as on a board without a clock of its own. `run` takes its clock as an argument, so nothing in it is different here.

use std::sync::atomic::Ordering;
use std::time::Duration;

use lowtide::clock::Clock;
use lowtide::words::minutes;

use crate::running::{Running, Wrong};
use crate::stands::house::{House, csv, ntfy};
use crate::stands::ntfy::{Ntfy, Options, Trick};

const PERSON: &str = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";

fn house(server: &Ntfy) -> House {
    let house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    let config = std::fs::read_to_string(house.path("lowtide.toml")).unwrap();
    let doubting = config.replace("clock = \"trust\"\n", "");
    assert_ne!(doubting, config);
    std::fs::write(house.path("lowtide.toml"), doubting).unwrap();
    house
}

fn titles(server: &Ntfy) -> Vec<String> {
    server.stored().iter().map(|push| push["title"].as_str().unwrap().to_owned()).collect()
}

const LOW: &str = "Dangerously low: Pepper";

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_set_back_by_hours_or_years_leaves_the_cat_watched() {
    for ahead in [180, 5 * 525_960] {
        let server = Ntfy::start(Options::default()).await;
        let house = house(&server);
        let clock = Wrong::by(ahead);
        let daemon = Running::start(&house, &clock);
        house.drop_file("before.csv", &csv(&[(20.0, "120"), (5.0, "118")]));
        house.until("the first file", || house.path("done/before.csv").exists()).await;
        clock.put_right();
        house.drop_file("notice.csv", &csv(&[(4.0, "117")]));
        house.until("the second file", || house.path("done/notice.csv").exists()).await;
        clock.skip(Duration::from_secs(30));
        house.drop_file("low.csv", &csv(&[(3.0, "70"), (0.5, "45")]));
        house.until("the low is told", || titles(&server).iter().any(|title| title == LOW)).await;
        house
            .until("the owner is told of the clock", || {
                titles(&server).iter().any(|title| title == "Clock was set back: Lowtide")
            })
            .await;
        daemon.end().await;
        // The record tells the same again, by its own order and not by its times.
        assert_eq!(house.measured().len(), 5, "{ahead}");
        let status = house.said(&["status", "--json"]);
        let status: serde_json::Value = serde_json::from_str(&status).unwrap();
        assert_eq!(status["cats"][0]["fresh"], true, "{status}");
    }
}

/// It asks after the clock again and again, and opens neither its record nor a door meanwhile. Whether it waits or not
/// it asks, and before it asks a third time without waiting, its socket is there.
async fn still_waits(house: &House, clock: &Wrong) {
    house.until("it asks after the clock", || clock.asked() >= 3).await;
    assert!(!house.path("data/lowtide.sock").exists(), "it does not wait");
    assert!(house.path("inbox/low.csv").exists(), "it takes files in");
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_judged_before_the_clock_of_the_board_is_set() {
    let server = Ntfy::start(Options::default()).await;
    let house = house(&server);
    let clock = Wrong::never_set(-300, Duration::from_secs(20));
    let daemon = Running::start(&house, &clock);
    house.drop_file("low.csv", &csv(&[(20.0, "70"), (5.0, "45")]));
    still_waits(&house, &clock).await;
    assert!(server.stored().is_empty());
    clock.put_right();
    house.until("the low is told", || titles(&server) == [LOW]).await;
    daemon.end().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_board_that_is_never_told_the_time_waits_three_minutes_and_then_says_so() {
    let server = Ntfy::start(Options::default()).await;
    let house = house(&server);
    let clock = Wrong::never_set(0, Duration::from_secs(150));
    let daemon = Running::start(&house, &clock);
    house.drop_file("low.csv", &csv(&[(20.0, "70"), (5.0, "45")]));
    still_waits(&house, &clock).await;
    clock.skip(Duration::from_secs(31));
    let unset = "Computer's clock is not set: Lowtide";
    house
        .until("both are told", || {
            let titles = titles(&server);
            titles.iter().any(|title| title == LOW) && titles.iter().any(|title| title == unset)
        })
        .await;
    assert!(house.said(&["status"]).contains("clock-wrong"));
    clock.put_right();
    house
        .until("it is over", || {
            house.drop_file("more.csv", &csv(&[(1.0, "45")]));
            !house.said(&["status"]).contains("clock-wrong")
        })
        .await;
    daemon.end().await;
}

/// A day passes in seconds: the clock of the test is put forward an hour at a time, each with a low of that hour.
#[tokio::test(flavor = "multi_thread")]
async fn a_day_without_the_push_server_ends_in_one_summary_and_not_in_a_flood() {
    let server = Ntfy::start(Options::default()).await;
    server.play(std::iter::repeat_n(Trick::status(500), 5000));
    let house = house(&server);
    let clock = Wrong::by(0);
    let daemon = Running::start(&house, &clock);
    let low = |name: &str| {
        let now = clock.now();
        let text = format!("measured_at,glucose\n{},70\n{},45\n", now - minutes(20.0), now - minutes(1.0));
        house.drop_file(name, &text);
    };
    for hour in 0..24 {
        let name = format!("hour-{hour}.csv");
        low(&name);
        house.until("the hour's file", || house.path("done").join(&name).exists()).await;
        clock.ahead_minutes.fetch_add(60, Ordering::SeqCst);
    }
    assert!(server.stored().is_empty() && server.publishes() > 0);
    server.behave();
    low("back.csv");
    let summary = "While messages did not get through";
    let told = |title: &str| titles(&server).iter().any(|told| told.starts_with(title));
    for minute in 0..30 {
        if told(LOW) && told(summary) {
            break;
        }
        clock.ahead_minutes.fetch_add(1, Ordering::SeqCst);
        // Something happens each minute, so that the daemon looks at its clock.
        house.said(&["log", "note", &format!("minute {minute}")]);
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    assert!(told(LOW), "{:?}", titles(&server));
    tokio::time::sleep(Duration::from_secs(2)).await;
    let titles = titles(&server);
    assert_eq!(titles.iter().filter(|title| *title == summary).count(), 1, "{titles:?}");
    assert!(titles.len() <= 6, "a flood: {titles:?}");
    daemon.end().await;
}
