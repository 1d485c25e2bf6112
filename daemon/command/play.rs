//! `lowtide replay`, `demo` and `simulate`: the same turn, on recorded, invented and faulty days.

use std::io;
use std::process::ExitCode;
use std::time::Duration;

use super::arguments::{Demo, Replay, Simulate};
use super::history::bar;
use super::{Done, Failure};
use crate::clock::{Clock, MachineClock};
use crate::config::Config;
use crate::demo::{DemoError, DemoSettings, demo as play};
use crate::replay::{Line, ReplayJob, replay_told};
use crate::simulate::{SimulateOptions, simulate as run_world, simulate_many};
use crate::tell::LANGUAGES;
use crate::words::{Household, Moment, PersonName};

/// Plays recorded files through the watches; where nothing is written into a file, the messages are shown.
pub(super) fn replay(config: &Config, wanted: &Replay) -> Done {
    let job = ReplayJob {
        household: &config.household,
        layouts: &config.layouts,
        files: &wanted.files,
        out: wanted.out.as_deref(),
        estimates: wanted.estimates.as_deref(),
    };
    let bar = bar("events");
    let mut progress = |done: u64, total: u64| {
        bar.set_length(total);
        bar.set_position(done);
    };
    let shows = wanted.out.is_none() && wanted.estimates.is_none();
    // Shown when all is done: a bar on the same terminal would be drawn in between.
    let mut messages = Vec::new();
    let mut told = |line: &Line<'_>| {
        if let Some(person) = line.person.filter(|_| shows) {
            messages.push(shown(&config.household, line.at, person, line.text));
        }
    };
    let (summary, unread) = replay_told(&job, &mut told, &mut progress).map_err(Failure::failed)?;
    bar.finish_and_clear();
    if !messages.is_empty() {
        say!("What would have been sent, had nobody answered, as each person reads it:\n");
        messages.iter().for_each(|message| say!("{message}\n"));
    }
    for row in &unread {
        eprintln!("lowtide: {}:{}: {}", row.file.display(), row.reject.line, row.reject.reason);
    }
    say!(
        "{} readings in {} events ({} were held already, {} contradicted a held one): {} findings opened, changed or cleared, {} messages.",
        summary.readings,
        summary.events,
        summary.repeated,
        summary.conflicts,
        summary.changes,
        summary.messages
    );
    Ok(if unread.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// A message with the time at which it was sent, on the clock of the house, and who got it.
fn shown(household: &Household, at: Moment, person: &PersonName, text: &str) -> String {
    let called = household.person(person).map_or_else(|| person.to_string(), |person| person.called.clone());
    let at = at.at(household.home.timezone).format("%a %d %b %H:%M");
    format!("{at}  to {called}\n  {}", text.replace('\n', "\n  "))
}

/// Shows an invented day or week.
pub(super) fn demo(wanted: &Demo) -> Done {
    let lasting = wanted.lasting.as_deref().map(duration).transpose()?;
    let language = wanted.language.as_str();
    if !LANGUAGES.contains(&language) {
        let known = LANGUAGES.join(", ");
        return Err(Failure::Unreadable(format!(
            "there are no messages in '{language}': use one of {known}"
        )));
    }
    let keep = wanted.keep.as_deref();
    let page = wanted.page;
    if let Some(address) = page.filter(|address| !address.ip().is_loopback()) {
        return Err(Failure::Unreadable(format!(
            "the demo shows its page to this machine only, not at {address}: use --page 127.0.0.1:7412"
        )));
    }
    let settings =
        DemoSettings { seed: wanted.seed, week: wanted.week, language, lasting, keep, pace: true, page };
    match play(&settings, &mut io::stdout().lock()) {
        // A closed pipe is a viewer who has seen enough.
        Err(DemoError::Terminal(error)) if error.kind() == io::ErrorKind::BrokenPipe => Ok(ExitCode::SUCCESS),
        Err(error) => Err(Failure::failed(error)),
        Ok(()) => Ok(ExitCode::SUCCESS),
    }
}

/// Runs invented households through faults; a failure can be repeated by its seed.
pub(super) fn simulate(wanted: &Simulate) -> Done {
    let options = SimulateOptions::default();
    if wanted.seeds == 1 {
        let report = run_world(wanted.seed, wanted.days, &options);
        say!("{report}");
        return Ok(if report.failure.is_none() { ExitCode::SUCCESS } else { ExitCode::FAILURE });
    }
    let bar = bar("worlds");
    bar.set_length(wanted.seeds);
    let clock = MachineClock::new();
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let sum = simulate_many((wanted.seed, wanted.seeds), wanted.days, &options, threads, &|| bar.inc(1));
    bar.finish_and_clear();
    let seconds = clock.steady().as_secs_f64();
    sum.failed.iter().for_each(|report| say!("{report}"));
    say!("{sum}{:.2} cat-years a second on {threads} threads", sum.cat_days / 365.25 / seconds);
    Ok(if sum.failed.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
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
