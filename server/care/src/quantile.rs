//! Quantiles of the distributions that egg counts follow, found by bisection on the distribution functions.

use statrs::function::beta::beta_reg;
use statrs::function::gamma::gamma_lr;

/// Halvings of the bracket: enough for the last bit of a double.
const HALVINGS: usize = 200;

/// The `x` in `[low, high]` at which a rising `cdf` reaches `p`.
fn invert(p: f64, mut low: f64, mut high: f64, cdf: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if cdf(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

/// The `p` quantile of the gamma distribution with this shape and scale (both above 0, `0 < p < 1`).
#[must_use]
pub fn gamma(p: f64, shape: f64, scale: f64) -> f64 {
    let mut high = shape.max(1.0);
    while gamma_lr(shape, high) < p {
        high *= 2.0;
    }
    scale
        * invert(
            p,
            0.0,
            high,
            |x| if x > 0.0 { gamma_lr(shape, x) } else { 0.0 },
        )
}

/// The `p` quantile of the beta distribution with these parameters (both above 0, `0 < p < 1`).
#[must_use]
pub fn beta(p: f64, a: f64, b: f64) -> f64 {
    invert(p, 0.0, 1.0, |x| beta_reg(a, b, x))
}

/// The exact limits of a Poisson mean from one count, two-sided at `level` (0.95 is 95 %).
///
/// # Source
///
/// Garwood F. (1936), "Fiducial limits for the Poisson distribution", *Biometrika* 28:437–442 (from memory).
#[must_use]
pub fn poisson_limits(count: u32, level: f64) -> (f64, f64) {
    let tail = (1.0 - level) / 2.0;
    let count = f64::from(count);
    let low = if count > 0.0 {
        gamma(tail, count, 1.0)
    } else {
        0.0
    };
    (low, gamma(1.0 - tail, count + 1.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_tail_of_simple_cases_has_a_closed_form() {
        // Exponential distribution and power of a uniform variable: both can be written down.
        assert!((gamma(0.975, 1.0, 1.0) + 0.025_f64.ln()).abs() < 1e-12);
        assert!((beta(0.05, 400.0, 1.0) - 0.05_f64.powf(1.0 / 400.0)).abs() < 1e-12);
    }
}
