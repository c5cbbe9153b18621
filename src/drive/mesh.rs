//! Pixel voltages of a whole panel over time, with every pixel as one capacitor between resistive lines.
//!
//! Solves C·(K_row + K_column)·w′ = w∞ − w (see [`super::lag`]) exactly for drivers that step: K of a ladder is
//! Rs + R·min(x, x′) between pixels at x and x′, its eigenvectors carry the modes, and each mode's time constant
//! is a row's plus a column's. The work grows with rows·columns·(rows + columns) for each moment asked.

use super::Matrix;
use nalgebra::{DMatrix, DVector, SymmetricEigen};

/// The drivers' voltages from one moment on, V.
#[derive(Debug, Clone, PartialEq)]
pub struct DriveStep {
    pub at_s: f64,
    pub row_v: Vec<f64>,
    pub column_v: Vec<f64>,
}

/// The modes of a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Mesh {
    /// Along a row, one entry a column; along a column, one entry a row.
    along_row: Modes,
    along_column: Modes,
}

#[derive(Debug, Clone, PartialEq)]
struct Modes {
    /// s.
    time_constants: DVector<f64>,
    /// One column a mode.
    shapes: DMatrix<f64>,
}

impl Modes {
    fn of(pixels: usize, ohm: f64, driver_ohm: f64, pixel_f: f64) -> Self {
        let at = |i: usize| (i as f64 + 0.5) / pixels as f64;
        let shared_s = |i: usize, j: usize| pixel_f * (driver_ohm + ohm * at(i.min(j)));
        let eigen = SymmetricEigen::new(DMatrix::from_fn(pixels, pixels, shared_s));
        Modes {
            time_constants: eigen.eigenvalues,
            shapes: eigen.eigenvectors,
        }
    }
}

impl Mesh {
    /// `None` without a row or a column, or with a value that is negative or no finite number.
    pub fn of(matrix: &Matrix) -> Option<Self> {
        let m = matrix;
        m.is_real().then(|| Mesh {
            along_row: Modes::of(m.columns, m.row_ohm, m.driver_ohm, m.pixel_f),
            along_column: Modes::of(m.rows, m.column_ohm, m.driver_ohm, m.pixel_f),
        })
    }

    /// Pixel voltages at `seconds`, V, row by row; all lines stand at 0 V before the first of `steps`.
    ///
    /// `None` where a step has another number of rows or columns than the panel, or moments do not rise.
    pub fn pixel_v(&self, steps: &[DriveStep], seconds: f64) -> Option<Vec<f64>> {
        let (rows, columns) = (
            self.along_column.shapes.nrows(),
            self.along_row.shapes.nrows(),
        );
        let fits = |s: &DriveStep| s.row_v.len() == rows && s.column_v.len() == columns;
        let rising = steps.windows(2).all(|s| s[0].at_s <= s[1].at_s);
        if !(seconds.is_finite() && rising && steps.iter().all(fits)) {
            return None;
        }
        let mut modes = DMatrix::zeros(rows, columns);
        let past = steps.iter().take_while(|s| s.at_s <= seconds);
        for (step, end_s) in past.zip(steps.iter().skip(1).map(|s| s.at_s).chain([seconds])) {
            let settled = self.settled(step);
            modes = self.decayed(&(modes - &settled), end_s.min(seconds) - step.at_s) + settled;
        }
        let pixels = &self.along_column.shapes * modes * self.along_row.shapes.transpose();
        Some(pixels.transpose().as_slice().to_vec())
    }

    /// What the modes settle at.
    fn settled(&self, step: &DriveStep) -> DMatrix<f64> {
        let asked = DMatrix::from_fn(step.row_v.len(), step.column_v.len(), |i, j| {
            step.row_v[i] - step.column_v[j]
        });
        self.along_column.shapes.transpose() * asked * &self.along_row.shapes
    }

    fn decayed(&self, modes: &DMatrix<f64>, seconds: f64) -> DMatrix<f64> {
        DMatrix::from_fn(modes.nrows(), modes.ncols(), |i, j| {
            let time_constant_s =
                self.along_column.time_constants[i] + self.along_row.time_constants[j];
            if time_constant_s > 0.0 {
                modes[(i, j)] * (-seconds / time_constant_s).exp()
            } else {
                0.0
            }
        })
    }
}
