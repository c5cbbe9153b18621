//! A suspension is not one particle: classes stand for the spread of speed and threshold.

use serde::{Deserialize, Serialize};
use std::sync::OnceLock;

/// One kind of particle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Class {
    /// Share of the pigment; the shares of all classes sum to 1.
    pub share: f64,
    /// Speed relative to the middle class.
    pub mobility: f64,
    /// Crossing threshold above the middle, V.
    pub threshold_shift_v: f64,
}

/// Log-normal spread of mobility, normal spread of threshold, correlated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spread {
    /// Standard deviation of ln(mobility).
    pub mobility_sigma: f64,
    pub threshold_sigma_v: f64,
    /// −1…1; ±1 needs one row of nodes.
    pub correlation: f64,
    /// Quadrature nodes along mobility, 1…7, and across it, 1…5.
    pub mobility_nodes: usize,
    pub threshold_nodes: usize,
}

impl Spread {
    /// The classes: Gauss–Hermite nodes along mobility and, for what of the threshold is independent
    /// of mobility, across it.
    pub fn classes(&self) -> Vec<Class> {
        let across = gauss_hermite(self.threshold_nodes);
        let rho = self.correlation.clamp(-1.0, 1.0);
        let independent = if across.len() > 1 {
            (1.0 - rho * rho).sqrt()
        } else {
            0.0
        };
        let mut classes = Vec::new();
        for &(a, share_a) in gauss_hermite(self.mobility_nodes) {
            for &(b, share_b) in across {
                classes.push(Class {
                    share: share_a * share_b,
                    mobility: (self.mobility_sigma * a).exp(),
                    threshold_shift_v: self.threshold_sigma_v * (rho * a + independent * b),
                });
            }
        }
        classes
    }
}

const NODES_MAX: usize = 16;

/// Nodes and weights of the n-point rule for a standard normal variable, rising, n clamped to 1…16.
///
/// Every rule is made once: classes are asked for wherever a temperature is new.
pub fn gauss_hermite(n: usize) -> &'static [(f64, f64)] {
    static RULES: [OnceLock<Vec<(f64, f64)>>; NODES_MAX] = [const { OnceLock::new() }; NODES_MAX];
    let n = n.clamp(1, NODES_MAX);
    RULES[n - 1].get_or_init(|| made_rule(n))
}

/// Golub & Welsch (Math. Comp. 23, 221, 1969): eigenvalues of the Jacobi matrix with √k beside the diagonal.
fn made_rule(n: usize) -> Vec<(f64, f64)> {
    let jacobi = nalgebra::DMatrix::from_fn(n, n, |i, j| {
        if i.abs_diff(j) == 1 {
            (i.max(j) as f64).sqrt()
        } else {
            0.0
        }
    });
    let eigen = jacobi.symmetric_eigen();
    let mut rule: Vec<(f64, f64)> = (0..n)
        .map(|k| (eigen.eigenvalues[k], eigen.eigenvectors[(0, k)].powi(2)))
        .collect();
    rule.sort_by(|a, b| a.0.total_cmp(&b.0));
    rule
}
