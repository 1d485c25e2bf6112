//! A driver behind a door that keeps everything it is given.

use std::sync::{Arc, Mutex};

use lowtide::intake::{Inbound, Kept};
use lowtide::words::Event;
use tokio::sync::mpsc;

/// Answers each event as kept; what came so far, in order.
pub fn keeps_all(mut inbox: mpsc::Receiver<Inbound>) -> Arc<Mutex<Vec<Event>>> {
    let events = Arc::new(Mutex::new(Vec::new()));
    let noted = Arc::clone(&events);
    tokio::spawn(async move {
        while let Some(Inbound { event, done, .. }) = inbox.recv().await {
            noted.lock().unwrap().push(event);
            let _ = done.map(|done| done.send(Kept::Synced));
        }
    });
    events
}
