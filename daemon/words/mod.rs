//! The nouns that cross walls, and nothing else: no decisions, no I/O. A noun moves in only when two rooms
//! exchange it. Everything in here can be built, compared, shown and kept as JSON.

mod event;
mod finding;
mod glucose;
mod household;
mod markup;
mod message;
mod moment;
mod name;
mod reading;

pub use event::{Answer, Batch, Conflict, Event, Health, Said, UNDONE_MINUTES, Verdict, Via};
pub use finding::{Arg, Audience, Basis, Became, Change, Finding, FindingId, Severity, Telling, Watch};
pub use glucose::{FALLING_MG_DL_PER_MIN, MG_DL_PER_MMOL_L, Unit, Value, ValueError};
pub use household::{
    AnswerWays, CatSettings, DoseSettings, DutyRound, DutySpan, Home, Household, OutOfRange, Person, Plan,
    QuietHours, RoundHours, SensorKind, SensorSettings, WatchSettings,
};
pub use markup::escaped;
pub use message::{Button, Channel, ChannelKind, Message, MessageId, Outcome, Parcel, Reason};
pub use moment::{ClockStep, Moment, Span, minutes};
pub use name::{CatName, NameError, PersonName};
pub use reading::{
    Dose, MeterCheck, MeterKind, Note, POSSIBLE_UNITS, Reading, ReadingKind, SensorEvent, SensorNote, Spare,
    Unread,
};
