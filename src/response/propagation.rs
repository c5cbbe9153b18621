//! From the spread of parameters to the spread of what follows from them.

use nalgebra::DMatrix;
use rayon::prelude::*;

/// Coverage factor of expanded uncertainties (JCGM 100:2008, 6.2.1).
pub const COVERAGE_FACTOR: f64 = 2.0;

/// Derivatives are taken over this share of a parameter's standard deviation, either way: where the spread lies.
const PART_OF_SIGMA: f64 = 0.1;

/// Derivatives of what `predict` makes of parameters, quantities × parameters, by central differences around `at`.
///
/// `covariance` is that of the parameters; a parameter without spread, or one that `predict` can't follow, gets
/// derivatives of 0. `predict` hands back `quantities` values.
pub fn slopes(
    at: &[f64],
    covariance: &DMatrix<f64>,
    quantities: usize,
    predict: impl Fn(&[f64]) -> Option<Vec<f64>> + Sync,
) -> DMatrix<f64> {
    let moved = |i: usize, by: f64| {
        let mut parameters = at.to_vec();
        parameters[i] += by;
        predict(&parameters)
    };
    let column = |i: usize| -> Vec<f64> {
        let sigma = covariance[(i, i)].sqrt();
        let part = PART_OF_SIGMA * sigma;
        let run = 2.0 * part;
        match (moved(i, -part), moved(i, part)) {
            (Some(low), Some(high)) if run > 0.0 => {
                low.iter().zip(&high).map(|(l, h)| (h - l) / run).collect()
            }
            _ => vec![0.0; quantities],
        }
    };
    let columns: Vec<Vec<f64>> = (0..at.len()).into_par_iter().map(column).collect();
    DMatrix::from_fn(quantities, at.len(), |q, i| columns[i][q])
}

/// Covariance of quantities that follow from parameters, S·C·Sᵀ: JCGM 100:2008, 5.2.2, equation 13, for several
/// quantities at once.
///
/// `slopes`, quantities × parameters, are their derivatives, `covariance` that of the parameters. What does not feel a
/// parameter (slope 0) does not take up its spread, be it infinite.
pub fn carried(slopes: &DMatrix<f64>, covariance: &DMatrix<f64>) -> DMatrix<f64> {
    let parameters = slopes.ncols();
    let sum = |a: usize, b: usize| -> f64 {
        let mut sum = 0.0;
        for i in (0..parameters).filter(|&i| slopes[(a, i)] != 0.0) {
            for j in (0..parameters).filter(|&j| slopes[(b, j)] != 0.0) {
                sum += slopes[(a, i)] * covariance[(i, j)] * slopes[(b, j)];
            }
        }
        sum
    };
    DMatrix::from_fn(slopes.nrows(), slopes.nrows(), sum)
}

/// Standard uncertainty of quantity `b` less quantity `a`, from their covariance: what both share cancels
/// (JCGM 100:2008, 5.2.2, equation 13).
pub fn standard_u_of_difference(covariance: &DMatrix<f64>, a: usize, b: usize) -> f64 {
    let variance = covariance[(a, a)] + covariance[(b, b)] - 2.0 * covariance[(a, b)];
    variance.max(0.0).sqrt()
}
