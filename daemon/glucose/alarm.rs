//! When a chance becomes an alarm: threshold by the cost of missing a low, and how an alarm ends.
//!
//! In: the chance that blood goes under the limit within [`HORIZON_MINUTES`], at any look, streamed or scanned.
//! Out: whether an alarm begins, stands or ends. Knows nothing of people or messages; its state is two instants.

use serde::{Deserialize, Serialize};

use crate::words::{ClockStep, Moment, minutes};

/// How far the chance looks that an alarm is decided by, minutes. Chosen by us: a fall that ends in a low mostly
/// shows for about an hour, and half of that would leave no time to act (`docs/outlook.md` has the measurement).
pub const HORIZON_MINUTES: f64 = 60.0;

/// One plain setting for what is worse: a low that nobody was warned of, or an alarm for nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Style {
    /// Warn early, at the price of more alarms for nothing.
    Sooner,
    /// In between.
    #[default]
    Balanced,
    /// Only when it is rather likely.
    Fewer,
}

impl Style {
    /// How many alarms for nothing one unwarned low is worth.
    ///
    /// Speaking pays where chance * worth > (1 - chance), which gives [`Style::threshold`].
    #[must_use]
    pub const fn worth(self) -> f64 {
        match self {
            Self::Sooner => 3.0,
            // A threshold of 0.36.
            Self::Balanced => 16.0 / 9.0,
            Self::Fewer => 0.75,
        }
    }

    /// The chance from which an alarm begins: 1 / (1 + worth).
    ///
    /// ```
    /// use lowtide::glucose::alarm::Style;
    /// assert_eq!(Style::Sooner.threshold(), 0.25);
    /// assert_eq!(Style::Balanced.threshold(), 0.36);
    /// ```
    #[must_use]
    pub const fn threshold(self) -> f64 {
        1.0 / (1.0 + self.worth())
    }
}

/// What an alarm does at one look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Course {
    /// There is none.
    Quiet,
    /// It begins now.
    Begins,
    /// It goes on.
    Stands,
    /// It ends now.
    Ends,
}

/// One alarm of one cat: the watch `low-ahead` keeps two, one for each limit of the plan.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct AlarmRule {
    /// Since when it stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    since: Option<Moment>,
    /// When the chance was last high enough to uphold it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    upheld: Option<Moment>,
}

/// An alarm is upheld by this share of the chance that began it, so that it does not flicker around the threshold.
pub const UPHOLDS: f64 = 0.6;
/// It ends when nothing has upheld it for so long: two samples, so that one odd reading does not end it.
const QUIET_MINUTES: f64 = 30.0;

impl AlarmRule {
    /// Since when an alarm stands.
    #[must_use]
    pub const fn since(&self) -> Option<Moment> {
        self.since
    }

    /// The clock was set back: an alarm upheld in the future would stand until half an hour after that has come.
    pub fn set_back(&mut self, step: ClockStep) {
        step.move_all(self.since.iter_mut().chain(&mut self.upheld));
    }

    /// One look: `chance` of going under the limit, 0 to 1, the `threshold` from which an alarm begins
    /// ([`Style::threshold`]), and `at`, when the newest knowledge came that the chance rests on. The same look
    /// again changes nothing. `None` means that there is nothing fresh to go by, or that the low has come: a
    /// standing alarm ends.
    pub fn decide(&mut self, chance: Option<f64>, threshold: f64, at: Moment) -> Course {
        let Some(chance) = chance else {
            let stood = self.since.is_some();
            *self = Self::default();
            return if stood { Course::Ends } else { Course::Quiet };
        };
        match self.since {
            None if chance >= threshold => {
                self.since = Some(at);
                self.upheld = Some(at);
                Course::Begins
            }
            None => Course::Quiet,
            Some(_) if chance >= UPHOLDS * threshold => {
                self.upheld = Some(at);
                Course::Stands
            }
            Some(_) if self.upheld.is_some_and(|upheld| at - upheld < minutes(QUIET_MINUTES)) => {
                Course::Stands
            }
            Some(_) => {
                *self = Self::default();
                Course::Ends
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: f64) -> Moment {
        Moment::from_millis(1_772_000_000_000) + minutes(minute)
    }

    #[test]
    fn a_house_that_sets_nothing_has_the_usual_threshold() {
        assert_eq!(crate::words::WatchSettings::default().low_ahead_chance, Style::default().threshold());
    }

    #[test]
    fn an_alarm_begins_once_and_does_not_flicker() {
        let (mut rule, threshold) = (AlarmRule::default(), 0.4);
        let courses: Vec<Course> = [0.1, 0.39, 0.41, 0.35, 0.42, 0.1, 0.5, 0.1, 0.1, 0.1, 0.1]
            .into_iter()
            .enumerate()
            .map(|(k, chance)| rule.decide(Some(chance), threshold, at(15.0 * k as f64)))
            .collect();
        use Course::{Begins, Ends, Quiet, Stands};
        assert_eq!(
            courses,
            [Quiet, Quiet, Begins, Stands, Stands, Stands, Stands, Stands, Ends, Quiet, Quiet]
        );
    }

    #[test]
    fn without_anything_fresh_an_alarm_ends() {
        let (mut rule, threshold) = (AlarmRule::default(), Style::Fewer.threshold());
        assert_eq!(rule.decide(Some(0.9), threshold, at(0.0)), Course::Begins);
        assert_eq!(rule.since(), Some(at(0.0)));
        assert_eq!(rule.decide(None, threshold, at(0.0)), Course::Ends);
        assert_eq!(rule.decide(None, threshold, at(0.0)), Course::Quiet);
        assert_eq!(rule.since(), None);
    }

    #[test]
    fn the_same_look_again_changes_nothing() {
        let (mut rule, threshold) = (AlarmRule::default(), Style::Balanced.threshold());
        for (minute, chance) in [(0.0, 0.5), (15.0, 0.1), (30.0, 0.1), (45.0, 0.1)] {
            let first = rule.decide(Some(chance), threshold, at(minute));
            let held = rule;
            for _ in 0..5 {
                let again = rule.decide(Some(chance), threshold, at(minute));
                let stands = |course| matches!(course, Course::Begins | Course::Stands);
                assert_eq!(stands(again), stands(first), "at {minute}");
            }
            assert_eq!(rule, held, "at {minute}");
        }
        assert_eq!(rule.since(), None, "half an hour without ends it, however often it was looked at");
    }

    #[test]
    fn the_setting_orders_the_thresholds_and_survives_json() {
        assert!(Style::Sooner.threshold() < Style::Balanced.threshold());
        assert!(Style::Balanced.threshold() < Style::Fewer.threshold());
        let mut rule = AlarmRule::default();
        rule.decide(Some(0.3), Style::Sooner.threshold(), at(0.0));
        let back: AlarmRule = serde_json::from_str(&serde_json::to_string(&rule).unwrap()).unwrap();
        assert_eq!(back, rule);
    }
}
