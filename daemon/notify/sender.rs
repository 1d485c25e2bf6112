//! The task that hands parcels to carriers, a few at a time.
//!
//! Comes in: parcels with their messages, over a channel. Goes out: each parcel with its outcome, over another.
//! Parcels to one address keep their order; a server that hangs holds up only its own kind of channel. When to try
//! again and when it is too late is decided elsewhere.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;

use tokio::sync::mpsc;
use tokio::task::{Id, JoinError, JoinSet};

use super::{Carriers, later};
use crate::words::{Channel, ChannelKind, Message, Outcome, Parcel};

/// One attempt to be made.
#[derive(Clone, Debug)]
pub struct Job {
    /// Which message, where to, which attempt.
    pub parcel: Parcel,
    /// The message itself.
    pub message: Message,
}

/// Carries jobs until `jobs` is closed and the last outcome has been handed over.
///
/// Every job taken gives exactly one outcome, unless this task is dropped. While [`WAITING_MAX`] jobs wait, no more
/// are taken; whoever sends jobs and reads outcomes in the same task should therefore use `try_send`.
pub async fn run(
    carriers: Arc<Carriers>,
    mut jobs: mpsc::Receiver<Job>,
    outcomes: mpsc::Sender<(Parcel, Outcome)>,
) {
    let mut desk = Desk::default();
    let mut running = JoinSet::new();
    let mut done: VecDeque<(Parcel, Outcome)> = VecDeque::new();
    let mut open = true;
    loop {
        while let Some(job) = desk.next() {
            let (carriers, parcel) = (Arc::clone(&carriers), job.parcel.clone());
            let task = running.spawn(async move { carriers.carry(&job.parcel, &job.message).await });
            desk.started(task.id(), parcel);
        }
        if !open && running.is_empty() && done.is_empty() {
            return;
        }
        tokio::select! {
            job = jobs.recv(), if open && desk.waiting < WAITING_MAX => match job {
                Some(job) => desk.take(job),
                None => open = false,
            },
            Some(ended) = running.join_next_with_id() => done.extend(desk.ended(ended)),
            place = outcomes.reserve(), if !done.is_empty() => match (place, done.pop_front()) {
                (Ok(place), Some(pair)) => place.send(pair),
                // Nobody is left to hear the outcomes.
                _ => return,
            },
        }
    }
}

/// Most jobs held in this task's own queue.
pub const WAITING_MAX: usize = 256;
/// Most attempts at once over one kind of channel.
const RUNNING_MAX: usize = 4;

/// Who waits for whom.
#[derive(Debug, Default)]
struct Desk {
    queues: BTreeMap<Channel, VecDeque<Job>>,
    /// Channels with a queue, the longest-waiting first.
    order: VecDeque<Channel>,
    waiting: usize,
    busy: BTreeSet<Channel>,
    tasks: BTreeMap<Id, Parcel>,
}

impl Desk {
    fn take(&mut self, job: Job) {
        let channel = job.parcel.channel.clone();
        self.waiting += 1;
        self.queues.entry(channel.clone()).or_default().push_back(job);
        if !self.order.contains(&channel) {
            self.order.push_back(channel);
        }
    }

    /// The next job that may start now: the worst, and of equals the one whose channel has waited longest.
    fn next(&mut self) -> Option<Job> {
        let free =
            |channel: &Channel| !self.busy.contains(channel) && self.running(channel.kind) < RUNNING_MAX;
        let severity =
            |channel| self.queues.get(channel).and_then(VecDeque::front).map(|job| job.message.severity);
        let waiting = self.order.iter().enumerate().filter(|(_, channel)| free(channel));
        let (at, _) = waiting.max_by_key(|(at, channel)| (severity(channel), Reverse(*at)))?;
        let channel = self.order.remove(at)?;
        let queue = self.queues.get_mut(&channel)?;
        let job = queue.pop_front()?;
        if queue.is_empty() {
            self.queues.remove(&channel);
        } else {
            self.order.push_back(channel);
        }
        self.waiting -= 1;
        Some(job)
    }

    fn running(&self, kind: ChannelKind) -> usize {
        self.busy.iter().filter(|channel| channel.kind == kind).count()
    }

    fn started(&mut self, task: Id, parcel: Parcel) {
        self.busy.insert(parcel.channel.clone());
        self.tasks.insert(task, parcel);
    }

    fn ended(&mut self, ended: Result<(Id, Outcome), JoinError>) -> Option<(Parcel, Outcome)> {
        let (task, outcome) = match ended {
            Ok((task, outcome)) => (task, outcome),
            Err(fault) => (fault.id(), later("the carrier met a fault of its own")),
        };
        let parcel = self.tasks.remove(&task)?;
        self.busy.remove(&parcel.channel);
        Some((parcel, outcome))
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::super::tests::{message, parcel};
    use super::super::{Carrier, Stub, StubAnswer, delivered};
    use super::*;
    use crate::words::{MessageId, Severity};

    fn job(kind: ChannelKind, address: &str, id: &str) -> Job {
        let mut parcel = parcel(kind, address);
        parcel.message = MessageId(id.to_owned());
        Job { parcel, message: message() }
    }

    fn start(stub: &Stub) -> (mpsc::Sender<Job>, mpsc::Receiver<(Parcel, Outcome)>) {
        let (jobs, taken) = mpsc::channel(16);
        let (given, outcomes) = mpsc::channel(1);
        tokio::spawn(run(Arc::new(Carriers::all(Carrier::Stub(stub.clone()))), taken, given));
        (jobs, outcomes)
    }

    #[tokio::test(start_paused = true)]
    async fn parcels_to_one_address_keep_their_order() {
        let slow = StubAnswer::After(Duration::from_secs(9), delivered(None));
        let stub = Stub::answering([slow]);
        let (jobs, mut outcomes) = start(&stub);
        for id in ["a", "b", "c"] {
            jobs.send(job(ChannelKind::Ntfy, "topic", id)).await.unwrap();
        }
        drop(jobs);
        let mut ids = Vec::new();
        while let Some((parcel, outcome)) = outcomes.recv().await {
            assert_eq!(outcome, delivered(None));
            ids.push(parcel.message.0);
        }
        assert_eq!(ids, ["a", "b", "c"]);
    }

    #[tokio::test(start_paused = true)]
    async fn a_mail_server_that_hangs_does_not_hold_up_a_push() {
        let stub = Stub::answering(vec![StubAnswer::Hang; 4]);
        let (jobs, mut outcomes) = start(&stub);
        for address in ["a@x.example", "b@x.example", "c@x.example", "d@x.example", "e@x.example"] {
            jobs.send(job(ChannelKind::Email, address, address)).await.unwrap();
        }
        tokio::time::sleep(Duration::from_secs(1)).await;
        assert_eq!(stub.sent().len(), 4, "the fifth mail must wait");
        jobs.send(job(ChannelKind::Ntfy, "topic", "push")).await.unwrap();
        let (parcel, outcome) = outcomes.recv().await.unwrap();
        assert_eq!((parcel.message.0.as_str(), outcome), ("push", delivered(None)));
        drop(jobs);
        let mut late = 0;
        while let Some((_, outcome)) = outcomes.recv().await {
            late += usize::from(matches!(outcome, Outcome::Later { .. }));
        }
        assert_eq!((late, stub.sent().len()), (4, 6));
    }

    #[tokio::test(start_paused = true)]
    async fn where_addresses_wait_for_each_other_the_worst_goes_first() {
        let slow = || StubAnswer::After(Duration::from_secs(9), delivered(None));
        let stub = Stub::answering([slow(), slow(), slow(), slow()]);
        let (jobs, mut outcomes) = start(&stub);
        for address in ["a", "b", "c", "d", "e", "f", "critical"] {
            let mut job = job(ChannelKind::Ntfy, address, address);
            job.message.severity = if address == "critical" { Severity::Critical } else { Severity::Warning };
            jobs.send(job).await.unwrap();
        }
        drop(jobs);
        while outcomes.recv().await.is_some() {}
        let order: Vec<String> = stub.sent().iter().map(|(parcel, _)| parcel.message.0.clone()).collect();
        assert_eq!(order, ["a", "b", "c", "d", "critical", "e", "f"]);
    }

    #[tokio::test(start_paused = true)]
    async fn outcomes_that_nobody_fetches_do_not_stop_the_taking() {
        let stub = Stub::default();
        let (jobs, mut outcomes) = start(&stub);
        for n in 0..100 {
            jobs.send(job(ChannelKind::Ntfy, "topic", &n.to_string())).await.unwrap();
        }
        drop(jobs);
        let mut count = 0;
        while outcomes.recv().await.is_some() {
            count += 1;
        }
        assert_eq!(count, 100);
    }
}
