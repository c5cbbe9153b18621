//! Jacobians by finite differences, one column a task.

use nalgebra::DMatrix;
use rayon::prelude::*;

use super::least_squares::{Residuals, evaluate};

/// How a derivative is taken. The step is the one that balances rounding against the order's own error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Differences {
    /// One evaluation a parameter, about 8 digits of a smooth model.
    Forward,
    /// Two evaluations a parameter, about 10 digits.
    Central,
    /// Four evaluations a parameter, about 12 digits.
    FourthOrder,
}

impl Differences {
    /// Step relative to the parameter's size: ε to the power 1/(order + 1).
    fn relative_step(self) -> f64 {
        let order = match self {
            Differences::Forward => 1.0,
            Differences::Central => 2.0,
            Differences::FourthOrder => 4.0,
        };
        f64::EPSILON.powf(1.0 / (order + 1.0))
    }
}

/// The Jacobian of `problem` at `parameters`, residuals × parameters.
///
/// `at` holds the residuals at `parameters`. The columns are evaluated in parallel and put together in order, so
/// the result doesn't depend on the number of threads. `None` where a column can't be evaluated on either side.
pub fn jacobian<R: Residuals + ?Sized>(
    problem: &R,
    parameters: &[f64],
    at: &[f64],
    scheme: Differences,
) -> Option<DMatrix<f64>> {
    let columns: Vec<Vec<f64>> = (0..parameters.len())
        .into_par_iter()
        .map(|index| Probe::new(problem, parameters, index, scheme).column(at, scheme))
        .collect::<Option<_>>()?;
    Some(DMatrix::from_fn(at.len(), columns.len(), |row, column| {
        columns[column][row]
    }))
}

/// One parameter being moved.
struct Probe<'a, R: ?Sized> {
    problem: &'a R,
    parameters: &'a [f64],
    index: usize,
    step: f64,
}

impl<'a, R: Residuals + ?Sized> Probe<'a, R> {
    fn new(problem: &'a R, parameters: &'a [f64], index: usize, scheme: Differences) -> Self {
        let size = parameters[index].abs().max(problem.scale(index).abs());
        let size = if size > 0.0 { size } else { 1.0 };
        Self {
            problem,
            parameters,
            index,
            step: size * scheme.relative_step(),
        }
    }

    /// Residuals with the parameter moved by `steps`, and by how much it really moved after rounding.
    fn moved(&self, steps: f64) -> Option<(Vec<f64>, f64)> {
        let mut parameters = self.parameters.to_vec();
        let value = parameters[self.index];
        parameters[self.index] = value + steps * self.step;
        let moved = parameters[self.index] - value;
        evaluate(self.problem, &parameters).map(|residuals| (residuals, moved))
    }

    fn column(&self, at: &[f64], scheme: Differences) -> Option<Vec<f64>> {
        match scheme {
            Differences::Forward => self.one_sided(at),
            Differences::Central => self.central(1.0).or_else(|| self.one_sided(at)),
            Differences::FourthOrder => match (self.central(1.0), self.central(2.0)) {
                (Some(near), Some(far)) => Some(
                    near.iter()
                        .zip(&far)
                        .map(|(n, f)| (4.0 * n - f) / 3.0)
                        .collect(),
                ),
                (Some(near), None) => Some(near),
                _ => self.one_sided(at),
            },
        }
    }

    fn central(&self, steps: f64) -> Option<Vec<f64>> {
        Some(slope(&self.moved(-steps)?, &self.moved(steps)?))
    }

    /// Forward, or backward where the model ends on the far side.
    fn one_sided(&self, at: &[f64]) -> Option<Vec<f64>> {
        let here = (at.to_vec(), 0.0);
        self.moved(1.0)
            .or_else(|| self.moved(-1.0))
            .map(|there| slope(&here, &there))
    }
}

fn slope(low: &(Vec<f64>, f64), high: &(Vec<f64>, f64)) -> Vec<f64> {
    let run = high.1 - low.1;
    high.0
        .iter()
        .zip(&low.0)
        .map(|(high, low)| (high - low) / run)
        .collect()
}
