//! What the watches keep of one cat: bounded, whatever the length of its history.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::gaps::Gap;
use super::misdated::{Dated, Misdated};
use crate::glucose::Tracker;
use crate::glucose::alarm::AlarmRule;
use crate::words::{
    Answer, Batch, CatSettings, Dose, Event, Finding, MeterCheck, Moment, PersonName, Reading, ReadingKind,
    SensorEvent, Severity, UNDONE_MINUTES, Unread, Verdict, Watch, minutes,
};

/// One sensor's time on the cat.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Wear {
    /// When it was put on.
    pub applied: Moment,
    /// When it ended and how, if it has.
    #[serde(default)]
    pub ended: Option<(Moment, SensorEvent)>,
    /// Since when the source reports an error.
    #[serde(default)]
    pub error_since: Option<Moment>,
    /// Its first reading.
    #[serde(default)]
    pub first_reading: Option<Moment>,
}

impl Wear {
    /// When it has served its days.
    #[must_use]
    pub fn full(&self, settings: &CatSettings) -> Moment {
        self.applied + minutes(settings.sensor.wear_days * 1440.0)
    }
}

/// The last scan.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Scan {
    /// When.
    pub at: Moment,
    /// The newest reading it brought, new or not.
    pub newest: Option<Moment>,
}

/// What somebody said a meter check came to, without its value.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MeterWord {
    /// When they said so.
    pub at: Moment,
    /// Whether it was under the plan's meter limit.
    pub low: bool,
    /// Who.
    pub by: PersonName,
}

/// From when to when it was low, and the lowest reading of that time.
pub(super) type Low = (Moment, Moment, Reading);

/// What single rules must remember between looks.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Memory {
    /// The blood estimate at which `low-now` last spoke, mg/dL.
    pub low_said: Option<f64>,
    /// The blood estimate at which it last spoke of a low without newer readings, mg/dL; 0 without one.
    #[serde(default)]
    pub low_old_said: Option<f64>,
    /// When `low-now` ended last: its newest reading then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_over: Option<Moment>,
    /// Whether the low that is held had ended before and came back.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub low_returned: bool,
    /// When `low-now` last had something to say of where blood is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_spoke: Option<Moment>,
    /// The first reading by which a dangerous low was only a low any more, until that is said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_eased: Option<Moment>,
    /// Since when what is just under the plan's `low` waits for another reading to say the same.
    #[serde(default)]
    pub just_under: Option<Moment>,
    /// What `low-now` last covered: from when to which reading, and how severe it was at worst.
    pub low_told: Option<(Moment, Moment, Severity)>,
    /// Whether that had come back, and was held over the limit, too: then a low in it that nobody saw is news.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub low_told_loosely: bool,
    /// From when to when a low went that `low-now` held and that was over before a word of it went out; for
    /// `low-found-later`, which takes it in the same look.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_unsaid: Option<(Moment, Moment)>,
    /// The lows that `low-found-later` names beside the one that it holds.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub found_too: Vec<Low>,
    /// Since when every reading is over the plan's high limit.
    pub high_since: Option<Moment>,
    /// The alarm of `low-ahead` for the plan's `low`.
    #[serde(default)]
    pub low_ahead: AlarmRule,
    /// The same for its `danger`.
    #[serde(default)]
    pub danger_ahead: AlarmRule,
    /// When the chance of an unseen low grows too large, by the last reading.
    pub scan_again: Option<Moment>,
    /// Where the newest value is none and nothing newer has come: since when, the last of them, and what it showed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unread: Option<(Moment, Moment, String)>,
    /// The keys under which the present silence has been told.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub silent_told: Vec<String>,
    /// How many readings in a row came late, but none so late that the next one could be overdue, since it was told.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub silent_steady: u32,
    /// The newest reading dated in the future that was set aside.
    pub future: Option<Moment>,
    /// When that came.
    #[serde(default)]
    pub future_came: Option<Moment>,
    /// The lowest reading under the plan's low among those dated in the future that came at most some minutes ago, and when
    /// it came.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub future_low: Option<(Reading, Moment)>,
    /// How low the last one was that was told as a low from the future, mg/dL (0 under the range), and when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub future_said: Option<(f64, Moment)>,
    /// Readings dated in the future, by time: they are judged once their time has come.
    #[serde(default)]
    pub ahead: Vec<Reading>,
    /// Meter checks and notes about the sensor dated in the future, by time: as above.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub misdated: Vec<Misdated>,
    /// Who had the cat at the last look, and whether changes of that duty are told.
    #[serde(default)]
    pub holder: Option<(PersonName, bool)>,
    /// The last change of hands: from whom to whom, and when.
    #[serde(default)]
    pub handed_over: Option<(PersonName, PersonName, Moment)>,
    /// The last reading that contradicted a held one: when it came, how many, the first of them.
    pub conflict: Option<(Moment, u32, crate::words::Conflict, String)>,
}

/// Everything the watches keep of one cat.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CatState {
    /// Its series.
    pub tracker: Tracker,
    /// The newest reading held (measuring time).
    pub newest: Option<Reading>,
    /// When something new came last.
    pub arrived: Option<Moment>,
    /// The last scan.
    pub scan: Option<Scan>,
    /// The present or last wear.
    pub wear: Option<Wear>,
    /// Whether the bridge is connected, and since when.
    pub bridge: Option<(bool, Moment)>,
    /// The last doses, oldest first; at most eight.
    pub doses: Vec<Dose>,
    /// The last meter check.
    pub meter: Option<MeterCheck>,
    /// What somebody said of a meter check last.
    #[serde(default)]
    pub meter_word: Option<MeterWord>,
    /// Unused sensors.
    pub spares: Option<u32>,
    /// When they were counted last.
    #[serde(default)]
    pub spares_at: Option<Moment>,
    /// The gap that the last readings left before them.
    pub gap: Option<Gap>,
    /// Open findings, by watch and subject.
    #[serde(with = "crate::watch::house::as_list")]
    pub open: BTreeMap<(Watch, String), Finding>,
    /// What rules remember.
    pub memory: Memory,
    /// When the rules want to be asked again.
    pub wake: Option<Moment>,
}

impl CatState {
    /// A cat of which nothing is known.
    #[must_use]
    pub fn new(settings: &CatSettings) -> Self {
        Self {
            tracker: Tracker::new(&settings.sensor),
            newest: None,
            arrived: None,
            scan: None,
            wear: None,
            bridge: None,
            doses: Vec::new(),
            meter: None,
            meter_word: None,
            spares: None,
            spares_at: None,
            gap: None,
            open: BTreeMap::new(),
            memory: Memory::default(),
            wake: None,
        }
    }

    /// Takes an event of this cat in.
    pub(super) fn take(&mut self, settings: &CatSettings, event: &Event, now: Moment) {
        self.let_in(settings, now);
        match event {
            Event::Household { .. } => self.tracker.set_sensor(&settings.sensor),
            Event::Readings(batch) => self.readings(settings, batch, now),
            Event::Unread(unread) => self.unread(unread, now),
            Event::Dose(dose) => self.dose(dose),
            Event::Meter(check) => self.dated(Dated::Check(check.clone()), now),
            Event::MeterUndone { measured_at, .. } => self.no_check(*measured_at),
            Event::Sensor(note) => self.dated(Dated::Sensor(note.clone()), now),
            Event::Spare(spare) => {
                // Nobody counts in the future; a date ahead must not hide the next count.
                let at = spare.at.min(now);
                if self.spares_at.is_none_or(|counted| counted <= at) {
                    self.spares = Some(spare.count);
                    self.spares_at = Some(at);
                }
            }
            Event::Bridge { online, .. } => {
                if self.bridge.is_none_or(|(was, _)| was != *online) {
                    self.bridge = Some((*online, now));
                }
            }
            Event::Answer(answer) => self.word(answer, now),
            Event::Note(_)
            | Event::Refused { .. }
            | Event::Outcome { .. }
            | Event::Health(_)
            | Event::ClockSet(_)
            | Event::Tick => {}
        }
    }

    fn readings(&mut self, settings: &CatSettings, batch: &Batch, now: Moment) {
        let limit = now + minutes(FUTURE_MINUTES);
        let (present, future): (Vec<Reading>, Vec<Reading>) =
            batch.readings.iter().partition(|reading| reading.measured_at <= limit);
        self.ahead(settings, future, &present, now);
        if let Some(first) = batch.conflicts.first() {
            self.memory.conflict = Some((now, batch.conflicts.len() as u32, *first, batch.source.clone()));
        }
        self.judge(settings, &present, now);
        let spot =
            present.iter().rev().find(|reading| reading.kind == ReadingKind::Spot).map(|r| r.measured_at);
        if let Some(at) = batch.scanned_at.or(spot).filter(|at| *at <= limit) {
            let newest = batch.newest.filter(|newest| *newest <= limit);
            if self.scan.is_none_or(|scan| at >= scan.at) {
                self.scan = Some(Scan { at, newest: newest.max(self.newest.map(|r| r.measured_at)) });
            }
        }
    }

    /// Takes in readings that are not of the future.
    pub(super) fn judge(&mut self, settings: &CatSettings, present: &[Reading], now: Moment) {
        let before = self.newest.map(|reading| reading.measured_at);
        self.gap = None;
        if let (Some(before), Some(next)) = (before, present.iter().find(|r| Some(r.measured_at) > before)) {
            self.gap = Gap::between(before, next.measured_at, settings.sensor.sample_minutes);
        }
        self.tracker.add(present);
        if let Some(last) =
            present.last().filter(|last| before.is_none_or(|before| last.measured_at > before))
        {
            self.newest = Some(*last);
            self.arrived = Some(now);
            self.memory.unread.take_if(|(_, at, _)| *at <= last.measured_at);
            if let Some(wear) = self.wear.as_mut().filter(|wear| last.measured_at >= wear.applied) {
                wear.first_reading.get_or_insert(last.measured_at);
                wear.error_since = None;
            }
        }
    }

    /// What is hours old, or older than a reading, is not what anybody goes by.
    fn unread(&mut self, unread: &Unread, now: Moment) {
        let recent = unread.at <= now + minutes(FUTURE_MINUTES) && now - unread.at <= minutes(UNREAD_MINUTES);
        let held = self.newest.map(|newest| newest.measured_at);
        let before = self.memory.unread.as_ref().map(|(since, at, _)| (*since, *at));
        let newest = held.max(before.map(|(_, at)| at));
        if recent && newest.is_none_or(|newest| newest < unread.at) {
            let since = before.map_or(unread.at, |(since, _)| since);
            self.memory.unread = Some((since, unread.at, unread.shown.clone()));
        }
    }

    fn dose(&mut self, dose: &Dose) {
        // A source may deliver twice; the same dose again is not a second dose.
        if self.doses.contains(dose) {
            return;
        }
        if dose.not_given {
            return self.not_given(dose.given_at);
        }
        let place = self.doses.partition_point(|held| held.given_at <= dose.given_at);
        self.doses.insert(place, dose.clone());
        if self.doses.len() > DOSES_KEPT {
            self.doses.remove(0);
        }
        self.tracker.dose(dose.given_at);
    }

    /// Takes the dose back that is recorded within a minute of this time.
    fn not_given(&mut self, at: Moment) {
        let apart = |dose: &Dose| dose.given_at.minutes_since(at).abs();
        let nearest = self.doses.iter().enumerate().min_by(|(_, a), (_, b)| apart(a).total_cmp(&apart(b)));
        let Some((index, _)) = nearest.filter(|(_, dose)| apart(dose) <= 1.0) else { return };
        let dose = self.doses.remove(index);
        self.tracker.no_dose(dose.given_at);
    }

    pub(super) fn check(&mut self, check: &MeterCheck) {
        self.tracker.meter(check);
        if self.meter.as_ref().is_none_or(|held| held.measured_at <= check.measured_at) {
            self.meter = Some(check.clone());
        }
    }

    /// Takes back the checks recorded within a minute of this time.
    fn no_check(&mut self, at: Moment) {
        let near = |held: &MeterCheck| held.measured_at.minutes_since(at).abs() <= UNDONE_MINUTES;
        self.memory.misdated.retain(|held| !matches!(&held.what, Dated::Check(check) if near(check)));
        self.tracker.no_meter(at, UNDONE_MINUTES);
        let Some(held) = self.meter.take_if(|held| near(held)) else { return };
        self.meter = self.tracker.pairs().checks().last().map(|last| MeterCheck {
            measured_at: last.at,
            glucose: last.reference,
            meter: last.meter,
            ..held
        });
    }

    fn word(&mut self, answer: &Answer, now: Moment) {
        if let Verdict::MeterLow | Verdict::MeterFine = answer.verdict {
            let low = answer.verdict == Verdict::MeterLow;
            let at = answer.at.unwrap_or(now).min(now);
            self.meter_word = Some(MeterWord { at, low, by: answer.person.clone() });
        }
    }

    pub(super) fn sensor(&mut self, event: SensorEvent, at: Moment) {
        match event {
            SensorEvent::Applied => {
                if self.wear.as_ref().is_none_or(|wear| wear.applied < at) {
                    self.wear =
                        Some(Wear { applied: at, ended: None, error_since: None, first_reading: None });
                    self.tracker.new_wear(at);
                    self.memory.unread.take_if(|(_, shown, _)| *shown <= at);
                    // One that was put on before they were counted, and recorded after, is not among them.
                    if self.spares_at.is_none_or(|counted| counted <= at) {
                        self.spares = self.spares.map(|count| count.saturating_sub(1));
                    }
                }
            }
            SensorEvent::Error => {
                let wear = self.wear.get_or_insert(Wear {
                    applied: at,
                    ended: None,
                    error_since: None,
                    first_reading: None,
                });
                wear.error_since.get_or_insert(at);
            }
            SensorEvent::Ok => {
                self.memory.unread = None;
                if let Some(wear) = &mut self.wear {
                    wear.error_since = None;
                }
            }
            SensorEvent::Expired | SensorEvent::Failed | SensorEvent::CameOff | SensorEvent::Removed => {
                let newest = self.newest.map(|newest| newest.measured_at);
                if let Some(wear) = self.wear.as_mut().filter(|wear| wear.applied <= at) {
                    // What was measured since an end that was noted before shows that it had not ended then.
                    let held = wear.ended.filter(|(ended, _)| at <= *ended || newest <= Some(*ended));
                    wear.ended = held.or(Some((at, event)));
                    wear.error_since = None;
                }
            }
        }
    }

    /// The open finding of a watch that holds at most one.
    #[must_use]
    pub fn open(&self, watch: Watch) -> Option<&Finding> {
        self.open.get(&(watch, String::new()))
    }
}

fn is_zero(count: &u32) -> bool {
    *count == 0
}

/// A value that cannot be read matters while it is so old at most, minutes.
const UNREAD_MINUTES: f64 = 60.0;
/// Doses kept in the state.
const DOSES_KEPT: usize = 8;
/// A reading dated further ahead than this is set aside: clocks of bridges and phones differ by a few minutes.
pub(super) const FUTURE_MINUTES: f64 = 10.0;
