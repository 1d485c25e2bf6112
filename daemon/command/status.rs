//! `lowtide status`: the present, from the running daemon or from the record.

use std::process::ExitCode;

use super::{Done, Failure};
use crate::clock::{Clock, MachineClock};
use crate::config::Config;
use crate::report::{HouseStatus, fit_text, house_status, status_text};
use crate::run::reach::{Reached, reach};
use crate::run::socket::{Reply, Request};
use crate::turn::turn;
use crate::words::Event;

/// Prints the present.
pub(super) fn status(config: &Config, json: bool, fit: bool) -> Done {
    let (status, running) = fetch(config)?;
    if fit && !json {
        say!("{}", fit_text(&status, &config.household));
    } else if json {
        say!("{}", serde_json::to_string_pretty(&status).map_err(Failure::failed)?);
    } else {
        if !running {
            say!("The daemon is not running: nobody is watching. This is what the record says.\n");
        }
        say!("{}", status_text(&status, &config.household));
    }
    Ok(ExitCode::SUCCESS)
}

/// The present, and whether a daemon runs that keeps it.
pub(super) fn fetch(config: &Config) -> Result<(HouseStatus, bool), Failure> {
    let mut opened = match reach(&config.data, &Request::Status).map_err(Failure::failed)? {
        Reached::Daemon(Reply::Status { status }) => return Ok((*status, true)),
        Reached::Daemon(Reply::Failed { why }) => return Err(Failure::Failed(why)),
        Reached::Daemon(Reply::Kept) => {
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
