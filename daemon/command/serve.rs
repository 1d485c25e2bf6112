//! `lowtide run`: the daemon.

use std::process::ExitCode;
use std::sync::Arc;

use tokio::signal::unix::{SignalKind, signal};

use super::one_line::OneLine;
use super::{Done, Failure};
use crate::clock::MachineClock;
use crate::config::Config;
use crate::notify::Carriers;

/// Runs the daemon until it is told to stop.
pub(super) fn run(config: &Config) -> Done {
    logging();
    crate::tls::install_provider();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| Failure::Failed(format!("cannot start: {error}")))?;
    runtime.block_on(serve(config))
}

async fn serve(config: &Config) -> Done {
    for advice in &config.advice {
        tracing::warn!("{}", advice.shown(&config.file));
    }
    let carriers = Carriers::new(config.ntfy.clone(), config.mail.clone()).map_err(Failure::failed)?;
    let (stop, stopped) = tokio::sync::watch::channel(false);
    let mut terminate = signal(SignalKind::terminate()).map_err(Failure::failed)?;
    let mut interrupt = signal(SignalKind::interrupt()).map_err(Failure::failed)?;
    tokio::spawn(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
        tracing::info!("stopping");
        let _ = stop.send(true);
    });
    let clock = Arc::new(MachineClock::new());
    crate::run::run(config.clone(), carriers, clock, stopped).await.map_err(Failure::failed)?;
    Ok(ExitCode::SUCCESS)
}

/// Lines to standard error; under systemd, whose journal has its own clock, without the time.
fn logging() {
    // A line that cannot be written, to a file on a full disk say, is lost: saying that would need the same file, and
    // must not end the task that logged it.
    let lines = tracing_subscriber::fmt()
        .with_writer(|| OneLine(std::io::stderr()))
        .with_ansi(false)
        .with_target(false)
        .log_internal_errors(false);
    let kept = if std::env::var_os("JOURNAL_STREAM").is_some() {
        lines.without_time().try_init()
    } else {
        lines.try_init()
    };
    // Set already: a test that runs two daemons in one process.
    drop(kept);
}
