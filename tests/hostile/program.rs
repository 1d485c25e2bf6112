//! The real program and input that wants to harm it: bombs, links, devices, names, and junk on its socket.

use std::fs;
use std::io::{Read, Write};
use std::os::unix::ffi::OsStrExt as _;
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

use lowtide::clock::{Clock, MachineClock};
use lowtide::words::minutes;

use crate::files::bomb;

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_lowtide"))
}

/// Rows of a readings file: minutes before now, and what the sensor said.
pub fn csv(rows: &[(f64, &str)]) -> String {
    let now = MachineClock::new().now();
    let rows = rows.iter().map(|(ago, value)| format!("{},{value}\n", now - minutes(*ago)));
    format!("measured_at,glucose\n{}", rows.collect::<String>())
}

/// A household in a folder of its own.
pub struct House {
    pub folder: tempfile::TempDir,
    child: Option<Child>,
}

impl House {
    pub fn with_config(text: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("lowtide.toml"), text).unwrap();
        fs::create_dir_all(folder.path().join("inbox")).unwrap();
        Self { folder, child: None }
    }

    /// One streamed cat, a folder, a person who is told by files only.
    fn plain() -> Self {
        Self::with_config(
            "[home]\ntimezone = \"Europe/Vienna\"\nclock = \"trust\"\n[[cat]]\nname = \"pepper\"\n[cat.sensor]\n\
             kind = \"streamed\"\n[cat.plan]\nlow = 70\ndanger = 50\n[intake.folder]\npath = \"inbox\"\n\
             rescan_seconds = 1\n[notify.ntfy]\nserver = \"http://127.0.0.1:9\"\n[[person]]\nname = \"owner\"\n\
             ntfy = \"a-topic-Kq93\"\n",
        )
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub async fn start(&mut self) {
        let log = fs::File::options().create(true).append(true).open(self.path("log")).unwrap();
        let mut command = program();
        command.args(["run", "--config"]).arg(self.path("lowtide.toml")).stdout(Stdio::null()).stderr(log);
        self.child = Some(command.spawn().unwrap());
        self.until("the daemon answers", || {
            // Without a socket the command would answer from the record itself.
            self.path("data/lowtide.sock").exists()
                && self.run(&["status", "--json"]).stdout.starts_with(b"{")
        })
        .await;
    }

    pub fn stop(&mut self) {
        let mut child = self.child.take().unwrap();
        Command::new("kill").arg(child.id().to_string()).status().unwrap();
        assert!(child.wait().unwrap().success(), "the daemon did not end well: {}", self.log());
    }

    /// Kilobytes of memory at the most so far.
    fn memory_peak(&self) -> u64 {
        let pid = self.child.as_ref().unwrap().id();
        let text = fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
        line.trim().trim_end_matches(" kB").trim().parse().unwrap()
    }

    pub fn log(&self) -> String {
        fs::read_to_string(self.path("log")).unwrap_or_default()
    }

    pub fn run(&self, arguments: &[&str]) -> Output {
        program().args(arguments).arg("--config").arg(self.path("lowtide.toml")).output().unwrap()
    }

    fn said(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    pub fn drop_file(&self, name: &str, text: &str) {
        fs::write(self.path("beside"), text).unwrap();
        fs::rename(self.path("beside"), self.path("inbox").join(name)).unwrap();
    }

    pub async fn until(&self, what: &str, holds: impl Fn() -> bool) {
        for _ in 0..1200 {
            if holds() {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("a minute passed and still not: {what}\n{}", self.log());
    }

    fn kept(&self) -> usize {
        self.said(&["export"]).matches("\"t\":").count()
    }
}

impl Drop for House {
    fn drop(&mut self) {
        if let Some(mut child) = self.child.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn bombs_links_devices_and_odd_names_hold_nothing_up() {
    let mut house = House::plain();
    let inbox = house.path("inbox");
    fs::write(inbox.join("bomb.csv.gz"), bomb()).unwrap();
    std::os::unix::fs::symlink("/etc/passwd", inbox.join("link.csv")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", inbox.join("endless.csv")).unwrap();
    Command::new("mkfifo").arg(inbox.join("pipe.csv")).status().unwrap();
    fs::create_dir(inbox.join("folder.csv")).unwrap();
    fs::write(inbox.join(std::ffi::OsStr::from_bytes(b"\xff\xfe.csv")), "x").unwrap();
    fs::File::create(inbox.join("huge.csv")).unwrap().set_len(3 << 30).unwrap();
    let rows = format!("{}2026-03-01T06:00:00Z,=1+1\n", csv(&[(70.0, "112")]));
    let long = format!("{}.csv", "x".repeat(251));
    for name in [long.as_str(), "a\nb.csv", "=cmd|' !A0.csv", "..csv", "$(reboot).csv", "\u{202e}vsc.a.csv"] {
        house.drop_file(name, &rows.replace("112", &(100 + name.len()).to_string()));
    }
    house.start().await;
    house.drop_file("good.csv", &csv(&[(5.0, "131")]));
    house.until("the good file was read", || house.said(&["export"]).contains("\"v\":131")).await;
    house.until("the long name is out of the way", || !inbox.join(&long).exists()).await;
    house.until("the bomb was put away", || !inbox.join("bomb.csv.gz").exists()).await;
    assert!(inbox.join("link.csv").is_symlink() && inbox.join("folder.csv").is_dir(), "left where they are");
    assert!(!house.said(&["export"]).contains("root:"));
    // 32 MiB is the most that is unpacked; a few copies of that, and the program.
    assert!(house.memory_peak() < 200_000, "{} kB", house.memory_peak());
    let rejects: Vec<String> = fs::read_dir(house.path("rejected"))
        .unwrap()
        .filter_map(|entry| fs::read_to_string(entry.unwrap().path()).ok())
        .filter(|text| text.starts_with("line,reason,text"))
        .collect();
    assert!(rejects.len() >= 5, "{rejects:?}");
    for text in rejects {
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

#[tokio::test(flavor = "multi_thread")]
async fn junk_on_the_socket_is_answered_and_changes_nothing() {
    let mut house = House::plain();
    house.start().await;
    let reading = csv(&[(5.0, "131")]).lines().nth(1).unwrap().split(',').next().unwrap().to_owned();
    let before = house.kept();
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
    // Many who connect and say nothing hold nobody up.
    let _silent: Vec<UnixStream> =
        (0..300).map(|_| UnixStream::connect(house.path("data/lowtide.sock")).unwrap()).collect();
    assert!(house.said(&["status"]).contains("epper"));
    assert_eq!(house.kept(), before);
    house.stop();
}
