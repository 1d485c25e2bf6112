//! No low that becomes known goes untold: whatever comes late, in pieces, or by a wrong clock.

use lowtide::words::{Became, Value, Watch};

use crate::household::{at, streaming};
use crate::world::World;

const NOON: &str = "2026-06-10T10:00:00Z";

/// The meter shows a low that the sensor, fresh then, does not; after one more reading the sensor says nothing more.
#[test]
fn a_low_by_the_meter_ends_when_its_time_is_over_though_the_sensor_went_quiet_before() {
    let mut world = World::new(streaming(), at(NOON));
    world.stream_levels(&[112.0, 110.0, 111.0]);
    world.meter(42.0);
    world.pass(15.0);
    world.stream(Value::Level(110.0));
    let quiet = world.now;
    world.until(at(NOON) + lowtide::words::minutes(45.0 + 179.0));
    assert_eq!(world.held(Watch::LowNow).unwrap().0, "low-now-meter-stands", "{}", world.story());
    assert!(world.now > quiet);
    world.pass(2.0);
    assert_eq!(world.count(Watch::LowNow, Became::Cleared), 1, "{}", world.story());
    assert_eq!(world.found.last().unwrap().key, "low-now-meter-stands", "{}", world.story());
}
