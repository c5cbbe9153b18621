//! A Jacobian taken apart: what the data determine, and how well.

use nalgebra::{DMatrix, DVector, SVD};

/// A direction of the scaled Jacobian weaker than this, against its strongest, is not determined: differences
/// carry about ten digits, so a smaller singular value may be rounding alone.
pub const WEAKEST_DIRECTION: f64 = 1e-9;

/// A parameter with this share or more in an undetermined direction is itself undetermined.
const SHARE_THAT_NAMES: f64 = 0.05;

/// Singular value decomposition of a Jacobian whose columns are brought to unit norm first, so that parameters of
/// very unlike size lose no digits: J = U·S·Vᵀ·diag(norms).
#[derive(Debug, Clone)]
pub struct Factor {
    norms: Vec<f64>,
    /// Residuals × directions.
    left: DMatrix<f64>,
    singular: DVector<f64>,
    /// Directions × parameters.
    right: DMatrix<f64>,
}

impl Factor {
    /// `None` for an empty Jacobian, one with fewer rows than columns, or one that isn't finite.
    pub fn new(jacobian: &DMatrix<f64>) -> Option<Self> {
        let usable = jacobian.ncols() > 0
            && jacobian.nrows() >= jacobian.ncols()
            && jacobian.iter().all(|value| value.is_finite());
        if !usable {
            return None;
        }
        let mut scaled = jacobian.clone();
        let mut norms = Vec::with_capacity(scaled.ncols());
        for mut column in scaled.column_iter_mut() {
            let norm = column.norm();
            if norm > 0.0 {
                column /= norm;
            }
            norms.push(norm);
        }
        const SWEEPS: usize = 10_000;
        let svd = SVD::try_new(scaled, true, true, f64::EPSILON, SWEEPS)?;
        Some(Self {
            norms,
            left: svd.u?,
            singular: svd.singular_values,
            right: svd.v_t?,
        })
    }

    fn is_determined(&self, direction: usize) -> bool {
        self.singular[direction] > WEAKEST_DIRECTION * self.singular.max()
    }

    fn determined(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.singular.len()).filter(|&k| self.is_determined(k))
    }

    /// Strongest over weakest singular value of the scaled Jacobian; infinite where it is singular.
    pub fn condition(&self) -> f64 {
        self.singular.max() / self.singular.min()
    }

    /// The parameters that the data can't determine, in order.
    pub fn undetermined(&self) -> Vec<usize> {
        let weak: Vec<usize> = (0..self.singular.len())
            .filter(|&k| !self.is_determined(k))
            .collect();
        let share = |parameter: usize| -> f64 {
            weak.iter()
                .map(|&k| self.right[(k, parameter)].powi(2))
                .sum()
        };
        (0..self.norms.len())
            .filter(|&j| self.norms[j] == 0.0 || share(j) >= SHARE_THAT_NAMES)
            .collect()
    }

    /// The Gauss–Newton step −J⁺·r; nothing moves along undetermined directions.
    pub fn step(&self, residuals: &[f64]) -> Vec<f64> {
        let along = self.along(residuals);
        let moved = |j: usize| -> f64 {
            self.determined()
                .map(|k| self.right[(k, j)] * along[k] / self.singular[k])
                .sum()
        };
        let unscaled = |j: usize| {
            if self.norms[j] > 0.0 {
                -moved(j) / self.norms[j]
            } else {
                0.0
            }
        };
        (0..self.norms.len()).map(unscaled).collect()
    }

    /// The relative offset of Bates and Watts: the part of the residuals that the parameters could still
    /// take away over the part that they can't, each per degree of freedom. Zero at a stationary point.
    ///
    /// Source: D. M. Bates, D. G. Watts, "A relative offset orthogonality convergence criterion for nonlinear least
    /// squares", Technometrics 23 (1981) 179–183 (from memory).
    pub fn relative_offset(&self, residuals: &[f64]) -> f64 {
        let along = self.along(residuals);
        let tangent: f64 = self.determined().map(|k| along[k].powi(2)).sum();
        let whole: f64 = residuals.iter().map(|r| r * r).sum();
        if tangent == 0.0 {
            return 0.0;
        }
        let parameters = self.norms.len() as f64;
        let freedom = (residuals.len() as f64 - parameters).max(1.0);
        ((tangent / parameters) / ((whole - tangent).max(0.0) / freedom)).sqrt()
    }

    fn along(&self, residuals: &[f64]) -> DVector<f64> {
        self.left.tr_mul(&DVector::from_column_slice(residuals))
    }

    /// (JᵀJ)⁻¹. An undetermined parameter has infinite variance, and no covariance with the others.
    pub fn covariance(&self) -> DMatrix<f64> {
        let undetermined = self.undetermined();
        let parameters = self.norms.len();
        DMatrix::from_fn(parameters, parameters, |i, j| {
            if undetermined.contains(&i) || undetermined.contains(&j) {
                return if i == j { f64::INFINITY } else { 0.0 };
            }
            let sum: f64 = self
                .determined()
                .map(|k| self.right[(k, i)] * self.right[(k, j)] / self.singular[k].powi(2))
                .sum();
            sum / (self.norms[i] * self.norms[j])
        })
    }
}
