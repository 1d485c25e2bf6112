//! A file is dropped, a push message arrives.

use crate::stands::house::{House, csv, email, ntfy, program};
use crate::stands::ntfy::{Ntfy, Options, Trick};
use crate::stands::smtp::{self, Sink};

const PERSON: &str =
    "[[person]]\nname = \"owner\"\ncalled = \"Robin\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";

#[tokio::test(flavor = "multi_thread")]
async fn a_dropped_file_becomes_a_push_message_with_the_right_words() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    house.start().await;
    house.drop_file("scan.csv", &csv(&[(50.0, "96"), (35.0, "80"), (20.0, "62"), (5.0, "47")]));
    house.until("a push message", || !server.stored().is_empty()).await;
    let push = &server.stored()[0];
    assert_eq!(push["title"], "Dangerously low: Pepper");
    assert_eq!(push["priority"], 5);
    let text = push["message"].as_str().unwrap();
    assert!(text.contains("the sensor read 47 mg/dL"), "{text}");
    assert!(text.contains("Offer food and call us.") && text.contains("555 0100"), "{text}");
    house.until("the file is in done/", || house.path("done/scan.csv").exists()).await;
    assert_eq!(house.measured().len(), 4);
    let history = house.said(&["history"]);
    assert!(
        history.contains("low-now opened (critical)") && history.contains("taken by the server"),
        "{history}"
    );

    // The same file again changes nothing; a restart says nothing again.
    house.drop_file("again.csv", &std::fs::read_to_string(house.path("done/scan.csv")).unwrap());
    house.until("the copy is in done/", || house.path("done/again.csv").exists()).await;
    house.stop();
    house.start().await;
    assert_eq!(house.measured().len(), 4);
    assert_eq!(server.publishes(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_start_makes_the_inbox_and_a_later_one_says_that_it_is_gone() {
    let mut house = House::new(&format!("{}{PERSON}", ntfy("http://127.0.0.1:9")));
    let inbox = house.path("inbox");
    std::fs::remove_dir(&inbox).unwrap();
    house.start().await;
    assert!(inbox.is_dir(), "{}", house.log());
    house.drop_file("scan.csv", &csv(&[(5.0, "120")]));
    house.until("the file is in done/", || house.path("done/scan.csv").exists()).await;
    house.stop();
    std::fs::remove_dir(&inbox).unwrap();
    house.start().await;
    house.until("it is told", || house.said(&["status"]).contains("the folder cannot be read")).await;
    assert!(!inbox.exists());
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_sensor_cannot_read_is_critical_and_reads_in_the_persons_unit() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!("{}{PERSON}units = \"mmol/L\"\n", ntfy(&server.url)));
    house.start().await;
    house.drop_file("scan.csv", &csv(&[(35.0, "70"), (20.0, "52"), (5.0, "LO")]));
    house.until("a push message", || !server.stored().is_empty()).await;
    let text = server.stored()[0]["message"].as_str().unwrap().to_owned();
    assert!(text.contains("showed less than it can read (under 2.2 mmol/L)"), "{text}");
    assert!(!text.contains("mg/dL"), "{text}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_push_server_that_refuses_hands_over_to_the_mail_at_once() {
    let server = Ntfy::start(Options::default()).await;
    server.play([Trick::status(403)]);
    let sink = Sink::start(&smtp::Options::default());
    let both = format!("{}{}{PERSON}email = \"owner@example.org\"\n", ntfy(&server.url), email(sink.port));
    let mut house = House::new(&both);
    house.start().await;
    house.drop_file("scan.csv", &csv(&[(20.0, "60"), (5.0, "45")]));
    let mail = &sink.mails(1).await[0];
    assert_eq!(mail["headers"]["Subject"], "Dangerously low: Pepper");
    assert!(mail["text"].as_str().unwrap().contains("Sensors are not approved for cats"));
    house.until("the trouble is noted", || house.said(&["status"]).contains("delivery-failing")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_push_server_with_a_bad_moment_is_tried_again() {
    let server = Ntfy::start(Options::default()).await;
    server.play([Trick::status(500), Trick::StoreThenBreak]);
    let mut house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    house.start().await;
    house.drop_file("scan.csv", &csv(&[(20.0, "60"), (5.0, "45")]));
    // The answer to the second attempt is lost; the third finds the message on the server and says it once only.
    house
        .until("the message counts as delivered", || {
            house.said(&["history"]).contains("attempt 3: taken by the server")
        })
        .await;
    assert_eq!((server.stored().len(), server.publishes()), (1, 2));
}

#[tokio::test(flavor = "multi_thread")]
async fn bad_rows_are_set_aside_with_their_reason_and_good_ones_kept() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    house.start().await;
    let mut text = csv(&[(20.0, "120"), (5.0, "118")]);
    text.push_str("yesterday,110\n");
    house.drop_file("mixed.csv", &text);
    house.until("the rejects", || house.path("rejected/mixed.csv.rejects.csv").exists()).await;
    let rejects = std::fs::read_to_string(house.path("rejected/mixed.csv.rejects.csv")).unwrap();
    assert!(rejects.contains('4') && rejects.contains("yesterday"), "{rejects}");
    house.until("the good ones", || house.measured().len() == 2).await;
    house.until("the owner is told", || !server.stored().is_empty()).await;
    assert_eq!(server.stored()[0]["title"], "File not fully readable: Lowtide");
    let place = format!("see \"{}\"", house.path("rejected/mixed.csv.rejects.csv").display());
    let text = server.stored()[0]["message"].as_str().unwrap().to_owned();
    assert!(text.contains(&place), "{text}");
    let status = house.said(&["status"]);
    assert!(status.contains(&place), "{status}");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_export_brought_into_another_folder_is_the_same_record() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    house.start().await;
    house.said(&["log", "dose", "--by", "Robin"]);
    house.said(&["log", "meter", "104", "--meter", "pet"]);
    house.said(&["log", "spare", "2"]);
    house.drop_file("scan.csv", &csv(&[(20.0, "120"), (5.0, "118")]));
    house.until("the readings", || house.measured().len() == 2).await;
    house.said(&["export", "--out", house.path("all.ndjson").to_str().unwrap()]);
    let other = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    let brought = other.said(&["import", house.path("all.ndjson").to_str().unwrap()]);
    assert!(brought.contains("brought in"), "{brought}");
    assert_eq!(other.said(&["export"]), std::fs::read_to_string(house.path("all.ndjson")).unwrap());
    assert!(other.said(&["status"]).contains("The daemon is not running"));
}

/// While the daemon opens its record, whoever asks waits for it instead of being turned away.
#[tokio::test(flavor = "multi_thread")]
async fn a_command_waits_for_a_daemon_that_is_just_starting() {
    let mut house = House::new(&format!("{}{PERSON}", ntfy("http://127.0.0.1:9")));
    house.said(&["log", "spare", "1"]);
    let lock = std::fs::File::open(house.path("data/lock")).unwrap();
    rustix::fs::flock(&lock, rustix::fs::FlockOperation::LockExclusive).unwrap();
    let waiting = std::thread::scope(|scope| {
        let asked = scope.spawn(|| house.run(&["status"]));
        std::thread::sleep(std::time::Duration::from_millis(600));
        assert!(!asked.is_finished(), "it waits");
        rustix::fs::flock(&lock, rustix::fs::FlockOperation::Unlock).unwrap();
        asked.join().unwrap()
    });
    assert!(waiting.status.success(), "{}", String::from_utf8_lossy(&waiting.stderr));
    house.start().await;
    house.stop();
}

#[test]
fn a_reader_who_has_seen_enough_is_no_failure() {
    let house = House::new(&format!("{}{PERSON}", ntfy("http://127.0.0.1:9")));
    for words in [&["check"][..], &["status"], &["status", "--json"], &["sensors"], &["scans"], &["history"]]
    {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let mut command = program();
        command.args(words).arg("--config").arg(house.path("lowtide.toml")).stdout(writer);
        let output =
            command.stderr(std::process::Stdio::piped()).spawn().unwrap().wait_with_output().unwrap();
        let why = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.code() != Some(101) && !why.contains("panicked"), "{words:?}: {why}");
    }
}

#[test]
fn the_demo_tells_its_whole_story_and_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let output = program().args(["demo", "--for", "2s"]).current_dir(folder.path()).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success());
    for (what, words) in [
        ("a window reminder", "Scan before"),
        ("a low seen ahead", "Glucose may soon be low: Pepper"),
        ("an answer", "Robin presses \"I am on it\""),
        ("a delivery that fails over", "Robin's mailbox"),
        ("a sensor that goes silent early", "Scan brought nothing new: Pepper"),
    ] {
        assert!(text.contains(words), "the demo does not show {what}:\n{text}");
    }
    // The excerpt in the README is what a reader sees.
    let readme = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).unwrap();
    let excerpt: Vec<&str> = readme
        .lines()
        .skip_while(|line| !line.starts_with("Sat 21:07"))
        .take_while(|line| *line != "```")
        .collect();
    assert!(excerpt.len() > 8);
    for line in excerpt {
        assert!(
            text.lines().any(|told| told == line),
            "the README shows {line:?}, the demo does not:\n{text}"
        );
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

/// A week in the life, in each language: the titles that arrive, in order, on whose phone.
#[test]
fn a_week_is_told_in_order_and_in_three_languages() {
    let week = [
        ("Robin", ["Sam takes over: Pepper", "Sam übernimmt: Pepper", "Sam prend le relais : Pepper"]),
        ("Sam", ["Scan before 17:25: Pepper", "Vor 17:25 scannen: Pepper", "Scannez avant 17:25 : Pepper"]),
        (
            "Sam",
            [
                "Scan before the night: Pepper",
                "Vor der Nacht scannen: Pepper",
                "Scannez avant la nuit : Pepper",
            ],
        ),
        ("Sam", ["Glucose is low: Pepper", "Blutzucker ist tief: Pepper", "Glycémie basse : Pepper"]),
        (
            "Sam",
            [
                "Dangerously low: Pepper (worse)",
                "Gefährlich tief: Pepper (schlimmer)",
                "Dangereusement bas : Pepper (pire)",
            ],
        ),
        (
            "Kim",
            [
                "Dangerously low: Pepper (no answer yet)",
                "Gefährlich tief: Pepper (noch keine Antwort)",
                "Dangereusement bas : Pepper (pas encore de réponse)",
            ],
        ),
        ("Sam", ["Kim is on it: Pepper", "Kim kümmert sich: Pepper", "Kim s'en occupe : Pepper"]),
        ("Kim", ["Low by the meter: Pepper", "Tief laut Messgerät: Pepper", "Bas selon le lecteur : Pepper"]),
        ("Kim", ["No longer low: Pepper", "Nicht mehr tief: Pepper", "Ce n'est plus bas : Pepper"]),
        (
            "Sam",
            [
                "Scan brought nothing new: Pepper",
                "Scan brachte nichts Neues: Pepper",
                "Le scan n'a rien apporté : Pepper",
            ],
        ),
        (
            "Robin",
            [
                "Few sensors left: Pepper",
                "Wenige Sensoren übrig: Pepper",
                "Peu de capteurs en réserve : Pepper",
            ],
        ),
        (
            "Sam",
            ["Dose due at 19:00: Pepper", "Dosis fällig um 19:00: Pepper", "Dose prévue à 19:00 : Pepper"],
        ),
        ("Sam", ["Robin takes over: Pepper", "Robin übernimmt: Pepper", "Robin prend le relais : Pepper"]),
        ("Sam", ["Dose recorded: Pepper", "Dosis eingetragen: Pepper", "Dose notée : Pepper"]),
        (
            "Robin",
            [
                "Dose was given already: Pepper",
                "Dosis ist schon gegeben: Pepper",
                "La dose est déjà donnée : Pepper",
            ],
        ),
    ];
    for (which, language) in ["en", "de", "fr"].into_iter().enumerate() {
        let output =
            program().args(["demo", "--week", "--for", "2s", "--language", language]).output().unwrap();
        assert!(output.status.success());
        let text = String::from_utf8(output.stdout).unwrap();
        let mut rest = text.as_str();
        for (who, titles) in &week {
            let title = titles[which];
            let found = rest.match_indices(&format!("+-- {who}'s phone")).find_map(|(at, _)| {
                // A title may need two lines of a phone.
                let head: String = rest[at..].lines().skip(1).take_while(|line| line.trim() != "|").collect();
                let head = head.replace("    | ", " ");
                (head.trim() == title).then_some(at)
            });
            let at = found
                .unwrap_or_else(|| panic!("{language}: {who} does not hear {title:?} in its place:\n{text}"));
            rest = &rest[at + 4..];
        }
        assert!(!text.contains("{"), "a value is missing:\n{text}");
    }
}

#[test]
fn a_value_in_the_other_unit_is_questioned_and_the_record_works_without_a_daemon() {
    let house = House::new(&format!("{}{PERSON}", ntfy("http://127.0.0.1:9")));
    let odd = house.run(&["log", "meter", "5.1"]);
    assert_eq!(odd.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&odd.stderr).contains("--unit mmol/L"));
    let kept = house.said(&["log", "meter", "5.1", "--unit", "mmol/L"]);
    assert!(kept.contains("told once it runs"), "{kept}");
    assert!(house.said(&["export"]).contains("\"glucose\":91.8"), "{}", house.said(&["export"]));
}

/// Where people write 5,1 they do so at three in the morning too.
#[test]
fn a_level_typed_with_a_decimal_comma_is_kept() {
    let house = House::new(&format!("{}{PERSON}", ntfy("http://127.0.0.1:9")));
    house.said(&["log", "meter", "5,1", "--unit", "mmol/L"]);
    assert!(house.said(&["export"]).contains("\"glucose\":91.8"), "{}", house.said(&["export"]));
    for odd in ["5,1", "1,234", "5,1,2"] {
        let refused = house.run(&["log", "meter", odd]);
        assert_eq!(refused.status.code(), Some(2), "{odd}: {}", String::from_utf8_lossy(&refused.stdout));
    }
}

#[test]
fn what_is_logged_for_a_time_to_come_is_refused_with_what_now_is() {
    let house = House::new(&format!("{}{PERSON}", ntfy("http://127.0.0.1:9")));
    for what in
        [&["meter", "120"][..], &["sensor", "applied"], &["dose"], &["reading", "120"], &["note", "x"]]
    {
        for at in ["2199-01-01 03:15", "2199-01-01T03:15:00Z"] {
            let refused = house.run(&[&["log"], what, &["--at", at]].concat());
            let said = String::from_utf8_lossy(&refused.stderr).into_owned();
            assert_eq!(refused.status.code(), Some(2), "{what:?} {at}: {said}");
            assert!(said.contains("2199-01-01") && said.contains("in the future: it is now 2"), "{said}");
        }
    }
    assert!(!house.said(&["export"]).contains("2199"), "{}", house.said(&["export"]));
    // A dose that somebody recorded so by another way can be taken back: to ask for it is not refused, only there is none.
    let none = house.run(&["log", "dose", "--at", "2199-01-01 03:15", "--not-given"]);
    assert_eq!(none.status.code(), Some(1), "{}", String::from_utf8_lossy(&none.stderr));
}

#[test]
fn a_meter_check_is_taken_back_by_its_minute() {
    let house = House::new(&format!("{}{PERSON}", ntfy("http://127.0.0.1:9")));
    house.said(&["log", "meter", "31", "--at", "07:05"]);
    for wrong in [&["--not-made"][..], &["31", "--not-made", "--at", "07:05"], &[]] {
        let refused = house.run(&[&["log", "meter"], wrong].concat());
        assert_eq!(refused.status.code(), Some(2), "{wrong:?}: {}", String::from_utf8_lossy(&refused.stderr));
    }
    let out = house.folder.path().join("curve.html");
    let known = |house: &House| {
        house.said(&["report", "--out", out.to_str().unwrap()]);
        let in_status = house.said(&["status", "--json"]).contains("\"unmatched\": 1");
        (in_status, std::fs::read_to_string(&out).unwrap().contains("31 mg/dL"))
    };
    assert_eq!(known(&house), (true, true), "{}", std::fs::read_to_string(&out).unwrap());
    let mistyped = house.run(&["log", "meter", "--not-made", "--at", "07:50"]);
    let said = String::from_utf8_lossy(&mistyped.stderr).into_owned();
    assert!(
        mistyped.status.code() == Some(1)
            && said.contains("07:50 (Europe/Vienna) is known, so none was taken back"),
        "{said}"
    );
    assert!(said.contains("known are: ") && said.contains(" 07:05 (Europe/Vienna)"), "{said}");
    assert_eq!(known(&house), (true, true), "a minute that was mistyped takes nothing back");
    house.said(&["log", "meter", "--not-made", "--at", "07:05"]);
    assert_eq!(known(&house), (false, false), "{}", house.said(&["status", "--json"]));
    assert!(house.said(&["export"]).contains("\"what\":\"meter-undone\""), "{}", house.said(&["export"]));
    // Another one of that minute, wrong again, can be taken back like the first; and the very same counts again.
    house.said(&["log", "meter", "33", "--at", "07:05"]);
    house.said(&["log", "meter", "--not-made", "--at", "07:05"]);
    assert_eq!(known(&house), (false, false), "{}", house.said(&["status", "--json"]));
    house.said(&["log", "meter", "31", "--at", "07:05"]);
    assert_eq!(known(&house), (true, true), "{}", house.said(&["status", "--json"]));
}

#[test]
fn log_says_back_what_it_kept_knew_and_took_back() {
    let house = House::new(&format!("{}{PERSON}", ntfy("http://127.0.0.1:9")));
    let log = |words: &[&str]| house.said(&[&["log"], words].concat());
    let (at, time) = (["--at", "2026-03-07 19:00"], "Sat 7 Mar");
    for round in 0..3 {
        let kept = log(&[&["dose", "--units", "1.5", "--by", "robin"], &at[..]].concat());
        assert!(kept.starts_with("Kept: dose of 1.5 units for ") && kept.contains(time), "{round}: {kept}");
        assert!(kept.contains("19:00 (Europe/Vienna), by robin. The daemon is not running"), "{kept}");
        let back = log(&[&["dose", "--not-given"], &at[..]].concat());
        assert!(back.starts_with("Taken back: dose for ") && back.contains("19:00"), "{round}: {back}");
    }
    let none = house.run(&[&["log", "dose", "--not-given"], &at[..]].concat());
    let said = String::from_utf8_lossy(&none.stderr).into_owned();
    assert!(said.contains("no dose of Sat 7 Mar 19:00") && said.contains("known are: none at all"), "{said}");
    assert_eq!(none.status.code(), Some(1), "a script must not take it for done: {said}");
    let check = [&["meter", "112"], &at[..]].concat();
    let kept = log(&check);
    assert!(kept.starts_with("Kept: meter check 112 mg/dL for "), "{kept}");
    let again = log(&check);
    assert!(again.starts_with("Known already: meter check 112 mg/dL for "), "{again}");
    assert!(log(&["sensor", "came-off"]).starts_with("Kept: sensor came off for "));
}

#[test]
fn help_teaches_and_wrong_use_ends_with_two() {
    let help = program().arg("--help").output().unwrap();
    let text = String::from_utf8(help.stdout).unwrap();
    for command in ["run", "check", "try", "replay", "demo", "status", "log", "history", "export", "import"] {
        assert!(text.contains(&format!("\n  {command}")), "{command} is not in the help");
    }
    let help = |words: &[&str]| {
        let output = program().args(words).arg("--help").output().unwrap();
        assert!(output.status.success(), "{words:?}");
        String::from_utf8(output.stdout).unwrap()
    };
    // The demo and the simulation invent their household.
    for (command, takes_one) in [("demo", false), ("simulate", false), ("run", true), ("replay", true)] {
        assert_eq!(help(&[command]).contains("--config"), takes_one, "{command}");
    }
    for what in ["reading", "dose", "meter", "sensor", "note"] {
        let text = help(&["log", what]);
        assert!(text.contains("When, such as 06:15 or \"2026-03-01 06:15\""), "{what}: {text}");
    }
    assert_eq!(program().arg("sing").output().unwrap().status.code(), Some(2));
    let missing = program().args(["check", "--config", "no-such-file.toml"]).output().unwrap();
    assert_eq!(missing.status.code(), Some(2));
}

/// As an everyday message, and as one that must wake somebody; each says that it is a test.
#[tokio::test(flavor = "multi_thread")]
async fn a_test_message_comes_as_every_day_or_as_loud_as_at_night() {
    let server = Ntfy::start(Options::default()).await;
    let house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    let plain = house.said(&["try"]);
    assert!(plain.contains("taken by the server") && plain.contains("--loud"), "{plain}");
    let loud = house.said(&["try", "--loud", "--person", "owner"]);
    assert!(loud.contains("taken by the server") && loud.contains("docs/operating.md"), "{loud}");
    let stored = server.stored();
    let heard: Vec<_> =
        stored.iter().map(|push| (push["title"].as_str(), push["priority"].as_i64())).collect();
    assert_eq!(
        heard,
        [(Some("A test message: Lowtide"), Some(3)), (Some("Only a test of the alarm: Lowtide"), Some(5))]
    );
    assert!(stored[1]["message"].as_str().is_some_and(|text| text.starts_with("All is well")), "{stored:?}");
}

#[test]
fn check_and_try_say_when_a_warning_would_reach_nobody_and_are_content_all_the_same() {
    let sitter = "[[person]]\nname = \"sitter\"\nntfy = \"another-one-q9w2e8\"\nreceives = \"critical\"\n\
                  [[duty]]\nperson = \"sitter\"\nweekly = \"Sat 08:00 - Sun 20:00\"\n";
    let house = House::new(&format!("{}{PERSON}{sitter}", ntfy("http://127.0.0.1:9")));
    for words in [&["check"][..], &["try", "--person", "owner"]] {
        let output = house.run(words);
        let text = String::from_utf8_lossy(&output.stdout);
        let said = text.contains(
            "found \"critical\" for sitter, who has the cat for instance from Sat 08:00 until Sun 20:00",
        ) && text.contains("nobody would hear of a silent sensor");
        assert!(said, "{words:?}: {text}");
        assert!(words[0] == "try" || output.status.success(), "{text}");
        assert!(words[0] == "check" || !text.contains("another-one-q9w2e8"), "try names no topic: {text}");
    }
}
