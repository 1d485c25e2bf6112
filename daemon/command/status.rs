//! `lowtide status`: the present, from the running daemon or from the record.

use std::process::ExitCode;

use super::{Done, Failure};
use crate::clock::{Clock, MachineClock};
use crate::config::Config;
use crate::report::{HouseStatus, ahead_text, fit_text, house_status, status_text};
use crate::run::reach::{Reached, reach};
use crate::run::socket::{Reply, Request};
use crate::turn::turn;
use crate::words::Event;

/// Prints the present in words; `ahead`: the next hours instead.
pub(super) fn status(config: &Config, ahead: bool) -> Done {
    let (status, running) = fetch(config)?;
    if !running {
        say!("The daemon is not running: nobody is watching. This is what the record says.\n");
    }
    let text = if ahead { ahead_text } else { status_text };
    say!("{}", text(&status, &config.household));
    Ok(ExitCode::SUCCESS)
}

/// Prints how each sensor was found to differ from the usual.
pub(super) fn fit(config: &Config) -> Done {
    say!("{}", fit_text(&fetch(config)?.0, &config.household));
    Ok(ExitCode::SUCCESS)
}

/// Prints the present as JSON.
pub(super) fn json(config: &Config) -> Done {
    say!("{}", serde_json::to_string_pretty(&fetch(config)?.0).map_err(Failure::failed)?);
    Ok(ExitCode::SUCCESS)
}

/// The present, and whether a daemon runs that keeps it.
pub(super) fn fetch(config: &Config) -> Result<(HouseStatus, bool), Failure> {
    let mut opened = match reach(&config.data, &Request::Status).map_err(Failure::failed)? {
        Reached::Daemon(Reply::Status { status }) => return Ok((*status, true)),
        Reached::Daemon(Reply::Failed { why }) => return Err(Failure::Failed(why)),
        Reached::Daemon(Reply::Kept | Reply::Known) => {
            return Err(Failure::Failed("the daemon answered something else".into()));
        }
        Reached::Record(opened) => opened,
    };
    let now = MachineClock::new().now();
    // Only looked at, not kept: a status must not change the record.
    let household = Box::new(config.household.clone());
    turn(&mut opened.state, &Event::Household { program: String::new(), household }, now);
    let status = house_status(&opened.state, now);
    status
        .map(|status| (status, false))
        .ok_or_else(|| Failure::Failed("there is no cat in the configuration".into()))
}
