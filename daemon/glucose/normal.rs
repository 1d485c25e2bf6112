//! The normal distribution as the filter needs it: density, distribution, and both far out in the tail, where
//! the usual formulas give 0/0. Numbers in, numbers out.

use std::f64::consts::{PI, SQRT_2};

/// Density of the standard normal distribution.
#[must_use]
pub fn density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / (2.0 * PI).sqrt()
}

/// Probability that a standard normal value is at most `x`.
///
/// ```
/// use lowtide::glucose::normal::cumulative;
/// assert!((cumulative(-1.96) - 0.024997895148220).abs() < 1e-14);
/// ```
#[must_use]
pub fn cumulative(x: f64) -> f64 {
    0.5 * libm::erfc(-x / SQRT_2)
}

/// Natural logarithm of [`cumulative`], exact to some thirteen digits however small the probability is.
#[must_use]
pub fn ln_cumulative(x: f64) -> f64 {
    if x > TAIL { cumulative(x).ln() } else { -0.5 * x * x - 0.5 * (2.0 * PI).ln() + tail_ratio(-x).ln() }
}

/// `density(x) / cumulative(x)`: how strongly "at most `x`" pulls at a normal value.
#[must_use]
pub fn pull(x: f64) -> f64 {
    if x > TAIL { density(x) / cumulative(x) } else { 1.0 / tail_ratio(-x) }
}

/// Under this `x` the continued fraction takes over.
const TAIL: f64 = -6.0;

/// Mills' ratio (1 - cumulative(x)) / density(x) for `x` of 6 and more, by Laplace's continued fraction
/// 1/(x + 1/(x + 2/(x + 3/(x + ...)))) (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.14).
fn tail_ratio(x: f64) -> f64 {
    let bottom = (1..=60).rev().fold(x, |below, k| x + f64::from(k) / below);
    1.0 / bottom
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values by scipy 1.17 `norm.cdf`.
    #[test]
    fn the_distribution_is_right_near_and_far() {
        for (x, expected) in [
            (-1.0, 0.158655253931457),
            (-1.96, 0.024997895148220),
            (-3.0, 1.349898031630093e-3),
            (-6.0, 9.865876450376946e-10),
        ] {
            assert!((cumulative(x) / expected - 1.0).abs() < 1e-12, "{x}");
            assert!((ln_cumulative(x) - expected.ln()).abs() < 1e-11, "{x}");
        }
    }

    #[test]
    fn the_tail_joins_without_a_step() {
        for x in [-5.999, -6.001, -20.0, -37.0] {
            assert!((ln_cumulative(x) - cumulative(x).ln()).abs() < 1e-12 * x * x, "{x}");
            assert!((pull(x) / (density(x) / cumulative(x)) - 1.0).abs() < 1e-10, "{x}");
        }
        assert!(pull(-1e6).is_finite() && ln_cumulative(-1e6).is_finite());
    }
}
