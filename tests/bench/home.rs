//! The household of the stands, for measuring: looked at often enough to time it, and what Linux counts about it.

use std::fs;
use std::ops::{Deref, DerefMut};
use std::path::Path;
use std::time::{Duration, Instant};

use lowtide::run::socket::{self, Reply, Request};

use super::stands::house::{House, program};

/// A household of streamed cats whose daemon is timed.
pub struct Home(House);

impl Deref for Home {
    type Target = House;

    fn deref(&self) -> &House {
        &self.0
    }
}

impl DerefMut for Home {
    fn deref_mut(&mut self) -> &mut House {
        &mut self.0
    }
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
        Self(House::with_config(&text))
    }

    /// Starts the daemon; how long until its socket answered with the state of the house.
    pub fn start(&mut self) -> Duration {
        let start = Instant::now();
        let (file, data) = (self.path("lowtide.toml"), self.path("data"));
        self.spawn(program().args(["run", "--config"]).arg(file));
        self.until("the daemon answers", || {
            matches!(socket::ask(&data, &Request::Status), Ok(Some(Reply::Status { .. })))
        });
        start.elapsed()
    }

    /// Runs another command of the program in this household; how long it took.
    pub fn command(&self, words: &[&str]) -> Duration {
        let start = Instant::now();
        self.said(words);
        start.elapsed()
    }

    /// Waits for something, looking often enough to time it; fails with the daemon's log.
    pub fn until(&self, what: &str, holds: impl Fn() -> bool) {
        let start = Instant::now();
        while !holds() {
            assert!(start.elapsed() < Duration::from_secs(60), "not after a minute: {what}\n{}", self.log());
            std::thread::sleep(Duration::from_micros(200));
        }
    }

    /// How much the journal holds, in bytes: it grows once for whatever is taken in.
    pub fn journal_bytes(&self) -> u64 {
        size(&self.path("data/journal"))
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
