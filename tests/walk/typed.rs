//! What somebody types who sets Lowtide up: slips of theirs are answered with what would be right.

use std::fs;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Output;

use crate::stands::house::{House, csv, now, ntfy, program};

const OWNER: &str = "[[person]]\nname = \"owner\"\ncalled = \"Olive\"\nntfy = \"x7k2m9qf4td8wz3h\"\n";

fn house() -> House {
    House::new(&format!("{}{OWNER}", ntfy("http://127.0.0.1:9")))
}

/// Why a command was refused.
fn why(output: &Output, code: i32) -> String {
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(code), "{text}{}", String::from_utf8_lossy(&output.stdout));
    text
}

#[test]
fn a_test_message_to_nobody_is_answered_with_the_names_there_are() {
    let said = why(&house().run(&["try", "--person", "Olive"]), 2);
    assert!(said.contains("there is no person 'Olive'; there are: owner"), "{said}");
}

#[test]
fn a_test_message_that_no_server_took_is_not_looked_for_on_the_phone() {
    let output = house().run(&["try"]);
    let said = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("does not at a low either: look at the server's address"), "{said}");
    assert!(!said.contains("look at the phone") && !said.contains("--loud"), "{said}");
}

#[test]
fn a_server_that_speaks_no_tls_is_called_that() {
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("https://{}", server.local_addr().unwrap());
    std::thread::spawn(move || {
        for stream in server.incoming() {
            let mut stream = stream.unwrap();
            let _ = stream.read(&mut [0; 512]);
            let _ = stream.write_all(b"HTTP/1.1 400 Bad Request\r\ncontent-length: 0\r\n\r\n");
        }
    });
    let output = House::new(&format!("{}{OWNER}", ntfy(&url))).run(&["try"]);
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(said.contains("does not speak TLS (http:// instead of https://"), "{said}");
}

#[test]
fn without_any_configuration_it_is_said_where_one_was_looked_for() {
    let folder = tempfile::tempdir().unwrap();
    let status = || {
        let mut command = program();
        command.arg("status").current_dir(folder.path()).env_remove("LOWTIDE_CONFIG");
        command
    };
    if !Path::new("/etc/lowtide").exists() {
        let said = why(&status().output().unwrap(), 2);
        assert!(said.contains("there is no lowtide.toml in this folder"), "{said}");
        assert!(said.contains("/etc/lowtide/lowtide.toml") && said.contains("--config FILE"), "{said}");
    }
    let said = why(&status().env("LOWTIDE_CONFIG", "mine.toml").output().unwrap(), 2);
    assert!(said.contains("mine.toml: cannot be read"), "{said}");
}

#[test]
fn a_stretch_of_the_record_may_begin_with_a_day() {
    let house = house();
    house.said(&["log", "reading", "112"]);
    let page = house.path("page.html");
    let report = |from: &str| house.run(&["report", "--from", from, "--out", page.to_str().unwrap()]);
    let day = crate::stands::house::now().at(chrono_tz::Europe::Vienna).format("%Y-%m-%d").to_string();
    assert!(report(&day).status.success(), "{}", String::from_utf8_lossy(&report(&day).stderr));
    assert!(why(&report("2026-02-30"), 2).contains("is not a time"));
    house.said(&["history", "--from", &day]);
}

#[test]
fn a_replay_shows_in_words_what_would_have_been_sent() {
    let house = house();
    let file = house.path("old.csv");
    fs::write(&file, "measured_at,glucose\n2026-03-01T01:00:00+01:00,61\n2026-03-01T01:15:00+01:00,LO\n")
        .unwrap();
    let file = file.to_str().unwrap();
    let said = house.said(&["replay", file]);
    assert!(
        said.contains("Sun 01 Mar 01:15  to Olive\n  Dangerously low: Pepper (worse)\n  Act now. "),
        "{said}"
    );
    let out = house.path("found.ndjson");
    let said = house.said(&["replay", "--out", out.to_str().unwrap(), file]);
    assert_eq!(said.lines().count(), 1, "in the file, not on the screen: {said}");
}

#[test]
fn readings_that_somebody_imports_belong_into_the_inbox() {
    let house = house();
    let file = house.path("readings.csv");
    fs::write(&file, csv(&[(10.0, "112")])).unwrap();
    let said = why(&house.run(&["import", file.to_str().unwrap()]), 1);
    assert!(said.contains("drop it into the inbox"), "{said}");
}

#[test]
fn what_keeps_it_from_starting_is_not_hidden_behind_advice() {
    let secret = "username = \"lowtide\"\npassword_file = \"none\"\n";
    let house =
        House::new(&format!("{}{secret}{OWNER}receives = \"critical\"\n", ntfy("http://127.0.0.1:9")));
    let checked = house.run(&["check"]);
    assert!(String::from_utf8_lossy(&checked.stdout).contains("advice: "), "there is some");
    let said = why(&house.run(&["run"]), 2);
    assert!(said.contains("password_file") && !said.contains("advice"), "{said}");
}

/// The installed service: whoever is in its group drops files, and can read why one was not taken.
#[tokio::test(flavor = "multi_thread")]
async fn why_a_file_was_rejected_can_be_read_by_the_group_of_the_service() {
    let unit =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/lowtide.service")).unwrap();
    let mask = unit.lines().find_map(|line| line.strip_prefix("UMask=")).unwrap();
    let mut house = house();
    house.begin(&format!("umask {mask};"));
    let reason = house.path("rejected/empty.csv.reason.txt");
    house.until("it has looked at the folder", || house.path("data/lowtide.sock").exists()).await;
    house.drop_file("empty.csv", "nothing\n");
    house.until("the file is rejected", || reason.exists()).await;
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!((mode(&house.path("rejected")), mode(&reason)), (0o750, 0o640));
    assert_eq!(mode(&house.path("data")), 0o700, "what is kept is the daemon's alone");
    house.stop();
}

/// A table from elsewhere, semicolons and all: what is to be written into the configuration is said, and is right.
#[tokio::test(flavor = "multi_thread")]
async fn a_foreign_table_comes_back_with_the_lines_that_read_it() {
    let mut house = house();
    house.start().await;
    let zone = chrono_tz::Europe::Vienna;
    let row = |ago: f64, level: &str| {
        let at = (now() - lowtide::words::minutes(ago)).at(zone);
        format!("{};{level};ok\n", at.format("%d.%m.%Y %H:%M"))
    };
    let table = format!("Auszug\nZeitpunkt;Glukose (mmol/L);Status\n{}{}", row(20.0, "6,2"), row(5.0, "6,4"));
    house.drop_file("export.csv", &table);
    let reason = house.path("rejected/export.csv.reason.txt");
    house.until("it is rejected", || reason.exists()).await;
    let said = fs::read_to_string(&reason).unwrap();
    assert!(said.contains("2 readings, the first one 6.2 mmol/L"), "{said}");
    let foreign = house.path("foreign.csv");
    fs::write(&foreign, &table).unwrap();
    let shown = why(&house.run(&["replay", foreign.to_str().unwrap()]), 1);
    let lines = |text: &str| text[text.rfind("[[intake.layout]]\n").unwrap()..].to_owned();
    assert!(said.contains(lines(&shown).trim()), "{shown}");
    house.stop();

    let proposed = lines(&said);
    let proposed = proposed.split("\n\n").next().unwrap();
    let before = fs::read_to_string(house.path("lowtide.toml")).unwrap();
    fs::write(house.path("lowtide.toml"), format!("{before}\n{proposed}\n")).unwrap();
    house.start().await;
    house.drop_file("export.csv", &table);
    house.until("it is read", || house.measured().len() == 2).await;
    // 6.4 mmol/L is 115.3 mg/dL by the molar mass of glucose.
    assert!(house.said(&["status"]).contains("115 mg/dL"), "{}", house.said(&["status"]));
}
