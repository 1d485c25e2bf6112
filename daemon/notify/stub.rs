//! A carrier that keeps what it was given and answers as told; for tests, the demo and the simulation's shell.
//!
//! Comes in: parcels and a script of answers. Goes out: the scripted outcomes, in order, then *delivered*. No I/O.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use super::delivered;
use crate::words::{Message, Outcome, Parcel};

/// What a stub does with one parcel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StubAnswer {
    /// Ends at once.
    Now(Outcome),
    /// Ends after a while.
    After(Duration, Outcome),
    /// Never ends by itself.
    Hang,
}

/// Keeps what was sent. Clones share what they keep.
#[derive(Clone, Debug, Default)]
pub struct Stub {
    inner: Arc<Mutex<Inner>>,
}

#[derive(Debug, Default)]
struct Inner {
    script: VecDeque<StubAnswer>,
    sent: Vec<(Parcel, Message)>,
}

impl Stub {
    /// A stub that answers as told, one answer a parcel, and delivers everything after that.
    #[must_use]
    pub fn answering(script: impl IntoIterator<Item = StubAnswer>) -> Self {
        let stub = Self::default();
        stub.answer(script);
        stub
    }

    /// Adds answers for the parcels to come.
    pub fn answer(&self, script: impl IntoIterator<Item = StubAnswer>) {
        self.lock().script.extend(script);
    }

    /// Everything given so far, also what was refused, in order.
    #[must_use]
    pub fn sent(&self) -> Vec<(Parcel, Message)> {
        self.lock().sent.clone()
    }

    /// Everything given since the last call of this.
    #[must_use]
    pub fn take(&self) -> Vec<(Parcel, Message)> {
        std::mem::take(&mut self.lock().sent)
    }

    pub(super) async fn carry(&self, parcel: &Parcel, message: &Message) -> Outcome {
        let answer = {
            let mut inner = self.lock();
            inner.sent.push((parcel.clone(), message.clone()));
            inner.script.pop_front()
        };
        match answer {
            None => delivered(None),
            Some(StubAnswer::Now(outcome)) => outcome,
            Some(StubAnswer::After(wait, outcome)) => {
                tokio::time::sleep(wait).await;
                outcome
            }
            Some(StubAnswer::Hang) => std::future::pending().await,
        }
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{message, parcel};
    use super::super::{Carrier, Carriers, later};
    use super::*;
    use crate::words::ChannelKind;

    #[tokio::test(start_paused = true)]
    async fn it_answers_as_told_and_a_hang_ends_at_the_last_deadline() {
        let stub = Stub::answering([StubAnswer::Now(later("busy")), StubAnswer::Hang]);
        let carriers = Carriers::all(Carrier::Stub(stub.clone()));
        let parcel = parcel(ChannelKind::Ntfy, "topic");
        assert_eq!(carriers.carry(&parcel, &message()).await, later("busy"));
        let hung = carriers.carry(&parcel, &message()).await;
        assert_eq!(hung, later("no end after 90 seconds"));
        assert_eq!(carriers.carry(&parcel, &message()).await, delivered(None));
        assert_eq!(stub.take().len(), 3);
        assert!(stub.sent().is_empty());
    }
}
