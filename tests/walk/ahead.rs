//! `lowtide status --ahead` with the real program: a household in mmol/L, far from UTC, with two cats.

use crate::stands::house::{House, csv, now};
use lowtide::words::{Moment, minutes};

const HOUSEHOLD: &str = r#"
[home]
timezone = "Pacific/Auckland"
units = "mmol/L"
gather_seconds = 0
clock = "trust"
[[cat]]
name = "pepper"
called = "Pepper"
[cat.sensor]
kind = "streamed"
[cat.plan]
low = 3.9
danger = 2.8
meter_low = 3.3
[[cat]]
name = "juniper"
called = "Juniper"
[cat.sensor]
kind = "streamed"
[intake.folder]
path = "inbox"
rescan_seconds = 1
[notify.ntfy]
server = "http://127.0.0.1:9"
[[person]]
name = "owner"
called = "Robin"
ntfy = "a-topic-nobody-guesses-7f3k"
"#;

/// Readings of Pepper, in mmol/L, the last one `ago` minutes before now.
fn readings(ago: f64) -> String {
    let levels = ["9.1", "9.3", "9.0", "9.2", "9.1", "9.0", "9.2", "9.1"];
    let rows: Vec<(f64, &str)> =
        levels.iter().rev().enumerate().map(|(k, level)| (ago + 15.0 * k as f64, *level)).rev().collect();
    let text = csv(&rows);
    let (heading, rest) = text.split_once('\n').unwrap();
    let mut out = format!("{heading},cat\n");
    rest.lines().for_each(|line| out.push_str(&format!("{line},pepper\n")));
    out
}

#[tokio::test(flavor = "multi_thread")]
async fn the_next_hours_are_shown_for_each_cat_by_the_daemon_and_from_its_record() {
    let mut house = House::with_config(HOUSEHOLD);
    house.start().await;
    let empty = house.said(&["status", "--ahead"]);
    assert!(empty.starts_with("Pepper: no look ahead, no reading yet."), "{empty}");
    house.drop_file("readings.csv", &readings(1.0));
    house.until("the readings", || house.measured().len() == 8).await;

    let before = now();
    let text = house.said(&["status", "--ahead"]);
    assert!(text.starts_with("Pepper: 9.1 mmol/L at "), "{text}");
    assert!(text.contains("under 3.9 by then") && text.contains("less than 1 in 10"), "{text}");
    assert!(text.contains("Juniper: no look ahead, no reading yet."), "{text}");
    assert!(text.replace('\n', " ").contains("It is no advice about doses."), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 40), "{text}");
    // Half an hour on, by the wall clock in Auckland; the minute may turn while the program runs.
    let clock =
        |at: Moment| (at + minutes(30.0)).at(chrono_tz::Pacific::Auckland).format("%H:%M").to_string();
    let row = text.lines().find(|line| line.starts_with("30m")).expect(&text);
    let spent = now().minutes_since(before).ceil() as u32;
    let mut may = (0..=spent).map(|late| clock(before + minutes(f64::from(late))));
    assert!(may.any(|clock| row.contains(&clock)), "{row}");

    let json: serde_json::Value = serde_json::from_str(&house.said(&["status", "--json"])).unwrap();
    let cats = json["cats"].as_array().unwrap();
    let looks = |cat: &serde_json::Value| -> Vec<f64> {
        cat["ahead"].as_array().unwrap().iter().map(|look| look["minutes"].as_f64().unwrap()).collect()
    };
    assert_eq!(looks(&cats[0]), [30.0, 60.0, 90.0, 120.0, 180.0, 240.0]);
    assert!(looks(&cats[1]).is_empty());
    assert_eq!(house.run(&["status", "--ahead", "--fit"]).status.code(), Some(2), "one at a time");

    house.stop();
    let text = house.said(&["status", "--ahead"]);
    assert!(text.starts_with("The daemon is not running: nobody is watching."), "{text}");
    assert!(text.contains("Pepper: 9.1 mmol/L at "), "{text}");
}

#[tokio::test(flavor = "multi_thread")]
async fn from_an_old_reading_nothing_is_foretold() {
    let mut house = House::with_config(HOUSEHOLD);
    house.start().await;
    house.drop_file("readings.csv", &readings(120.0));
    house.until("the readings", || house.measured().len() == 8).await;
    let text = house.said(&["status", "--ahead"]).replace('\n', " ");
    assert!(text.starts_with("Pepper: no look ahead, "), "{text}");
    assert!(text.contains("the newest reading is too old (newest reading: 9.1 mmol/L at "), "{text}");
    assert!(!text.contains("1 in 10"), "{text}");
}
