//! Listens and hands connections to the pages. It knows nothing of what is on them.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;

use super::Ground;
use super::web::{Peer, pages};

/// Serves the pages; does not come back. Whatever is in the way of listening, a page is no reason not to watch the cat: it
/// is said in the log and tried again.
pub async fn serve(ground: Ground) {
    let listener = listen(ground.settings.listen).await;
    let pages = pages(ground);
    let places = Arc::new(Semaphore::new(CONNECTIONS_MOST));
    loop {
        // Whoever comes when all places are taken waits in the queue of the system.
        let Ok(place) = Arc::clone(&places).acquire_owned().await else { return };
        match listener.accept().await {
            Ok((stream, from)) => {
                let pages = pages.clone().layer(axum::Extension(Peer(from.ip())));
                tokio::spawn(async move {
                    let served = tokio::time::timeout(CONNECTION_LASTS, connection(stream, pages));
                    if let Ok(Err(error)) = served.await {
                        tracing::debug!("the page: {error}");
                    }
                    drop(place);
                });
            }
            Err(error) => {
                tracing::warn!("the page: {error}");
                tokio::time::sleep(Duration::from_secs(1)).await;
            }
        }
    }
}

async fn listen(address: SocketAddr) -> TcpListener {
    loop {
        match TcpListener::bind(address).await {
            Ok(listener) => {
                tracing::info!("the page is at http://{address}/");
                return listener;
            }
            Err(error) => tracing::error!("no page: cannot listen on {address}: {error}; trying again"),
        }
        tokio::time::sleep(TRIED_AGAIN).await;
    }
}

async fn connection(stream: TcpStream, pages: axum::Router) -> hyper::Result<()> {
    http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEADERS_WITHIN)
        .half_close(true)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(pages))
        .await
}

const TRIED_AGAIN: Duration = Duration::from_secs(30);
/// A household has a few phones, each with a connection or two; whoever takes places to keep others out needs many.
const CONNECTIONS_MOST: usize = 256;
/// Who has not said within this what they want, is not waited for; nor is a phone that keeps a line open and says nothing.
const HEADERS_WITHIN: Duration = Duration::from_secs(10);
/// Nothing here takes longer, and a phone that wants more connects anew.
const CONNECTION_LASTS: Duration = Duration::from_secs(120);
