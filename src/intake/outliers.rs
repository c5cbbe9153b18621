//! Which of several readings of one thing don't belong, by published rules.

use super::student::t_quantile;
use crate::response::robust::median;

/// Modified z-score above which a reading is an outlier.
///
/// Source: B. Iglewicz, D. C. Hoaglin, How to Detect and Handle Outliers (ASQC, 1993); NIST/SEMATECH e-Handbook of
/// Statistical Methods, 1.3.5.17 (from memory).
pub const MODIFIED_Z: f64 = 3.5;
/// Φ⁻¹(3/4): the median of |deviation| of a normal variable in standard deviations.
const MEDIAN_DEVIATION: f64 = 0.6745;

/// Median of values, and the median of their absolute deviations from it.
pub fn median_deviation(values: &[f64]) -> (f64, f64) {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = median(&sorted);
    let mut off: Vec<f64> = sorted.iter().map(|v| (v - middle).abs()).collect();
    off.sort_by(f64::total_cmp);
    (middle, median(&off))
}

/// 0.6745·(x − median)/MAD of each value; `least` is the smallest MAD that counts, for values that come in steps.
pub fn modified_z(values: &[f64], least: f64) -> Vec<f64> {
    let (middle, deviation) = median_deviation(values);
    let deviation = deviation.max(least).max(f64::MIN_POSITIVE);
    values
        .iter()
        .map(|v| MEDIAN_DEVIATION * (v - middle) / deviation)
        .collect()
}

/// The values within [`MODIFIED_Z`], in their order.
pub fn without_far(values: &[f64], least: f64) -> Vec<f64> {
    let far = modified_z(values, least);
    let kept = values
        .iter()
        .zip(far)
        .filter(|(_, z)| z.abs() <= MODIFIED_Z);
    kept.map(|(v, _)| *v).collect()
}

/// Grubbs' test for one outlier.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grubbs {
    /// Place of the value farthest from the mean.
    pub index: usize,
    /// Its distance from the mean over the standard deviation of all.
    pub g: f64,
    /// The largest that normal values reach with chance `level`.
    pub critical: f64,
}

impl Grubbs {
    pub fn is_outlier(&self) -> bool {
        self.g > self.critical
    }
}

/// Mean of values and their standard deviation; the latter 0 for one value, both NaN for none.
pub fn mean_and_deviation(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    let s = (squares / (n - 1.0).max(1.0)).sqrt();
    (mean, if values.is_empty() { f64::NAN } else { s })
}

/// Tests the value farthest from the mean, on both sides, at a level of significance such as 0.05. `None` for fewer than three
/// values, or where all are the same.
///
/// G = max|x − mean|/s against (n − 1)/√n · √(t²/(n − 2 + t²)), t the quantile of Student's t for n − 2 degrees of freedom
/// and level/(2n) in the tail. Source: F. E. Grubbs, Technometrics 11 (1969) 1; NIST/SEMATECH e-Handbook, 1.3.5.17.1 (from
/// memory).
pub fn grubbs(values: &[f64], level: f64) -> Option<Grubbs> {
    let (mean, s) = mean_and_deviation(values);
    if values.len() < 3 || s <= 0.0 || !s.is_finite() {
        return None;
    }
    let off = |k: usize| (values[k] - mean).abs();
    let index = (1..values.len()).fold(0, |far, k| if off(k) > off(far) { k } else { far });
    Some(Grubbs {
        index,
        g: off(index) / s,
        critical: grubbs_critical(values.len(), level / 2.0),
    })
}

/// The critical value of [`grubbs`] for `n` values, at least 3, with `tail` on one side.
pub fn grubbs_critical(n: usize, tail: f64) -> f64 {
    let n = n as f64;
    let t2 = t_quantile(1.0 - tail / n, n - 2.0).powi(2);
    (n - 1.0) / n.sqrt() * (t2 / (n - 2.0 + t2)).sqrt()
}
