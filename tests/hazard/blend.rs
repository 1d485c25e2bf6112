//! Weighs the forest's answer against the filter's, horizon by horizon, and judges a table.

use lowtide::glucose::evidence::COUNT;
use lowtide::glucose::hazard::{HORIZONS, Odds, Table, log_odds};

use crate::look::Looks;

/// Fits the weights of each horizon, with the forest and without, and the percentiles of the ends.
pub fn fit(table: &mut Table, looks: &Looks, which: &[usize]) {
    let odds: Vec<f64> = which.iter().map(|k| forest(table, looks, *k)).collect();
    for (place, horizon) in HORIZONS.iter().enumerate() {
        let own = |k: usize| log_odds(f64::from(looks.filter[k][place]));
        let came = |k: usize| f64::from(looks.next[k]) <= *horizon;
        let look = |k: usize, x: [f64; 3]| (x, came(k), f64::from(looks.weights[k]));
        let both: Vec<_> = which.iter().zip(&odds).map(|(k, odds)| look(*k, [1.0, *odds, own(*k)])).collect();
        table.blends[place] = weighed(&both, [0.0, 1.0, 0.0]);
        let alone: Vec<_> = which.iter().map(|k| look(*k, [1.0, 0.0, own(*k)])).collect();
        let weights = weighed(&alone, [0.0, 0.0, 1.0]);
        table.alone[place] = [weights[0], weights[2]];
        let mut ends: Vec<(f32, f32)> =
            which.iter().map(|k| (looks.ends[*k][place], looks.weights[*k])).collect();
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        table.ends[place] = [0.1, 0.9].map(|share| percentile(&ends, share));
    }
}

/// The value under which a share of the weight lies.
fn percentile(sorted: &[(f32, f32)], share: f64) -> f64 {
    let all: f64 = sorted.iter().map(|(_, weight)| f64::from(*weight)).sum();
    let mut sum = 0.0;
    let place = sorted.iter().position(|(_, weight)| {
        sum += f64::from(*weight);
        sum >= share * all
    });
    f64::from(sorted[place.unwrap_or(sorted.len() - 1)].0)
}

/// Logistic regression of (inputs, answer, weight) by Newton's method.
fn weighed(looks: &[([f64; 3], bool, f64)], start: [f64; 3]) -> [f64; 3] {
    let mut weights = start;
    for _ in 0..12 {
        let (mut slope, mut bend) = ([0.0; 3], [[0.0; 3]; 3]);
        for (x, came, weight) in looks {
            let sum: f64 = x.iter().zip(&weights).map(|(a, b)| a * b).sum();
            let chance = 1.0 / (1.0 + (-sum).exp());
            let miss = f64::from(u8::from(*came)) - chance;
            for i in 0..3 {
                slope[i] += weight * miss * x[i];
                for j in 0..3 {
                    bend[i][j] += weight * chance * (1.0 - chance) * x[i] * x[j];
                }
            }
        }
        let step = solved(bend, slope);
        weights.iter_mut().zip(step).for_each(|(w, s)| *w += s.clamp(-1.0, 1.0));
    }
    weights
}

/// Prints log loss and reliability of the blend and of the filter alone, and how often the ends were inside.
pub fn judge(table: &Table, looks: &Looks) {
    println!("  horizon  log loss: blend, filter alone, base rate   worst bin   inside of the 80 %");
    for (place, horizon) in HORIZONS.iter().enumerate() {
        let (mut all, mut came, mut own, mut blend) = (0.0, 0.0, 0.0, 0.0);
        let mut bins = [(0.0, 0.0, 0.0); 10];
        let (mut inside, mut ends) = (0.0, 0.0);
        for k in 0..looks.len() {
            let filter = looks.filter[k].map(f64::from);
            let chance = table
                .chances(Some(Odds { odds: forest(table, looks, k), calm_most: f64::INFINITY }), &filter)
                [place]
                .clamp(1e-4, 1.0 - 1e-4);
            let weight = f64::from(looks.weights[k]);
            let truth = f64::from(looks.next[k]) <= *horizon;
            let loss = |p: f64| -weight * if truth { p.ln() } else { (1.0 - p).ln() };
            all += weight;
            came += if truth { weight } else { 0.0 };
            own += loss(table.chances(None, &filter)[place].clamp(1e-4, 1.0 - 1e-4));
            blend += loss(chance);
            let bin = &mut bins[((chance * 10.0) as usize).min(9)];
            *bin = (bin.0 + weight, bin.1 + weight * chance, bin.2 + if truth { weight } else { 0.0 });
            let z = f64::from(looks.ends[k][place]);
            ends += weight;
            inside += if (table.ends[place][0]..=table.ends[place][1]).contains(&z) { weight } else { 0.0 };
        }
        let share = came / all;
        let base = -(share * share.ln() + (1.0 - share) * (1.0 - share).ln());
        let worst = bins.iter().filter(|b| b.0 > 300.0).map(|b| (b.1 - b.2).abs() / b.0).fold(0.0, f64::max);
        println!(
            "  {horizon:5}    {:.4} {:.4} {base:.4}   {worst:.3}   {:.3}",
            blend / all,
            own / all,
            inside / ends
        );
    }
}

fn forest(table: &Table, looks: &Looks, k: usize) -> f64 {
    let row: [f64; COUNT] = looks.rows[k].map(f64::from);
    table.base + table.trees.iter().map(|tree| tree.answer(&row)).sum::<f64>()
}

/// Solves a 3 by 3 system by Cramer's rule, a little calmed.
fn solved(mut a: [[f64; 3]; 3], b: [f64; 3]) -> [f64; 3] {
    (0..3).for_each(|i| a[i][i] += 1.0);
    let det = |m: &[[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = det(&a);
    std::array::from_fn(|column| {
        let mut other = a;
        (0..3).for_each(|row| other[row][column] = b[row]);
        det(&other) / whole
    })
}
