//! How often a sensor reads changes what is known of it, not how often people are woken.

use lowtide::words::{Became, SensorEvent, Value, Watch};

use crate::household::{at, streaming};
use crate::world::World;

/// Uniform between -1 and 1, the same each time.
fn throw(seed: &mut u64) -> f64 {
    *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*seed >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// How often `low-now` and `low-ahead` opened in four days of a cat that rests near 85, read so often by a sensor with noise
/// of 4 mg/dL that keeps 0.7 from one quarter of an hour to the next.
fn opened(every: f64, seed: u64) -> [usize; 2] {
    let mut household = streaming();
    household.cats[0].sensor.sample_minutes = every;
    let mut world = World::new(household, at("2026-06-01T10:00:00Z"));
    world.sensor(SensorEvent::Applied);
    let (keep, keep_blood) = ((0.7_f64.ln() * every / 15.0).exp(), (-every / 120.0).exp());
    let (mut seed, mut noise, mut blood) = (seed, 0.0, 0.0);
    let spread = |keep: f64, sd: f64| sd * (1.0 - keep * keep).sqrt() * 3.0_f64.sqrt();
    for _ in 0..(4.0 * 1440.0 / every) as usize {
        noise = keep * noise + spread(keep, 4.0) * throw(&mut seed);
        blood = keep_blood * blood + spread(keep_blood, 8.0) * throw(&mut seed);
        world.stream(Value::Level((85.0 + blood + noise).round()));
        world.pass(every);
    }
    [Watch::LowNow, Watch::LowAhead].map(|watch| world.count(watch, Became::Opened))
}

#[test]
fn a_sensor_that_reads_every_five_minutes_raises_no_more_alarms_than_one_that_reads_each_quarter_of_an_hour()
{
    let sum = |every: f64| {
        (1..=3).map(|seed| opened(every, seed)).fold([0, 0], |sum, one| [sum[0] + one[0], sum[1] + one[1]])
    };
    let (quarter, five) = (sum(15.0), sum(5.0));
    println!("low-now, low-ahead: {quarter:?} each quarter of an hour, {five:?} every five minutes");
    assert!(quarter[0] >= 4, "it is told of at all: {quarter:?}");
    assert!(five[0] <= quarter[0] && five[1] <= quarter[1] + 3, "{five:?} {quarter:?}");
}
