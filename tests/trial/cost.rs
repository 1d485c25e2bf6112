//! What the filter and the outlook cost: a year of one invented cat, reading by reading, in batches of two thousand of which the
//! quickest counts, since the machine may be busy with something else.
#![allow(clippy::disallowed_methods)]

use std::time::Instant;

use lowtide::glucose::Tracker;
use lowtide::simulate::cat::{Options, Temper, simulate};
use lowtide::words::{SensorEvent, SensorSettings, minutes};

/// Readings in a batch.
const BATCH: usize = 2000;

/// Measures and prints.
pub fn print() {
    // A tight cat, near the limit all year: the forest is asked at every look.
    let trace = simulate(1_000_000, 365, &Options { temper: Some(Temper::Tight), ..Options::default() });
    let mut tracker = Tracker::new(&SensorSettings::default());
    let mut doses = trace.doses.iter().peekable();
    let mut worn = trace.sensor.iter().filter(|(_, event)| *event == SensorEvent::Applied).peekable();
    let (mut taking, mut looking) = (f64::INFINITY, f64::INFINITY);
    let (mut all, mut chances) = (0.0, 0.0);
    for batch in trace.readings.chunks(BATCH) {
        let (mut taken, mut looked) = (0.0, 0.0);
        for reading in batch {
            let now = reading.measured_at + minutes(1.0);
            let begin = Instant::now();
            while let Some(dose) = doses.next_if(|dose| **dose <= now) {
                tracker.dose(*dose);
            }
            while let Some((at, _)) = worn.next_if(|(at, _)| *at <= now) {
                tracker.new_wear(*at);
            }
            tracker.add(&[*reading]);
            let half = Instant::now();
            chances += tracker.outlook(now, 60.0, 70.0).map_or(0.0, |outlook| outlook.chance);
            taken += half.duration_since(begin).as_secs_f64();
            looked += half.elapsed().as_secs_f64();
        }
        all += taken + looked;
        if batch.len() == BATCH {
            taking = taking.min(taken / BATCH as f64);
            looking = looking.min(looked / BATCH as f64);
        }
    }
    let bytes = serde_json::to_string(&tracker).map_or(0, |text| text.len());
    println!(
        "{} readings of a year; mean chance of a low {:.4}",
        trace.readings.len(),
        chances / trace.readings.len() as f64
    );
    println!("taking a reading (filter, habits, fit): {:.1} us", taking * 1e6);
    println!("one outlook: {:.1} us", looking * 1e6);
    println!("a year of readings and outlooks: {all:.2} s on the clock, busy machine or not");
    println!("kept of one cat, as JSON: {:.1} KiB", bytes as f64 / 1024.0);
}
