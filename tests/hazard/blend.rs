//! Weighs the forest's answer against the filter's, horizon by horizon, and judges a table.

use lowtide::glucose::evidence::COUNT;
use lowtide::glucose::hazard::{HORIZONS, INPUTS, Odds, Table, inputs, log_odds};

use nalgebra::{SMatrix, SVector};

use crate::look::Looks;

/// Fits the weights of each horizon, with the forest and without, and the percentiles of the ends.
pub fn fit(table: &mut Table, looks: &Looks, which: &[usize]) {
    let odds: Vec<f64> = which.iter().map(|k| forest(table, looks, *k)).collect();
    for (place, horizon) in HORIZONS.iter().enumerate() {
        let own = |k: usize| log_odds(f64::from(looks.filter[k][place]));
        let came = |k: usize| f64::from(looks.next[k]) <= *horizon;
        let look = |k: usize, x: [f64; INPUTS]| (x, came(k), f64::from(looks.weights[k]));
        let row = |k: usize, odds: f64| inputs(odds, own(k), f64::from(looks.now[k]));
        let both: Vec<_> = which.iter().zip(&odds).map(|(k, odds)| look(*k, row(*k, *odds))).collect();
        table.blends[place] = weighed(&both, [true; INPUTS]);
        let alone: Vec<_> = which.iter().map(|k| look(*k, inputs(0.0, own(*k), 0.0))).collect();
        let weights = newton(&alone, [true, false, true, false]);
        table.alone[place] = [weights[0], weights[FILTER]];
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

/// Place of the filter's log-odds among the inputs.
const FILTER: usize = 2;

/// Logistic regression of (inputs, answer, weight). Nothing may speak against itself: an input that asks for less than
/// nothing is left out.
fn weighed(looks: &[([f64; INPUTS], bool, f64)], mut kept: [bool; INPUTS]) -> [f64; INPUTS] {
    loop {
        let weights = newton(looks, kept);
        match (1..INPUTS).find(|k| weights[*k] < 0.0) {
            Some(k) => kept[k] = false,
            None => return weights,
        }
    }
}

/// The same by Newton's method, of the inputs that are kept.
fn newton(looks: &[([f64; INPUTS], bool, f64)], kept: [bool; INPUTS]) -> [f64; INPUTS] {
    let mut weights = [0.0; INPUTS];
    weights[1] = f64::from(u8::from(kept[1]));
    weights[FILTER] = f64::from(u8::from(!kept[1]));
    for _ in 0..12 {
        let (mut slope, mut bend) =
            (SVector::<f64, INPUTS>::zeros(), SMatrix::<f64, INPUTS, INPUTS>::identity());
        for (x, came, weight) in looks {
            let sum: f64 = x.iter().zip(&weights).map(|(a, b)| a * b).sum();
            let chance = 1.0 / (1.0 + (-sum).exp());
            let miss = f64::from(u8::from(*came)) - chance;
            let x = SVector::<f64, INPUTS>::from_fn(|k, _| if kept[k] { x[k] } else { 0.0 });
            slope += x * (weight * miss);
            bend += x * x.transpose() * (weight * chance * (1.0 - chance));
        }
        let step = bend.lu().solve(&slope).expect("it began as the identity");
        weights.iter_mut().zip(step.iter()).for_each(|(w, s)| *w += s.clamp(-1.0, 1.0));
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
            let (filter, now) = (looks.filter[k].map(f64::from), f64::from(looks.now[k]));
            let chance = table.chances(
                Some(Odds { odds: forest(table, looks, k), calm_most: f64::INFINITY }),
                now,
                &filter,
            )[place]
                .clamp(1e-4, 1.0 - 1e-4);
            let weight = f64::from(looks.weights[k]);
            let truth = f64::from(looks.next[k]) <= *horizon;
            let loss = |p: f64| -weight * if truth { p.ln() } else { (1.0 - p).ln() };
            all += weight;
            came += if truth { weight } else { 0.0 };
            own += loss(table.chances(None, now, &filter)[place].clamp(1e-4, 1.0 - 1e-4));
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
