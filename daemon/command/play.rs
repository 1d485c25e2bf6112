//! `lowtide replay`, `demo` and `simulate`: the same turn, on recorded, invented and faulty days.

use std::io::{self, IsTerminal};
use std::process::ExitCode;
use std::time::Duration;

use super::arguments::{Demo, Replay, Simulate};
use super::{Done, Failure};
use crate::config::Config;
use crate::demo::{DemoError, DemoSettings, demo as play};

/// Plays recorded files through the watches.
pub(super) fn replay(_config: &Config, _wanted: &Replay) -> Done {
    Err(Failure::Failed("replay is landing".into()))
}

/// Shows an invented day.
pub(super) fn demo(wanted: &Demo) -> Done {
    let lasting = wanted.lasting.as_deref().map(duration).transpose()?;
    let settings = DemoSettings { seed: wanted.seed, lasting, keep: wanted.keep.as_deref(), pace: true };
    match play(&settings, &mut io::stdout().lock()) {
        // A closed pipe is a viewer who has seen enough.
        Err(DemoError::Terminal(error)) if error.kind() == io::ErrorKind::BrokenPipe => Ok(ExitCode::SUCCESS),
        Err(error) => Err(Failure::failed(error)),
        Ok(()) => Ok(ExitCode::SUCCESS),
    }
}

/// Runs invented households through faults.
pub(super) fn simulate(_wanted: &Simulate) -> Done {
    let _ = io::stderr().is_terminal();
    Err(Failure::Failed("simulate is landing".into()))
}

/// Reads "20s", "2m" or plain seconds.
fn duration(text: &str) -> Result<Duration, Failure> {
    let wrong = || Failure::Unreadable(format!("'{text}' is not a length of time: write 20s or 2m"));
    let (number, unit) = match text.strip_suffix(['s', 'm']) {
        Some(number) => (number, text.chars().last()),
        None => (text, Some('s')),
    };
    let number: f64 = number.trim().parse().map_err(|_| wrong())?;
    let seconds = if unit == Some('m') { number * 60.0 } else { number };
    if seconds.is_finite() && (1.0..=86_400.0).contains(&seconds) {
        Ok(Duration::from_secs_f64(seconds))
    } else {
        Err(wrong())
    }
}
