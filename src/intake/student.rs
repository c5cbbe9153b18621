//! Student's t distribution.

use crate::response::beta::incomplete_beta;

/// The t that a variable with `freedom` degrees of freedom stays below with chance `p`, 0 < `p` < 1. Infinite freedom gives
/// the normal quantile.
pub fn t_quantile(p: f64, freedom: f64) -> f64 {
    if p < 0.5 {
        return -t_quantile(1.0 - p, freedom);
    }
    let freedom = freedom.min(1e7);
    let mut high = 1.0;
    while upper_tail(high, freedom) > 1.0 - p && high < 1e9 {
        high *= 2.0;
    }
    let mut low = 0.0;
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if upper_tail(middle, freedom) > 1.0 - p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Chance above t, t at least 0: ½·I_x(ν/2, ½) with x = ν/(ν + t²). Source: Abramowitz & Stegun 26.7.1 (from memory).
pub fn upper_tail(t: f64, freedom: f64) -> f64 {
    0.5 * incomplete_beta(freedom / (freedom + t * t), freedom / 2.0, 0.5)
}
