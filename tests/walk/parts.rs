//! A part of the daemon breaks off: the daemon ends with an error, so that it is started again, and does not live on
//! without it.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use lowtide::clock::{Clock, MachineClock};
use lowtide::run::RunError;
use lowtide::words::Moment;

use crate::stands::house::{House, ntfy};
use crate::stands::ntfy::{Ntfy, Options};

/// A clock that from some moment on breaks every task that asks it, but not the one that keeps house.
struct Breaks {
    machine: MachineClock,
    spared: OnceLock<tokio::task::Id>,
    breaks: AtomicBool,
}

impl Clock for Breaks {
    fn now(&self) -> Moment {
        let spared = tokio::task::try_id() == self.spared.get().copied();
        assert!(spared || !self.breaks.load(Ordering::SeqCst), "a fault that a test makes");
        self.machine.now()
    }
    fn steady(&self) -> Duration {
        self.machine.steady()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_daemon_that_has_lost_a_part_ends_with_an_error() {
    let server = Ntfy::start(Options { bucket: 1000, ..Options::default() }).await;
    let settings = "nobody_watching_hours = 0.01\n[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";
    let house = House::new(&format!("{}{settings}", ntfy(&server.url)));
    lowtide::tls::install_provider();
    let config = lowtide::config::load(&house.path("lowtide.toml")).unwrap();
    let carriers = lowtide::notify::Carriers::new(config.ntfy.clone(), config.mail.clone()).unwrap();
    let (_stop, stopped) = tokio::sync::watch::channel(false);
    let (machine, spared) = (MachineClock::new(), OnceLock::new());
    let clock = Arc::new(Breaks { machine, spared, breaks: AtomicBool::new(false) });
    let daemon = tokio::spawn(lowtide::run::run(config, carriers, Arc::clone(&clock) as _, stopped));
    clock.spared.set(daemon.id()).unwrap();
    house.until("a message waits", || !server.waiting().is_empty()).await;
    // The lookout asks for the time when it puts the message off.
    clock.breaks.store(true, Ordering::SeqCst);
    let ended = tokio::time::timeout(Duration::from_secs(120), daemon).await;
    let ended = ended.expect("it must not live on").unwrap();
    assert!(matches!(ended, Err(RunError::Broken { part: "the lookout", .. })), "{ended:?}");
}
