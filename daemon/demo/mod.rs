//! An invented household, a day in a minute or a week in two: the same turn as live, a simulated sensor, messages as they would look
//! on a phone, in the terminal. No network, no account; files only if asked for.

mod cast;
mod day;
mod screen;
mod story;
mod week;

use std::io::Write;
use std::path::Path;
use std::time::Duration;

use crate::clock::{Clock, MachineClock};
use crate::record::{Record, RecordError};
use crate::turn::{House, turn};
use crate::words::{Button, Event, Moment, Outcome, PersonName, Said};
use screen::Screen;
use story::{Beat, Story};

/// How the demo runs.
#[derive(Clone, Debug)]
pub struct DemoSettings<'a> {
    /// Another cat, the same story.
    pub seed: u64,
    /// A week instead of a day.
    pub week: bool,
    /// Code of the language of the messages.
    pub language: &'a str,
    /// Stop after this long; a short one makes time run faster so that the whole story fits in.
    pub lasting: Option<Duration>,
    /// Where the record goes; `None` keeps none.
    pub keep: Option<&'a Path>,
    /// Whether to wait between events; tests do not.
    pub pace: bool,
}

/// Plays the story to `out` until it or the time is over.
///
/// # Errors
/// If the record cannot be written, or `out` cannot be.
pub fn demo(settings: &DemoSettings<'_>, out: &mut dyn Write) -> Result<(), DemoError> {
    let tell = if settings.week { week::week } else { day::day };
    let story = tell(settings.seed, settings.language);
    let household = story.household.clone();
    let mut stage = Stage {
        house: House::default(),
        record: match settings.keep {
            Some(folder) => Some(Record::open(folder, House::default, |_, _| {})?.record),
            None => None,
        },
        screen: Screen::new(&household, out),
        buttons: Vec::new(),
    };
    let clock = MachineClock::new();
    let start = story.start;
    stage.screen.opening(&story, start)?;
    let program = env!("CARGO_PKG_VERSION").to_owned();
    let mut wake = stage.take(&Event::Household { program, household: Box::new(household) }, start)?;
    let speed = speed(settings.lasting, &story);
    let mut beats = story.beats.clone().into_iter().peekable();
    loop {
        let next_beat = beats.peek().map(|beat| beat.at);
        let at = match (next_beat, wake) {
            (Some(beat), Some(wake)) => beat.min(wake),
            (Some(beat), None) => beat,
            // The story is told.
            (None, _) => break,
        };
        if settings.pace
            && !wait(&clock, (at - start).num_milliseconds() as f64 / 1000.0 / speed, settings.lasting)
        {
            break;
        }
        wake = if next_beat == Some(at) {
            let Some(beat) = beats.next() else { break };
            stage.play(&story, beat)?
        } else {
            stage.take(&Event::Tick, at)?
        };
        wake = stage.carry(&story, at, wake)?;
    }
    stage.screen.closing()?;
    if let Some(record) = &mut stage.record {
        record.checkpoint(&stage.house)?;
    }
    Ok(())
}

/// Why the demo stopped before its end.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The record could not be kept.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The terminal is gone.
    #[error("cannot write to the terminal: {0}")]
    Terminal(#[from] std::io::Error),
}

/// Simulated seconds in a real one.
fn speed(lasting: Option<Duration>, story: &Story) -> f64 {
    let whole = lasting.map_or(story.seconds, |lasting| lasting.as_secs_f64().clamp(2.0, story.seconds));
    story.length.num_seconds() as f64 / (whole * 0.95)
}

/// Sleeps until so many seconds after the start; false if the time is over before.
fn wait(clock: &MachineClock, until_seconds: f64, lasting: Option<Duration>) -> bool {
    let until = Duration::from_secs_f64(until_seconds.max(0.0));
    if lasting.is_some_and(|lasting| until > lasting) {
        return false;
    }
    std::thread::sleep(until.saturating_sub(clock.steady()));
    true
}

struct Stage<'a> {
    house: House,
    record: Option<Record>,
    screen: Screen<'a>,
    /// Of the messages that arrived, the newest last.
    buttons: Vec<(PersonName, Button)>,
}

impl Stage<'_> {
    fn play(&mut self, story: &Story, beat: Beat) -> Result<Option<Moment>, DemoError> {
        self.screen.scene(beat.at, &beat.scene)?;
        let mut wake = None;
        for event in beat.events(story, &self.house, &self.buttons) {
            wake = self.take(&event, beat.at)?;
        }
        Ok(wake)
    }

    fn take(&mut self, event: &Event, at: Moment) -> Result<Option<Moment>, DemoError> {
        let turned = turn(&mut self.house, event, at);
        self.screen.changes(at, &turned.said)?;
        if let Some(record) = &mut self.record
            && (*event != Event::Tick || turned.said != Said::default())
        {
            record.append(at, turned.counts_as.unwrap_or_else(|| event.clone()), turned.said);
            record.sync()?;
        }
        Ok(turned.wake)
    }

    /// Carries what is due, the way the story wants it, until nothing more is due now.
    fn carry(
        &mut self,
        story: &Story,
        at: Moment,
        wake: Option<Moment>,
    ) -> Result<Option<Moment>, DemoError> {
        let mut wake = wake;
        for _ in 0..CARRIED_AT_ONCE_MAX {
            let Some(parcel) = self.house.due(at).into_iter().next() else { break };
            let Some(message) =
                self.house.ledger.outbox.get(&parcel.message).map(|pending| pending.message.clone())
            else {
                break;
            };
            let outcome = story.carrier(&parcel.channel, at);
            self.screen.carried(at, &message, &parcel.channel, &outcome)?;
            if let Outcome::Delivered { .. } = outcome {
                self.buttons.extend(message.buttons.iter().map(|b| (message.person.clone(), b.clone())));
            }
            wake = self.take(&Event::Outcome { parcel, outcome }, at)?;
        }
        Ok(wake)
    }
}

const CARRIED_AT_ONCE_MAX: usize = 50;
