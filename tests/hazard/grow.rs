//! Grows a small forest for a yes-or-no question: boosted trees of three splits, histograms of 64 bins, Newton
//! leaves (Friedman, Ann Stat 2001;29:1189; Chen & Guestrin, KDD 2016). No chance in it: the same rows give the
//! same forest. What is not known (NaN) goes to the left, as in the table's own trees.

use lowtide::glucose::hazard::Tree;

/// Columns of numbers, answers and weights, all of one length.
#[derive(Debug, Default)]
pub struct Rows {
    /// Column by column.
    pub columns: Vec<Vec<f32>>,
    /// Whether it came true.
    pub answers: Vec<bool>,
    /// How much each row counts.
    pub weights: Vec<f32>,
}

const BINS: usize = 64;
const DEPTH: usize = 3;
/// Least sum of second derivatives on either side of a split, and what calms the leaves.
const LEAST: f64 = 12.0;
const CALM: f64 = 6.0;

/// Grows `count` trees, each taking `rate` of its answer. Gives the log-odds before any tree, and the trees.
pub fn grow(rows: &Rows, count: usize, rate: f64) -> (f64, Vec<Tree>) {
    let edges: Vec<Vec<f32>> = rows.columns.iter().map(|column| cuts(column)).collect();
    let bins: Vec<Vec<u8>> = rows
        .columns
        .iter()
        .zip(&edges)
        .map(|(column, edges)| column.iter().map(|x| bin(edges, *x)).collect())
        .collect();
    let all: f64 = rows.weights.iter().map(|w| f64::from(*w)).sum();
    let yes: f64 =
        rows.weights.iter().zip(&rows.answers).filter(|(_, a)| **a).map(|(w, _)| f64::from(*w)).sum();
    let base = (yes / (all - yes)).ln();
    let mut odds = vec![base as f32; rows.answers.len()];
    let mut trees = Vec::new();
    for round in 0..count {
        let slopes: Vec<(f32, f32)> = (0..odds.len())
            .map(|row| {
                let chance = 1.0 / (1.0 + (-odds[row]).exp());
                let weight = if thinned(row, round) { rows.weights[row] } else { 0.0 };
                let miss = chance - f32::from(u8::from(rows.answers[row]));
                (miss * weight, chance * (1.0 - chance) * weight)
            })
            .collect();
        let (tree, at) = one(&bins, &edges, &slopes, rate);
        for (odds, leaf) in odds.iter_mut().zip(at) {
            *odds += tree.leaves[usize::from(leaf)] as f32;
        }
        trees.push(tree);
    }
    (base, trees)
}

/// One tree, and the leaf of every row.
fn one(bins: &[Vec<u8>], edges: &[Vec<f32>], slopes: &[(f32, f32)], rate: f64) -> (Tree, Vec<u8>) {
    // Without a split everything goes to the left.
    let mut tree = Tree { splits: [(0, f64::INFINITY); 7], leaves: [0.0; 8] };
    let mut at = vec![0_u8; slopes.len()];
    for depth in 0..DEPTH {
        let nodes = 1 << depth;
        let sums = histograms(bins, slopes, &at, nodes);
        let mut cut = vec![(0, u8::MAX); nodes];
        for (node, cut) in cut.iter_mut().enumerate() {
            if let Some((column, bin)) = best(&sums, node) {
                *cut = (column, bin);
                tree.splits[nodes - 1 + node] = (column, f64::from(edges[column][usize::from(bin) - 1]));
            }
        }
        for (row, at) in at.iter_mut().enumerate() {
            let (column, bin) = cut[usize::from(*at)];
            *at = 2 * *at + u8::from(bins[column][row] > bin);
        }
    }
    let mut sums = [(0.0, 0.0); 8];
    for ((g, h), leaf) in slopes.iter().zip(&at) {
        sums[usize::from(*leaf)].0 += f64::from(*g);
        sums[usize::from(*leaf)].1 += f64::from(*h);
    }
    tree.leaves = sums.map(|(g, h)| -rate * g / (h + CALM));
    (tree, at)
}

type Sums = Vec<Vec<(f64, f64)>>;

/// Per column, node and bin: sums of first and second derivatives. Two threads share the columns.
fn histograms(bins: &[Vec<u8>], slopes: &[(f32, f32)], at: &[u8], nodes: usize) -> Sums {
    let one = |column: &Vec<u8>| {
        let mut sums = vec![(0.0, 0.0); nodes * BINS];
        for ((bin, (g, h)), node) in column.iter().zip(slopes).zip(at) {
            let sum = &mut sums[usize::from(*node) * BINS + usize::from(*bin)];
            sum.0 += f64::from(*g);
            sum.1 += f64::from(*h);
        }
        sums
    };
    let (first, second) = bins.split_at(bins.len() / 2);
    std::thread::scope(|scope| {
        let other = scope.spawn(|| second.iter().map(one).collect::<Vec<_>>());
        let mut all: Vec<_> = first.iter().map(one).collect();
        all.extend(other.join().expect("a histogram only adds numbers"));
        all
    })
}

/// The column and the last bin that goes to the left. Bin 0 holds what is not known, so a bin is at least 1.
fn best(sums: &Sums, node: usize) -> Option<(usize, u8)> {
    let worth = |g: f64, h: f64| g * g / (h + CALM);
    let mut best: Option<(f64, usize, u8)> = None;
    for (column, sums) in sums.iter().enumerate() {
        let here = &sums[node * BINS..(node + 1) * BINS];
        let all = here.iter().fold((0.0, 0.0), |sum, bin| (sum.0 + bin.0, sum.1 + bin.1));
        let (mut g, mut h) = here[0];
        for (bin, sum) in here.iter().enumerate().take(BINS - 1).skip(1) {
            g += sum.0;
            h += sum.1;
            if h < LEAST || all.1 - h < LEAST {
                continue;
            }
            let gain = worth(g, h) + worth(all.0 - g, all.1 - h) - worth(all.0, all.1);
            if gain > best.map_or(1e-3, |b| b.0) {
                best = Some((gain, column, bin as u8));
            }
        }
    }
    best.map(|(_, column, bin)| (column, bin))
}

/// Upper edges of the bins from 1 on; each holds about equally many.
fn cuts(column: &[f32]) -> Vec<f32> {
    let step = (column.len() / 20_000).max(1);
    let mut some: Vec<f32> = column.iter().copied().step_by(step).filter(|x| !x.is_nan()).collect();
    some.sort_by(f32::total_cmp);
    let mut edges: Vec<f32> =
        (1..BINS - 1).filter_map(|k| some.get(k * some.len() / (BINS - 1)).copied()).collect();
    edges.dedup();
    edges
}

fn bin(edges: &[f32], x: f32) -> u8 {
    if x.is_nan() { 0 } else { 1 + edges.partition_point(|edge| *edge < x) as u8 }
}

/// Keeps two rows of three, others in each round.
fn thinned(row: usize, round: usize) -> bool {
    !(row.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 33).wrapping_add(round).is_multiple_of(3)
}
