//! What invented cats show at each look, and what came of it.

use lowtide::glucose::Tracker;
use lowtide::glucose::evidence::COUNT;
use lowtide::glucose::hazard::HORIZONS;
use lowtide::simulate::cat::{Family, Options, PUBLISHED_OFF, Trace, simulate};
use lowtide::words::{Moment, Reading, SensorKind, SensorSettings, minutes};

use crate::feed::{Checks, Feed, Wish, walk};
use crate::grow::Rows;

/// Looks at cats, one after another.
#[derive(Debug, Default)]
pub struct Looks {
    /// Which cat.
    pub cats: Vec<u64>,
    /// How much the look counts.
    pub weights: Vec<f32>,
    /// The evidence.
    pub rows: Vec<[f32; COUNT]>,
    /// The filter's own chance of a low now.
    pub now: Vec<f32>,
    /// The filter's own chance for each horizon.
    pub filter: Vec<[f32; HORIZONS.len()]>,
    /// Minutes until blood was first under the limit; infinite if not within four hours.
    pub next: Vec<f32>,
    /// Blood at the end of each horizon, in the filter's deviations from its mean.
    pub ends: Vec<[f32; HORIZONS.len()]>,
}

/// Readings over the limit by more than this are not learned from: the filter alone decides there.
const FAR: f64 = 130.0;
/// Nor are looks at older readings than this, minutes: no outlook is told of them.
const AGE: f64 = 75.0;
/// Days of each cat.
const DAYS: u32 = 28;
/// Under this a household is told of a low, and may check with its meter, mg/dL.
const TOLD_UNDER: f64 = 70.0;
/// How far off the sensors are, thirty cats in turn: as invented, and as far as was published of cats. Which of the two a house
/// has nobody knows, so both are learned from.
const OFF: [f64; 2] = [1.0, PUBLISHED_OFF];
/// Counts of a look at which blood was under the limit already, in growing. Chosen on training cats of the families that are
/// learned from and not of those that judge.
const LOW_NOW_COUNTS: f32 = 0.25;

impl Looks {
    /// At so many cats of a family: some without doses on record, some with readings missing, some noisy, some scanned.
    ///
    /// Every third cat wears the sensor of another of the families `given`, so that no body stands for its sensor.
    pub fn of(family: Family, given: &[Family], from: u64, count: u64) -> Self {
        let mut all = Self::default();
        for seed in from..from + count {
            let others: Vec<Family> = given.iter().copied().filter(|other| *other != family).collect();
            let turn = (seed / 3) as usize % others.len().max(1);
            let sensor = if seed.is_multiple_of(3) { others.get(turn).copied() } else { None };
            let off = OFF[(seed / 30) as usize % OFF.len()];
            let usual = Options { family, sensor, off, ..Options::default() };
            let options = match seed % 10 {
                1 | 2 => Options { doses_recorded: false, ..usual },
                3 => Options { missing: 0.5, ..usual },
                4 => Options { noise: 1.6, missing: 0.2, ..usual },
                5 => Options { noise: 2.2, ..usual },
                // What was never low can be low for the first time.
                6 => Options { mishap_day: Some(2 + (seed / 10 % 24) as u32), ..usual },
                _ => usual,
            };
            let feed = match seed % 10 {
                7 => Feed::Scanned,
                8 => Feed::Checked(Checks::Daily),
                9 if (seed / 10).is_multiple_of(2) => Feed::Checked(Checks::DailyAndWhenTold),
                9 => Feed::Checked(Checks::WhenTold),
                _ => Feed::Streamed,
            };
            all.watch(seed, &simulate(seed, DAYS, &options), feed);
        }
        all
    }

    /// At so many cats of each of some families, each on a thread of its own, one after another.
    pub fn of_each(families: &[Family], from: u64, count: u64) -> Self {
        let mut all = Self::default();
        std::thread::scope(|scope| {
            let of = |family: &Family| Self::of(*family, families, from, count);
            let threads: Vec<_> = families.iter().map(|family| scope.spawn(move || of(family))).collect();
            threads.into_iter().for_each(|thread| all.extend(thread.join().expect("a look only computes")));
        });
        all
    }

    /// Adds the looks at other cats.
    pub fn extend(&mut self, other: Self) {
        self.cats.extend(other.cats);
        self.weights.extend(other.weights);
        self.rows.extend(other.rows);
        self.now.extend(other.now);
        self.filter.extend(other.filter);
        self.next.extend(other.next);
        self.ends.extend(other.ends);
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.cats.len()
    }

    /// Columns for growing, and whether there was a low within an hour.
    pub fn rows(&self, which: &[usize]) -> Rows {
        Rows {
            columns: (0..COUNT).map(|c| which.iter().map(|k| self.rows[*k][c]).collect()).collect(),
            answers: which.iter().map(|k| self.next[*k] <= 60.0).collect(),
            weights: which.iter().map(|k| self.weights[*k] * self.worth(*k)).collect(),
        }
    }

    /// How much a look counts in growing. Whoever is low is found by the filter; the forest is to find who will be.
    fn worth(&self, k: usize) -> f32 {
        if self.next[k] == 0.0 { LOW_NOW_COUNTS } else { 1.0 }
    }

    /// Least and greatest of each number.
    pub fn ranges(&self) -> [[f64; 2]; COUNT] {
        std::array::from_fn(|c| {
            let known = self.rows.iter().map(|row| f64::from(row[c])).filter(|x| !x.is_nan());
            known.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], x| [a.min(x), b.max(x)])
        })
    }

    fn watch(&mut self, seed: u64, trace: &Trace, feed: Feed) {
        let mut tracker = Tracker::new(&sensor());
        walk(trace, feed, |look| {
            look.doses.iter().for_each(|at| tracker.dose(*at));
            look.applied.iter().for_each(|at| tracker.new_wear(*at));
            look.checks.iter().for_each(|check| tracker.meter(check));
            tracker.add(&look.new);
            let dice = (seed * 7919 + u64::from(look.minute)).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 40;
            self.look(seed, trace, &tracker, look.now, dice);
            // A reading that does not come is looked for all the same.
            if feed.streams() && dice.is_multiple_of(6) {
                let later = minutes(15.0 * (1 + dice / 8 % 4) as f64);
                self.look(seed, trace, &tracker, look.now + later, dice / 64);
            }
            let under = |reading: &Reading| reading.value.under(TOLD_UNDER);
            let low = tracker.estimate(look.now).is_some_and(|estimate| estimate.blood < TOLD_UNDER);
            Wish { scan: None, check: low || tracker.newest().as_ref().is_some_and(under) }
        });
    }

    fn look(&mut self, seed: u64, trace: &Trace, tracker: &Tracker, now: Moment, dice: u64) {
        const LIMITS: [f64; 12] = [70.0, 70.0, 70.0, 70.0, 70.0, 70.0, 50.0, 55.0, 60.0, 65.0, 80.0, 90.0];
        let limit = LIMITS[(dice % 12) as usize];
        let minute = now.minutes_since(trace.start) as usize;
        let Some(row) = tracker.evidence(now, limit) else { return };
        let raw = tracker
            .newest()
            .map_or(0.0, |r| r.value.level().unwrap_or(if r.value.under(1.0) { 0.0 } else { 999.0 }));
        let age = tracker.newest().map_or(f64::INFINITY, |newest| now.minutes_since(newest.measured_at));
        if raw - limit > FAR || age > AGE || minute + 241 > trace.blood.len() {
            return;
        }
        let Some(walk) = tracker.walk(now, limit) else { return };
        let filter = walk.chances.map(|chance| chance as f32);
        let ends = std::array::from_fn(|k| {
            let end = f64::from(trace.blood[minute + HORIZONS[k] as usize]);
            ((end - walk.ends[k].0) / walk.ends[k].1) as f32
        });
        // Where nothing threatens, one look in four says as much as all.
        let calm = filter[3] < 0.002;
        if calm && !(dice / 12).is_multiple_of(4) {
            return;
        }
        let first = trace.blood[minute..minute + 241].iter().position(|blood| f64::from(*blood) < limit);
        self.cats.push(seed);
        self.weights.push(if calm { 4.0 } else { 1.0 });
        self.rows.push(row.map(|x| x as f32));
        self.now.push(walk.now as f32);
        self.filter.push(filter);
        self.next.push(first.map_or(f32::INFINITY, |after| after as f32));
        self.ends.push(ends);
    }
}

/// The sensor as it is set up unless somebody says otherwise.
pub fn sensor() -> SensorSettings {
    SensorSettings {
        kind: SensorKind::Streamed,
        sample_minutes: 15.0,
        memory_hours: 8.0,
        wear_days: 14.0,
        warm_up_minutes: 60.0,
        range: [40.0, 500.0],
        lag_minutes: 10.0,
        price: None,
        currency: None,
    }
}
