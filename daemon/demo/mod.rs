//! An invented household, a day in a minute or a week in two: the same turn as live, a simulated sensor, messages as they would look
//! on a phone, in the terminal. No network, no account; files only if asked for.

mod cast;
mod day;
mod screen;
mod story;
mod week;
mod window;

use std::io::Write;
use std::net::SocketAddr;
use std::path::Path;
use std::time::Duration;

use crate::clock::{Clock, MachineClock};
use crate::record::{Record, RecordError};
use crate::turn::{House, turn};
use crate::words::{Button, Event, Moment, Outcome, PersonName, Said, minutes};
use screen::Screen;
use story::{Beat, Story};
use window::Window;

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
    /// Where the page is shown, if it is.
    pub page: Option<SocketAddr>,
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
        window: match settings.page {
            Some(listen) => Some(Window::open(listen, settings.keep.unwrap_or(Path::new(NO_RECORD)))?),
            None => None,
        },
    };
    let start = story.start;
    stage.screen.opening(&story, start, (settings.page, settings.lasting.is_none()))?;
    let program = env!("CARGO_PKG_VERSION").to_owned();
    let mut wake = stage.take(&Event::Household { program, household: Box::new(household) }, start)?;
    let pace = Pace::new(start, speed(settings, &story), settings.lasting);
    let mut beats = story.beats.clone().into_iter().peekable();
    loop {
        let next_beat = beats.peek().map(|beat| beat.at);
        let at = match (next_beat, wake) {
            (Some(beat), Some(wake)) => beat.min(wake),
            (Some(beat), None) => beat,
            // The story is told.
            (None, _) => break,
        };
        if settings.pace {
            match stage.wait(&story, &pace, at)? {
                Waited::Until => {}
                Waited::Pressed(sooner) => {
                    wake = sooner;
                    continue;
                }
                Waited::Over => break,
            }
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
    stage.stay(&story, settings.lasting, (pace.now(), wake))?;
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
    /// The page cannot be shown.
    #[error("cannot show the page at {listen}: {source}. Another address: --page 127.0.0.1:7413")]
    Page {
        /// Where it should have been.
        listen: SocketAddr,
        /// Why not.
        source: std::io::Error,
    },
}

/// Simulated seconds in a real one. Whoever looks at the page gets more time for it.
fn speed(settings: &DemoSettings<'_>, story: &Story) -> f64 {
    let usual = if settings.page.is_some() { PAGE_SECONDS } else { story.seconds };
    let whole = settings.lasting.map_or(usual, |lasting| lasting.as_secs_f64().clamp(2.0, usual));
    story.length.num_seconds() as f64 / (whole * 0.95)
}

/// Time in the story.
struct Pace {
    clock: MachineClock,
    start: Moment,
    speed: f64,
    lasting: Option<Duration>,
}

impl Pace {
    fn new(start: Moment, speed: f64, lasting: Option<Duration>) -> Self {
        Self { clock: MachineClock::new(), start, speed, lasting }
    }

    fn now(&self) -> Moment {
        self.start + minutes(self.clock.steady().as_secs_f64() * self.speed / 60.0)
    }

    /// How long it is until then, really; `None` if the demo is over before.
    fn until(&self, at: Moment) -> Option<Duration> {
        let seconds = (at - self.start).num_milliseconds() as f64 / 1000.0 / self.speed;
        let until = Duration::from_secs_f64(seconds.max(0.0));
        let over = self.lasting.is_some_and(|lasting| until > lasting);
        (!over).then(|| until.saturating_sub(self.clock.steady()))
    }
}

/// What ended a wait.
enum Waited {
    /// The time has come.
    Until,
    /// Something was pressed on the page; the house wants to be woken then.
    Pressed(Option<Moment>),
    /// The demo is over before.
    Over,
}

struct Stage<'a> {
    house: House,
    record: Option<Record>,
    screen: Screen<'a>,
    /// Of the messages that arrived, the newest last.
    buttons: Vec<(PersonName, Button)>,
    window: Option<Window>,
}

impl Stage<'_> {
    /// Waits for a moment of the story, and attends to the page meanwhile.
    fn wait(&mut self, story: &Story, pace: &Pace, at: Moment) -> Result<Waited, DemoError> {
        loop {
            let Some(left) = pace.until(at) else { return Ok(Waited::Over) };
            let now = pace.now().min(at).max(self.house.now);
            if let Some(event) = self.window.as_mut().and_then(|window| window.attend(&self.house, now)) {
                let wake = self.take(&event, now)?;
                return Ok(Waited::Pressed(self.carry(story, now, wake)?));
            }
            if left.is_zero() {
                return Ok(Waited::Until);
            }
            std::thread::sleep(if self.window.is_some() { left.min(GLANCE) } else { left });
        }
    }

    /// After the story the page stays, at the speed of the world, until somebody ends the demo.
    fn stay(
        &mut self,
        story: &Story,
        lasting: Option<Duration>,
        (now, mut wake): (Moment, Option<Moment>),
    ) -> Result<(), DemoError> {
        if self.window.is_none() || lasting.is_some() {
            return Ok(());
        }
        let pace = Pace::new(now, 1.0, None);
        loop {
            let at = wake.unwrap_or_else(|| pace.now() + minutes(60.0)).max(self.house.now);
            wake = match self.wait(story, &pace, at)? {
                Waited::Pressed(wake) => wake,
                Waited::Until | Waited::Over => {
                    let wake = self.take(&Event::Tick, at)?;
                    self.carry(story, at, wake)?
                }
            };
        }
    }

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
/// A story takes so long when it can be looked at in a browser.
const PAGE_SECONDS: f64 = 600.0;
/// Where nothing can be, so that the page finds no record.
const NO_RECORD: &str = "/dev/null";
/// So often the page is attended to.
const GLANCE: Duration = Duration::from_millis(30);
