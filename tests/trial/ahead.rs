//! How well the next four hours hold that `lowtide status --ahead` shows: how often blood lies in the 80 % interval, the
//! chance said and how often it happened, and whether a chance falls or an interval narrows further ahead.

use lowtide::glucose::artefact::Artefact;
use lowtide::glucose::{Outlook, Tracker};
use lowtide::simulate::cat::Trace;
use lowtide::words::SensorSettings;

use crate::feed::{Feed, Look, walk};
use crate::score::LOW;

/// How far ahead, minutes.
const SPANS: [usize; 6] = [30, 60, 90, 120, 180, 240];
/// Looks that are told apart.
const KINDS: [&str; 4] = ["all", "blood under 100", "blood over 200", "falling 1 a minute"];
/// One look of so many is taken, to be quick.
const EACH: u32 = 3;

/// Looks of one kind at one span: how many, inside of the interval, under it, its width, chance said, a low came.
type Sums = [f64; 6];

/// What was found at many looks.
#[derive(Clone, Debug, Default)]
pub struct Held {
    sums: [[Sums; SPANS.len()]; KINDS.len()],
    /// Pairs of neighbouring spans of which the further one had the smaller chance, the narrower interval.
    turned: [usize; 2],
}

impl Held {
    /// One cat, looked at wherever `status` gives its blood.
    pub fn of(trace: &Trace) -> Self {
        let (mut held, mut tracker, mut count) =
            (Self::default(), Tracker::new(&SensorSettings::default()), 0);
        walk(trace, Feed::Streamed, |look| {
            look.applied.iter().for_each(|at| tracker.new_wear(*at));
            look.doses.iter().for_each(|at| tracker.dose(*at));
            tracker.add(&look.new);
            count += 1;
            if count % EACH == 0 && shown(&tracker, look) {
                held.look(trace, &tracker, look);
            }
            None
        });
        held
    }

    fn look(&mut self, trace: &Trace, tracker: &Tracker, look: &Look) {
        let Some(estimate) = tracker.estimate(look.now) else { return };
        let outlooks = tracker.outlooks(look.now, &SPANS.map(|span| span as f64), f64::from(LOW));
        for pair in outlooks.windows(2) {
            self.turned[0] += usize::from(pair[1].chance < pair[0].chance);
            self.turned[1] += usize::from(width(&pair[1]) < width(&pair[0]));
        }
        let kinds = [true, estimate.blood < 100.0, estimate.blood > 200.0, estimate.rate_per_min < -1.0];
        let from = look.minute as usize;
        for (k, (span, outlook)) in SPANS.iter().zip(&outlooks).enumerate() {
            let Some(blood) = trace.blood.get(from..=from + span) else { continue };
            let (end, [low, high]) = (f64::from(blood[*span]), outlook.interval80);
            let came = blood.iter().any(|blood| *blood < LOW);
            let is = |true_or_not: bool| f64::from(u8::from(true_or_not));
            let found = [
                1.0,
                is((low..=high).contains(&end)),
                is(end < low),
                width(outlook),
                outlook.chance,
                is(came),
            ];
            for (sums, _) in self.sums.iter_mut().zip(kinds).filter(|(_, of_it)| *of_it) {
                sums[k].iter_mut().zip(found).for_each(|(sum, more)| *sum += more);
            }
        }
    }

    /// Adds another cat.
    pub fn merge(&mut self, other: &Self) {
        let numbers = self.sums.iter_mut().flatten().flatten();
        numbers.zip(other.sums.iter().flatten().flatten()).for_each(|(sum, more)| *sum += more);
        self.turned = std::array::from_fn(|k| self.turned[k] + other.turned[k]);
    }

    /// On the terminal.
    pub fn print(&self) {
        let [chances, intervals] = self.turned;
        println!("further ahead: a smaller chance {chances} times, a narrower interval {intervals} times");
        for (kind, sums) in KINDS.iter().zip(&self.sums) {
            for (span, [looks, inside, under, width, said, came]) in SPANS.iter().zip(sums) {
                let of = looks.max(1.0);
                println!(
                    "  {kind:18} {span:3} min: 80 % interval holds {:.3}, under it {:.3}, width {:3.0}; low said {:.3} happened {:.3} ({looks} looks)",
                    inside / of,
                    under / of,
                    width / of,
                    said / of,
                    came / of
                );
            }
        }
    }
}

fn width(outlook: &Outlook) -> f64 {
    outlook.interval80[1] - outlook.interval80[0]
}

/// Whether `status` would give blood: the newest reading is fresh, in range, not stuck, not doubted.
fn shown(tracker: &Tracker, look: &Look) -> bool {
    let Some(newest) = tracker.newest() else { return false };
    let stuck = matches!(tracker.artefact(), Some(Artefact::Stuck { .. }));
    let fresh = look.now.minutes_since(newest.measured_at) <= FRESH_MINUTES;
    fresh && newest.value.level().is_some() && !stuck && !tracker.doubts()
}

/// Two samples and the lag, minutes.
const FRESH_MINUTES: f64 = 38.0;
