//! How the readings of a trace reach the house: each as it is measured, or with the scans.
//!
//! Comes in: a [`Trace`]. Goes out: one [`Look`] after another, in order of time, each with what is new since the
//! one before. Nothing in a look was measured or written down later than the look.

use lowtide::simulate::cat::Trace;
use lowtide::words::{CatName, MeterCheck, MeterKind, Moment, Reading, SensorEvent, minutes};

/// How readings come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Feed {
    /// Each sample, a minute after it was measured.
    Streamed,
    /// The same in a house that checks with a hand meter made for pets.
    Checked(Checks),
    /// With the scans of the household.
    Scanned,
    /// With the scans of the household and, between 06:30 and 23:00, with those that were asked for.
    ScannedWhenAsked,
}

/// When a household checks with its meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Checks {
    /// Each morning at half past seven.
    Daily,
    /// Ten minutes after a look that said "low now", between 07:00 and 23:00, and no more often than every two hours.
    WhenTold,
    /// Both.
    DailyAndWhenTold,
}

impl Feed {
    /// Whether samples come as they are measured.
    pub fn streams(self) -> bool {
        matches!(self, Self::Streamed | Self::Checked(_))
    }
}

/// What a method wants.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wish {
    /// Another scan then.
    pub scan: Option<Moment>,
    /// A check with the meter: it says that glucose is low.
    pub check: bool,
}

impl From<Option<Moment>> for Wish {
    fn from(scan: Option<Moment>) -> Self {
        Self { scan, check: false }
    }
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
    /// Meter checks made since the last look.
    pub checks: Vec<MeterCheck>,
}

/// Sensor memory, hours (common practice, no published source).
const MEMORY_HOURS: f64 = 8.0;
/// Somebody who was asked to scan does so after a few minutes.
const ASKED_MINUTES: i64 = 5;

/// Minutes after midnight of the daily check ...
const CHECK_DAILY: f64 = 450.0;
/// ... and of the day within which a household checks when it is told, so long after that, and no more often than every so
/// many minutes. Chosen by us.
const CHECKS_WITHIN: std::ops::Range<u32> = 420..1380;
const CHECK_AFTER: f64 = 10.0;
const CHECK_EVERY: f64 = 120.0;

/// Walks through a trace. `look` says what it wants to say and may ask for a scan at a time. Gives how many scans (or meter
/// checks) were made because of that.
pub fn walk<W: Into<Wish>>(trace: &Trace, feed: Feed, mut look: impl FnMut(&Look) -> W) -> usize {
    let mut past = Past { trace, newest: None, doses: 0, sensor: 0 };
    if feed.streams() {
        return streamed(past, feed, look);
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
            asked = look(&past.look(now, new)).into().scan;
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

fn streamed<W: Into<Wish>>(mut past: Past<'_>, feed: Feed, mut look: impl FnMut(&Look) -> W) -> usize {
    let (daily, told) = match feed {
        Feed::Checked(Checks::Daily) => (true, false),
        Feed::Checked(Checks::WhenTold) => (false, true),
        Feed::Checked(Checks::DailyAndWhenTold) => (true, true),
        _ => (false, false),
    };
    let (trace, start) = (past.trace, past.trace.start);
    let mut next_daily = daily.then(|| start + minutes(CHECK_DAILY));
    let (mut wanted, mut last, mut made): (Option<Moment>, Option<Moment>, usize) = (None, None, 0);
    for reading in &trace.readings {
        let now = reading.measured_at + minutes(1.0);
        while let Some(at) = next_daily.into_iter().chain(wanted).min().filter(|at| *at < now) {
            if next_daily == Some(at) {
                next_daily = Some(at + minutes(1440.0));
            } else {
                wanted = None;
                made += 1;
            }
            last = Some(at);
            if let Some(check) = past.check(at) {
                look(&Look { checks: vec![check], ..past.look(at, Vec::new()) });
            }
        }
        let wish: Wish = look(&past.look(now, vec![*reading])).into();
        let by_day = CHECKS_WITHIN.contains(&((now.minutes_since(start) as u32) % 1440));
        let rested = last.is_none_or(|last| now - last >= minutes(CHECK_EVERY));
        if told && wish.check && by_day && rested && wanted.is_none() {
            wanted = Some(now + minutes(CHECK_AFTER));
        }
    }
    made
}

struct Past<'a> {
    trace: &'a Trace,
    newest: Option<Moment>,
    doses: usize,
    sensor: usize,
}

impl Past<'_> {
    /// A check with the household's meter.
    fn check(&self, at: Moment) -> Option<MeterCheck> {
        let cat = CatName::new("pepper").expect("a name");
        let glucose = self.trace.meter_at(at)?;
        Some(MeterCheck { cat, measured_at: at, glucose, meter: MeterKind::Pet })
    }

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
            checks: Vec::new(),
        };
        self.doses += doses;
        self.sensor += events;
        look
    }
}
