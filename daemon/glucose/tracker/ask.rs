//! What can be asked of a cat's series: where blood is, what it will do, and on what that rests.

use super::super::artefact::{self, Artefact};
use super::super::dynamics::{BLOOD, GAIN, RATE, SIZE};
use super::super::evidence;
use super::super::fit::Verdict;
use super::super::hazard::{HORIZONS, Odds, Table, calm_most};
use super::super::kalman::{Belief, smoothed};
use super::super::outlook::{Ahead, Course, Outlook, Walk};
use super::super::pairs::{Correction, PairBook};
use super::super::sensor;
use super::{Estimate, FORGOTTEN_MINUTES, Item, Tracker};
use crate::words::{Moment, Reading, minutes};

impl Tracker {
    /// The newest reading.
    #[must_use]
    pub fn newest(&self) -> Option<Reading> {
        self.ring.last().copied()
    }

    /// The readings held, oldest first, strictly rising in time.
    #[must_use]
    pub fn recent(&self) -> &[Reading] {
        &self.ring
    }

    /// Blood glucose at `at`, which lies at or after the newest reading; `None` without readings.
    #[must_use]
    pub fn estimate(&self, at: Moment) -> Option<Estimate> {
        let known = self.estimate_of(at, &self.belief(at)?);
        // It may be right after all, and nothing in the belief is as wide as that.
        let off =
            self.doubted().map_or(0.0, |reading| evidence::number(reading.value, self.range) - known.blood);
        let unknown = artefact::stuck_spread(&self.ring, at);
        Some(Estimate { blood_sd: known.blood_sd.hypot(0.5 * off).hypot(unknown), ..known })
    }

    /// Whether the newest reading cannot follow from those before it: the estimate rests on those.
    #[must_use]
    pub fn doubts(&self) -> bool {
        self.doubted().is_some()
    }

    fn doubted(&self) -> Option<Reading> {
        let doubted = self.head?.doubted?.reading;
        self.newest().filter(|newest| newest.measured_at == doubted.measured_at)
    }

    /// What blood glucose is likely to do from `now` on for `ahead_minutes`, against a `limit` in mg/dL. `None`
    /// without readings.
    #[must_use]
    pub fn outlook(&self, now: Moment, ahead_minutes: f64, limit: f64) -> Option<Outlook> {
        self.outlooks(now, &[ahead_minutes], limit).pop()
    }

    /// The same for several spans, from one look; empty without readings.
    #[must_use]
    pub fn outlooks(&self, now: Moment, spans_minutes: &[f64], limit: f64) -> Vec<Outlook> {
        let Some(belief) = self.belief(now) else { return Vec::new() };
        let longest = spans_minutes.iter().copied().fold(0.0, f64::max);
        let odds = self.odds(belief, limit, now);
        let ahead = Ahead::new(&self.course(now), belief, longest, limit).weighed(odds);
        // A low that is doubted may be one all the same.
        let low = self.doubted().is_some_and(|reading| reading.value.under(limit));
        let doubting = |outlook: Outlook| {
            let chance = if low { 1.0 - DOUBTED_LOW * (1.0 - outlook.chance) } else { outlook.chance };
            Outlook { chance, ..outlook }
        };
        spans_minutes.iter().map(|span| doubting(ahead.outlook(*span, now))).collect()
    }

    /// What the filter alone says, not weighed against anything: what the table of learned numbers is made from. `None`
    /// without readings.
    #[must_use]
    pub fn walk(&self, now: Moment, limit: f64) -> Option<Walk> {
        let ahead = Ahead::new(&self.course(now), self.belief(now)?, HORIZONS[HORIZONS.len() - 1], limit);
        let ends = HORIZONS.map(|horizon| ahead.spread(horizon));
        Some(Walk { now: ahead.now(), chances: ahead.walk(), ends })
    }

    /// When another scan is worth asking for: when the chance of a low that nobody would see exceeds `chance`.
    /// Never within 15 minutes; `None` if not within 8 hours.
    #[must_use]
    pub fn scan_again(&self, now: Moment, limit: f64, chance: f64) -> Option<Moment> {
        let belief = self.belief(now)?;
        let odds = self.odds(belief, limit, now);
        let after =
            Ahead::new(&self.course(now), belief, 480.0, limit).weighed(odds).reaches(chance, 480.0)?;
        Some(now + minutes(after.max(15.0)))
    }

    /// Blood glucose at each reading held, in the light of what came before and after; oldest first.
    #[must_use]
    pub fn smoothed(&self) -> Vec<Estimate> {
        let mut known = self.before;
        let (mut beliefs, mut steps, mut times) = (Vec::new(), Vec::new(), Vec::new());
        for (at, item) in self.timeline() {
            let (step, next) = self.pass(known, at, &item);
            // The first belief has no step before it in the chain: what came before is in it already.
            if !beliefs.is_empty() {
                steps.push(step);
            }
            beliefs.push(next.belief);
            times.push((at, matches!(item, Item::Reading(_))));
            known = Some(next);
        }
        let smooth = smoothed(&beliefs, &steps);
        let shown = times.iter().zip(&smooth).filter(|((_, reading), _)| *reading);
        shown.map(|((at, _), belief)| self.estimate_of(*at, belief)).collect()
    }

    /// What is wrong with the newest readings, if something is.
    #[must_use]
    pub fn artefact(&self) -> Option<Artefact> {
        artefact::artefact(&self.ring, self.range)
    }

    /// Whether a reading of that instant is of a sensor in its first day, when sensors drift most. Not known to be, of
    /// one that nobody noted.
    #[must_use]
    pub fn first_day(&self, at: Moment) -> bool {
        let worn = self.wears.iter().rev().find(|worn| **worn <= at);
        worn.is_some_and(|worn| at.minutes_since(*worn) < FIRST_DAY_MINUTES)
    }

    /// Meter checks and what the sensor said of the same blood; the newest of some months, oldest first.
    #[must_use]
    pub fn pairs(&self) -> &PairBook {
        &self.pairs
    }

    /// When the sensors were put on of which that is still known; oldest first.
    #[must_use]
    pub fn wears(&self) -> &[Moment] {
        &self.wears
    }

    /// By what share this sensor seems to read too high, and how sure that is: learned from meter checks of this wear
    /// alone, and reckoned with in every estimate. `None` before there is one, and where it is too old to be in use.
    #[must_use]
    pub fn correction(&self, now: Moment) -> Option<Correction> {
        let head = self.head.filter(|head| now.minutes_since(head.at) < FORGOTTEN_MINUTES)?;
        (head.taught.checks() > 0).then(|| Correction {
            error: head.belief.mean[GAIN],
            error_sd: head.belief.covariance[(GAIN, GAIN)].max(0.0).sqrt(),
            taught: head.taught,
        })
    }

    /// How this cat and its sensor were found to differ from the usual, and why: of the noise, of the lag.
    #[must_use]
    pub fn fit(&self) -> [Verdict; 2] {
        self.fit.verdicts()
    }

    /// The same in words, a line each; none of what was not tried.
    #[must_use]
    pub fn fit_in_words(&self) -> Vec<String> {
        let [noise, lag] = self.fit();
        let lag_minutes = format!("lag: {:.0} min in use", self.lag_minutes());
        let lines = [noise.in_words("sensor noise", "readings"), lag.in_words(&lag_minutes, "meter checks")];
        lines.into_iter().flatten().collect()
    }

    /// The lag in use, minutes.
    #[must_use]
    pub fn lag_minutes(&self) -> f64 {
        self.nature.lag_minutes
    }

    /// What the series shows about a low ahead, in the order of [`evidence::NAMES`]. `None` without readings.
    #[must_use]
    pub fn evidence(&self, now: Moment, limit: f64) -> Option<[f64; evidence::COUNT]> {
        Some(self.row(self.belief(now)?, limit, now))
    }

    fn row(&self, belief: Belief<SIZE>, limit: f64, now: Moment) -> [f64; evidence::COUNT] {
        let known = evidence::Known {
            ring: &self.ring,
            range: self.range,
            doses: &self.doses,
            wears: &self.wears,
            habit: &self.habit,
            nature: &self.nature,
            surprise: self.surprise,
            noise: self.fit.noise(),
            belief,
        };
        evidence::row(&known, limit, now)
    }

    /// The forest's word, if it has one. It speaks of what a cat usually does, so it has to have seen something of this
    /// one: a cat new to the house is not calm because nothing is known of it.
    fn odds(&self, belief: Belief<SIZE>, limit: f64, now: Moment) -> Option<Odds> {
        let days = self.habit.days_known();
        if days < DAYS_KNOWN_MIN {
            return None;
        }
        let odds = Table::shipped().odds(&self.row(belief, limit, now))?;
        let lowest_over = self.habit.day_lows().map(|(_, least)| least - limit);
        Some(Odds { odds, calm_most: calm_most(days, lowest_over) })
    }

    /// What the cat does by nature and by habit from `now` on.
    fn course(&self, now: Moment) -> Course<'_> {
        Course { nature: &self.nature, habit: &self.habit, doses: &self.doses, surprise: self.surprise, now }
    }

    /// What a belief at an instant says of blood.
    fn estimate_of(&self, at: Moment, belief: &Belief<SIZE>) -> Estimate {
        let belief = sensor::within_life(self.range, belief);
        Estimate {
            at,
            blood: belief.mean[BLOOD],
            blood_sd: belief.covariance[(BLOOD, BLOOD)].max(0.0).sqrt(),
            rate_per_min: belief.mean[RATE],
            rate_sd: belief.covariance[(RATE, RATE)].max(0.0).sqrt(),
        }
    }
}

/// Chance that a reading under the limit that cannot follow from those before it is wrong; chosen by us: as likely as not.
const DOUBTED_LOW: f64 = 0.5;
/// Days of readings before anything learned may speak; chosen by us.
const DAYS_KNOWN_MIN: usize = 1;
/// A sensor is new for so long, minutes (common practice, no published source for cats).
const FIRST_DAY_MINUTES: f64 = 1440.0;
