//! Whether the judging family looks like what is published of cats and sensors; prints what it measures
//! (`cargo test --lib echo::likeness -- --nocapture --test-threads 1`). No method is asked anything here.

use crate::simulate::cat::{Family, Options, Temper, Trace, simulate};
use crate::words::minutes;

/// Every temper and how often `mod.rs` draws it.
const TEMPERS: [(Temper, f64); 4] =
    [(Temper::Tight, 0.27), (Temper::Typical, 0.35), (Temper::Brittle, 0.22), (Temper::High, 0.16)];
const CATS: u64 = 12;
const WEEKS: u32 = 4;

fn cats(temper: Temper) -> Vec<Trace> {
    let options = Options { family: Family::Echo, temper: Some(temper), ..Options::default() };
    (0..CATS).map(|seed| simulate(100 + seed, 7 * WEEKS, &options)).collect()
}

/// A stretch of at least 15 min under 70 mg/dL: where it begins, how many minutes, its nadir.
fn lows(trace: &Trace) -> Vec<(usize, usize, f64)> {
    let (mut at, mut found) = (0, Vec::new());
    for run in trace.blood.chunk_by(|a, b| (*a < 70.0) == (*b < 70.0)) {
        if run[0] < 70.0 && run.len() >= 15 {
            found.push((at, run.len(), f64::from(run.iter().copied().fold(f32::MAX, f32::min))));
        }
        at += run.len();
    }
    found
}

/// The steepest 15 min of the two hours before minute `at`, mg/dL a minute downwards.
fn fall(trace: &Trace, at: usize) -> Option<f64> {
    let before = &trace.blood[at.checked_sub(120)?..=at];
    let falls = before.windows(16).map(|w| f64::from(w[0] - w[15]) / 15.0);
    falls.reduce(f64::max)
}

fn quantile(mut of: Vec<f64>, share: f64) -> f64 {
    of.sort_by(f64::total_cmp);
    of[(share * (of.len() - 1) as f64).round() as usize]
}

fn quantiles(of: &[f64]) -> [f64; 7] {
    [0.0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0]
        .map(|share| (100.0 * quantile(of.to_vec(), share)).round() / 100.0)
}

fn mean_sd(of: &[f64]) -> (f64, f64) {
    let mean = of.iter().sum::<f64>() / of.len() as f64;
    (mean, (of.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / of.len() as f64).sqrt())
}

#[test]
fn lows_are_as_many_as_deep_and_as_quick_as_meant() {
    let (mut weekly, mut nadirs, mut falls, mut lasting) = (0.0, vec![], vec![], vec![]);
    for (temper, share) in TEMPERS {
        let traces = cats(temper);
        let found: Vec<_> = traces.iter().map(lows).collect();
        let each: Vec<f64> = found.iter().map(|lows| lows.len() as f64 / f64::from(WEEKS)).collect();
        let levels: Vec<f64> = traces
            .iter()
            .flat_map(|trace| trace.blood.iter().step_by(15))
            .map(|level| f64::from(*level))
            .collect();
        println!("{temper:?}: levels {:?}", quantiles(&levels));
        weekly += share * mean_sd(&each).0;
        println!("{temper:?}: lows a week {:.2}, between cats {:?}", mean_sd(&each).0, quantiles(&each));
        for (trace, found) in traces.iter().zip(&found) {
            nadirs.extend(found.iter().map(|low| low.2));
            lasting.extend(found.iter().map(|low| low.1 as f64));
            falls.extend(found.iter().filter_map(|low| fall(trace, low.0)));
        }
    }
    println!("lows a week {weekly:.2}\nnadirs {:?}", quantiles(&nadirs));
    println!("minutes {:?}\nfalls {:?}", quantiles(&lasting), quantiles(&falls));
    assert!((1.0..3.0).contains(&weekly), "{weekly}");
    let deep = nadirs.iter().filter(|nadir| **nadir < 50.0).count() as f64 / nadirs.len() as f64;
    assert!((0.02..0.2).contains(&deep), "{deep}");
    let (slow, quick) = (quantile(falls.clone(), 0.1), quantile(falls, 0.9));
    assert!((0.1..0.5).contains(&slow) && (1.2..3.5).contains(&quick), "{slow} {quick}");
}

#[test]
fn nadirs_come_hours_after_the_dose_and_differ_from_day_to_day() {
    for temper in [Temper::Typical, Temper::Brittle] {
        let (mut hours, mut hours_sd, mut levels_sd) = (vec![], vec![], vec![]);
        for trace in cats(temper) {
            let (mut when, mut level) = (vec![], vec![]);
            for dose in &trace.doses {
                let at = dose.minutes_since(trace.start) as usize;
                let Some(cycle) = trace.blood.get(at..at + 660) else { continue };
                let Some((minute, least)) = cycle.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)) else {
                    continue;
                };
                when.push(minute as f64 / 60.0);
                level.push(f64::from(*least));
            }
            hours.push(mean_sd(&when).0);
            hours_sd.push(mean_sd(&when).1);
            levels_sd.push(mean_sd(&level).1);
        }
        println!("{temper:?}: nadir after {:?} h between cats", quantiles(&hours));
        println!("  within: sd {:?} h, {:?} mg/dL", quantiles(&hours_sd), quantiles(&levels_sd));
        // Glargine in cats: usually 4 to 8 h after the dose, another time each day.
        assert!((4.0..8.0).contains(&quantile(hours, 0.5)));
        assert!(quantile(hours_sd, 0.5) > 1.0 && quantile(levels_sd, 0.5) > 12.0);
    }
}

#[test]
fn some_cats_are_high_after_a_low_and_steep_minutes_are_rare() {
    let (mut with, mut without, mut steep, mut all) = (0_u32, 0_u32, 0, 0);
    for (temper, _) in TEMPERS {
        for trace in cats(temper) {
            let found = lows(&trace);
            let rebounds = found.iter().any(|(at, long, _)| {
                let end = at + long;
                trace.blood[end..(end + 720).min(trace.blood.len())].iter().any(|level| *level > 270.0)
            });
            with += u32::from(!found.is_empty() && rebounds);
            without += u32::from(!found.is_empty() && !rebounds);
            steep += trace.blood.windows(16).filter(|w| (w[0] - w[15]).abs() > 60.0).count();
            all += trace.blood.len();
        }
    }
    let steep = steep as f64 / all as f64;
    println!(
        "cats with lows: {with} once above 270 within 12 h, {without} never; beyond 4 mg/dL/min {steep:.5}"
    );
    // 25 % of diabetic cats that had lows (Zini et al., JVIM 2018). Most of it is the drug going off, as there.
    let share = f64::from(with) / f64::from(with + without);
    assert!((0.08..0.5).contains(&share), "{share}");
    assert!(steep < 0.005, "{steep}");
}

#[test]
fn the_sensor_errs_as_much_as_published_and_not_from_reading_to_reading_anew() {
    let (mut errors, mut pairs, mut hourly, mut by_level) = (vec![], vec![], vec![], [(0.0, 0.0); 3]);
    let (mut falling, mut rising) = (vec![], vec![]);
    for (temper, _) in TEMPERS {
        for trace in cats(temper) {
            let off = |at| {
                let reading = trace.readings.binary_search_by_key(&at, |r| r.measured_at).ok()?;
                let blood = trace.blood_at(at)?;
                Some((trace.readings[reading].value.level()? / blood - 1.0, blood))
            };
            for reading in &trace.readings {
                let at = reading.measured_at;
                let Some((error, blood)) = off(at) else { continue };
                errors.push(error);
                pairs.extend(off(at - minutes(15.0)).map(|before| (before.0, error)));
                hourly.extend(off(at - minutes(60.0)).map(|before| (before.0, error)));
                let band = &mut by_level[usize::from(blood > 100.0) + usize::from(blood > 200.0)];
                *band = (band.0 + error.abs(), band.1 + 1.0);
                let Some(before) = trace.blood_at(at - minutes(20.0)) else { continue };
                match (blood - before) / 20.0 {
                    rate if rate < -1.5 => falling.push(error * blood / -rate),
                    rate if rate > 1.5 => rising.push(-error * blood / rate),
                    _ => {}
                }
            }
        }
    }
    let mard = errors.iter().map(|e| e.abs()).sum::<f64>() / errors.len() as f64;
    let (mean, sd) = mean_sd(&errors);
    let kept = |pairs: &[(f64, f64)]| {
        pairs.iter().map(|(a, b)| (a - mean) * (b - mean)).sum::<f64>() / pairs.len() as f64 / (sd * sd)
    };
    let within = errors.iter().filter(|e| e.abs() <= 0.15).count() as f64 / errors.len() as f64;
    println!("MARD {mard:.3}, bias {mean:.3}, sd {sd:.3}, within 15 % {within:.2}");
    println!("MARD under 100, to 200, above: {:?}", by_level.map(|(sum, count)| sum / count));
    println!("correlation after 15 min {:.2}, after 60 {:.2}", kept(&pairs), kept(&hourly));
    println!(
        "minutes behind: median {:.1} falling, {:.1} rising",
        quantile(falling, 0.5),
        quantile(rising, 0.5)
    );
    assert!((0.08..0.16).contains(&mard), "{mard}");
    assert!((0.6..0.95).contains(&kept(&pairs)) && kept(&hourly) < kept(&pairs));
}
