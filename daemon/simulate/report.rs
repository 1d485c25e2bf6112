//! What a simulation says in the end, and the tape it keeps of everything that happened.

use std::collections::{BTreeMap, VecDeque};
use std::fmt;

use sha2::{Digest, Sha256};

use super::driver::Taken;
use super::many::tallied;
use crate::turn::House;
use crate::words::Moment;

/// How to simulate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SimulateOptions {
    /// A deliberate mistake in the driver, to prove that the checks see it. Never set outside of tests.
    pub bug: Option<Bug>,
    /// Whether every line of the trace is kept.
    pub keep_trace: bool,
}

/// A mistake that a driver could make.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bug {
    /// Repeats are taken in as if they were new.
    SkipDedup,
    /// The house asks to be woken and is not.
    ForgetWake,
    /// A message that was on its way is not taken over at a restart.
    DropMessageAtRestart,
    /// A batch of readings is acknowledged and never taken in.
    LoseReadings,
    /// A parcel is held to be with its carrier for ever, so that it is never tried again.
    ForgetInHand,
    /// The journal has the event and not what was said to it.
    ForgetWhatWasSaid,
    /// The kept state claims to hold one entry more than it does.
    CheckpointAhead,
    /// Critical messages are made and not put on their way.
    MuteCritical,
    /// A second dose within the least time between two is taken for the first one, told again.
    TakeSecondDoseForRepeat,
    /// A press of a button counts twice.
    CountAnswersTwice,
    /// That something is over is not said.
    ForgetTheEnd,
    /// Messages go out at once, whenever they are due: at night, too.
    SendBeforeDue,
    /// Of what is due to one address the oldest goes first, and not the worst.
    SendTheOldestFirst,
    /// The house is woken half an hour after the last thing that happened, whatever it asked for.
    Oversleep,
    /// A clock that is set back is not followed.
    IgnoreClockStep,
    /// The journal does not have that the clock was set back.
    ForgetClockStep,
    /// A clock that nobody has set is taken for right.
    BelieveAnyClock,
}

/// How often something was done, by name.
pub type Tally = BTreeMap<&'static str, u64>;

/// What went wrong, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    /// After how many turns.
    pub turn: u64,
    /// When, by true time.
    pub at: Moment,
    /// What.
    pub what: String,
    /// The last things that happened, oldest first.
    pub last: Vec<String>,
}

/// How a world went.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Its seed.
    pub seed: u64,
    /// Days with faults.
    pub days: u32,
    /// Which faults it had.
    pub faults: Vec<&'static str>,
    /// Turns of the house.
    pub turns: u64,
    /// Readings in the journal.
    pub readings: usize,
    /// Critical findings.
    pub criticals: usize,
    /// Messages decided on.
    pub messages: usize,
    /// The most messages that one person was sent within an hour.
    pub busiest_hour: usize,
    /// Times the daemon was started anew.
    pub restarts: u64,
    /// Faults that really struck, by kind.
    pub injected: Tally,
    /// How often each thing that must be true was looked at.
    pub checked: Tally,
    /// Cats, times days lived.
    pub cat_days: f64,
    /// SHA-256 of the trace.
    pub trace: String,
    /// The trace, if it was to be kept.
    pub lines: Vec<String>,
    /// What went wrong first; nothing else was looked at after it.
    pub failure: Option<Failure>,
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "seed {} days {}: {} turns, {} readings, {} messages, {} restarts, trace {}",
            self.seed,
            self.days,
            self.turns,
            self.readings,
            self.messages,
            self.restarts,
            &self.trace[..16]
        )?;
        writeln!(
            f,
            "faults: {}",
            if self.faults.is_empty() { "none".into() } else { self.faults.join(", ") }
        )?;
        tallied(f, "struck:", &self.injected)?;
        match &self.failure {
            None => writeln!(f, "nothing false happened, and everything came to its end"),
            Some(failure) => {
                writeln!(f, "FAILED at {} after {} turns: {}", failure.at, failure.turn, failure.what)?;
                failure.last.iter().try_for_each(|line| writeln!(f, "  {line}"))?;
                writeln!(f, "lowtide simulate --seed {} --days {} repeats this", self.seed, self.days)
            }
        }
    }
}

/// Everything that happened, as text, in order.
pub(super) struct Tape {
    hash: Sha256,
    keep: bool,
    lines: Vec<String>,
    last: VecDeque<String>,
}

impl Tape {
    pub(super) fn new(keep: bool) -> Self {
        Self { hash: Sha256::new(), keep, lines: Vec::new(), last: VecDeque::new() }
    }

    pub(super) fn add(&mut self, at: Moment, house: &House, taken: &Taken) {
        let event = serde_json::to_string(&taken.event).expect("events have text keys and no fallible parts");
        let said = serde_json::to_string(&taken.said).expect("as above");
        self.line(format!("{at} house {} {event} said {said}", house.now));
    }

    pub(super) fn note(&mut self, at: Moment, what: &str) {
        self.line(format!("{at} {what}"));
    }

    fn line(&mut self, line: String) {
        self.hash.update(line.as_bytes());
        self.hash.update(b"\n");
        if self.keep {
            self.lines.push(line.clone());
        }
        if self.last.len() == LAST_KEPT {
            self.last.pop_front();
        }
        self.last.push_back(line);
    }

    /// The last things that happened, each cut to a readable length.
    pub(super) fn last(&self) -> Vec<String> {
        self.last.iter().map(|line| line.chars().take(SHOWN_CHARS).collect()).collect()
    }

    /// The hash of all, and all of it if it was kept.
    pub(super) fn finish(&mut self) -> (String, Vec<String>) {
        let hash = std::mem::take(&mut self.hash).finalize();
        let hex = hash.iter().map(|byte| format!("{byte:02x}")).collect();
        (hex, std::mem::take(&mut self.lines))
    }
}

const LAST_KEPT: usize = 20;
const SHOWN_CHARS: usize = 400;
