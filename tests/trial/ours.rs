//! The house's own filter and outlook, seen by the trial like any other method.

use lowtide::glucose::alarm::{HORIZON_MINUTES, Style};
use lowtide::glucose::{Estimate, Outlook, Tracker};
use lowtide::watch::{CatState, OnHand, Place, step};
use lowtide::words::{
    Batch, CatName, CatSettings, Dose, DoseSettings, Event, FindingId, Home, Moment, Plan, SensorEvent,
    SensorKind, SensorNote, SensorSettings, Severity, Unit, Via, Watch, WatchSettings,
};

use crate::feed::{Feed, Look};
use crate::method::Method;
use crate::score::{Alarm, LOW};

/// What the house believed at one look: for measures of how good the numbers are, not only the alarms.
#[derive(Clone, Copy, Debug)]
pub struct Belief {
    /// Minute of the look.
    pub minute: u32,
    /// The newest reading, mg/dL, if it was in range.
    pub raw: Option<f64>,
    /// When it was measured.
    pub raw_minute: u32,
    /// The estimate at the look.
    pub estimate: Estimate,
    /// The outlook from the look on.
    pub outlook: Outlook,
}

/// The settings of the alarm rule.
pub const SETTINGS: [Style; 3] = [Style::Sooner, Style::Balanced, Style::Fewer];
/// How far the outlooks look whose numbers are measured: the default of `low-ahead`, minutes.
pub const MEASURED_MINUTES: usize = 30;

/// The watches themselves, as they run in a house with one setting, and what they said.
#[derive(Clone, Debug)]
pub struct Watched {
    home: Home,
    settings: CatSettings,
    state: CatState,
    /// Stretches in which `low-ahead` held, or `low-now`, which takes over from it: one alarm each.
    pub told: Vec<Alarm>,
    /// Of `low-ahead` alone.
    pub ahead: Vec<Alarm>,
    /// Of `low-now` alone.
    pub now: Vec<Alarm>,
    held: [bool; 3],
    /// What was last said of a low now: of which finding, which word of it, and how bad.
    low_said: Option<(FindingId, u32, Severity)>,
}

impl Watched {
    fn new(style: Style, feed: Feed) -> Self {
        let kind = if feed.streams() { SensorKind::Streamed } else { SensorKind::Scanned };
        // As JSON, so that a new wish with a default does not concern the trial.
        let plan = r#"{"low": 70.0, "danger": 50.0, "meter_low": 60.0}"#;
        let plan: Plan = serde_json::from_str(plan).expect("a plan");
        assert_eq!(plan.low, f64::from(LOW));
        let settings = CatSettings {
            name: CatName::new("pepper").unwrap(),
            called: "Pepper".into(),
            units: Unit::MgDl,
            sensor: SensorSettings { kind, ..SensorSettings::default() },
            plan,
            doses: DoseSettings { times: Vec::new(), min_hours_between: 8.0 },
            watch: WatchSettings { low_ahead_chance: style.threshold(), ..WatchSettings::default() },
        };
        let home = r#"{"timezone": "Etc/UTC", "units": "mg/dL", "language": "en", "owner": "olive", "gather_seconds": 60.0}"#;
        let home: Home = serde_json::from_str(home).expect("a home");
        let state = CatState::new(&settings);
        Self {
            home,
            settings,
            state,
            told: Vec::new(),
            ahead: Vec::new(),
            now: Vec::new(),
            held: [false; 3],
            low_said: None,
        }
    }

    fn look(&mut self, look: &Look) {
        // The house wakes by itself in between, for instance when the newest reading is no longer fresh.
        while let Some(at) = self.state.wake.filter(|at| *at < look.now) {
            self.turn(&Event::Tick, look.minute, at);
        }
        let cat = &self.settings.name;
        let mut events: Vec<Event> = Vec::new();
        let applied = |at: &Moment| SensorNote { cat: cat.clone(), at: *at, event: SensorEvent::Applied };
        events.extend(look.applied.iter().map(|at| Event::Sensor(applied(at))));
        let given =
            |at: &Moment| Dose { cat: cat.clone(), given_at: *at, units: None, by: None, not_given: false };
        events.extend(look.doses.iter().map(|at| Event::Dose(given(at))));
        events.extend(look.checks.iter().cloned().map(Event::Meter));
        events.push(if look.new.is_empty() {
            Event::Tick
        } else {
            Event::Readings(Batch {
                cat: cat.clone(),
                via: Via::Replay,
                source: "trial".into(),
                sensor: None,
                scanned_at: (self.settings.sensor.kind == SensorKind::Scanned).then_some(look.now),
                readings: look.new.clone(),
                repeated: 0,
                conflicts: Vec::new(),
                newest: look.new.last().map(|reading| reading.measured_at),
            })
        });
        for event in events {
            self.turn(&event, look.minute, look.now);
        }
    }

    /// Whether "low now" stands. It begins when something is said of it, and what is held without a word while the cat is
    /// close to the limit is no alarm: neither one in vain nor one that told of a low.
    fn low_stands(&mut self) -> bool {
        let said = self.state.open(Watch::LowNow).map(|f| (f.id.clone(), f.step, f.severity));
        let news = said.as_ref().is_some_and(|(id, step, severity)| {
            self.low_said.as_ref().is_none_or(|(was, word, bad)| was != id || step > word || severity > bad)
        });
        let near = self.state.open(Watch::LowNow).is_some_and(|f| f.telling.key == "low-now-near");
        let stands = said.is_some() && !near && (news || self.held[2]);
        self.low_said = said;
        stands
    }

    fn turn(&mut self, event: &Event, minute: u32, now: Moment) {
        let duty = OnHand { person: &self.home.owner, until: None, tell: false };
        let place = Place { settings: &self.settings, home: &self.home, night: None, meter: false, duty };
        step(&mut self.state, place, event, now);
        // A request to scan again is no alarm.
        let ahead = self.state.open(Watch::LowAhead).is_some_and(|f| f.telling.key != "scan-again");
        let low = self.low_stands();
        let holds = [ahead || low, ahead, low];
        for (place, alarms) in [&mut self.told, &mut self.ahead, &mut self.now].into_iter().enumerate() {
            let minute = minute as usize;
            match (holds[place], self.held[place], alarms.last_mut()) {
                (true, true, Some(alarm)) => alarm.until = minute,
                (true, ..) => alarms.push(Alarm { from: minute, until: minute }),
                (false, ..) => {}
            }
        }
        self.held = holds;
    }
}

/// The house's method: the chance that blood goes under the limit within the alarm rule's horizon.
#[derive(Clone, Debug)]
pub struct Ours {
    tracker: Tracker,
    now: Moment,
    low_now: bool,
    /// What it believed at each look.
    pub beliefs: Vec<Belief>,
    /// For each of [`SETTINGS`]: the watches themselves.
    pub watched: [Watched; 3],
}

impl Ours {
    /// With the settings that a household starts with.
    pub fn new(feed: Feed) -> Self {
        Self {
            tracker: Tracker::new(&SensorSettings::default()),
            now: Moment::default(),
            low_now: false,
            beliefs: Vec::new(),
            watched: SETTINGS.map(|style| Watched::new(style, feed)),
        }
    }
}

impl Method for Ours {
    fn look(&mut self, look: &Look) -> Option<f64> {
        self.now = look.now;
        self.watched.iter_mut().for_each(|watched| watched.look(look));
        for at in &look.applied {
            self.tracker.new_wear(*at);
        }
        for at in &look.doses {
            self.tracker.dose(*at);
        }
        look.checks.iter().for_each(|check| self.tracker.meter(check));
        self.tracker.add(&look.new);
        let newest = self.tracker.newest()?;
        let age = look.now.minutes_since(newest.measured_at);
        let estimate = self.tracker.estimate(look.now)?;
        let fluid_low = newest.value.under(f64::from(LOW));
        self.low_now = age <= FRESH_MINUTES && (estimate.blood < f64::from(LOW) || fluid_low);
        // An outlook is never carried past its horizon: with older data there is nothing to say.
        let fresh = age <= HORIZON_MINUTES;
        let ahead = |minutes| self.tracker.outlook(look.now, minutes, f64::from(LOW));
        let chance = if fresh { ahead(HORIZON_MINUTES).map(|outlook| outlook.chance) } else { None };
        if let Some(outlook) = ahead(MEASURED_MINUTES as f64) {
            let raw_minute = look.minute.saturating_sub(age.round() as u32);
            let raw = newest.value.level();
            self.beliefs.push(Belief { minute: look.minute, raw, raw_minute, estimate, outlook });
        }
        chance
    }

    fn low_now(&self) -> bool {
        self.low_now
    }

    fn scan_again(&self) -> Option<Moment> {
        self.tracker.scan_again(self.now, f64::from(LOW), SCAN_AGAIN_CHANCE)
    }
}

/// Nothing is called "now" unless its reading is younger than two samples and the lag, minutes.
const FRESH_MINUTES: f64 = 38.0;
/// The default chance of an unseen low that makes another scan worth asking for.
const SCAN_AGAIN_CHANCE: f64 = 0.1;
