//! The scan planner: the fewest scans that leave no gap in a stretch of time, given when nobody can scan.
//!
//! A scanned sensor keeps so many hours, so the next scan has to come within that time of the last one. Going from
//! scan to scan, each as late as the memory and the household allow, uses the fewest scans there can be (the
//! classic interval-covering argument: any other plan is never ahead of this one after the same number of scans).
//! Where a stretch without anybody is longer than the memory, something is lost whatever one does; least is lost
//! by scanning right before it and right after it.

use chrono::{NaiveTime, Timelike};
use serde::{Deserialize, Serialize};

use crate::words::{Moment, QuietHours, Span};

/// A stretch of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stretch {
    /// It begins.
    pub from: Moment,
    /// It ends.
    pub until: Moment,
}

/// When to scan, and what is lost even so.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ScanPlan {
    /// Times to scan, rising.
    pub scans: Vec<Moment>,
    /// Stretches whose readings cannot be saved.
    pub lost: Vec<Stretch>,
}

/// Plans the scans from the last one until `until`.
///
/// `last` is the newest reading held; `memory` what the sensor keeps; `margin` how much earlier than necessary a
/// scan should come. `busy` are stretches in which nobody can scan, in any order; they may overlap. Readings after
/// the last planned scan are still on the sensor at `until`.
#[must_use]
pub fn plan_scans(
    last: Moment,
    now: Moment,
    until: Moment,
    memory: Span,
    margin: Span,
    busy: &[Stretch],
) -> ScanPlan {
    let busy = merged(busy);
    let mut plan = ScanPlan::default();
    let mut held = last;
    let mut free_from = now;
    // Each round moves on by a scan at least; the bound only guards against settings that make no sense.
    for _ in 0..SCANS_MAX {
        if held + memory >= until || memory <= margin {
            break;
        }
        let latest = (held + memory - margin).min(until);
        let scan = match latest_free(&busy, free_from, latest) {
            Some(scan) if scan > held => scan,
            // Nobody can in time: as soon as somebody can.
            _ => first_free(&busy, free_from.max(latest)),
        };
        if scan >= until {
            if held + memory < until {
                plan.lost.push(Stretch { from: held, until: until - memory });
            }
            break;
        }
        if scan - held > memory {
            plan.lost.push(Stretch { from: held, until: scan - memory });
        }
        plan.scans.push(scan);
        held = scan;
        free_from = scan;
    }
    plan
}

/// A scan planned at the last minute is a scan missed: so many minutes earlier than necessary. Chosen by us.
pub const MARGIN_MINUTES: f64 = 30.0;

/// The same scans every day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DailyScans {
    /// When, on the clock on the wall: first at getting up, last at going to bed.
    pub times: Vec<NaiveTime>,
    /// What is lost each night if it is longer than the memory.
    pub lost: Option<(NaiveTime, NaiveTime)>,
}

/// The fewest scans of a day that leave no gap while somebody is up, evenly between getting up and going to bed, in
/// steps of five minutes. No step is longer than `step_minutes`; the night is judged by `memory_minutes`.
#[must_use]
pub fn daily_scans(asleep: QuietHours, memory_minutes: f64, step_minutes: f64) -> DailyScans {
    let minute = |time: NaiveTime| f64::from(time.num_seconds_from_midnight()) / 60.0;
    let awake = (minute(asleep.from) - minute(asleep.until)).rem_euclid(DAY_MINUTES);
    let steps = (awake / step_minutes.max(5.0)).ceil().max(1.0);
    let clock = |minutes: f64| {
        let seconds = (minutes.rem_euclid(DAY_MINUTES) * 60.0).round() as u32;
        NaiveTime::from_num_seconds_from_midnight_opt(seconds, 0).unwrap_or_default()
    };
    let times = (0..=steps as u32).map(|step| {
        let share = f64::from(step) / steps;
        // Rounded down, so that no step grows; the ends stay as they are.
        let after = if share < 1.0 { (awake * share / 5.0).floor() * 5.0 } else { awake };
        clock(minute(asleep.until) + after)
    });
    let night = DAY_MINUTES - awake;
    let lost = (night > memory_minutes).then(|| (asleep.from, clock(minute(asleep.until) - memory_minutes)));
    DailyScans { times: times.collect(), lost }
}

const DAY_MINUTES: f64 = 1440.0;

/// Overlapping and touching stretches become one; the result rises.
fn merged(busy: &[Stretch]) -> Vec<Stretch> {
    let mut sorted: Vec<Stretch> =
        busy.iter().filter(|stretch| stretch.from < stretch.until).copied().collect();
    sorted.sort_by_key(|stretch| stretch.from);
    let mut merged: Vec<Stretch> = Vec::new();
    for stretch in sorted {
        match merged.last_mut() {
            Some(before) if stretch.from <= before.until => before.until = before.until.max(stretch.until),
            _ => merged.push(stretch),
        }
    }
    merged
}

/// The latest moment from `from` to `until` at which somebody can scan; the very beginning of a busy stretch counts.
fn latest_free(busy: &[Stretch], from: Moment, until: Moment) -> Option<Moment> {
    let inside = busy.iter().find(|stretch| stretch.from < until && until < stretch.until);
    let latest = inside.map_or(until, |stretch| stretch.from);
    let earliest = first_free(busy, from);
    (latest >= earliest).then_some(latest)
}

fn first_free(busy: &[Stretch], from: Moment) -> Moment {
    let inside = busy.iter().find(|stretch| stretch.from < from && from < stretch.until);
    inside.map_or(from, |stretch| stretch.until)
}

const SCANS_MAX: usize = 1000;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::minutes;
    use proptest::prelude::*;

    fn hour(hour: f64) -> Moment {
        Moment::from_millis(0) + minutes(hour * 60.0)
    }

    fn hours(count: f64) -> Span {
        minutes(count * 60.0)
    }

    fn plan(last: f64, until: f64, busy: &[(f64, f64)]) -> ScanPlan {
        let busy: Vec<Stretch> =
            busy.iter().map(|(from, to)| Stretch { from: hour(*from), until: hour(*to) }).collect();
        plan_scans(hour(last), hour(last), hour(until), hours(8.0), hours(0.5), &busy)
    }

    #[test]
    fn an_open_day_needs_a_scan_every_memory_less_the_margin() {
        let plan = plan(0.0, 24.0, &[]);
        assert_eq!(plan.scans, [hour(7.5), hour(15.0), hour(22.5)]);
        assert!(plan.lost.is_empty());
    }

    #[test]
    fn the_scans_of_a_day_lie_evenly_between_getting_up_and_going_to_bed() {
        let clock = |text: &str| NaiveTime::parse_from_str(text, "%H:%M").unwrap();
        let daily = |from: &str, until: &str| {
            daily_scans(QuietHours { from: clock(from), until: clock(until) }, 480.0, 450.0)
        };
        // 16 hours awake are more than two steps of 7 h 30, so three: 5 h 20 each.
        let plan = daily("22:30", "06:30");
        assert_eq!(plan.times, ["06:30", "11:50", "17:10", "22:30"].map(clock));
        assert_eq!(plan.lost, None);
        let long = daily("22:00", "08:00");
        assert_eq!(long.times, ["08:00", "15:00", "22:00"].map(clock));
        assert_eq!(long.lost, Some((clock("22:00"), clock("00:00"))));
        // Somebody who works at night and sleeps by day.
        assert_eq!(daily("09:00", "16:00").times, ["16:00", "21:40", "03:20", "09:00"].map(clock));
    }

    proptest! {
        /// The routine, walked through by the planner, loses nothing but what it says.
        #[test]
        fn a_daily_routine_loses_nothing_while_somebody_is_up(from in 0_u32..288, night in 1_u32..180) {
            let clock = |slot: u32| NaiveTime::from_num_seconds_from_midnight_opt((slot % 288) * 300, 0).unwrap();
            let plan = daily_scans(QuietHours { from: clock(from), until: clock(from + night) }, 480.0, 450.0);
            let minute = |time: &NaiveTime| i64::from(time.num_seconds_from_midnight() / 60);
            for pair in plan.times.windows(2) {
                let step = (minute(&pair[1]) - minute(&pair[0])).rem_euclid(1440);
                prop_assert!(step > 0 && step <= 450 + 5, "{:?}", plan);
            }
            let asleep = (minute(&plan.times[0]) - minute(plan.times.last().unwrap())).rem_euclid(1440);
            prop_assert_eq!(plan.lost.is_some(), asleep > 480, "{:?}", plan);
        }
    }

    #[test]
    fn a_night_as_long_as_the_memory_loses_nothing() {
        // Scanned at 14:00; sleep from 22:30 to 06:30: a scan at bedtime holds exactly until the morning.
        let plan = plan(14.0, 36.0, &[(22.5, 30.5)]);
        assert!(plan.lost.is_empty() && plan.scans.contains(&hour(22.5)), "{plan:?}");
    }

    #[test]
    fn a_longer_night_loses_its_beginning_and_says_so() {
        let plan = plan(15.0, 40.0, &[(22.0, 32.0)]);
        assert!(plan.scans.contains(&hour(22.0)) && plan.scans.contains(&hour(32.0)), "{plan:?}");
        assert_eq!(plan.lost, [Stretch { from: hour(22.0), until: hour(24.0) }]);
    }

    /// The least loss and then the fewest scans, by trying every set of half-hours: slow and obvious.
    fn by_force(last: u32, until: u32, memory: u32, busy: &[(u32, u32)]) -> (u32, u32) {
        let free = |t: u32| !busy.iter().any(|(from, to)| *from < t && t < *to);
        let mut best = vec![None::<(u32, u32)>; until as usize + 1];
        best[last as usize] = Some((0, 0));
        let mut end = (u32::MAX, u32::MAX);
        for t in last..=until {
            let Some((lost, count)) = best[t as usize] else { continue };
            end = end.min((lost + (until - t).saturating_sub(memory), count));
            for next in (t + 1)..until {
                if free(next) {
                    let cost = (lost + (next - t).saturating_sub(memory), count + 1);
                    let slot = &mut best[next as usize];
                    *slot = Some(slot.map_or(cost, |held| held.min(cost)));
                }
            }
        }
        end
    }

    proptest! {
        #[test]
        fn no_other_plan_loses_less_or_needs_fewer_scans(
            memory in 4_u32..20,
            busy in prop::collection::vec((0_u32..90, 1_u32..30), 0..4),
        ) {
            let busy: Vec<(u32, u32)> = busy.into_iter().map(|(from, long)| (from, from + long)).collect();
            let half = |t: u32| hour(f64::from(t) / 2.0);
            let stretches: Vec<Stretch> = busy.iter().map(|(f, t)| Stretch { from: half(*f), until: half(*t) }).collect();
            let merged: Vec<(u32, u32)> = super::merged(&stretches).iter()
                .map(|s| ((s.from.millis() / 1_800_000) as u32, (s.until.millis() / 1_800_000) as u32)).collect();
            let plan = plan_scans(half(0), half(0), half(100), half(memory) - half(0), Span::zero(), &stretches);
            let lost: i64 = plan.lost.iter().map(|s| (s.until - s.from).num_minutes() / 30).sum();
            let (least, fewest) = by_force(0, 100, memory, &merged);
            prop_assert_eq!(lost, i64::from(least), "{:?}", plan);
            prop_assert!(plan.scans.len() as u32 <= fewest.max(1), "{} scans, {} would do: {:?}", plan.scans.len(), fewest, plan);
        }
    }
}
