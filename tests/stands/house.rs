//! One household with the real program, in a folder of its own.

use std::fs;
use std::path::PathBuf;
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

use lowtide::clock::{Clock, MachineClock};
use lowtide::words::{Moment, minutes};

/// The program under test.
pub fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_lowtide"))
}

/// The present.
pub fn now() -> Moment {
    MachineClock::new().now()
}

/// Rows of the readings file: minutes before now, and what the sensor said.
pub fn csv(rows: &[(f64, &str)]) -> String {
    let now = now();
    let mut text = "measured_at,glucose\n".to_owned();
    for (ago, value) in rows {
        text.push_str(&format!("{},{value}\n", now - minutes(*ago)));
    }
    text
}

/// A household: its folder, its configuration, perhaps a running daemon.
pub struct House {
    pub folder: tempfile::TempDir,
    child: Option<Child>,
}

impl House {
    /// Writes the configuration: the usual cat, and what the test adds (doors, carriers, persons).
    pub fn new(more: &str) -> Self {
        let text = format!(
            "[home]\ntimezone = \"Europe/Vienna\"\ngather_seconds = 0\nclock = \"trust\"\n\
             [[cat]]\nname = \"pepper\"\ncalled = \"Pepper\"\n\
             [cat.sensor]\nkind = \"streamed\"\n\
             [cat.plan]\nlow = 70\ndanger = 50\nmeter_low = 60\nhigh = 300\nhold_dose_under = 150\n\
             on_low = \"Offer food and call us.\"\nvet_phone = \"555 0100\"\n\
             [intake.folder]\npath = \"inbox\"\nrescan_seconds = 1\n{more}"
        );
        Self::with_config(&text)
    }

    /// With a configuration of the test's own.
    pub fn with_config(text: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("lowtide.toml"), text).unwrap();
        fs::create_dir_all(folder.path().join("inbox")).unwrap();
        Self { folder, child: None }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Starts the daemon and waits until it keeps house.
    pub async fn start(&mut self) {
        self.begin("");
        self.until("the daemon answers", || {
            self.path("data/lowtide.sock").exists()
                && self.run(&["status", "--json"]).stdout.starts_with(b"{")
        })
        .await;
    }

    /// Starts the daemon behind some words of shell, and does not wait for it.
    pub fn begin(&mut self, shell: &str) {
        let line = format!("{shell} exec \"$0\" run --config \"$1\"");
        let mut command = Command::new("sh");
        self.spawn(command.args(["-c", &line, env!("CARGO_BIN_EXE_lowtide")]).arg(self.path("lowtide.toml")));
    }

    /// Starts the daemon by this command; what it says goes to the log.
    pub fn spawn(&mut self, command: &mut Command) {
        let log = fs::File::options().create(true).append(true).open(self.path("log")).unwrap();
        let command = command.env("RUST_BACKTRACE", "0").stdout(Stdio::null()).stderr(log);
        self.child = Some(command.spawn().unwrap());
    }

    /// Ends it as systemd would.
    pub fn stop(&mut self) {
        let mut child = self.child.take().unwrap();
        Command::new("kill").arg(child.id().to_string()).status().unwrap();
        assert!(child.wait().unwrap().success(), "the daemon did not end well: {}", self.log());
    }

    /// Ends it as a power cut would.
    pub fn kill(&mut self) {
        let mut child = self.child.take().unwrap();
        child.kill().unwrap();
        child.wait().unwrap();
    }

    /// The daemon's process.
    pub fn id(&self) -> u32 {
        self.child.as_ref().unwrap().id()
    }

    /// Runs the daemon behind another program until it ends by itself.
    pub fn run_behind(&self, program: &str) -> Output {
        let line = format!("{program} \"$0\" run --config \"$1\"");
        let mut command = Command::new("timeout");
        command.args(["20", "sh", "-c", &line, env!("CARGO_BIN_EXE_lowtide")]).arg(self.path("lowtide.toml"));
        command.output().unwrap()
    }

    /// Sends it a signal: `STOP`, `CONT`.
    pub fn signal(&self, name: &str) {
        let id = self.child.as_ref().unwrap().id().to_string();
        assert!(Command::new("kill").args([format!("-{name}"), id]).status().unwrap().success());
    }

    pub fn log(&self) -> String {
        fs::read_to_string(self.path("log")).unwrap_or_default()
    }

    /// Runs a command of the program on this household.
    pub fn run(&self, arguments: &[&str]) -> Output {
        program().args(arguments).arg("--config").arg(self.path("lowtide.toml")).output().unwrap()
    }

    /// The same, expecting it to work; what it printed.
    pub fn said(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(output.status.success(), "{arguments:?}: {text}{}", String::from_utf8_lossy(&output.stderr));
        text
    }

    /// Drops a file as a careful program does: whole, by renaming.
    pub fn drop_file(&self, name: &str, text: &str) {
        let beside = self.path(name);
        fs::write(&beside, text).unwrap();
        fs::rename(beside, self.path("inbox").join(name)).unwrap();
    }

    /// Kilobytes of memory that the daemon has had at the most so far.
    pub fn memory_peak(&self) -> u64 {
        let text = fs::read_to_string(format!("/proc/{}/status", self.id())).unwrap();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
        line.trim().trim_end_matches(" kB").trim().parse().unwrap()
    }

    /// Waits until something holds; fails with the daemon's log after a while.
    pub async fn until(&self, what: &str, holds: impl Fn() -> bool) {
        for _ in 0..1200 {
            if holds() {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("a minute passed and still not: {what}\n{}", self.log());
    }

    /// Every measuring time in the record, from an export.
    pub fn measured(&self) -> Vec<String> {
        let mut times = Vec::new();
        for line in self.said(&["export"]).lines() {
            let entry: serde_json::Value = serde_json::from_str(line).unwrap();
            if entry["event"]["what"] == "readings" {
                let readings = entry["event"]["readings"].as_array().unwrap();
                times.extend(readings.iter().map(|reading| reading["t"].as_str().unwrap().to_owned()));
            }
        }
        times
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

/// A port that nobody listens on just now.
pub fn free_port() -> u16 {
    std::net::TcpListener::bind((std::net::Ipv4Addr::LOCALHOST, 0)).unwrap().local_addr().unwrap().port()
}

/// The section for a push server.
pub fn ntfy(url: &str) -> String {
    format!("[notify.ntfy]\nserver = \"{url}\"\n")
}

/// The section for a mail server on this machine.
pub fn email(port: u16) -> String {
    format!("[notify.email]\nsmtp = \"smtp://127.0.0.1:{port}\"\nfrom = \"lowtide@example.org\"\n")
}
