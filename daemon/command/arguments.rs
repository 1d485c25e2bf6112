//! The command line, as clap reads it and as `--help` teaches it.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// Lowtide watches a diabetic cat's glucose sensor and tells the right person in time.
#[derive(Debug, Parser)]
#[command(
    name = "lowtide",
    version,
    about = "Watches a diabetic cat's glucose sensor and tells the right person in time.",
    after_help = "First steps:\n  lowtide demo                         an invented cat, hours in seconds; nothing else needed\n  lowtide check --config lowtide.toml  what your configuration means, in words\n  lowtide try --config lowtide.toml    a test message to each person; --loud as at night\n  lowtide run --config lowtide.toml    the daemon\n\nLowtide is a reminder and a record, not a medical device. It never advises a dose: call your vet."
)]
pub(super) struct Arguments {
    /// The configuration file [default: $LOWTIDE_CONFIG, ./lowtide.toml, /etc/lowtide/lowtide.toml]
    #[arg(long, short, global = true, value_name = "FILE")]
    pub(super) config: Option<PathBuf>,
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Run the daemon: watch, tell, keep
    Run,
    /// Read the configuration and say in words what will happen
    ///
    /// Ends with 0 if it is sound, 1 if it has problems, 2 if it cannot be read.
    Check {
        /// Problems as JSON
        #[arg(long)]
        json: bool,
    },
    /// Send a test message to each person, over each of their channels
    Try {
        /// Only this person
        #[arg(long, value_name = "NAME")]
        person: Option<String>,
        /// As loud as a critical message: hear how that sounds at night, and whether do not disturb lets it through
        #[arg(long)]
        loud: bool,
    },
    /// Play recorded readings through the watches, and show what would have been found and sent
    Replay(Replay),
    /// Show all of it on an invented cat: no server, no account, no network, no files left behind
    Demo(Demo),
    /// Run invented households through faults, and check that nothing is lost or left unsaid
    Simulate(Simulate),
    /// The present: glucose, window, sensor, what is open, who has the cat
    Status {
        /// As JSON
        #[arg(long)]
        json: bool,
        /// How each sensor was found to differ from the usual one, and on what that rests
        #[arg(long)]
        fit: bool,
        /// What the next four hours may bring: where blood may be, and the chance of a low
        #[arg(long, conflicts_with = "fit")]
        ahead: bool,
    },
    /// When to scan so that no reading is lost
    Scans(Scans),
    /// How long sensors have lasted, and how many spares a trip needs
    Sensors {
        /// Which cat; may be left out if there is only one
        #[arg(long, value_name = "NAME")]
        cat: Option<String>,
        /// Days of a trip
        #[arg(long, value_name = "DAYS")]
        trip: Option<f64>,
    },
    /// Write a page to print: the curve for the vet, or a sheet for whoever looks after the cat
    #[command(
        after_help = "F.html is a page to print, F.csv a table for other programs. For a PDF, print the page from a browser."
    )]
    Report(Report),
    /// Record something by hand, or answer a message
    #[command(
        after_help = "Times: RFC 3339, \"2026-03-01 06:15\" or \"06:15\" (home time zone); without --at it is now."
    )]
    Log {
        /// Which cat; may be left out if there is only one
        #[arg(long, global = true, value_name = "NAME")]
        cat: Option<String>,
        #[command(subcommand)]
        what: Log,
    },
    /// List findings, messages, attempts and answers
    History(History),
    /// Write everything in the record as NDJSON, while the daemon runs or not
    Export {
        /// The file; without it, standard output
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Bring an export into the record; the daemon must be stopped
    Import {
        /// The export
        file: PathBuf,
    },
}

#[derive(Args, Debug)]
pub(super) struct Replay {
    /// Files of readings, doses, meter checks, sensor events
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// Findings and messages, one JSON object a line
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
    /// The estimate at each reading, CSV
    #[arg(long, value_name = "FILE")]
    pub(super) estimates: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(super) struct Demo {
    /// Stop by itself after this long, such as 20s or 2m
    #[arg(long = "for", value_name = "TIME")]
    pub(super) lasting: Option<String>,
    /// A week in two minutes: a sitter, a night low, a sensor that dies, a dose nearly given twice
    #[arg(long)]
    pub(super) week: bool,
    /// Language of the messages: en, de or fr
    #[arg(long, value_name = "CODE", default_value = "en")]
    pub(super) language: String,
    /// Show the page too, for a browser on this machine, while the story takes ten minutes
    #[arg(long, value_name = "ADDRESS", num_args = 0..=1, default_missing_value = "127.0.0.1:7412")]
    pub(super) page: Option<SocketAddr>,
    /// Another cat, the same story
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// Keep the record in this folder instead of throwing it away
    #[arg(long, value_name = "DIR")]
    pub(super) keep: Option<PathBuf>,
    #[command(flatten)]
    pub(super) no_config: NoConfig,
}

/// The household is an invented one: `--config` is taken like everywhere, and not taught.
#[derive(Args, Debug)]
pub(super) struct NoConfig {
    #[arg(long, short, hide = true, value_name = "FILE")]
    config: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(super) struct Scans {
    /// Which cat; may be left out if there is only one
    #[arg(long, value_name = "NAME")]
    pub(super) cat: Option<String>,
    /// How far ahead to plan
    #[arg(long, value_name = "HOURS", default_value_t = 24.0)]
    pub(super) hours: f64,
    /// Nobody can scan then, such as 13:00-17:30; may be given several times
    #[arg(long, value_name = "FROM-UNTIL")]
    pub(super) away: Vec<String>,
}

#[derive(Args, Debug)]
pub(super) struct Report {
    /// Which cat; may be left out if there is only one
    #[arg(long, value_name = "NAME")]
    pub(super) cat: Option<String>,
    /// A sheet for whoever looks after the cat, instead of the curve
    #[arg(long)]
    pub(super) for_sitter: bool,
    /// Whose language, clock and unit; without it the home's, and for a sheet those of whoever has the cat next
    #[arg(long, value_name = "NAME")]
    pub(super) person: Option<String>,
    /// From this time on, such as "2026-03-01 06:15"; without it, two weeks back
    #[arg(long, value_name = "TIME", conflicts_with = "for_sitter")]
    pub(super) from: Option<String>,
    /// Until before this time; without it, now
    #[arg(long, value_name = "TIME", conflicts_with = "for_sitter")]
    pub(super) to: Option<String>,
    /// The file: F.html or F.csv
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
}

#[derive(Args, Debug)]
pub(super) struct Simulate {
    /// The first seed
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// How many seeds, from the first one on
    #[arg(long, default_value_t = 1)]
    pub(super) seeds: u64,
    /// Days each
    #[arg(long, default_value_t = 3)]
    pub(super) days: u32,
    #[command(flatten)]
    pub(super) no_config: NoConfig,
}

#[derive(Args, Debug)]
pub(super) struct History {
    /// Only this cat
    #[arg(long, value_name = "NAME")]
    pub(super) cat: Option<String>,
    /// From this time on, such as "2026-03-01 06:15" on the clock of home
    #[arg(long, value_name = "TIME")]
    pub(super) from: Option<String>,
    /// Until before this time
    #[arg(long, value_name = "TIME")]
    pub(super) to: Option<String>,
    /// As JSON, one object a line
    #[arg(long)]
    pub(super) json: bool,
}

#[derive(Debug, Subcommand)]
pub(super) enum Log {
    /// A reading off the sensor: a number, LO or HI
    Reading {
        /// What it shows: a number, LO or HI
        value: String,
        /// mg/dL or mmol/L; without it, the cat's unit
        #[arg(long)]
        unit: Option<String>,
        /// When, such as 06:15 or "2026-03-01 06:15" on the clock of home; without it, now
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
    },
    /// A dose that was given
    Dose {
        /// When, such as 06:15 or "2026-03-01 06:15" on the clock of home; without it, now
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
        /// Insulin units, for the record
        #[arg(long)]
        units: Option<f64>,
        /// By whom
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
        /// Record it although one is recorded already
        #[arg(long)]
        again: bool,
        /// Take back the dose recorded for the minute of --at: it was not given after all
        #[arg(long, requires = "at", conflicts_with = "again")]
        not_given: bool,
    },
    /// A blood glucose value from a hand meter
    Meter {
        /// The number that it shows
        #[arg(required_unless_present = "not_made")]
        value: Option<String>,
        /// mg/dL or mmol/L; without it, the cat's unit
        #[arg(long)]
        unit: Option<String>,
        /// What kind of meter: pet, human, whole-blood or unknown
        #[arg(long, default_value = "unknown")]
        meter: String,
        /// When, such as 06:15 or "2026-03-01 06:15" on the clock of home; without it, now
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
        /// Take back the check recorded for the minute of --at: it was not made, or its value is wrong
        #[arg(long, requires = "at", conflicts_with_all = ["value", "unit"])]
        not_made: bool,
    },
    /// Something that happened to the sensor: applied, error, ok, expired, failed, came-off, removed
    Sensor {
        /// applied (a new one is on), error, ok, expired, failed, came-off or removed
        event: String,
        /// When, such as 06:15 or "2026-03-01 06:15" on the clock of home; without it, now
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
    },
    /// How many unused sensors there are now
    Spare {
        /// The number in the cupboard
        count: u32,
    },
    /// Free text for the record
    Note {
        /// The text
        text: String,
        /// When, such as 06:15 or "2026-03-01 06:15" on the clock of home; without it, now
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
        /// By whom
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
    },
    /// Answer a message: taken, later, sensor-fine, given (the dose), meter-low, meter-fine
    Answer {
        /// taken (I see to it), later, sensor-fine, given, meter-low or meter-fine
        #[arg(default_value = "taken")]
        verdict: String,
        /// Who answers
        #[arg(long, value_name = "NAME")]
        person: String,
        /// Which finding (see `lowtide status --json`); without it, everything this person was told of
        #[arg(long, value_name = "ID")]
        finding: Option<String>,
    },
}
