//! How near any estimate could come: a regression of what a reading is off by on the last six changes of the readings,
//! told the true blood of half of the cats. It is not shipped. Between being right on the whole and being right in
//! falls it has to choose as any estimate has; `weights` say how much a mean error in falls counts beside the squares.

use lowtide::simulate::cat::{Family, Options, Trace, simulate};
use nalgebra::{DMatrix, DVector};

use crate::contest::{DAYS, TRAINING_FROM, in_two};

/// Changes looked back on.
const BACK: usize = 6;
/// What calms the regression.
const CALM: f64 = 10.0;
/// Falling: as in `measure.rs`, mg/dL per minute over 30 min.
const FALLING: f64 = -1.0;

/// One reading.
struct Row {
    seen: DVector<f64>,
    /// Reading less blood, mg/dL.
    off: f64,
    falling: bool,
}

/// Fits on half of the cats of the two families that may be trained on, tries on the other half, and prints.
pub fn print(count: u64) {
    let families = [Family::Depot, Family::Curve].map(|family| {
        let seeds: Vec<u64> = (TRAINING_FROM..TRAINING_FROM + count).collect();
        in_two(&seeds, |seed| rows(&simulate(*seed, DAYS, &Options { family, ..Options::default() })))
    });
    println!(
        "mean error in falls as a share of the raw reading's; rms error else, as a share of the raw reading's"
    );
    for weight in [0.0, 1.0, 2.0, 4.0, 8.0, 20.0] {
        let half = families.each_ref().map(|cats| cats.iter().step_by(2).flatten().collect::<Vec<_>>());
        let answer = fitted(&half, weight);
        print!("falls count {weight:4}:");
        for cats in &families {
            let [bias, else_rms] = tried(cats.iter().skip(1).step_by(2).flatten(), &answer);
            print!("   {bias:5.2} {else_rms:.3}");
        }
        println!();
    }
}

fn rows(trace: &Trace) -> Vec<Row> {
    let levels: Vec<(f64, f64)> = trace
        .readings
        .iter()
        .filter_map(|r| Some((r.measured_at.minutes_since(trace.start), r.value.level()?)))
        .collect();
    let near = levels.windows(BACK + 1).filter(|w| w[BACK].0 - w[0].0 < 15.5 * BACK as f64);
    near.filter_map(|w| row(trace, w)).collect()
}

fn row(trace: &Trace, readings: &[(f64, f64)]) -> Option<Row> {
    let (at, raw) = readings[BACK];
    let at = at as usize + 1;
    let blood = |minute: usize| trace.blood.get(minute).map(|b| f64::from(*b));
    let (now, before) = (blood(at)?, blood(at.checked_sub(30)?)?);
    let back = |k: usize| raw - readings[BACK - k].1;
    let steps: Vec<f64> = (0..BACK).map(|k| readings[BACK - k].1 - readings[BACK - k - 1].1).collect();
    let mut seen = steps.clone();
    seen.extend(steps.iter().map(|x| x * raw / 200.0));
    for x in [steps[0], steps[1], back(2), back(3)] {
        let size = (10.0 * x / (raw + 50.0)).abs().min(3.0);
        seen.extend([x.min(0.0) * size, x.max(0.0) * size, x.min(0.0), x.min(0.0) * raw / 200.0]);
    }
    // Two falls in a row are more than one.
    let both = steps[0].min(0.0).max(steps[1].min(0.0));
    seen.extend([both, both * raw / 200.0, raw / 100.0 - 1.5, 1.0, (raw - 200.0).max(0.0) / 100.0]);
    Some(Row { seen: seen.into(), off: raw - now, falling: (now - before) / 30.0 < FALLING })
}

fn fitted(families: &[Vec<&Row>; 2], weight: f64) -> DVector<f64> {
    let size = families[0][0].seen.len();
    let (mut squares, mut sums) = (DMatrix::identity(size, size) * CALM, DVector::zeros(size));
    for rows in families {
        for row in rows {
            squares.ger(1.0, &row.seen, &row.seen, 1.0);
            sums.axpy(row.off, &row.seen, 1.0);
        }
        let falls: Vec<_> = rows.iter().filter(|row| row.falling).collect();
        let count = falls.len() as f64;
        let mean = falls.iter().fold(DVector::zeros(size), |sum, row| sum + &row.seen) / count;
        let off = falls.iter().map(|row| row.off).sum::<f64>() / count;
        squares.ger(weight * count, &mean, &mean, 1.0);
        sums.axpy(weight * count * off, &mean, 1.0);
    }
    squares.cholesky().expect("squares are positive").solve(&sums)
}

fn tried<'a>(rows: impl Iterator<Item = &'a Row>, answer: &DVector<f64>) -> [f64; 2] {
    let (mut fall, mut fall_raw, mut rest, mut rest_raw) = (0.0, 0.0, 0.0, 0.0);
    for row in rows {
        let left = row.off - row.seen.dot(answer);
        if row.falling {
            (fall, fall_raw) = (fall + left, fall_raw + row.off);
        } else {
            (rest, rest_raw) = (rest + left * left, rest_raw + row.off * row.off);
        }
    }
    [fall / fall_raw, (rest / rest_raw).sqrt()]
}
