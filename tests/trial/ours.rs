//! The house's own filter and outlook, seen by the trial like any other method.

use lowtide::glucose::{Estimate, Outlook, Tracker};
use lowtide::words::{Moment, SensorSettings};

use crate::feed::Look;
use crate::method::{Method, number};
use crate::score::LOW;

/// What the house believed at one look: for measures of how good the numbers are, not only the alarms.
#[derive(Clone, Copy, Debug)]
pub struct Belief {
    /// Minute of the look.
    pub minute: u32,
    /// The newest reading, mg/dL.
    pub raw: f64,
    /// When it was measured.
    pub raw_minute: u32,
    /// The estimate at the look.
    pub estimate: Estimate,
    /// The outlook from the look on.
    pub outlook: Outlook,
}

/// The house's method: the chance that blood goes under the limit within the horizon.
#[derive(Clone, Debug)]
pub struct Ours {
    tracker: Tracker,
    horizon: f64,
    scan_again_chance: f64,
    now: Moment,
    low_now: bool,
    /// What it believed at each look, if that is wanted.
    pub beliefs: Option<Vec<Belief>>,
}

impl Ours {
    /// With the sensor settings of the household, looking so many minutes ahead.
    pub fn new(horizon: f64) -> Self {
        Self {
            tracker: Tracker::new(&SensorSettings::default()),
            horizon,
            scan_again_chance: 0.1,
            now: Moment::default(),
            low_now: false,
            beliefs: None,
        }
    }

    /// The same, and keeps what it believed.
    pub fn remembering(horizon: f64) -> Self {
        Self { beliefs: Some(Vec::new()), ..Self::new(horizon) }
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
        let outlook = self.tracker.outlook(look.now, self.horizon, f64::from(LOW))?;
        self.low_now = age <= 40.0 && (estimate.blood < f64::from(LOW) || newest.value.under(f64::from(LOW)));
        if let Some(beliefs) = &mut self.beliefs {
            let raw_minute = look.minute.saturating_sub(age.round() as u32);
            beliefs.push(Belief {
                minute: look.minute,
                raw: number(newest.value),
                raw_minute,
                estimate,
                outlook,
            });
        }
        // An outlook is never carried past its horizon: with older data there is nothing to say.
        (age <= 60.0).then_some(outlook.chance)
    }

    fn low_now(&self) -> bool {
        self.low_now
    }

    fn scan_again(&self) -> Option<Moment> {
        self.tracker.scan_again(self.now, f64::from(LOW), self.scan_again_chance)
    }
}
