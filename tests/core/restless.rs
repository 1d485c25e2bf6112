//! A cat that rests at the limit: the low that keeps coming back is told, but not a dozen times a day, and nothing that
//! is news is lost in it.

use lowtide::words::{
    Batch, Became, Event, MeterCheck, MeterKind, Moment, Reading, ReadingKind, Reason, SensorKind, Severity,
    Value, Via, Watch, minutes,
};

use crate::household::{at, cat, streaming};
use crate::world::World;

const MORNING: &str = "2026-06-10T04:00:00Z";

/// Evenly spread noise of a given width, the same for the same seed.
struct Dice(u64);

impl Dice {
    fn noise(&mut self, width: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        width * (((self.0 >> 33) as f64) / f64::from(1_u32 << 31) - 0.5)
    }
}

/// Two restless days around a level, after a slow descent to it; what was streamed, with its time.
fn restless(mean: f64, noise: f64, seed: u64, every: f64) -> (World, Vec<(Moment, f64)>) {
    let mut world = World::new(streaming(), at(MORNING));
    world.stream_levels(&[110.0, 104.0, 98.0, 92.0, 87.0, 82.0, 78.0, 75.0, 72.0, 71.0]);
    let mut dice = Dice(seed);
    let mut streamed = Vec::new();
    for k in 0..(2.0 * 1440.0 / every) as usize {
        let wave = 4.0 * (k as f64 * 0.35 * every / 15.0).sin();
        let level = (mean + wave + dice.noise(noise)).round();
        streamed.push((world.now, level));
        world.stream(Value::Level(level));
        world.pass(every);
    }
    (world, streamed)
}

/// A cat whose low has ended and come back: it is held, and its lowest word was of about 66 mg/dL.
fn returned() -> World {
    let mut world = World::new(streaming(), at(MORNING));
    world.stream_levels(&[100.0, 95.0, 90.0, 86.0, 82.0, 78.0, 75.0, 72.0, 69.0, 66.0, 66.0]);
    world.stream_levels(&[72.0, 75.0, 76.0, 76.0, 75.0]);
    assert!(!world.holds(Watch::LowNow), "{}", world.story());
    assert_eq!(world.last("olive").reason, Reason::Over, "{}", world.story());
    world.stream_levels(&[72.0, 68.0, 66.0, 66.0]);
    assert_eq!(held(&world), Some("low-now-again".into()), "{}", world.story());
    world.forget();
    world
}

/// The same, over the limit again, but not clearly.
fn near() -> World {
    let mut world = returned();
    world.stream_levels(&[73.0, 77.0]);
    assert_eq!(held(&world), Some("low-now-near".into()), "{}", world.story());
    assert!(world.carried.is_empty(), "{}", world.story());
    world
}

fn held(world: &World) -> Option<String> {
    world.held(Watch::LowNow).map(|(key, _)| key)
}

#[test]
fn a_cat_that_rests_at_the_limit_for_two_days_is_not_told_of_a_dozen_times_a_day() {
    for (mean, noise, every) in
        [(70.0, 10.0, 15.0), (72.0, 10.0, 5.0), (72.0, 20.0, 15.0), (74.0, 10.0, 15.0)]
    {
        for seed in 1..=2 {
            let (world, _) = restless(mean, noise, seed, every);
            let (opened, messages) = (world.count(Watch::LowNow, Became::Opened), world.carried.len());
            println!("about {mean}, noise {noise}, each {every} min: {opened} lows, {messages} messages");
            assert!(opened <= 5 && messages <= 26, "{mean} {noise}: {opened}, {messages}\n{}", world.story());
            // And nobody is left without a word of it for a day.
            let told: Vec<Moment> = world.carried.iter().map(|carried| carried.at).collect();
            assert!(told.windows(2).all(|two| two[1] - two[0] < minutes(960.0)), "{}", world.story());
            assert_eq!(world.restarted().cats[&cat()].memory, world.house.cats[&cat()].memory);
        }
    }
}

#[test]
fn a_low_after_a_real_recovery_is_an_alarm_of_its_own() {
    let ways: [&[f64]; 4] = [
        &[74.0, 80.0, 82.0, 81.0, 83.0, 76.0, 68.0],
        &[80.0, 81.0, 83.0, 82.0, 64.0],
        &[76.0, 76.0, 77.0, 76.0, 76.0, 77.0, 78.0, 76.0, 76.0, 77.0, 66.0, 66.0],
        &[76.0, 102.0, 104.0, 76.0, 66.0],
    ];
    for levels in ways {
        let mut world = returned();
        world.stream_levels(levels);
        assert_eq!(world.count(Watch::LowNow, Became::Cleared), 1, "{levels:?}: {}", world.story());
        assert_eq!(world.count(Watch::LowNow, Became::Opened), 1, "{levels:?}: {}", world.story());
        let reasons: Vec<Reason> = world.heard("olive").iter().map(|heard| heard.message.reason).collect();
        assert_eq!(*reasons.last().unwrap(), Reason::First, "{levels:?}: {}", world.story());
        // What comes after a recovery is a low like any other: two readings over the limit end it.
        world.stream_levels(&[76.0, 78.0, 78.0, 78.0]);
        assert!(!world.holds(Watch::LowNow), "{levels:?}: {}", world.story());
    }
}

#[test]
fn no_low_out_of_a_recovery_stays_unsaid_in_restless_days() {
    let mut lows = 0;
    for seed in 1..=8 {
        let (world, streamed) = restless(82.0, 30.0, seed, 15.0);
        for (k, (low_at, level)) in streamed.iter().enumerate().filter(|(_, (_, level))| *level < 70.0) {
            let clear = |(_, level): &(Moment, f64)| *level >= 80.0;
            if k < 4 || !streamed[k - 4..k].iter().all(clear) {
                continue;
            }
            lows += 1;
            let told = world.carried.iter().any(|carried| {
                let of_low = carried.message.findings.iter().any(|id| id.watch() == Some(Watch::LowNow));
                let late = carried.at.minutes_since(*low_at);
                of_low && carried.message.reason != Reason::Over && (0.0..=16.0).contains(&late)
            });
            assert!(told, "seed {seed}: {level} at {low_at}\n{}", world.story());
        }
    }
    assert!(lows >= 5, "the days have to hold some: {lows}");
}

#[test]
fn what_comes_back_deeper_is_told_again() {
    let mut world = near();
    world.stream_levels(&[72.0, 68.0, 66.0, 65.0]);
    assert!(world.carried.is_empty(), "as low as was told: {}", world.story());
    world.stream_levels(&[72.0, 76.0, 75.0, 67.0, 60.0]);
    assert_eq!(world.last("olive").reason, Reason::More, "{}", world.story());
    world.stream_levels(&[54.0, 48.0]);
    assert_eq!(world.held(Watch::LowNow).unwrap(), ("low-now-danger".into(), Severity::Critical));
    let worse = world.reasons("olive").iter().any(|(_, reason)| *reason == Reason::Worse);
    assert!(worse, "{}", world.story());
}

#[test]
fn a_fall_out_of_it_is_told_where_it_is_fast_by_the_settings() {
    for (fast, told) in [(-0.05, true), (-2.0, false)] {
        let mut world = near();
        let mut house = streaming();
        house.cats[0].watch.falling_rate = fast;
        world.settings(house);
        world.stream_levels(&[76.0, 71.0]);
        assert_eq!(held(&world), Some("low-now-near".into()), "{}", world.story());
        assert_eq!(world.holds(Watch::FallingFast), told, "{}", world.story());
        world.stream_levels(&[69.0]);
        assert_eq!(world.count(Watch::LowNow, Became::Changed), usize::from(told), "{}", world.story());
    }
}

#[test]
fn what_keeps_coming_back_is_told_again_after_hours() {
    let mut world = near();
    world.stream_levels(&[76.0, 75.0, 74.0, 73.0].repeat(5));
    assert!(world.carried.is_empty(), "{}", world.story());
    world.stream_levels(&[70.0, 67.0, 66.0]);
    assert_eq!(world.last("olive").reason, Reason::More, "{}", world.story());
    assert_eq!(world.carried.len(), 1, "{}", world.story());
}

#[test]
fn it_is_over_when_it_is_clearly_over_or_a_meter_says_so() {
    let mut world = near();
    world.stream_levels(&[81.0, 82.0, 83.0, 82.0]);
    assert!(!world.holds(Watch::LowNow), "{}", world.story());
    world.pass(2.0);
    assert_eq!(world.last("olive").reason, Reason::Over, "{}", world.story());
    let mut checked = near();
    checked.event(Event::Meter(MeterCheck {
        cat: cat(),
        measured_at: checked.now,
        glucose: Value::Level(95.0),
        meter: MeterKind::Pet,
    }));
    assert!(!checked.holds(Watch::LowNow), "{}", checked.story());
}

#[test]
fn a_low_that_is_delivered_late_is_found_though_the_one_before_is_held() {
    let mut world = near();
    let away = world.now;
    world.pass(75.0);
    let readings = (0..5).map(|k| {
        let level = if (1..4).contains(&k) { 63.0 } else { 76.0 };
        let measured_at = away + minutes(15.0 * f64::from(k));
        Reading { measured_at, value: Value::Level(level), kind: ReadingKind::History }
    });
    world.event(Event::Readings(Batch {
        cat: cat(),
        via: Via::Mqtt,
        source: "lowtide/in/pepper/reading".into(),
        sensor: None,
        scanned_at: None,
        readings: readings.collect(),
        repeated: 0,
        conflicts: Vec::new(),
        newest: Some(away + minutes(60.0)),
    }));
    world.stream_levels(&[76.0, 76.0]);
    assert_eq!(world.count(Watch::LowFoundLater, Became::Opened), 1, "{}", world.story());
}

#[test]
fn between_two_scans_nothing_is_held_for_coming_back() {
    let mut house = streaming();
    house.cats[0].sensor.kind = SensorKind::Scanned;
    let mut world = World::new(house, at(MORNING));
    for (levels, holds) in
        [((76.0, 66.0), true), ((76.0, 76.0), false), ((76.0, 67.0), true), ((76.0, 75.0), false)]
    {
        world.scan_back(60.0, |back| if back < -20.0 { levels.0 } else { levels.1 });
        assert_eq!(world.holds(Watch::LowNow), holds, "{}", world.story());
        world.pass(60.0);
    }
}
