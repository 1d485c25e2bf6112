//! The blood estimate and the chances alone, without watches and textbook methods: quick, for whoever is at work on
//! the filter; and the four hours ahead that a person is shown. On training seeds, so that nothing is chosen by what is scored.

use lowtide::glucose::Tracker;
use lowtide::simulate::cat::{Family, Options, Trace, simulate};
use lowtide::words::SensorSettings;

use crate::ahead::Held;
use crate::contest::{DAYS, in_two};
use crate::feed::{Feed, walk};
use crate::measure::Measure;
use crate::ours::{Belief, MEASURED_MINUTES};
use crate::print;
use crate::score::{LOW, Truth};

/// Seeds that the table of learned numbers was not grown on, nor are scored anywhere.
const FROM: u64 = 700_000;

/// Measures so many cats of each family that may be learned from, and prints.
pub fn print(count: u64) {
    for family in Family::LEARNED {
        let seeds: Vec<u64> = (FROM..FROM + count).collect();
        let options = Options { family, ..Options::default() };
        let all = in_two(&seeds, |seed| {
            let trace = simulate(*seed, DAYS, &options);
            (measured(&trace), Held::of(&trace))
        });
        let (mut sum, mut held) = (Measure::default(), Held::default());
        for (one, ahead) in &all {
            sum.merge(one);
            held.merge(ahead);
        }
        println!("{family:?}, {count} cats");
        print::measure(&sum);
        held.print();
    }
}

fn measured(trace: &Trace) -> Measure {
    let mut tracker = Tracker::new(&SensorSettings::default());
    let mut beliefs = Vec::new();
    walk(trace, Feed::Streamed, |look| {
        look.applied.iter().for_each(|at| tracker.new_wear(*at));
        look.doses.iter().for_each(|at| tracker.dose(*at));
        tracker.add(&look.new);
        let newest = tracker.newest()?;
        let estimate = tracker.estimate(look.now)?;
        let outlook = tracker.outlook(look.now, MEASURED_MINUTES as f64, f64::from(LOW))?;
        let age = look.now.minutes_since(newest.measured_at).round() as u32;
        let (minute, raw_minute) = (look.minute, look.minute.saturating_sub(age));
        beliefs.push(Belief { minute, raw: newest.value.level(), raw_minute, estimate, outlook });
        None::<lowtide::words::Moment>
    });
    let mut measure = Measure::default();
    measure.add(&Truth::of(trace), &beliefs, MEASURED_MINUTES);
    measure
}
