//! Looks after the machine the daemon runs on: room on the disk.

use std::path::PathBuf;
use std::time::Duration;

use tokio::sync::mpsc::Sender;

use crate::intake::Inbound;
use crate::words::{Arg, Event, Health, Telling, Watch};

/// Tells the driver when room on the disk runs out, and when there is enough again. Ends with the driver.
pub(super) async fn watch_disk(folder: PathBuf, door: Sender<Inbound>) {
    // The first look reports either way: the last run may have left the trouble open.
    let mut low = None;
    loop {
        if let Some(free) = free_mb(&folder) {
            let now_low = free < if low == Some(true) { FREE_MB_MIN * 2 } else { FREE_MB_MIN };
            if Some(now_low) != low {
                low = Some(now_low);
                let trouble = now_low.then(|| {
                    Telling::new("disk-low")
                        .with("free", Arg::Count(free as i64))
                        .with("place", Arg::Text(folder.display().to_string()))
                });
                let health = Health { watch: Watch::DiskLow, about: "data".to_owned(), trouble };
                if door.send(Inbound { event: Event::Health(health), done: None }).await.is_err() {
                    return;
                }
            }
        }
        tokio::time::sleep(EVERY).await;
        if door.is_closed() {
            return;
        }
    }
}

fn free_mb(folder: &std::path::Path) -> Option<u64> {
    let stat = rustix::fs::statvfs(folder).ok()?;
    Some(stat.f_bavail.saturating_mul(stat.f_frsize) / 1_000_000)
}

/// Enough for months of readings, and for the system to notice, too.
const FREE_MB_MIN: u64 = 50;
const EVERY: Duration = Duration::from_secs(300);
