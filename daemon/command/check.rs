//! `lowtide check`: what a configuration means, in words, and what is wrong with it.

use std::path::Path;
use std::process::ExitCode;

use serde_json::json;

use super::{Done, Failure};
use crate::clock::{Clock, MachineClock};
use crate::config::{self, Surroundings};

/// Prints what was understood and every problem; ends with 0 sound, 1 problems, 2 unreadable.
pub(super) fn check(file: &Path, as_json: bool) -> Done {
    let now = MachineClock::new().now();
    let surroundings = Surroundings { now: Some(now), ..Surroundings::of_this_process() };
    if as_json {
        let examined =
            config::examine(file, &surroundings).map_err(|error| Failure::Unreadable(error.to_string()))?;
        for problem in &examined.problems {
            say!(
                "{}",
                json!({
                    "file": file, "line": problem.line, "key": problem.key, "found": problem.found,
                    "want": problem.want, "error": problem.is_error(),
                })
            );
        }
        return Ok(if examined.is_sound() { ExitCode::SUCCESS } else { ExitCode::FAILURE });
    }
    let checked = config::check(file, &surroundings, now);
    say!("{}", checked.text.trim_end());
    Ok(ExitCode::from(checked.exit_code))
}
