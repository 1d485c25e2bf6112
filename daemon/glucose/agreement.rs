//! How well a sensor agrees with a hand meter: the usual figures, from pairs of values.
//!
//! In: pairs in mg/dL, the meter's value as the reference. Out: figures. The error grids describe risk to people
//! who treat themselves; for cats they are only a common language. Meters of different kinds are never mixed: the
//! caller keeps one list for each kind.

use serde::{Deserialize, Serialize};

/// Figures of agreement; all differences are sensor minus reference.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Agreement {
    /// Pairs.
    pub count: usize,
    /// Mean difference, mg/dL.
    pub bias: f64,
    /// Mean absolute relative difference, a share of the reference.
    pub mard: f64,
    /// Mean absolute difference, mg/dL.
    pub mean_absolute: f64,
    /// Limits of agreement: bias -+ 1.96 standard deviations of the differences (J. M. Bland, D. G. Altman, Lancet
    /// 1986;1:307-310), mg/dL; `None` for a single pair. They take the pairs to be independent, which pairs of one
    /// cat are not quite.
    pub limits: Option<[f64; 2]>,
    /// Share of pairs within 15 mg/dL under 100 mg/dL and within 15 % from there on (ISO 15197:2013).
    pub within_iso: f64,
    /// Share of pairs in zones A and B of Clarke's grid, see [`clarke`].
    pub clarke_ab: f64,
    /// Share of pairs in zones A and B of the consensus grid, see [`parkes`].
    pub parkes_ab: f64,
}

/// A zone of an error grid, from harmless to dangerous.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Zone {
    /// Right.
    A,
    /// Wrong without consequence.
    B,
    /// Would lead to needless treatment.
    C,
    /// Would hide what needs treatment.
    D,
    /// Would lead to the opposite treatment.
    E,
}

impl Agreement {
    /// The figures of some pairs (reference, sensor) in mg/dL, references above zero; `None` without any.
    #[must_use]
    pub fn of(pairs: &[(f64, f64)]) -> Option<Self> {
        if pairs.is_empty() {
            return None;
        }
        let count = pairs.len() as f64;
        let mean = |of: &dyn Fn(f64, f64) -> f64| pairs.iter().map(|(r, s)| of(*r, *s)).sum::<f64>() / count;
        let bias = mean(&|r, s| s - r);
        let spread = (mean(&|r, s| (s - r - bias).powi(2)) * count / (count - 1.0)).sqrt();
        Some(Self {
            count: pairs.len(),
            bias,
            mard: mean(&|r, s| (s - r).abs() / r),
            mean_absolute: mean(&|r, s| (s - r).abs()),
            limits: (pairs.len() > 1).then_some([bias - 1.96 * spread, bias + 1.96 * spread]),
            within_iso: mean(&|r, s| f64::from(u8::from(within_iso(r, s)))),
            clarke_ab: mean(&|r, s| f64::from(u8::from(clarke(r, s) <= Zone::B))),
            parkes_ab: mean(&|r, s| f64::from(u8::from(parkes(r, s) <= Zone::B))),
        })
    }
}

/// Whether one pair meets the limits of ISO 15197:2013, edges included.
#[must_use]
pub fn within_iso(reference: f64, sensor: f64) -> bool {
    let allowed = if reference < 100.0 { 15.0 } else { 0.15 * reference };
    (sensor - reference).abs() <= allowed + 1e-9
}

/// Zone of the error grid of W. L. Clarke et al., Diabetes Care 1987;10:622, mg/dL. Its printed lines leave the edges
/// open; here A is asked first, then E, C and D.
#[must_use]
pub fn clarke(reference: f64, sensor: f64) -> Zone {
    let (r, s) = (reference, sensor);
    if (r < 70.0 && s < 70.0) || (s - r).abs() <= 0.2 * r {
        return Zone::A;
    }
    if (r <= 70.0 && s >= 180.0) || (r >= 180.0 && s <= 70.0) {
        return Zone::E;
    }
    if ((70.0..=290.0).contains(&r) && s >= r + 110.0)
        || ((130.0..=180.0).contains(&r) && s <= 1.4 * r - 182.0)
    {
        return Zone::C;
    }
    let calm = (70.0..=180.0).contains(&s);
    if (r >= 240.0 && calm) || (r <= 70.0 && calm && s >= 1.2 * r) { Zone::D } else { Zone::B }
}

/// Zone of the consensus grid for type 1 diabetes of J. L. Parkes et al., Diabetes Care 2000;23:1143; coordinates of
/// A. Pfuetzner et al., J Diabetes Sci Technol 2013;7:1275 (from memory, and the same in the methcomp library), mg/dL.
#[must_use]
pub fn parkes(reference: f64, sensor: f64) -> Zone {
    let over = UPPER.iter().rev().find(|(_, line)| at(line, reference).is_some_and(|edge| sensor > edge));
    let under = LOWER.iter().rev().find(|(_, line)| at(line, reference).is_some_and(|edge| sensor < edge));
    over.or(under).map_or(Zone::A, |(zone, _)| *zone)
}

type Line = &'static [(f64, f64)];

const UPPER: [(Zone, Line); 4] = [
    (Zone::B, &[(0.0, 50.0), (30.0, 50.0), (140.0, 170.0), (280.0, 380.0), (430.0, 550.0)]),
    (Zone::C, &[(0.0, 60.0), (30.0, 60.0), (50.0, 80.0), (70.0, 110.0), (260.0, 550.0)]),
    (Zone::D, &[(0.0, 100.0), (25.0, 100.0), (50.0, 125.0), (80.0, 215.0), (125.0, 550.0)]),
    (Zone::E, &[(0.0, 150.0), (35.0, 155.0), (50.0, 550.0)]),
];
const LOWER: [(Zone, Line); 3] = [
    (Zone::B, &[(50.0, 30.0), (170.0, 145.0), (385.0, 300.0), (550.0, 450.0)]),
    (Zone::C, &[(120.0, 30.0), (260.0, 130.0), (550.0, 250.0)]),
    (Zone::D, &[(250.0, 40.0), (550.0, 150.0)]),
];

/// Height of a line at `x`, carried on past its last point; `None` before its first.
fn at(line: Line, x: f64) -> Option<f64> {
    let after = line.partition_point(|point| point.0 <= x);
    let from = line.get(after.checked_sub(1)?.min(line.len() - 2))?;
    let to = line.get(after.clamp(1, line.len() - 1))?;
    Some(from.1 + (x - from.0) * (to.1 - from.1) / (to.0 - from.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIRST: [(f64, f64); 10] = [
        (52.0, 60.0),
        (68.0, 61.0),
        (75.0, 83.0),
        (90.0, 84.0),
        (110.0, 120.0),
        (150.0, 141.0),
        (180.0, 195.0),
        (220.0, 201.0),
        (300.0, 330.0),
        (380.0, 352.0),
    ];

    /// Worked with numpy 2.4 from the definitions.
    #[test]
    fn the_figures_agree_with_a_worked_example() {
        let found = Agreement::of(&FIRST).unwrap();
        let near =
            |value: f64, expected: f64| assert!((value - expected).abs() < 1e-9, "{value} is not {expected}");
        near(found.mard, 0.092441093478);
        near(found.bias, 0.2);
        near(found.mean_absolute, 14.0);
        near(found.limits.unwrap()[0], -33.5185833365);
        near(found.limits.unwrap()[1], 33.9185833365);
        near(found.within_iso, 1.0);
        assert!(Agreement::of(&[]).is_none() && Agreement::of(&FIRST[..1]).unwrap().limits.is_none());
    }

    #[test]
    fn the_iso_share_counts_its_edges() {
        let pairs = [
            (50.0, 66.0),
            (62.0, 60.0),
            (85.0, 99.0),
            (99.0, 115.0),
            (100.0, 114.0),
            (140.0, 162.0),
            (200.0, 170.0),
            (260.0, 299.0),
            (310.0, 300.0),
            (400.0, 350.0),
        ];
        let found = Agreement::of(&pairs).unwrap();
        assert!((found.within_iso - 0.7).abs() < 1e-12);
        assert!((found.mard - 0.143298103014).abs() < 1e-9);
    }

    /// Points for which this rule and the methcomp library 1.0.0 agree.
    #[test]
    fn clarke_zones_agree_with_methcomp() {
        use Zone::{A, B, C, D, E};
        for (reference, sensor, zone) in [
            (100.0, 100.0, A),
            (100.0, 121.0, B),
            (100.0, 79.0, B),
            (60.0, 69.0, A),
            (60.0, 71.0, A),
            (60.0, 73.0, D),
            (65.0, 100.0, D),
            (65.0, 180.0, E),
            (100.0, 211.0, C),
            (75.0, 190.0, C),
            (150.0, 27.0, C),
            (150.0, 29.0, B),
            (180.0, 71.0, B),
            (170.0, 55.0, C),
            (250.0, 100.0, D),
            (250.0, 179.0, D),
            (241.0, 150.0, D),
            (300.0, 65.0, E),
            (40.0, 200.0, E),
            (200.0, 155.0, B),
            (200.0, 160.0, A),
            (200.0, 241.0, B),
        ] {
            assert_eq!(clarke(reference, sensor), zone, "{reference};{sensor}");
        }
    }

    /// Points worked with the methcomp library 1.0.0.
    #[test]
    fn parkes_zones_agree_with_methcomp() {
        use Zone::{A, B, C, D};
        for (reference, sensor, zone) in [
            (100.0, 79.0, A),
            (65.0, 100.0, B),
            (65.0, 180.0, D),
            (70.0, 180.0, C),
            (100.0, 210.0, C),
            (150.0, 27.0, C),
            (250.0, 100.0, C),
            (250.0, 179.0, B),
            (300.0, 65.0, C),
            (40.0, 200.0, D),
            (200.0, 241.0, A),
            (200.0, 155.0, B),
        ] {
            assert_eq!(parkes(reference, sensor), zone, "{reference};{sensor}");
        }
    }
}
