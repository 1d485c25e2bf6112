//! Messages on their way to the disk. Comes in: a message and the events that it says. Goes out: the events to the driver,
//! again and again until they are kept, and when everything in the foremost message is. Knows nothing of brokers.

use std::collections::VecDeque;
use std::time::Duration;

use rumqttc::Publish;
use tokio::sync::{mpsc, oneshot};
use tokio::time::{Instant, sleep_until};

use super::Door;
use crate::intake::{Inbound, Kept};
use crate::words::Event;

/// One message on its way to the disk.
pub(super) struct Waiting {
    pub(super) message: Publish,
    /// Events not yet confirmed, in order.
    offers: VecDeque<Offer>,
}

impl Waiting {
    pub(super) fn new(message: Publish, events: Vec<Event>) -> Self {
        let now = Instant::now();
        let offers = events.into_iter().map(|event| Offer { event, state: State::Again(now) }).collect();
        Self { message, offers }
    }
}

struct Offer {
    event: Event,
    state: State,
}

enum State {
    /// The driver has it.
    Given(oneshot::Receiver<Kept>),
    /// It is to be offered (again) at this time.
    Again(Instant),
}

/// Waits until everything in a message is on disk; for ever if there is none. May be dropped and begun again at any
/// point. `Err` if nobody is left behind the door.
pub(super) async fn settle(front: Option<&mut Waiting>, door: &Door, again: Duration) -> Result<(), ()> {
    let Some(front) = front else { return std::future::pending().await };
    while let Some(offer) = front.offers.front_mut() {
        match &mut offer.state {
            State::Given(kept) => match kept.await {
                Ok(Kept::Synced | Kept::Known) => drop(front.offers.pop_front()),
                Ok(Kept::Failed(why)) => {
                    tracing::error!(
                        topic = front.message.topic,
                        why,
                        "a message could not be kept; it is offered again"
                    );
                    offer.state = State::Again(Instant::now() + again);
                }
                // The driver dropped it unanswered.
                Err(_) => offer.state = State::Again(Instant::now() + again),
            },
            State::Again(when) => {
                tokio::select! {
                    () = sleep_until(*when) => {}
                    () = door.closed() => return Err(()),
                }
                let place = door.reserve().await.map_err(|_| ())?;
                offer.state = State::Given(given(place, &offer.event));
            }
        }
    }
    Ok(())
}

/// Gives events to the driver as far as there is room, in order, without waiting: one sync can then do for many.
pub(super) fn give_on(waiting: &mut VecDeque<Waiting>, door: &Door) {
    let now = Instant::now();
    for offer in waiting.iter_mut().flat_map(|one| &mut one.offers) {
        match offer.state {
            State::Given(_) => {}
            State::Again(when) if when <= now => {
                let Ok(place) = door.try_reserve() else { return };
                offer.state = State::Given(given(place, &offer.event));
            }
            State::Again(_) => return,
        }
    }
}

fn given(place: mpsc::Permit<'_, Inbound>, event: &Event) -> oneshot::Receiver<Kept> {
    let (done, kept) = oneshot::channel();
    place.send(Inbound::new(event.clone(), Some(done)));
    kept
}
