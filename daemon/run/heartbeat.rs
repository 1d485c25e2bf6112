//! The heartbeat: an address outside of the house that is called as long as the core turns. Whoever is behind it
//! notices when the calls stop, whatever stopped them: the daemon, the machine, the power, the network.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use crate::secret::Secret;
use crate::tls::{TlsError, client_config};

/// Counts the keeper's rounds.
pub(super) type Pulse = Arc<AtomicU64>;

/// Calls `url` every `every`, but only if the keeper has turned since the last call: a timer that lives on beside a
/// dead core would be worse than none. Runs until the driver drops it.
pub(super) async fn beat(url: Secret, pulse: Pulse, every: Duration) {
    let client = match client() {
        Ok(client) => client,
        Err(why) => {
            tracing::error!("the heartbeat cannot be called: {why}");
            return;
        }
    };
    let mut seen = 0;
    let mut failing = false;
    loop {
        tokio::time::sleep(every).await;
        let now = pulse.load(Ordering::Relaxed);
        if now == seen {
            tracing::error!("the core has not turned since the last heartbeat: it is not called");
            continue;
        }
        seen = now;
        // The address is a secret, and so is whatever an error would say of it.
        let answered = client.get(url.expose()).send().await.is_ok_and(|reply| reply.status().is_success());
        if failing == answered {
            failing = !answered;
            if failing {
                tracing::warn!("the heartbeat's address does not answer");
            } else {
                tracing::info!("the heartbeat's address answers again");
            }
        }
    }
}

fn client() -> Result<reqwest::Client, String> {
    let tls = client_config(None).map_err(|error: TlsError| error.to_string())?;
    reqwest::Client::builder()
        .tls_backend_preconfigured(tls)
        .user_agent(concat!("lowtide/", env!("CARGO_PKG_VERSION")))
        .timeout(DEADLINE)
        .redirect(reqwest::redirect::Policy::none())
        .no_proxy()
        .build()
        .map_err(|error| error.to_string())
}

/// Twice the keeper's longest sleep, so that a quiet house is not taken for a dead one.
pub(super) const EVERY: Duration = Duration::from_secs(60);
const DEADLINE: Duration = Duration::from_secs(20);

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    #[tokio::test]
    async fn the_address_is_called_while_the_core_turns_and_not_after() {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = Secret::new(&format!("http://{}/beat", listener.local_addr().unwrap()));
        let calls = Arc::new(AtomicU64::new(0));
        let counted = Arc::clone(&calls);
        tokio::spawn(async move {
            loop {
                let (mut stream, _) = listener.accept().await.unwrap();
                let mut request = [0; 1024];
                let _ = stream.read(&mut request).await;
                counted.fetch_add(1, Ordering::Relaxed);
                let _ = stream
                    .write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\nconnection: close\r\n\r\n")
                    .await;
            }
        });
        let pulse = Pulse::default();
        let beating = tokio::spawn(beat(url, Arc::clone(&pulse), Duration::from_millis(20)));
        for _ in 0..500 {
            pulse.fetch_add(1, Ordering::Relaxed);
            tokio::time::sleep(Duration::from_millis(5)).await;
            if calls.load(Ordering::Relaxed) >= 3 {
                break;
            }
        }
        assert!(calls.load(Ordering::Relaxed) >= 3, "it was not called while the core turned");
        tokio::time::sleep(Duration::from_millis(100)).await;
        let before = calls.load(Ordering::Relaxed);
        tokio::time::sleep(Duration::from_millis(300)).await;
        assert_eq!(calls.load(Ordering::Relaxed), before, "it was called though nothing turned");
        beating.abort();
    }
}
