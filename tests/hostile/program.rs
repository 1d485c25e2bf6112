//! The real program and input that wants to harm it: bombs, links, devices, names, and junk on its socket.

use std::fs;
use std::io::{Read, Write};
use std::os::unix::ffi::OsStrExt as _;
use std::os::unix::fs::{FileExt as _, PermissionsExt as _};
use std::os::unix::net::UnixStream;
use std::process::Command;
use std::time::Duration;

use crate::files::bomb;
use crate::mutate::{drawn, mutated};
use crate::stands::house::{House, csv};

/// One streamed cat, a folder, a person who is told by a server that is not there.
fn plain() -> House {
    House::with_config(
        "[home]\ntimezone = \"Europe/Vienna\"\nclock = \"trust\"\n[[cat]]\nname = \"pepper\"\n[cat.sensor]\n\
         kind = \"streamed\"\n[cat.plan]\nlow = 70\ndanger = 50\n[intake.folder]\npath = \"inbox\"\n\
         rescan_seconds = 1\n[notify.ntfy]\nserver = \"http://127.0.0.1:9\"\n[[person]]\nname = \"owner\"\n\
         ntfy = \"a-topic-Kq93\"\n",
    )
}

#[tokio::test(flavor = "multi_thread")]
async fn bombs_links_devices_and_odd_names_hold_nothing_up() {
    let mut house = plain();
    let inbox = house.path("inbox");
    std::os::unix::fs::symlink("/etc/passwd", inbox.join("link.csv")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", inbox.join("endless.csv")).unwrap();
    Command::new("mkfifo").arg(inbox.join("pipe.csv")).status().unwrap();
    fs::create_dir(inbox.join("folder.csv")).unwrap();
    fs::write(inbox.join(std::ffi::OsStr::from_bytes(b"\xff\xfe.csv")), "x").unwrap();
    fs::File::create(inbox.join("huge.csv")).unwrap().set_len(3 << 30).unwrap();
    let rows =
        format!("{}2026-03-01T06:00:00Z,=1+1\n=cmd|' /C calc'!A0,112\n@SUM(A1),112\n", csv(&[(70.0, "112")]));
    let long = format!("{}.csv", "x".repeat(251));
    for name in [long.as_str(), "a\nb.csv", "=cmd|' !A0.csv", "..csv", "$(reboot).csv", "\u{202e}vsc.a.csv"] {
        house.drop_file(name, &rows.replace("112", &(100 + name.len()).to_string()));
    }
    house.start().await;
    // Renamed in while the daemon looks: one that lay there before might still be written, and is waited for.
    fs::write(house.path("bomb"), bomb()).unwrap();
    fs::rename(house.path("bomb"), inbox.join("bomb.csv.gz")).unwrap();
    house.drop_file("good.csv", &csv(&[(5.0, "131")]));
    house.until("the good file was read", || house.said(&["export"]).contains("\"v\":131")).await;
    house.until("the long name is out of the way", || !inbox.join(&long).exists()).await;
    house.until("the bomb was put away", || !inbox.join("bomb.csv.gz").exists()).await;
    assert!(inbox.join("link.csv").is_symlink() && inbox.join("folder.csv").is_dir(), "left where they are");
    assert!(!house.said(&["export"]).contains("root:"));
    // 32 MiB is the most that is unpacked; a few copies of that, and the program.
    assert!(house.memory_peak() < 200_000, "{} kB", house.memory_peak());
    let rejects = || -> Vec<String> {
        let written = fs::read_dir(house.path("rejected")).into_iter().flatten();
        let texts = written.filter_map(|entry| fs::read_to_string(entry.ok()?.path()).ok());
        texts.filter(|text| text.starts_with("line,reason,text")).collect()
    };
    house.until("the bad rows of five files are put away", || rejects().len() >= 5).await;
    for text in rejects() {
        for cell in csv::ReaderBuilder::new()
            .from_reader(text.as_bytes())
            .records()
            .flat_map(|row| row.unwrap().iter().map(str::to_owned).collect::<Vec<_>>())
        {
            assert!(
                !cell.starts_with(['=', '+', '-', '@', '\t', '\r']),
                "a table program takes {cell:?} as a formula"
            );
        }
    }
    house.stop();
}

fn ask(house: &House, bytes: &[u8]) -> String {
    let mut stream = UnixStream::connect(house.path("data/lowtide.sock")).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
    let _ = stream.write_all(bytes);
    let _ = stream.shutdown(std::net::Shutdown::Write);
    let mut answer = String::new();
    let _ = stream.read_to_string(&mut answer);
    answer
}

/// One event of each kind, about a cat or from a person that the household does not have.
fn strangers(at: &str) -> Vec<String> {
    [
        r#"{"what":"readings","cat":"peper","via":"command","source":"x","readings":[{"t":"AT","v":131}]}"#,
        r#"{"what":"dose","cat":"peper","given_at":"AT","by":"x"}"#,
        r#"{"what":"meter","cat":"peper","measured_at":"AT","glucose":99,"meter":"pet"}"#,
        r#"{"what":"sensor","cat":"peper","at":"AT","event":"ok"}"#,
        r#"{"what":"spare","cat":"peper","at":"AT","count":1}"#,
        r#"{"what":"note","cat":"peper","at":"AT","text":"ate little"}"#,
        r#"{"what":"answer","person":"nobody","via":"command","verdict":"taken"}"#,
    ]
    .map(|event| event.replace("AT", at))
    .to_vec()
}

#[tokio::test(flavor = "multi_thread")]
async fn spoilt_requests_on_the_socket_keep_nothing_strange_and_stop_nothing() {
    let mut house = plain();
    house.start().await;
    let at = csv(&[(5.0, "131")]).lines().nth(1).unwrap().split(',').next().unwrap().to_owned();
    let mut samples = vec![b"{\"ask\":\"status\"}\n".to_vec()];
    for event in strangers(&at) {
        let event = event.replace("peper", "pepper").replace("nobody", "owner");
        samples.push(format!("{{\"ask\":\"log\",\"event\":{event}}}\n").into_bytes());
    }
    let mut kept = 0;
    for bytes in drawn(mutated(samples), 300) {
        let answer = ask(&house, &bytes);
        let reply = serde_json::from_str::<serde_json::Value>(&answer)
            .ok()
            .filter(|reply| reply["answer"].is_string());
        assert!(answer.is_empty() || reply.is_some(), "{answer}");
        kept += usize::from(answer.contains("kept"));
    }
    assert!(kept > 0, "not one of them was whole enough");
    for line in house.said(&["export"]).lines() {
        let entry: serde_json::Value = serde_json::from_str(line).unwrap();
        let event = &entry["event"];
        assert!(event["cat"].is_null() || event["cat"] == "pepper", "{line}");
        assert!(event["what"] != "answer" || event["person"] == "owner", "{line}");
    }
    house.stop();
    assert!(lowtide::record::Record::verify(&house.path("data")).is_sound());
    assert!(
        !house.log().contains("a fault in the program") && !house.log().contains("panicked"),
        "{}",
        house.log()
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_journal_line_of_a_gigabyte_is_never_in_memory_and_the_others_are_known() {
    let mut house = plain();
    house.said(&["log", "note", "before"]);
    let journal = fs::read_dir(house.path("data/journal")).unwrap().next().unwrap().unwrap().path();
    let whole = fs::read(&journal).unwrap();
    // In the middle of the file: zeros without a line end, which take no room on the disk.
    let middle = whole.iter().position(|byte| *byte == b'\n').unwrap() + 1;
    let file = fs::File::options().write(true).open(&journal).unwrap();
    file.set_len(0).unwrap();
    file.write_all_at(&whole[..middle], 0).unwrap();
    file.write_all_at(b"\n", (1 << 30) + middle as u64).unwrap();
    file.write_all_at(&whole[middle..], (1 << 30) + middle as u64 + 1).unwrap();
    fs::remove_dir_all(house.path("data/store")).unwrap();
    house.start().await;
    assert!(house.memory_peak() < 200_000, "{} kB", house.memory_peak());
    let told = house.run(&["history"]);
    assert!(String::from_utf8_lossy(&told.stderr).contains("no entry is that long"), "{told:?}");
    let export = house.run(&["export"]);
    assert!(String::from_utf8_lossy(&export.stdout).contains("before"));
    house.stop();
}

#[tokio::test(flavor = "multi_thread")]
async fn junk_on_the_socket_is_answered_and_changes_nothing() {
    let mut house = plain();
    house.start().await;
    let mode = |name: &str| fs::metadata(house.path(name)).unwrap().permissions().mode() & 0o777;
    assert_eq!((mode("data"), mode("data/lowtide.sock")), (0o700, 0o600), "others may use it");
    let reading = csv(&[(5.0, "131")]).lines().nth(1).unwrap().split(',').next().unwrap().to_owned();
    let before = house.measured().len();
    let tick = "{\"ask\":\"log\",\"event\":{\"what\":\"tick\"}}\n".to_owned();
    let forged = "{\"ask\":\"log\",\"event\":{\"what\":\"outcome\",\"parcel\":{\"message\":\"x\",\"channel\":{\"kind\":\"ntfy\",\"address\":\"a\"},\"attempt\":1},\"outcome\":{\"ended\":\"delivered\"}}}\n".to_owned();
    for bytes in [
        b"".to_vec(),
        b"\n".to_vec(),
        vec![0xff; 1000],
        vec![b'['; 200_000],
        "{\"ask\":\"log\",\"event\":".repeat(10_000).into_bytes(),
        vec![b'x'; 2_000_000],
        b"{\"ask\":\"stop\"}\n".to_vec(),
        tick.into_bytes(),
        forged.into_bytes(),
        format!("{{\"ask\":\"log\",\"event\":{{\"what\":\"spare\",\"cat\":\"../x\",\"at\":\"{reading}\",\"count\":1}}}}\n").into_bytes(),
    ] {
        let answer = ask(&house, &bytes);
        assert!(answer.is_empty() || answer.contains("failed"), "{:?}: {answer}", String::from_utf8_lossy(&bytes[..bytes.len().min(100)]));
    }
    assert_eq!(house.measured().len(), before);
    // What is about a cat or a person that the household does not have is refused with the names it knows.
    let stranger = |event: &str| ask(&house, format!("{{\"ask\":\"log\",\"event\":{event}}}\n").as_bytes());
    for event in strangers(&reading) {
        let answer = stranger(&event);
        assert!(
            answer.contains("failed")
                && (answer.contains("there is: pepper") || answer.contains("there is: owner")),
            "{event}: {answer}"
        );
        let known = event.replace("peper", "pepper").replace("nobody", "owner");
        assert!(stranger(&known).contains("kept"), "{known}");
    }
    let export = house.said(&["export"]);
    assert!(
        !export.contains("peper") && !export.contains("nobody") && export.contains("ate little"),
        "{export}"
    );
    let before = house.measured().len();
    // Many who connect and say nothing hold nobody up.
    let _silent: Vec<UnixStream> =
        (0..300).map(|_| UnixStream::connect(house.path("data/lowtide.sock")).unwrap()).collect();
    assert!(house.said(&["status"]).contains("epper"));
    assert_eq!(house.measured().len(), before);
    house.stop();
}
