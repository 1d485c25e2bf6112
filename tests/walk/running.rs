//! The whole daemon in this process, around a clock that the test sets. `run` takes its clock as an argument, so nothing in
//! it is different here.

use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use lowtide::clock::{Clock, MachineClock};
use lowtide::config::Config;
use lowtide::words::{Moment, minutes};

use crate::stands::house::House;

/// The machine's clock with an error that can be changed.
pub struct Wrong {
    machine: MachineClock,
    pub ahead_minutes: AtomicI64,
    skipped: Mutex<Duration>,
    set: AtomicBool,
    asked: AtomicU32,
    up: Duration,
}

impl Wrong {
    pub fn by(ahead_minutes: i64) -> Arc<Self> {
        Arc::new(Self {
            machine: MachineClock::new(),
            ahead_minutes: ahead_minutes.into(),
            skipped: Mutex::default(),
            set: true.into(),
            asked: 0.into(),
            up: Duration::ZERO,
        })
    }

    pub fn never_set(ahead_minutes: i64, up: Duration) -> Arc<Self> {
        Arc::new(Self { set: false.into(), up, ..Arc::into_inner(Self::by(ahead_minutes)).unwrap() })
    }

    pub fn put_right(&self) {
        self.ahead_minutes.store(0, Ordering::SeqCst);
        self.set.store(true, Ordering::SeqCst);
    }

    /// How often somebody has asked whether it is set.
    pub fn asked(&self) -> u32 {
        self.asked.load(Ordering::SeqCst)
    }

    pub fn skip(&self, length: Duration) {
        *self.skipped.lock().unwrap() += length;
    }
}

impl Clock for Wrong {
    fn now(&self) -> Moment {
        self.machine.now() + minutes(self.ahead_minutes.load(Ordering::SeqCst) as f64)
    }
    fn steady(&self) -> Duration {
        self.machine.steady() + *self.skipped.lock().unwrap()
    }
    fn is_set(&self) -> bool {
        self.asked.fetch_add(1, Ordering::SeqCst);
        self.set.load(Ordering::SeqCst)
    }
    fn since_boot(&self) -> Option<Duration> {
        Some(self.up)
    }
}

/// The daemon of a household, in this process, until it is dropped.
pub struct Running {
    stop: tokio::sync::watch::Sender<bool>,
    task: tokio::task::JoinHandle<Result<(), lowtide::run::RunError>>,
}

impl Running {
    pub fn start(house: &House, clock: &Arc<Wrong>) -> Self {
        Self::start_with(house, clock, |_| ())
    }

    /// With settings that no file can say.
    pub fn start_with(house: &House, clock: &Arc<Wrong>, change: impl FnOnce(&mut Config)) -> Self {
        lowtide::tls::install_provider();
        let mut config = lowtide::config::load(&house.path("lowtide.toml")).unwrap();
        change(&mut config);
        let carriers = lowtide::notify::Carriers::new(config.ntfy.clone(), config.mail.clone()).unwrap();
        let (stop, stopped) = tokio::sync::watch::channel(false);
        let task = tokio::spawn(lowtide::run::run(config, carriers, Arc::clone(clock) as _, stopped));
        Self { stop, task }
    }

    pub async fn end(self) {
        self.stop.send(true).unwrap();
        self.task.await.unwrap().unwrap();
    }
}
