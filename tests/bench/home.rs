//! A household with the real program for measuring: its folder, its daemon, and what Linux counts about it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use lowtide::run::socket::{self, Reply, Request};

/// A folder with a configuration, and the daemon in it while one runs.
pub struct Home {
    pub folder: tempfile::TempDir,
    child: Option<Child>,
}

impl Home {
    /// Cats by name, and the sections for doors, carriers and persons.
    pub fn new(cats: &[String], more: &str) -> Self {
        let mut text =
            "[home]\ntimezone = \"Europe/Vienna\"\ngather_seconds = 0\nclock = \"trust\"\n".to_owned();
        for cat in cats {
            text.push_str(&format!(
                "[[cat]]\nname = \"{cat}\"\n[cat.sensor]\nkind = \"streamed\"\n[cat.plan]\nlow = 70\ndanger = 50\n\
                 meter_low = 60\nhigh = 300\n"
            ));
        }
        text.push_str(&format!("[intake.folder]\npath = \"inbox\"\n{more}"));
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("lowtide.toml"), text).unwrap();
        fs::create_dir_all(folder.path().join("inbox")).unwrap();
        Self { folder, child: None }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Starts the daemon; how long until its socket answered with the state of the house.
    pub fn start(&mut self) -> Duration {
        let log = fs::File::options().create(true).append(true).open(self.path("log")).unwrap();
        let start = Instant::now();
        let child = Command::new(env!("CARGO_BIN_EXE_lowtide"))
            .args(["run", "--config"])
            .arg(self.path("lowtide.toml"))
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .unwrap();
        self.child = Some(child);
        let data = self.path("data");
        self.until("the daemon answers", || {
            matches!(socket::ask(&data, &Request::Status), Ok(Some(Reply::Status { .. })))
        });
        start.elapsed()
    }

    /// Runs another command of the program in this household; how long it took.
    pub fn command(&self, words: &[&str]) -> Duration {
        let start = Instant::now();
        let output = Command::new(env!("CARGO_BIN_EXE_lowtide"))
            .args(words)
            .arg("--config")
            .arg(self.path("lowtide.toml"))
            .output()
            .unwrap();
        assert!(output.status.success(), "{words:?}: {}", String::from_utf8_lossy(&output.stderr));
        start.elapsed()
    }

    /// Ends it as systemd would.
    pub fn stop(&mut self) {
        let mut child = self.child.take().unwrap();
        assert!(Command::new("kill").arg(child.id().to_string()).status().unwrap().success());
        assert!(child.wait().unwrap().success());
    }

    /// Ends it as a power cut would.
    pub fn kill(&mut self) {
        let mut child = self.child.take().unwrap();
        child.kill().unwrap();
        child.wait().unwrap();
    }

    pub fn pid(&self) -> u32 {
        self.child.as_ref().unwrap().id()
    }

    /// Puts a whole file into the watched folder by renaming.
    pub fn drop_file(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).unwrap();
        fs::rename(self.path(name), self.path("inbox").join(name)).unwrap();
    }

    /// Waits for something, looking often enough to time it; fails with the daemon's log.
    pub fn until(&self, what: &str, holds: impl Fn() -> bool) {
        let start = Instant::now();
        while !holds() {
            if start.elapsed() > Duration::from_secs(60) {
                panic!("not after a minute: {what}\n{}", fs::read_to_string(self.path("log")).unwrap());
            }
            std::thread::sleep(Duration::from_micros(200));
        }
    }

    /// How much the journal holds, in bytes: it grows once for whatever is taken in.
    pub fn journal_bytes(&self) -> u64 {
        size(&self.path("data/journal"))
    }
}

impl Drop for Home {
    fn drop(&mut self) {
        if let Some(mut child) = self.child.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

fn size(folder: &Path) -> u64 {
    let files = fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    files.filter_map(|file| file.metadata().ok()).map(|data| data.len()).sum()
}

/// A number after a word in one of the files that Linux keeps about a process.
pub fn counter(pid: u32, file: &str, word: &str) -> u64 {
    let text = fs::read_to_string(format!("/proc/{pid}/{file}")).unwrap();
    let line = text.lines().find_map(|line| line.strip_prefix(word)).unwrap();
    line.split_whitespace().next().unwrap().parse().unwrap()
}

/// Processor time used so far by all threads, user and system. `proc_pid_stat(5)`: fields 14 and 15, in ticks of
/// 1/100 s (`getconf CLK_TCK` on every Linux in use).
pub fn processor(pid: u32) -> Duration {
    let text = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap();
    let after_name = text.rsplit_once(')').unwrap().1;
    let fields: Vec<&str> = after_name.split_whitespace().collect();
    let ticks: u64 = fields[11..13].iter().map(|field| field.parse::<u64>().unwrap()).sum();
    Duration::from_millis(ticks * 10)
}
