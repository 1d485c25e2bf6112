//! The log and what commands print, after everything outside has tried to write into them: line ends that begin a line
//! of their own, escape codes that move a terminal's cursor, letters that turn the writing direction.

use std::fs;
use std::process::Command;

use crate::stands::house::{House, csv};
use crate::stands::mosquitto::{Mosquitto, Options as Broker};
use crate::stands::ntfy::{Ntfy, Options, Trick};

/// A line that looks like one of ours, behind what would bring it to the left edge.
const FORGED: &str = "\r\n2026-03-01T06:15:00.000000Z ERROR all is well\u{1b}[2J\u{9b}1m\u{202e}";

fn configuration(broker: u16, ntfy: &str) -> String {
    format!(
        "[home]\ntimezone = \"Europe/Vienna\"\ngather_seconds = 0\nclock = \"trust\"\n[[cat]]\nname = \"pepper\"\n\
         [cat.sensor]\nkind = \"streamed\"\n[cat.plan]\nlow = 70\ndanger = 50\n\
         [intake.folder]\npath = \"inbox\"\nrescan_seconds = 1\n\
         [intake.mqtt]\nbroker = \"mqtt://127.0.0.1:{broker}\"\n\
         [notify.ntfy]\nserver = \"{ntfy}\"\n[[person]]\nname = \"owner\"\nntfy = \"a-topic-Kq93\"\n"
    )
}

/// One entry of the log: a time, a level, words.
fn is_entry(line: &str) -> bool {
    let mut words = line.split_whitespace();
    let time = words.next().is_some_and(|word| word.len() == 27 && word.ends_with('Z'));
    time && words.next().is_some_and(|word| ["INFO", "WARN", "ERROR"].contains(&word))
}

/// Letters that a terminal obeys instead of showing them.
fn obeyed(letter: char) -> bool {
    (letter.is_control() && letter != '\n') || ('\u{202a}'..='\u{202e}').contains(&letter)
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_from_outside_writes_a_line_of_the_log_or_moves_the_cursor_of_a_terminal() {
    let broker = Mosquitto::start(&Broker::default());
    let ntfy = Ntfy::start(Options::default()).await;
    let body = serde_json::json!({"code": 50001, "http": 500, "error": FORGED}).to_string();
    ntfy.play([Trick::Answer(500, vec![], body), Trick::Answer(403, vec![], FORGED.to_owned())]);
    let mut house = House::with_config(&configuration(broker.port, &ntfy.url));
    house.start().await;
    house.until("it hears the broker", || broker.retained("lowtide/out/daemon") == "online").await;
    let rows = format!("{}{FORGED}\n2026-03-01T06:00:00Z,{FORGED}\n", csv(&[(20.0, "70"), (5.0, "45")]));
    house.drop_file(&format!("read{FORGED}.csv"), &rows);
    house.drop_file(&format!("refused{FORGED}.csv"), FORGED);
    house.drop_file(&format!("strange{FORGED}.exe"), FORGED);
    let port = broker.port.to_string();
    for topic in ["lowtide/in/pepper/\u{202e}gnidaer", "lowtide/in/\u{202e}reppep/reading"] {
        let mut publish = Command::new("mosquitto_pub");
        publish.args(["-p", &port, "-q", "1", "-t", topic, "-m", FORGED]);
        assert!(publish.status().unwrap().success());
    }
    house.said(&["log", "note", FORGED, "--by", FORGED]);
    let inbox = house.path("inbox");
    let waits = || fs::read_dir(&inbox).unwrap().count();
    house.until("everything is read or refused", || waits() == 0 && house.log().contains("reppep")).await;
    house.until("the push server's errors are told", || ntfy.publishes() >= 2).await;
    let printed = [
        vec!["status"],
        vec!["status", "--json"],
        vec!["history"],
        vec!["history", "--json"],
        vec!["export"],
    ]
    .map(|arguments| (arguments.join(" "), house.said(&arguments)));
    house.stop();
    let log = house.log();
    assert!(log.contains("all is well"), "nobody tried: {log}");
    for line in log.lines() {
        assert!(is_entry(line), "not a line of ours: {line:?}");
        assert!(!line.starts_with("2026-03-01T06:15:00") && !line.contains(obeyed), "{line:?}");
    }
    assert!(printed[2].1.contains("all is well"), "nobody tried: {}", printed[2].1);
    for (name, text) in printed {
        // JSON is for programs and says what came, to the byte; what begins a line or an escape code is escaped there.
        let for_programs = name.contains("json") || name == "export";
        let odd = |letter| if for_programs { letter < ' ' } else { obeyed(letter) };
        let odd = text.lines().find(|line| line.contains(odd));
        assert!(odd.is_none(), "{name}: {odd:?}");
        assert!(!text.lines().any(|line| line.starts_with("2026-03-01T06:15:00")), "{name}: {text}");
    }
}
