//! A core that hangs while everything around it lives, as with a disk that does not answer any more: systemd hears
//! nothing, and the push server says that nobody is watching. A real file system is frozen, so only for the superuser.

use std::os::unix::net::UnixDatagram;
use std::process::Stdio;
use std::time::Duration;

use crate::read_only::{Mounted, done, ext4, may_mount};
use crate::stands::house::{House, ntfy, program};
use crate::stands::ntfy::{Ntfy, Options};

const PERSON: &str = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";

/// What systemd has heard since it was last asked, as it hears it.
fn heard(systemd: &UnixDatagram) -> String {
    let (mut text, mut bytes) = (String::new(), [0; 4096]);
    while let Ok(length) = systemd.recv(&mut bytes) {
        text.push_str(&String::from_utf8_lossy(&bytes[..length]));
        text.push('\n');
    }
    text
}

/// A frozen disk, until it is dropped: who writes to it waits.
struct Frozen<'a>(&'a Mounted);

impl Drop for Frozen<'_> {
    fn drop(&mut self) {
        done("fsfreeze", &["-u", self.0.path()]);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_core_that_hangs_feeds_no_watchdog_and_puts_nothing_off() {
    if !may_mount() {
        return;
    }
    let server = Ntfy::start(Options { bucket: 1000, ..Options::default() }).await;
    let soon = "nobody_watching_hours = 0.01\n";
    let mut house = House::new(&format!("{}{soon}{PERSON}", ntfy(&server.url)));
    let image = house.path("disk.img");
    let how = ["-o", "loop", image.to_str().unwrap()];
    let Some(disk) = ext4(&image).then(|| Mounted::new(house.path("data/journal"), &how)).flatten() else {
        println!("skipped: this machine has no ext4 or no loop devices");
        return;
    };
    let systemd = UnixDatagram::bind(house.path("notify")).unwrap();
    systemd.set_nonblocking(true).unwrap();
    house.begin(&format!("export NOTIFY_SOCKET={};", house.path("notify").display()));
    house.until("it runs", || house.path("data/lowtide.sock").exists()).await;
    let waits = || server.waiting().iter().any(|message| message["title"] == "Nobody is watching: Lowtide");
    house.until("a message waits", waits).await;
    house.until("systemd hears that it is ready", || heard(&systemd).contains("READY=1")).await;
    house.said(&["log", "note", "all is well"]);
    house.until("systemd hears that the core turned", || heard(&systemd).contains("WATCHDOG=1")).await;

    let frozen = Frozen(&disk);
    assert!(done("fsfreeze", &["-f", disk.path()]));
    let mut note = program();
    note.args(["log", "note", "never kept", "--config"]).arg(house.path("lowtide.toml"));
    let mut note = note.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    // From here on the core waits for the disk. What it had said before may still arrive.
    tokio::time::sleep(Duration::from_secs(5)).await;
    heard(&systemd);
    let said = || server.stored().iter().any(|message| message["title"] == "Nobody is watching: Lowtide");
    house.until("it is said that nobody is watching", said).await;
    let since = heard(&systemd);
    assert!(!since.contains("WATCHDOG=1"), "a core that hangs is fed to the watchdog: {since}");
    drop(frozen);
    let _ = note.kill();
    note.wait().unwrap();
    house.until("it turns again", || heard(&systemd).contains("WATCHDOG=1")).await;
    house.stop();
    assert!(lowtide::record::Record::verify(&house.path("data")).is_sound());
}
