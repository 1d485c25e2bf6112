//! The house's own filter and outlook, seen by the trial like any other method.

use lowtide::glucose::alarm::{AlarmRule, Course, HORIZON_MINUTES, Style};
use lowtide::glucose::{Estimate, Outlook, Tracker};
use lowtide::words::{Moment, SensorSettings};

use crate::feed::Look;
use crate::method::Method;
use crate::score::LOW;

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

/// The house's method: the chance that blood goes under the limit within the alarm rule's horizon.
#[derive(Clone, Debug)]
pub struct Ours {
    tracker: Tracker,
    now: Moment,
    low_now: bool,
    /// What it believed at each look.
    pub beliefs: Vec<Belief>,
    rules: [AlarmRule; 3],
    /// For each of [`SETTINGS`] and each look, whether the shipped rule held an alarm.
    pub held: [Vec<(u32, bool)>; 3],
}

impl Ours {
    /// With the sensor settings that a household starts with.
    pub fn new() -> Self {
        Self {
            tracker: Tracker::new(&SensorSettings::default()),
            now: Moment::default(),
            low_now: false,
            beliefs: Vec::new(),
            rules: SETTINGS.map(AlarmRule::new),
            held: [const { Vec::new() }; 3],
        }
    }

    fn decide(&mut self, chance: Option<f64>, minute: u32) {
        for (rule, held) in self.rules.iter_mut().zip(&mut self.held) {
            let course = rule.decide(chance, self.now);
            held.push((minute, matches!(course, Course::Begins | Course::Stands)));
        }
    }
}

impl Method for Ours {
    fn look(&mut self, look: &Look) -> Option<f64> {
        self.now = look.now;
        for at in &look.applied {
            self.tracker.new_wear(*at);
        }
        for at in &look.doses {
            self.tracker.dose(*at);
        }
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
        self.decide(chance, look.minute);
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
