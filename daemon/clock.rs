//! The only file that may ask the machine for the time, and whether that time can be believed.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use crate::words::Moment;

/// A source of the present.
pub trait Clock: Send + Sync {
    /// The wall clock; may step either way.
    fn now(&self) -> Moment;
    /// Time since some fixed point; never steps, stops with the process.
    fn steady(&self) -> Duration;
    /// Whether the wall clock can be believed: it has been set since the machine started, or nothing here could say
    /// otherwise. May take seconds: not for tasks that others wait for.
    fn is_set(&self) -> bool {
        true
    }
    /// How long the machine has been up, if that can be found out.
    fn since_boot(&self) -> Option<Duration> {
        None
    }
}

/// The machine's own clock.
#[derive(Debug)]
pub struct MachineClock {
    start: std::time::Instant,
}

impl MachineClock {
    /// Starts counting steady time.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "this file is the one place that may")]
    pub fn new() -> Self {
        Self { start: std::time::Instant::now() }
    }
}

impl Default for MachineClock {
    fn default() -> Self {
        Self::new()
    }
}

impl Clock for MachineClock {
    #[expect(clippy::disallowed_methods, reason = "this file is the one place that may")]
    fn now(&self) -> Moment {
        Moment::from(chrono::Utc::now())
    }

    fn steady(&self) -> Duration {
        self.start.elapsed()
    }

    fn is_set(&self) -> bool {
        believed(Path::new(TIMESYNC_SAYS), time_service)
    }

    fn since_boot(&self) -> Option<Duration> {
        // Not /proc/uptime: a service that sees only its own processes cannot read that.
        let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
        Some(started_after_boot(&stat)? + self.steady())
    }
}

/// Whether a time service has set the clock: systemd's own leaves a file behind (systemd-timesyncd.service(8)), any
/// other is seen by the kernel's flag, which timedatectl(1) shows. Where neither can be asked, nobody can tell.
fn believed(mark: &Path, ask: impl FnOnce() -> Option<String>) -> bool {
    mark.exists() || ask().is_none_or(|answer| answer.trim() != "no")
}

fn time_service() -> Option<String> {
    let asked = Command::new("timedatectl")
        .args(["show", "-p", "NTPSynchronized", "--value"])
        .stdin(Stdio::null())
        .stderr(Stdio::null())
        .output()
        .ok()?;
    asked.status.success().then(|| String::from_utf8_lossy(&asked.stdout).into_owned())
}

/// Field 22 of `/proc/self/stat`, the start of the process after the machine's, in hundredths of a second (proc(5)).
/// The second field is a name in brackets, which may hold anything.
fn started_after_boot(stat: &str) -> Option<Duration> {
    let ticks: u64 = stat.rsplit_once(')')?.1.split_whitespace().nth(19)?.parse().ok()?;
    Some(Duration::from_millis(ticks.checked_mul(10)?))
}

const TIMESYNC_SAYS: &str = "/run/systemd/timesync/synchronized";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_is_doubted_only_if_a_time_service_says_so() {
        let folder = tempfile::tempdir().unwrap();
        let (there, missing) = (folder.path(), folder.path().join("synchronized"));
        let says = |answer: &'static str| move || Some(answer.to_owned());
        assert!(believed(there, says("no\n")), "the file is enough");
        assert!(!believed(&missing, says("no\n")));
        assert!(believed(&missing, says("yes\n")));
        assert!(believed(&missing, || None), "no time service that could be asked");
    }

    #[test]
    fn the_start_of_a_process_is_read_whatever_its_name() {
        // proc(5): state is field 3, starttime field 22; here after 1234.56 seconds.
        let fields: Vec<String> = (4..22).map(|field| field.to_string()).collect();
        let stat = format!("77 (a (b) c 9) S {} 123456 7 8", fields.join(" "));
        assert_eq!(started_after_boot(&stat), Some(Duration::from_millis(1_234_560)));
        assert_eq!(started_after_boot("77 (cut off"), None);
        assert!(MachineClock::new().since_boot().is_some());
    }
}
