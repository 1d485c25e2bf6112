//! The parts of the daemon that run beside the keeper, each a task of its own. One that breaks off ends the daemon, so that
//! it is started again whole: a daemon that lives on without its door or its carrier looks well and tells nobody anything.

use std::collections::BTreeMap;
use std::future::Future;

use tokio::sync::watch;
use tokio::task::{Id, JoinError, JoinSet};

/// The parts that are running.
#[derive(Debug, Default)]
pub(super) struct Tasks {
    running: JoinSet<()>,
    parts: BTreeMap<Id, Part>,
}

#[derive(Clone, Copy, Debug)]
struct Part {
    name: &'static str,
    /// Whether it may come to its end while the daemon goes on.
    may_end: bool,
}

/// A part that broke off, and how.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Broken {
    pub(super) part: &'static str,
    pub(super) why: String,
}

impl Tasks {
    /// Starts a part without which the daemon is not whole.
    pub(super) fn start(&mut self, name: &'static str, task: impl Future<Output = ()> + Send + 'static) {
        self.begin(Part { name, may_end: false }, task);
    }

    /// Starts a part that may be done before the daemon is; only a fault in it counts.
    pub(super) fn start_passing(
        &mut self,
        name: &'static str,
        task: impl Future<Output = ()> + Send + 'static,
    ) {
        self.begin(Part { name, may_end: true }, task);
    }

    fn begin(&mut self, part: Part, task: impl Future<Output = ()> + Send + 'static) {
        let id = self.running.spawn(task).id();
        self.parts.insert(id, part);
    }

    /// Waits until `stop` turns true or a part breaks off; either way the others are told to `end`.
    pub(super) async fn watch(
        &mut self,
        stop: &mut watch::Receiver<bool>,
        end: &watch::Sender<bool>,
    ) -> Result<(), Broken> {
        let watched = tokio::select! {
            biased;
            _ = stop.wait_for(|stop| *stop) => Ok(()),
            broken = self.broken() => Err(broken),
        };
        if let Err(Broken { part, why }) = &watched {
            tracing::error!("{part} broke off ({why})");
        }
        let _ = end.send(true);
        watched
    }

    /// Waits until a part breaks off; for ever if none does.
    async fn broken(&mut self) -> Broken {
        while let Some(ended) = self.running.join_next_with_id().await {
            if let Some(broken) = self.ended(ended) {
                return broken;
            }
        }
        std::future::pending().await
    }

    fn ended(&mut self, ended: Result<(Id, ()), JoinError>) -> Option<Broken> {
        let (id, why) = match ended {
            Ok((id, ())) => (id, None),
            Err(fault) => (fault.id(), Some("it met a fault of its own".to_owned())),
        };
        let part = self.parts.remove(&id)?;
        let why = match why {
            None if part.may_end => return None,
            why => why.unwrap_or_else(|| "it ended, though nobody had asked it to".to_owned()),
        };
        Some(Broken { part: part.name, why })
    }

    /// Ends what still runs.
    pub(super) async fn shutdown(mut self) {
        self.running.shutdown().await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_part_that_returns_or_panics_is_named() {
        let mut tasks = Tasks::default();
        tasks.start("the door for files", std::future::pending());
        tasks.start("the carriers", async {});
        let broken = tasks.broken().await;
        assert_eq!(
            (broken.part, broken.why.as_str()),
            ("the carriers", "it ended, though nobody had asked it to")
        );
        tasks.start("the control socket", async { panic!("a fault that a test makes") });
        let broken = tasks.broken().await;
        assert_eq!((broken.part, broken.why.as_str()), ("the control socket", "it met a fault of its own"));
        tasks.shutdown().await;
    }

    #[tokio::test]
    async fn whether_a_stop_was_asked_for_or_a_part_broke_the_others_are_told() {
        for stops in [true, false] {
            let (stop, mut stopped) = watch::channel(stops);
            let (end, ended) = watch::channel(false);
            let mut tasks = Tasks::default();
            tasks.start("the door for files", async move { assert!(stops, "a fault that a test makes") });
            let watched = tasks.watch(&mut stopped, &end).await;
            assert_eq!((watched.is_ok(), *ended.borrow()), (stops, true));
            drop(stop);
        }
    }

    #[tokio::test]
    async fn a_part_that_may_be_done_ends_nothing_but_by_a_fault() {
        let mut tasks = Tasks::default();
        tasks.start_passing("the clock's watch", async {});
        tasks.start_passing("the heartbeat", async { panic!("a fault that a test makes") });
        assert_eq!(tasks.broken().await.part, "the heartbeat");
        let waited = tokio::time::timeout(std::time::Duration::from_millis(50), tasks.broken()).await;
        assert!(waited.is_err(), "nothing else broke");
    }
}
