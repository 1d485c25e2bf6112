//! Lowtide watches a diabetic cat that wears a continuous glucose sensor and tells the right person in time.
//!
//! This is the map of the house, in the order data walks through it. A room is either *pure* (no I/O, no
//! clock, no randomness, no async) or an *edge* (talks to one outside thing, decides nothing). `tests/house.rs`
//! checks which room may use which.
//!
//! - [`words`] (pure): the nouns that cross walls.
//! - [`clock`] (edge): the only place that asks the machine for the time.
//! - [`almanac`] (pure): the wall clock: when times of day, cron expressions and weekly hours come round.
//! - [`secret`] (pure), [`tls`] (edge): what must not be shown, and whom we trust on the wire.
//! - [`token`] (pure): what a button sends back, signed.
//! - [`intake`] (edge): the doors in; files and MQTT messages become events.
//! - [`glucose`] (pure): blood estimate, outlook, gaps: arithmetic on one series.
//! - [`watch`] (pure): what is true of a cat; one file per rule.
//! - [`duty`] (pure): who must hear it, when, how often, through which channel.
//! - [`tell`] (pure): the words a person reads, in that person's language, units and time zone.
//! - [`mod@turn`] (pure): one turn of the house; where the pure rooms meet.
//! - [`round`] (pure): what every driver does alike in a round: the present, the clock, what is entered.
//! - [`record`] (edge): memory; the journal is the truth, the store is derived from it.
//! - [`notify`] (edge): carries messages and decides nothing.
//! - [`report`] (pure): what is shown rather than told: the present, in data and in words.
//! - [`page`] (edge): the web page: shows a copy of the house; what is pressed on it comes in as events.
//! - [`config`] (edge): one TOML file becomes checked settings.
//! - [`run`], [`replay`], [`simulate`], [`demo`] (drivers): live, history, faulty worlds, an invented cat;
//!   all of them call the same [`turn::turn`].
//! - [`command`] (edge): what is typed: arguments in, text and exit code out.
#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod words;

pub mod almanac;
pub mod clock;
pub mod command;
pub mod config;
pub mod demo;
pub mod duty;
pub mod glucose;
pub mod intake;
pub mod notify;
pub mod page;
pub mod record;
pub mod replay;
pub mod report;
pub mod round;
pub mod run;
pub mod secret;
pub mod simulate;
pub mod tell;
pub mod tls;
pub mod token;
pub mod turn;
pub mod watch;
