//! The words for where glucose is heading, held against where it went: on invented cats, whose blood is known.

use std::collections::BTreeMap;

use lowtide::glucose::Tracker;
use lowtide::simulate::cat::{Family, Options, simulate};
use lowtide::tell::Reader;
use lowtide::words::{SensorSettings, minutes};

use crate::household::household;

/// What became of the blood where one word was said: how often it was said, and how often blood fell and rose then, and
/// was more than 10 mg/dL lower an hour later.
#[derive(Default)]
struct Became {
    count: f64,
    fell: f64,
    rose: f64,
    lower: f64,
}

/// Near the limit, where somebody decides by the word whether to get up, mg/dL.
const NEAR: std::ops::Range<f64> = 60.0..130.0;
/// A change of blood that counts as one, mg/dL a minute.
const CHANGE: f64 = 0.1;
const HOUR_LOWER: f64 = 10.0;

/// By the word that was said, over the cats of one kind.
fn became(family: Family, cats: u64) -> BTreeMap<String, Became> {
    let settings = household();
    let mut words: BTreeMap<String, Became> = BTreeMap::new();
    for seed in 1..=cats {
        let trace = simulate(seed, 14, &Options { family, ..Options::default() });
        let reader = Reader::home(&settings, trace.start);
        let mut tracker = Tracker::new(&SensorSettings::default());
        let mut doses = trace.doses.iter().peekable();
        for reading in &trace.readings {
            let at = reading.measured_at;
            while let Some(dose) = doses.next_if(|dose| **dose <= at) {
                tracker.dose(*dose);
            }
            tracker.add(&[*reading]);
            let Some(estimate) = tracker.estimate(at).filter(|e| NEAR.contains(&e.blood)) else { continue };
            let blood: Vec<f64> =
                [-7.0, 0.0, 7.0, 60.0].iter().filter_map(|m| trace.blood_at(at + minutes(*m))).collect();
            let [before, now, after, hour] = blood[..] else { continue };
            let rate = (after - before) / 14.0;
            let became = words.entry(reader.trend(estimate.rate_per_min)).or_default();
            became.count += 1.0;
            became.fell += f64::from(u8::from(rate < -CHANGE));
            became.rose += f64::from(u8::from(rate > CHANGE));
            became.lower += f64::from(u8::from(hour < now - HOUR_LOWER));
        }
    }
    words
}

/// `CATS=10 cargo test --test core where_it_is_said -- --nocapture` shows more cats than the gate takes.
#[test]
fn where_it_is_said_to_fall_a_little_it_falls_more_often_than_it_rises() {
    let cats = std::env::var("CATS").map_or(3, |cats| cats.parse().unwrap());
    for family in [Family::Depot, Family::Curve, Family::Regime] {
        let words = became(family, cats);
        for word in ["steady", "falling a little"] {
            let Became { count, fell, rose, lower } = &words[word];
            println!(
                "{family:?}, {word}: {count} times; it fell in {:.2}, rose in {:.2}, was 10 mg/dL lower after an hour \
                 in {:.2}",
                fell / count,
                rose / count,
                lower / count
            );
        }
        let (steady, little) = (&words["steady"], &words["falling a little"]);
        assert!(little.fell > 1.5 * little.rose && little.count > 30.0, "{family:?}: the word is not true");
        assert!(
            little.lower / little.count > 1.3 * steady.lower / steady.count,
            "{family:?}: it tells nothing"
        );
    }
}
