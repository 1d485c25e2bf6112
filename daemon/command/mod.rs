//! What is typed: arguments in, text and exit code out. Each command is a file; this one says what there is.
//!
//! Exit codes: 0 done; 1 it did not work, or `check` found problems; 2 the command line or the configuration cannot
//! be read.

/// Prints a line. A closed pipe (`| head`) is a reader that has seen enough, not a failure.
macro_rules! say {
    ($($text:tt)*) => { $crate::command::print(format_args!($($text)*)) };
}

mod access;
mod arguments;
mod check;
mod history;
mod log;
mod one_line;
mod play;
mod report;
mod sensors;
mod serve;
mod status;
mod tryout;

use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser;

use crate::clock::{Clock, MachineClock};
use crate::config::{self, Config};
use arguments::{Arguments, Command};

/// Why a command did not do what it was asked.
#[derive(Debug)]
pub(crate) enum Failure {
    /// It did not work; the text says what, where and what now.
    Failed(String),
    /// The configuration or an argument cannot be used.
    Unreadable(String),
}

impl Failure {
    fn failed(error: impl std::fmt::Display) -> Self {
        Self::Failed(error.to_string())
    }
}

pub(crate) type Done = Result<ExitCode, Failure>;

/// Reads the command line, does what it says, and gives the exit code.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version are printed, not failed.
            let _ = error.print();
            return if error.use_stderr() { ExitCode::from(2) } else { ExitCode::SUCCESS };
        }
    };
    match dispatch(arguments) {
        Ok(code) => code,
        Err(Failure::Failed(why)) => complain(&why, 1),
        Err(Failure::Unreadable(why)) => complain(&why, 2),
    }
}

fn print(text: std::fmt::Arguments<'_>) {
    let mut out = std::io::stdout().lock();
    if let Err(error) = writeln!(out, "{text}")
        && error.kind() != ErrorKind::BrokenPipe
    {
        eprintln!("lowtide: cannot print: {error}");
    }
}

fn complain(why: &str, code: u8) -> ExitCode {
    eprintln!("lowtide: {why}");
    ExitCode::from(code)
}

fn dispatch(arguments: Arguments) -> Done {
    let named = arguments.config.is_some() || std::env::var_os("LOWTIDE_CONFIG").is_some();
    let file = arguments.config.unwrap_or_else(default_config);
    let needed = !matches!(arguments.command, Command::Demo(_) | Command::Simulate(_));
    if needed && !named {
        access::to_some_configuration(&file)?;
    }
    match arguments.command {
        Command::Run => {
            let config = load(&file)?;
            // Only at the very first start: where root has always run it, it goes on.
            if !config.data.exists() {
                access::not_as_root(&config.data)?;
            }
            serve::run(&config)
        }
        Command::Check { json } => check::check(&file, json),
        Command::Try { person, loud } => tryout::try_out(&load(&file)?, person.as_deref(), loud),
        Command::Replay(replay) => play::replay(&load(&file)?, &replay),
        Command::Demo(demo) => play::demo(&demo),
        Command::Simulate(simulate) => play::simulate(&simulate),
        Command::Status { json: true, .. } => status::json(&with_record(&file)?),
        Command::Status { fit: true, .. } => status::fit(&with_record(&file)?),
        Command::Status { ahead, .. } => status::status(&with_record(&file)?, ahead),
        Command::Scans(scans) => sensors::scans(&with_record(&file)?, &scans),
        Command::Sensors { cat, trip } => sensors::sensors(&with_record(&file)?, cat.as_deref(), trip),
        Command::Report(report) => report::report(&with_record(&file)?, &report),
        Command::Log { cat, what } => log::log(&with_record(&file)?, cat.as_deref(), what),
        Command::History(history) => history::history(&with_record(&file)?, &history),
        Command::Export { out } => history::export(&with_record(&file)?, out.as_deref()),
        Command::Import { file: from } => history::import(&with_record(&file)?, &from),
    }
}

/// The configuration, for a command that looks into the record.
fn with_record(file: &Path) -> Result<Config, Failure> {
    let config = load(file)?;
    access::to_the_record(&config)?;
    Ok(config)
}

fn load(file: &Path) -> Result<Config, Failure> {
    access::to_the_configuration(file)?;
    let surroundings = config::Surroundings {
        now: Some(MachineClock::new().now()),
        ..config::Surroundings::of_this_process()
    };
    config::load_in(file, &surroundings).map_err(|error| Failure::Unreadable(error.to_string()))
}

/// The configuration that is meant when none is named: the environment's, the folder's, the machine's.
fn default_config() -> PathBuf {
    if let Some(named) = std::env::var_os("LOWTIDE_CONFIG") {
        return named.into();
    }
    let here = PathBuf::from("lowtide.toml");
    if here.exists() { here } else { PathBuf::from("/etc/lowtide/lowtide.toml") }
}
