//! What counts as a low, a warning and a false alarm, and how many there were.
//!
//! Comes in: blood glucose by the minute, and what one method said at each look. Goes out: a [`Tally`]. All
//! methods are scored by this file alone, with the same merging of alarms.
//!
//! A low begins with the first minute under 70 mg/dL of at least 15 such minutes, and ends with the first of at
//! least 15 minutes at or over it (Danne et al., Diabetes Care 2017;40:1631-1640; the end rule is from memory).
//! The rest is chosen by us and stands at the constants below.

use lowtide::simulate::cat::Trace;

/// The plan's low, mg/dL.
pub const LOW: f32 = 70.0;
/// Minutes that make a low, and that end it.
pub const LASTING: usize = 15;
/// A warning comes at least so long before the low begins ...
pub const WARNED_LEAST: usize = 15;
/// ... and at most so long: an alarm of this morning is no warning of tonight's low.
pub const WARNED_MOST: usize = 90;
/// An alarm is false if blood does not go under the limit within so many minutes after it began (the 30 that
/// the methods look ahead, and as many again) ...
pub const COMES_TRUE_WITHIN: usize = 60;
/// ... and was not under it so shortly before (the sensor runs up to 20 minutes behind).
pub const WAS_TRUE_WITHIN: usize = 20;
/// Near miss: within a tenth of the limit.
pub const NEAR: f32 = 77.0;
/// Upper bounds of the lowest point by which lows are told apart, mg/dL. 54 is the consensus' second level
/// (Danne et al. 2017); the others are ours.
pub const DEPTHS: [f32; 4] = [54.0, 60.0, 65.0, LOW];
/// An alarm stands until its condition has been gone so long.
pub const QUIET: u32 = 30;
/// Each threshold of a sweep is reached by so many times as many looks as the one before ...
const STEP: f64 = 1.03;
/// ... and an alarm is upheld by the threshold so many steps on, which 1.6 times as many looks reach.
const UPHELD: usize = 16;
/// So many thresholds are tried: to about 300 times as many looks as the first.
const STEPS: i32 = 194;
/// Without any look at all it stands no longer than this.
pub const STANDS_UNSEEN: u32 = 60;

/// One low of the blood.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Low {
    /// First minute under the limit.
    pub onset: usize,
    /// First minute of the stretch over it that ended the low.
    pub end: usize,
    /// Lowest level, mg/dL.
    pub nadir: f32,
    /// Whether a sensor was working for the two hours before and until the end or half an hour.
    pub could_be_seen: bool,
}

/// One alarm: a person was told when it began.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Alarm {
    /// Minute in which it began.
    pub from: usize,
    /// Minute in which it was last upheld.
    pub until: usize,
}

/// What one method said about one trace.
#[derive(Clone, Debug, Default)]
pub struct Said {
    /// Minute of the look and how alarming things were: higher is worse, the scale is the method's own.
    pub looks: Vec<(u32, f32)>,
    /// Minutes in which it said that glucose is low now.
    pub low_now: Vec<u32>,
}

/// Blood, lows and working time of one trace, made once.
#[derive(Clone, Debug)]
pub struct Truth {
    /// Blood by the minute, mg/dL.
    pub blood: Vec<f32>,
    /// The lows in it.
    pub lows: Vec<Low>,
    /// Weeks in which a sensor worked.
    pub weeks: f64,
}

impl Truth {
    /// Of one trace.
    pub fn of(trace: &Trace) -> Self {
        let worked = trace.works.iter().filter(|works| **works).count();
        Self {
            blood: trace.blood.clone(),
            lows: lows(&trace.blood, &trace.works),
            weeks: worked as f64 / 10_080.0,
        }
    }
}

/// The lows of a trace.
pub fn lows(blood: &[f32], works: &[bool]) -> Vec<Low> {
    let mut lows = Vec::new();
    let mut minute = 0;
    while minute < blood.len() {
        let under = blood[minute..].iter().take_while(|b| **b < LOW).count();
        if under < LASTING {
            minute += under.max(1);
            continue;
        }
        let mut end = minute + under;
        loop {
            let over = blood[end..].iter().take_while(|b| **b >= LOW).count();
            if over >= LASTING || end + over >= blood.len() {
                break;
            }
            end += over;
            end += blood[end..].iter().take_while(|b| **b < LOW).count();
        }
        let nadir = blood[minute..end].iter().copied().fold(f32::INFINITY, f32::min);
        let watched = minute.saturating_sub(120)..(minute + 30).min(end).min(works.len());
        let could_be_seen = minute >= 120 && watched.clone().all(|m| works[m]);
        lows.push(Low { onset: minute, end, nadir, could_be_seen });
        minute = end.max(minute + 1);
    }
    lows
}

/// Alarms at a threshold: begins at the first look at or over it, stands until all looks of half an hour were under
/// `upheld`, which is not over the threshold.
pub fn alarms(looks: &[(u32, f32)], threshold: f32, upheld: f32) -> Vec<Alarm> {
    let (mut standing, mut last) = (false, 0);
    let held = looks.iter().filter(|(minute, score)| {
        if standing && minute - last > QUIET && !unseen_between(looks, last, *minute) {
            standing = false;
        }
        let holds = *score >= if standing { upheld } else { threshold };
        if holds {
            (standing, last) = (true, *minute);
        }
        holds
    });
    let held: Vec<u32> = held.map(|(minute, _)| *minute).collect();
    merged(held.into_iter(), looks)
}

/// Minutes in which a condition held, merged into alarms.
pub fn merged(minutes: impl Iterator<Item = u32>, looks: &[(u32, f32)]) -> Vec<Alarm> {
    let mut alarms: Vec<Alarm> = Vec::new();
    let mut held: Option<(u32, u32)> = None;
    for minute in minutes {
        held = match held {
            Some((from, last)) if minute - last <= QUIET || unseen_between(looks, last, minute) => {
                Some((from, minute))
            }
            Some((from, last)) => {
                alarms.push(Alarm { from: from as usize, until: last as usize });
                Some((minute, minute))
            }
            None => Some((minute, minute)),
        };
    }
    alarms.extend(held.map(|(from, last)| Alarm { from: from as usize, until: last as usize }));
    alarms
}

/// Whether nothing was looked at between two minutes that are not too far apart.
fn unseen_between(looks: &[(u32, f32)], last: u32, minute: u32) -> bool {
    let after = looks.partition_point(|(at, _)| *at <= last);
    minute - last <= STANDS_UNSEEN && looks.get(after).is_none_or(|(at, _)| *at >= minute)
}

/// How one method did on one or more traces.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Weeks in which a sensor worked.
    pub weeks: f64,
    /// Lows that could be seen.
    pub lows: usize,
    /// Of these: told at least 15 min before.
    pub warned: usize,
    /// Of these: told before, or within 30 min after the beginning.
    pub caught: usize,
    /// Of these: told before, or while it lasted.
    pub caught_at_all: usize,
    /// By how low they went ([`DEPTHS`]): lows, warned of, told at all.
    pub by_depth: [[usize; 3]; 4],
    /// Minutes between the alarm and the beginning of each low that an alarm was raised for before it.
    pub leads: Vec<f32>,
    /// Alarms.
    pub alarms: usize,
    /// Alarms that did not come true.
    pub false_alarms: usize,
    /// Alarms that did not even come near.
    pub far_alarms: usize,
}

impl Tally {
    /// Scores the alarms of one trace; `low_now` are those of the rule that says "low now".
    pub fn of(truth: &Truth, alarms: &[Alarm], low_now: &[Alarm]) -> Self {
        let mut tally = Self { weeks: truth.weeks, alarms: alarms.len(), ..Self::default() };
        let lowest = |alarm: &Alarm| {
            let until = (alarm.from + COMES_TRUE_WITHIN + 1).min(truth.blood.len());
            truth.blood[alarm.from.saturating_sub(WAS_TRUE_WITHIN).min(until)..until]
                .iter()
                .copied()
                .fold(f32::INFINITY, f32::min)
        };
        let came_true: Vec<bool> = alarms.iter().map(|alarm| lowest(alarm) < LOW).collect();
        tally.false_alarms = came_true.iter().filter(|t| !**t).count();
        tally.far_alarms = alarms.iter().filter(|alarm| lowest(alarm) >= NEAR).count();
        for low in truth.lows.iter().filter(|low| low.could_be_seen) {
            tally.score_low(low, alarms, &came_true, low_now);
        }
        tally
    }

    fn score_low(&mut self, low: &Low, alarms: &[Alarm], came_true: &[bool], low_now: &[Alarm]) {
        let earliest = low.onset.saturating_sub(WARNED_MOST);
        let latest = low.onset - WARNED_LEAST;
        let raised = alarms.iter().find(|a| a.from >= earliest && a.from <= latest);
        // An alarm that came true earlier and still stands has not been taken back.
        let stands = alarms
            .iter()
            .zip(came_true)
            .any(|(a, true_one)| *true_one && a.from < earliest && a.until >= latest);
        let warned = raised.is_some() || stands;
        let told_by = |until: usize| {
            warned
                || alarms.iter().any(|a| a.from >= earliest && a.from <= until)
                || low_now.iter().any(|a| a.from <= until && a.until + 20 >= low.onset)
        };
        let caught = told_by(low.onset + 30);
        self.lows += 1;
        self.warned += usize::from(warned);
        self.caught += usize::from(caught);
        self.caught_at_all += usize::from(told_by(low.end.max(low.onset + 30)));
        let depth = DEPTHS.iter().position(|bound| low.nadir < *bound).unwrap_or(DEPTHS.len() - 1);
        self.by_depth[depth][0] += 1;
        self.by_depth[depth][1] += usize::from(warned);
        self.by_depth[depth][2] += usize::from(told_by(low.end.max(low.onset + 30)));
        let first = alarms.iter().find(|a| a.from >= earliest && a.from <= low.onset);
        self.leads.extend(first.map(|a| (low.onset - a.from) as f32));
    }

    /// Adds another tally.
    pub fn add(&mut self, other: Self) {
        self.weeks += other.weeks;
        self.lows += other.lows;
        self.warned += other.warned;
        self.caught += other.caught;
        self.caught_at_all += other.caught_at_all;
        for (sum, more) in self.by_depth.iter_mut().flatten().zip(other.by_depth.iter().flatten()) {
            *sum += more;
        }
        self.leads.extend(other.leads);
        self.alarms += other.alarms;
        self.false_alarms += other.false_alarms;
        self.far_alarms += other.far_alarms;
    }

    /// False alarms per cat-week.
    pub fn false_per_week(&self) -> f64 {
        self.false_alarms as f64 / self.weeks.max(1e-9)
    }

    /// Share of lows warned of.
    pub fn warned_share(&self) -> f64 {
        self.warned as f64 / self.lows.max(1) as f64
    }

    /// Share of lows told before they began or within half an hour after.
    pub fn caught_share(&self) -> f64 {
        self.caught as f64 / self.lows.max(1) as f64
    }

    /// Share of lows told before they were over.
    pub fn caught_at_all_share(&self) -> f64 {
        self.caught_at_all as f64 / self.lows.max(1) as f64
    }

    /// Of the lows that went under 60 mg/dL, share told before they were over; one without any.
    pub fn deep_share(&self) -> f64 {
        let sum = |what: usize| self.by_depth[..2].iter().map(|depth| depth[what]).sum::<usize>();
        if sum(0) == 0 { 1.0 } else { sum(2) as f64 / sum(0) as f64 }
    }

    /// Median lead, minutes; zero without any.
    pub fn median_lead(&self) -> f32 {
        let mut leads = self.leads.clone();
        leads.sort_by(f32::total_cmp);
        leads.get(leads.len() / 2).copied().unwrap_or(0.0)
    }
}

/// One method over the range of its threshold, from few alarms to many.
pub fn sweep(truths: &[Truth], said: &[Said]) -> Vec<(f32, Tally)> {
    let low_now: Vec<Vec<Alarm>> = said.iter().map(|s| merged(s.low_now.iter().copied(), &s.looks)).collect();
    let cuts = thresholds(said);
    cuts.iter()
        .enumerate()
        .map(|(place, threshold)| {
            let upheld = cuts.get(place + UPHELD).or(cuts.last()).copied().unwrap_or(*threshold);
            let mut sum = Tally::default();
            for ((truth, said), low_now) in truths.iter().zip(said).zip(&low_now) {
                sum.add(Tally::of(truth, &alarms(&said.looks, *threshold, upheld), low_now));
            }
            (*threshold, sum)
        })
        .collect()
}

/// The best point of a sweep with at most so many false alarms per cat-week.
pub fn best_within(sweep: &[(f32, Tally)], false_per_week: f64) -> Option<&(f32, Tally)> {
    sweep
        .iter()
        .filter(|(_, tally)| tally.false_per_week() <= false_per_week)
        .max_by(|(_, a), (_, b)| a.warned_share().total_cmp(&b.warned_share()))
}

/// Thresholds that cut the scores into ever smaller top shares, highest first.
fn thresholds(said: &[Said]) -> Vec<f32> {
    let mut scores: Vec<f32> =
        said.iter().flat_map(|s| s.looks.iter().map(|(_, score)| *score)).filter(|s| s.is_finite()).collect();
    scores.sort_by(f32::total_cmp);
    let mut cuts: Vec<f32> = (0..STEPS)
        .filter_map(|k| {
            let top = 0.0005 * STEP.powi(k);
            let place = (scores.len() as f64 * (1.0 - top).max(0.0)) as usize;
            scores.get(place.min(scores.len().saturating_sub(1))).copied()
        })
        .collect();
    cuts.dedup();
    cuts
}
