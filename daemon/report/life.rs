//! How long sensors last: the Kaplan-Meier estimate over a household's wears, the chance that the present one lasts
//! until a date, and how many spares to have for a trip.
//!
//! A sensor that failed or came off counts as an event; one that reached its labelled end, was taken off on purpose
//! or is still on counts as censored. "Came off" and "failed" compete; the curve treats both as the end.

use serde::{Deserialize, Serialize};

/// One wear: how many days it lasted, and whether it ended by failing.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lifetime {
    /// Days.
    pub days: f64,
    /// It failed or came off; otherwise it is censored.
    pub failed: bool,
}

/// One step of the curve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Days at which sensors failed.
    pub days: f64,
    /// Sensors that had lasted until then.
    pub at_risk: usize,
    /// How many of them failed then.
    pub failed: usize,
    /// Share that lasts longer, 0 to 1.
    pub survival: f64,
    /// Its standard error after Greenwood; not a number once nobody is left.
    pub se: f64,
}

impl Step {
    /// The 95 % band by the log-log transformation (Kalbfleisch and Prentice, The Statistical Analysis of Failure
    /// Time Data; formula from memory, values checked against a general-purpose statistics library).
    #[must_use]
    pub fn band(&self) -> [f64; 2] {
        if self.survival <= 0.0 || self.survival >= 1.0 {
            return [self.survival; 2];
        }
        let spread = Z95 * self.se / (self.survival * self.survival.ln().abs());
        [self.survival.powf(spread.exp()), self.survival.powf((-spread).exp())]
    }
}

/// The product-limit estimate S(t) = prod(1 - d/n), with Greenwood's variance S^2 sum d/(n(n-d)) (Kaplan and Meier,
/// J Am Stat Assoc 1958;53:457-481; Greenwood 1926). Failures come before censorings at the same time.
#[must_use]
pub fn kaplan_meier(lifetimes: &[Lifetime]) -> Vec<Step> {
    let mut times: Vec<f64> = lifetimes.iter().filter(|life| life.failed).map(|life| life.days).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    let (mut survival, mut sum) = (1.0, 0.0);
    times
        .into_iter()
        .map(|days| {
            let at_risk = lifetimes.iter().filter(|life| life.days >= days).count();
            let failed = lifetimes.iter().filter(|life| life.failed && life.days == days).count();
            let (n, d) = (at_risk as f64, failed as f64);
            survival *= 1.0 - d / n;
            sum += d / (n * (n - d));
            Step { days, at_risk, failed, survival, se: survival * sum.sqrt() }
        })
        .collect()
}

/// Share that lasts longer than so many days by the curve.
#[must_use]
pub fn survival_at(curve: &[Step], days: f64) -> f64 {
    curve.iter().rev().find(|step| step.days <= days).map_or(1.0, |step| step.survival)
}

/// What a household's wears say.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorLife {
    curve: Vec<Step>,
    /// How many wears it rests on.
    pub wears: usize,
    wear_days: f64,
}

/// Fewer wears than this tell nothing worth acting on; chosen by us.
pub const WEARS_MIN: usize = 5;

/// The published median functional life of a scanned sensor on cats is 7 days (15 placements, Shea and Hess, J Vet
/// Intern Med 2021, abstract) and 10 days (41 cats, Knies et al., J Feline Med Surg 2022, abstract); half-way.
pub const PUBLISHED_MEDIAN_DAYS: f64 = 8.5;

impl SensorLife {
    /// From a household's wears, the present one included as censored. With fewer than [`WEARS_MIN`] the published
    /// medians stand in, as a constant rate of failing.
    #[must_use]
    pub fn new(lifetimes: &[Lifetime], wear_days: f64) -> Self {
        let curve = if lifetimes.len() >= WEARS_MIN { kaplan_meier(lifetimes) } else { borrowed(wear_days) };
        Self { curve, wears: lifetimes.len(), wear_days }
    }

    /// Whether the household's own wears were too few, so that published figures stand in.
    #[must_use]
    pub fn is_borrowed(&self) -> bool {
        self.wears < WEARS_MIN
    }

    /// The share of this household's sensors that last longer than so many days, with its band; `None` where published
    /// figures stand in, or before the first of them failed.
    #[must_use]
    pub fn lasting(&self, days: f64) -> Option<(f64, [f64; 2])> {
        let step = self.curve.iter().rev().find(|step| step.days <= days && !self.is_borrowed())?;
        Some((step.survival, step.band()))
    }

    /// Chance that a sensor that has lasted `age_days` lasts until `until_days`; 0 beyond its labelled end.
    #[must_use]
    pub fn chance_lasts(&self, age_days: f64, until_days: f64) -> f64 {
        if until_days >= self.wear_days {
            return 0.0;
        }
        let now = survival_at(&self.curve, age_days);
        if now <= 0.0 { 0.0 } else { survival_at(&self.curve, until_days) / now }
    }

    /// The fewest spares that last a trip of `trip_days` with a chance of at least `wanted`, when the present sensor
    /// is `age_days` old; counts in half days.
    #[must_use]
    pub fn spares_for(&self, age_days: f64, trip_days: f64, wanted: f64) -> u32 {
        let slots = (trip_days * SLOTS_PER_DAY).ceil() as usize;
        let ends = |age: f64| -> Vec<f64> {
            // Chance that the sensor ends in each half day of the trip, the labelled end included.
            let lasts = |slot: usize| self.lasts(age, slot as f64 / SLOTS_PER_DAY);
            (0..slots).map(|slot| lasts(slot) - lasts(slot + 1)).collect()
        };
        let (first, fresh) = (ends(age_days), ends(0.0));
        let mut change_at = first;
        let mut needed = 0;
        // Chance that more than `needed` changes fall into the trip.
        while change_at.iter().sum::<f64>() > 1.0 - wanted && needed < SPARES_MAX {
            needed += 1;
            let mut next = vec![0.0; slots];
            for (slot, chance) in change_at.iter().enumerate() {
                for (more, end) in fresh.iter().enumerate().take(slots - slot) {
                    next[slot + more] += chance * end;
                }
            }
            change_at = next;
        }
        needed
    }

    fn lasts(&self, age: f64, more: f64) -> f64 {
        let now = survival_at(&self.curve, age);
        if now <= 0.0 || age + more >= self.wear_days {
            return if more <= 0.0 { 1.0 } else { 0.0 };
        }
        survival_at(&self.curve, age + more) / now
    }
}

fn borrowed(wear_days: f64) -> Vec<Step> {
    let rate = std::f64::consts::LN_2 / PUBLISHED_MEDIAN_DAYS;
    let steps = (wear_days * SLOTS_PER_DAY) as usize;
    (1..=steps)
        .map(|slot| {
            let days = slot as f64 / SLOTS_PER_DAY;
            Step { days, at_risk: 0, failed: 0, survival: (-rate * days).exp(), se: f64::NAN }
        })
        .collect()
}

const Z95: f64 = 1.959_963_984_540_054;
const SLOTS_PER_DAY: f64 = 2.0;
const SPARES_MAX: u32 = 50;

#[cfg(test)]
mod tests {
    use super::*;

    fn lives(text: &str) -> Vec<Lifetime> {
        text.split(',')
            .map(|word| Lifetime {
                days: word.trim_end_matches('+').parse().unwrap(),
                failed: !word.ends_with('+'),
            })
            .collect()
    }

    /// Freireich et al., Blood 1963;21:699-716, 6-MP arm, weeks in remission; the survival column is the textbook
    /// table 0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448; standard errors and log-log bands computed with the
    /// Python library lifelines 0.30.3.
    #[test]
    fn the_published_remission_table_comes_out() {
        let curve =
            kaplan_meier(&lives("6,6,6,6+,7,9+,10,10+,11+,13,16,17+,19+,20+,22,23,25+,32+,32+,34+,35+"));
        let table = [
            (6.0, 21, 3, 0.857_142_857_1, 0.076_360_354_8, 0.619_718, 0.951_552),
            (7.0, 17, 1, 0.806_722_689_1, 0.086_935_285_2, 0.563_147, 0.922_809),
            (10.0, 15, 1, 0.752_941_176_5, 0.096_349_653_0, 0.503_200, 0.889_362),
            (13.0, 12, 1, 0.690_196_078_4, 0.106_814_707_8, 0.431_610, 0.849_066),
            (16.0, 11, 1, 0.627_450_980_4, 0.114_053_865_3, 0.367_511, 0.804_912),
            (22.0, 7, 1, 0.537_815_126_1, 0.128_233_751_7, 0.267_779, 0.746_791),
            (23.0, 6, 1, 0.448_179_271_7, 0.134_591_456_8, 0.188_052, 0.680_143),
        ];
        assert_eq!(curve.len(), table.len());
        for (step, (days, n, d, survival, se, low, high)) in curve.iter().zip(table) {
            assert_eq!((step.days, step.at_risk, step.failed), (days, n, d));
            assert!((step.survival - survival).abs() < 1e-9 && (step.se - se).abs() < 1e-9, "{step:?}");
            let [below, above] = step.band();
            assert!((below - low).abs() < 1e-5 && (above - high).abs() < 1e-5, "{step:?}");
        }
    }

    /// The placebo arm of the same study has no censoring: the curve is the plain share.
    #[test]
    fn without_censoring_the_curve_is_the_plain_share() {
        let curve = kaplan_meier(&lives("1,1,2,2,3,4,4,5,5,8,8,8,8,11,11,12,12,15,17,22,23"));
        for (days, survival) in
            [(1.0, 19.0 / 21.0), (5.0, 12.0 / 21.0), (8.0, 8.0 / 21.0), (12.0, 4.0 / 21.0), (23.0, 0.0)]
        {
            assert!((survival_at(&curve, days) - survival).abs() < 1e-12, "{days}");
        }
    }

    #[test]
    fn few_wears_borrow_the_published_median_and_say_so() {
        let life = SensorLife::new(&lives("9,14+,4"), 14.0);
        assert!(life.is_borrowed());
        assert!((life.chance_lasts(0.0, PUBLISHED_MEDIAN_DAYS) - 0.5).abs() < 1e-9);
        assert_eq!(life.chance_lasts(3.0, 14.0), 0.0);
        assert_eq!(life.lasting(9.0), None, "no band around figures that are not this household's");
        let own = SensorLife::new(&lives("9,14+,4,6,14+"), 14.0);
        let (share, [low, high]) = own.lasting(8.0).unwrap();
        // Two of five have failed by then.
        assert!((share - 0.6).abs() < 1e-12 && low < 0.6 && 0.6 < high, "{low} {high}");
        assert_eq!(own.lasting(3.0), None);
    }

    #[test]
    fn spares_cover_certain_changes_and_likely_failures() {
        // Sensors that always last: a trip of 30 days with a fresh sensor of 14 needs two changes.
        let sure = SensorLife::new(&lives("14+,14+,14+,14+,14+"), 14.0);
        assert_eq!(sure.spares_for(0.0, 30.0, 0.95), 2);
        assert_eq!(sure.spares_for(13.0, 0.5, 0.95), 0);
        // Sensors that fail half of the time early need more.
        let shaky = SensorLife::new(&lives("2,3,14+,14+,2,14+"), 14.0);
        assert!(shaky.spares_for(0.0, 30.0, 0.95) > 3, "{}", shaky.spares_for(0.0, 30.0, 0.95));
        assert!(shaky.spares_for(0.0, 30.0, 0.5) < shaky.spares_for(0.0, 30.0, 0.95));
    }
}
