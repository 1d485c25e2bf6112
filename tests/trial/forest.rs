//! A small deterministic gradient-boosted forest for yes-or-no questions: what a signal holds, as a bound.
//!
//! Comes in: columns of numbers and labels. Goes out: log-odds. Histograms of 64 bins, trees grown level by level,
//! Newton leaves (Friedman, Ann Stat 2001;29:1189; Chen & Guestrin, KDD 2016). No chance in it but a fixed
//! pattern of row thinning, so that the same rows give the same forest.

/// How a forest is grown.
#[derive(Clone, Copy, Debug)]
pub struct Growth {
    /// Number of trees.
    pub trees: usize,
    /// Splits from root to leaf.
    pub depth: usize,
    /// Share of each tree's answer that is taken.
    pub rate: f64,
}

/// A grown forest.
#[derive(Clone, Debug)]
pub struct Forest {
    base: f64,
    edges: Vec<Vec<f32>>,
    trees: Vec<Vec<Node>>,
    gains: Vec<f64>,
}

#[derive(Clone, Copy, Debug)]
enum Node {
    Split { column: usize, bin: u8, left: usize },
    Leaf(f64),
}

const BINS: usize = 64;
/// Least sum of second derivatives in a leaf, and what is added to it.
const LEAST: f64 = 8.0;
const CALM: f64 = 4.0;

impl Forest {
    /// Learns from columns (all as long as `labels`).
    pub fn learn(columns: &[Vec<f32>], labels: &[bool], growth: Growth) -> Self {
        let edges: Vec<Vec<f32>> = columns.iter().map(|column| cuts(column)).collect();
        let bins: Vec<Vec<u8>> = columns
            .iter()
            .zip(&edges)
            .map(|(column, edges)| column.iter().map(|x| bin(edges, *x)).collect())
            .collect();
        let yes = labels.iter().filter(|label| **label).count() as f64;
        let share = ((yes + 0.5) / (labels.len() as f64 + 1.0)).clamp(1e-6, 1.0 - 1e-6);
        let base = (share / (1.0 - share)).ln();
        let mut forest = Self { base, edges, trees: Vec::new(), gains: vec![0.0; columns.len()] };
        let mut odds = vec![base; labels.len()];
        for round in 0..growth.trees {
            let slopes: Vec<(f32, f32)> = odds
                .iter()
                .zip(labels)
                .enumerate()
                .map(|(row, (odds, label))| {
                    let chance = 1.0 / (1.0 + (-odds).exp());
                    let kept = if thinned(row, round) { 1.0 } else { 0.0 };
                    let miss = chance - f64::from(u8::from(*label));
                    ((miss * kept) as f32, (chance * (1.0 - chance) * kept) as f32)
                })
                .collect();
            let (tree, at) = forest.grow(&bins, &slopes, growth);
            for (odds, node) in odds.iter_mut().zip(at) {
                if let Node::Leaf(value) = tree[node as usize] {
                    *odds += value;
                }
            }
            forest.trees.push(tree);
        }
        forest
    }

    /// Log-odds for one row.
    pub fn odds(&self, row: &[f32]) -> f64 {
        let bins: Vec<u8> = self.edges.iter().zip(row).map(|(edges, x)| bin(edges, *x)).collect();
        self.trees.iter().fold(self.base, |sum, tree| {
            let mut node = 0;
            loop {
                match tree[node] {
                    Node::Leaf(value) => break sum + value,
                    Node::Split { column, bin, left } => node = left + usize::from(bins[column] > bin),
                }
            }
        })
    }

    /// Share of all gain that each column brought.
    pub fn importances(&self) -> Vec<f64> {
        let sum: f64 = self.gains.iter().sum::<f64>().max(1e-9);
        self.gains.iter().map(|gain| gain / sum).collect()
    }

    /// One tree, and the leaf of every row.
    fn grow(&mut self, bins: &[Vec<u8>], slopes: &[(f32, f32)], growth: Growth) -> (Vec<Node>, Vec<u32>) {
        let mut tree = vec![Node::Leaf(0.0)];
        let mut at = vec![0_u32; slopes.len()];
        let mut level = 0..1;
        for depth in 0..=growth.depth {
            let sums = histograms(bins, slopes, &at, &level);
            let begin = tree.len();
            for node in level.clone() {
                let place = node - level.start;
                let (g, h) = sums[0][place * BINS..(place + 1) * BINS]
                    .iter()
                    .fold((0.0, 0.0), |sum, bin| (sum.0 + bin.0, sum.1 + bin.1));
                let split = if depth < growth.depth { best_split(&sums, place, (g, h)) } else { None };
                tree[node] = match split {
                    Some((gain, column, bin)) => {
                        self.gains[column] += gain;
                        let left = tree.len();
                        tree.extend([Node::Leaf(0.0); 2]);
                        Node::Split { column, bin, left }
                    }
                    None => Node::Leaf(-growth.rate * g / (h + CALM)),
                };
            }
            if tree.len() == begin {
                break;
            }
            for (row, at) in at.iter_mut().enumerate() {
                if let Node::Split { column, bin, left } = tree[*at as usize] {
                    *at = (left + usize::from(bins[column][row] > bin)) as u32;
                }
            }
            level = begin..tree.len();
        }
        (tree, at)
    }
}

/// Per column, node and bin: sums of first and second derivatives. Two threads share the columns.
fn histograms(
    bins: &[Vec<u8>],
    slopes: &[(f32, f32)],
    at: &[u32],
    level: &std::ops::Range<usize>,
) -> Vec<Vec<(f64, f64)>> {
    let one = |column: &Vec<u8>| {
        let mut sums = vec![(0.0, 0.0); level.len() * BINS];
        for ((bin, (g, h)), node) in column.iter().zip(slopes).zip(at) {
            if level.contains(&(*node as usize)) {
                let sum = &mut sums[(*node as usize - level.start) * BINS + usize::from(*bin)];
                sum.0 += f64::from(*g);
                sum.1 += f64::from(*h);
            }
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

fn best_split(sums: &[Vec<(f64, f64)>], place: usize, all: (f64, f64)) -> Option<(f64, usize, u8)> {
    let worth = |g: f64, h: f64| g * g / (h + CALM);
    let mut best: Option<(f64, usize, u8)> = None;
    for (column, sums) in sums.iter().enumerate() {
        let (mut g, mut h) = (0.0, 0.0);
        for (bin, sum) in sums[place * BINS..(place + 1) * BINS - 1].iter().enumerate() {
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
    best
}

/// Upper edges of up to 64 bins that hold about equally many.
fn cuts(column: &[f32]) -> Vec<f32> {
    let step = (column.len() / 20_000).max(1);
    let mut some: Vec<f32> = column.iter().copied().step_by(step).collect();
    some.sort_by(f32::total_cmp);
    let mut edges: Vec<f32> = (1..BINS).filter_map(|k| some.get(k * some.len() / BINS).copied()).collect();
    edges.dedup();
    edges
}

fn bin(edges: &[f32], x: f32) -> u8 {
    edges.partition_point(|edge| *edge < x) as u8
}

/// Keeps two rows of three, others in each round.
fn thinned(row: usize, round: usize) -> bool {
    !(row.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 33).wrapping_add(round).is_multiple_of(3)
}
