//! How the readings of a trace reach the house: each as it is measured, or with the scans.
//!
//! Comes in: a [`Trace`]. Goes out: one [`Look`] after another, in order of time, each with what is new since the
//! one before. Nothing in a look was measured or written down later than the look.

use lowtide::simulate::cat::Trace;
use lowtide::words::{Moment, Reading, SensorEvent, minutes};

/// How readings come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Feed {
    /// Each sample, a minute after it was measured.
    Streamed,
    /// With the scans of the household.
    Scanned,
    /// With the scans of the household and, between 06:30 and 23:00, with those that were asked for.
    ScannedWhenAsked,
}

/// What is known at one moment.
#[derive(Clone, Debug)]
pub struct Look {
    /// Minute of the trace.
    pub minute: u32,
    /// The moment.
    pub now: Moment,
    /// Readings that came since the last look, oldest first.
    pub new: Vec<Reading>,
    /// Doses written down since the last look.
    pub doses: Vec<Moment>,
    /// Sensors put on since the last look.
    pub applied: Vec<Moment>,
}

/// Sensor memory, hours (common practice, no published source).
const MEMORY_HOURS: f64 = 8.0;
/// Somebody who was asked to scan does so after a few minutes.
const ASKED_MINUTES: i64 = 5;

/// Walks through a trace. `look` says what it wants to say and may ask for a scan at a time. Gives how many scans
/// were made because of that.
pub fn walk(trace: &Trace, feed: Feed, mut look: impl FnMut(&Look) -> Option<Moment>) -> usize {
    let mut past = Past { trace, newest: None, doses: 0, sensor: 0 };
    if feed == Feed::Streamed {
        for reading in &trace.readings {
            let now = reading.measured_at + minutes(1.0);
            look(&past.look(now, vec![*reading]));
        }
        return 0;
    }
    let (mut asked, mut extra) = (None::<Moment>, 0);
    let mut scans = trace.scans.iter().peekable();
    let mut last_scan: Option<Moment> = None;
    for minute in 0..trace.blood.len() as i64 {
        let now = trace.start + minutes(minute as f64);
        let planned = scans.next_if(|scan| scan.at == now);
        let wanted = feed == Feed::ScannedWhenAsked
            && (390..1380).contains(&(minute % 1440))
            && asked.is_some_and(|at| now >= at + minutes(ASKED_MINUTES as f64));
        if planned.is_some() || wanted {
            extra += usize::from(planned.is_none());
            let mut new = trace.stored(past.newest, MEMORY_HOURS, now).to_vec();
            let spot = planned.and_then(|scan| scan.spot);
            new.extend(spot.filter(|spot| new.last().is_none_or(|r| r.measured_at < spot.measured_at)));
            asked = look(&past.look(now, new));
            last_scan = Some(now);
        } else if last_scan.is_some_and(|at| {
            let since = now.minutes_since(at);
            since <= 60.0 && since % 15.0 == 0.0
        }) {
            look(&past.look(now, Vec::new()));
        }
    }
    extra
}

struct Past<'a> {
    trace: &'a Trace,
    newest: Option<Moment>,
    doses: usize,
    sensor: usize,
}

impl Past<'_> {
    fn look(&mut self, now: Moment, new: Vec<Reading>) -> Look {
        self.newest = new.iter().map(|reading| reading.measured_at).max().or(self.newest);
        let due = |from: usize, times: &[Moment]| times[from..].iter().take_while(|at| **at <= now).count();
        let doses = due(self.doses, &self.trace.doses);
        let events = &self.trace.sensor[self.sensor..];
        let events = events.iter().take_while(|(at, _)| *at <= now).count();
        let seen = &self.trace.sensor[self.sensor..self.sensor + events];
        let look = Look {
            minute: now.minutes_since(self.trace.start) as u32,
            now,
            new,
            doses: self.trace.doses[self.doses..self.doses + doses].to_vec(),
            applied: seen.iter().filter(|(_, e)| *e == SensorEvent::Applied).map(|(at, _)| *at).collect(),
        };
        self.doses += doses;
        self.sensor += events;
        look
    }
}
