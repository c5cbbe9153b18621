//! What a fit hands back: the best point, its spread, and why it stopped.

use nalgebra::DMatrix;

use super::factor::Factor;

/// Why a fit stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// The residuals stand square on every direction that the parameters can take, within `offset`.
    Stationary,
    /// The sum of squares or the parameters stopped changing, within `ftol` or `xtol`.
    Settled,
    /// The residuals are zero.
    ExactFit,
    /// `max_evaluations` trial points were used up.
    OutOfPatience,
    /// The model or its derivatives can't be evaluated at the start.
    StartNotEvaluable,
    /// The model's derivatives can't be evaluated at the best point found.
    NotDifferentiable,
    /// There are fewer residuals than parameters, or nothing to fit.
    Underdetermined,
}

impl Ending {
    /// Whether the fit stopped because nothing was left to gain.
    pub fn converged(self) -> bool {
        matches!(
            self,
            Ending::Stationary | Ending::Settled | Ending::ExactFit
        )
    }
}

/// The best point of a fit; complete also where the fit did not converge.
#[derive(Debug, Clone)]
pub struct Solution {
    pub parameters: Vec<f64>,
    /// Residuals at the parameters; empty where the start can't be evaluated.
    pub residuals: Vec<f64>,
    /// Residuals × parameters; without rows where it can't be evaluated.
    pub jacobian: DMatrix<f64>,
    /// Infinite where the start can't be evaluated.
    pub sum_of_squares: f64,
    pub degrees_of_freedom: usize,
    pub ending: Ending,
    /// How far the residuals are from standing square on the parameters; see [`Factor::relative_offset`].
    pub relative_offset: f64,
    /// Trial points, those of the differences not counted.
    pub evaluations: usize,
}

impl Solution {
    /// χ² per degree of freedom; NaN without a degree of freedom.
    pub fn reduced_chi_square(&self) -> f64 {
        self.sum_of_squares / self.degrees_of_freedom as f64
    }

    /// Covariance of the parameters; `scaled` multiplies it by χ² per degree of freedom, for weights
    /// that are right only up to a factor. All infinite where the Jacobian is not to be had.
    pub fn covariance(&self, scaled: bool) -> DMatrix<f64> {
        let factor = if scaled {
            self.reduced_chi_square()
        } else {
            1.0
        };
        match Factor::new(&self.jacobian) {
            Some(parts) => parts.covariance() * factor,
            None => DMatrix::from_diagonal_element(
                self.parameters.len(),
                self.parameters.len(),
                f64::INFINITY,
            ),
        }
    }

    /// Square roots of the covariance's diagonal; see [`Solution::covariance`] for `scaled`.
    pub fn standard_deviations(&self, scaled: bool) -> Vec<f64> {
        self.covariance(scaled)
            .diagonal()
            .iter()
            .map(|variance| variance.sqrt())
            .collect()
    }

    /// Correlation coefficients; 0 beside a parameter of infinite variance.
    pub fn correlations(&self) -> DMatrix<f64> {
        let covariance = self.covariance(false);
        let spread = covariance.diagonal().map(f64::sqrt);
        DMatrix::from_fn(spread.len(), spread.len(), |i, j| {
            if i == j {
                1.0
            } else {
                covariance[(i, j)] / (spread[i] * spread[j])
            }
        })
    }

    /// The parameters, by index, that the data can't determine: all of them where there is no Jacobian.
    pub fn undetermined(&self) -> Vec<usize> {
        match Factor::new(&self.jacobian) {
            Some(parts) => parts.undetermined(),
            None => (0..self.parameters.len()).collect(),
        }
    }
}
