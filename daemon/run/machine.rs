//! Looks after the machine the daemon runs on: room on the disk, and whether its clock can be believed.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use tokio::sync::mpsc::Sender;
use tokio::sync::watch;

use super::present::Believed;
use crate::clock::Clock;
use crate::intake::Inbound;
use crate::round::CLOCK_WAIT;
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
                if door.send(Inbound::new(Event::Health(health), None)).await.is_err() {
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

/// Waits until the clock can be believed, at most [`CLOCK_WAIT`] since the machine started (or, where that is not
/// known, since now). A board without a clock of its own starts at the time of its last shutdown; judged by that, every
/// reading is from the future. Says nothing else and takes nothing in, so sources keep what they have. Ends early when
/// `stop` turns true.
pub(super) async fn wait_for_the_clock(
    clock: &Arc<dyn Clock>,
    believed: &Believed,
    stop: &mut watch::Receiver<bool>,
) {
    let begun = clock.steady();
    let up_before = clock.since_boot().unwrap_or_default();
    let mut told = false;
    while !*stop.borrow() {
        if ask(clock, believed).await {
            if told {
                tracing::info!("the clock of this computer has been set: it is {}", clock.now());
            }
            return;
        }
        if up_before + clock.steady().saturating_sub(begun) >= CLOCK_WAIT {
            tracing::warn!("no time server has set the clock of this computer: going on by {}", clock.now());
            return;
        }
        if !std::mem::replace(&mut told, true) {
            tracing::info!("waiting for a time server to set the clock of this computer");
            // Ready as far as systemd is concerned: without internet it must not give up on us.
            let _ = sd_notify::notify(&[
                sd_notify::NotifyState::Ready,
                sd_notify::NotifyState::Status("waiting for a time server to set the clock"),
            ]);
        }
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Watchdog]);
        let _ = tokio::time::timeout(CLOCK_ASK_EVERY, stop.wait_for(|stop| *stop)).await;
    }
}

/// Goes on asking until the clock can be believed.
pub(super) async fn watch_clock(clock: Arc<dyn Clock>, believed: Believed) {
    while !ask(&clock, &believed).await {
        tokio::time::sleep(CLOCK_ASK_EVERY).await;
    }
}

async fn ask(clock: &Arc<dyn Clock>, believed: &Believed) -> bool {
    let asked = Arc::clone(clock);
    let set = tokio::task::spawn_blocking(move || asked.is_set()).await.unwrap_or(true);
    believed.store(set, Ordering::Relaxed);
    set
}

const CLOCK_ASK_EVERY: Duration = Duration::from_secs(2);

/// Enough for months of readings, and for the system to notice, too.
const FREE_MB_MIN: u64 = 50;
const EVERY: Duration = Duration::from_secs(300);
