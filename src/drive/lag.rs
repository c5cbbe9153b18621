//! What resistive lines do to a pulse at every pixel of a panel.
//!
//! A pixel is a capacitor between its row and its column, and the charge that one line brings flows off over the
//! others. With w the pixels' voltages, w∞ what the drivers ask for, C a pixel's capacitance, and K the resistance that
//! two places of a line share up to and with the driver, Rs + R·min(x, x′), Kirchhoff's laws give
//!
//! C·(K_row along each row + K_column along each column)·w′ = w∞ − w.
//!
//! The modes are products of a row's and a column's, and **their time constants add**: τ = τ_row + τ_column. Where one
//! line alone swings, the others hardly move and its own series ([`super::lines`]) serves; where all rows swing alike
//! (erase) or all columns (a picture without contrast along its rows), every line carries all of the charge.
//!
//! Integrating once, the impulse that a change of w∞ leaves out is C·(K_row + K_column)·w∞, whatever its picture.

use super::{Line, Matrix, Mode, Pulse, Series, StepResponse};

/// Which lines change their voltage together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Swing {
    /// One row: select. The columns' recoil is left out; it is a pixel's share of a column's load.
    Row,
    /// One column, left out likewise.
    Column,
    /// All rows alike, or all columns alike: the slowest.
    All,
}

/// Delays of the edges that make a pixel's own pulse, s.
///
/// They are Elmore delays, the first moments of the edges: an edge of any height, so late and sharp, would leave the
/// same impulse on the pixel as the soft one does, they add up line by line, and they hold for the whole network of
/// lines. The moment of 50 % does neither; [`Lag::pulse`] has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delays {
    /// Of the row's edge while no other line moves.
    pub select_s: f64,
    /// Of the column's edge while no other line moves.
    pub data_s: f64,
    /// Of the column's edge while all columns make the same. Columns that swing the other way take off as much as
    /// these add: the picture's row decides.
    pub data_alike_s: f64,
}

/// The lines of a panel, ready to be asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Lag {
    matrix: Matrix,
    row_series: Series,
    column_series: Series,
    /// Elmore delay along a row, by column, and along a column, by row, s.
    row_s: Vec<f64>,
    column_s: Vec<f64>,
    /// Delay by one pixel's load on its column, by row, and on its row, by column, s.
    column_recoil_s: Vec<f64>,
    row_recoil_s: Vec<f64>,
}

/// Modes of each line that enter the product; what is left of a line's amplitude answers at once.
const PRODUCT_MODES: usize = 40;

impl Lag {
    /// `None` without a row or a column, or with a value that is negative or no finite number.
    pub fn of(matrix: &Matrix) -> Option<Self> {
        if !matrix.is_real() {
            return None;
        }
        let (row, column) = (matrix.row_line(), matrix.column_line());
        let along_row = |j| matrix.along_row(j);
        let along_column = |i| matrix.along_column(i);
        let recoil = |line: &Line, x: f64| matrix.pixel_f * (line.driver_ohm + line.ohm * x);
        let (rows, columns) = (0..matrix.rows, 0..matrix.columns);
        Some(Lag {
            matrix: *matrix,
            row_series: row.series(),
            column_series: column.series(),
            row_s: (columns.clone())
                .map(|j| row.elmore_s(along_row(j)))
                .collect(),
            column_s: (rows.clone())
                .map(|i| column.elmore_s(along_column(i)))
                .collect(),
            column_recoil_s: rows.map(|i| recoil(&column, along_column(i))).collect(),
            row_recoil_s: columns.map(|j| recoil(&row, along_row(j))).collect(),
        })
    }

    /// Rows and columns.
    pub fn size(&self) -> (usize, usize) {
        (self.matrix.rows, self.matrix.columns)
    }

    /// Delays at a pixel, by which to correct its own pulse; `None` outside the panel.
    ///
    /// With `late = select_s − data_s` positive, the part of the slot that is on begins late by it and is shorter by it, and
    /// for as long after the slot the row still stands at S while the columns carry the next row's data. With
    /// it negative, the slot begins, for −late, with the data of the row before, and its off part is shorter by as much.
    pub fn delays(&self, row: usize, column: usize) -> Option<Delays> {
        let (row_s, column_s) = (self.row_s.get(column)?, self.column_s.get(row)?);
        Some(Delays {
            select_s: row_s + self.column_recoil_s[row],
            data_s: column_s + self.row_recoil_s[column],
            data_alike_s: row_s + column_s,
        })
    }

    /// The answer of a pixel to a unit edge of `swing`; `None` outside the panel.
    pub fn step(&self, row: usize, column: usize, swing: Swing) -> Option<StepResponse> {
        if row >= self.matrix.rows || column >= self.matrix.columns {
            return None;
        }
        let of_row = || self.row_series.at(self.matrix.along_row(column));
        let of_column = || self.column_series.at(self.matrix.along_column(row));
        Some(match swing {
            Swing::Row => of_row(),
            Swing::Column => of_column(),
            Swing::All => product(&of_row(), &of_column()),
        })
    }

    /// What a pulse of `width_s` becomes at a pixel; `None` outside the panel, or as [`StepResponse::pulse`].
    pub fn pulse(&self, row: usize, column: usize, swing: Swing, width_s: f64) -> Option<Pulse> {
        self.step(row, column, swing)?.pulse(width_s)
    }

    /// The shortest pulse that reaches `share` of its voltage at the pixel farthest from both drivers, µs.
    ///
    /// A shorter tick is lost there: its pulse never gets so far. `None` unless `share` is between 0 and 1, both
    /// excluded. By root finding on the exact series.
    pub fn lost_tick_us(&self, share: f64, swing: Swing) -> Option<f64> {
        let (row, column) = (self.matrix.rows - 1, self.matrix.columns - 1);
        let width_s = self.step(row, column, swing)?.shortest_pulse_s(share)?;
        Some(width_s * 1e6)
    }
}

/// Σ aₘbₙ·exp(−t/(τₘ + τₙ)) in place of the two sums.
fn product(row: &StepResponse, column: &StepResponse) -> StepResponse {
    let (row, column) = (time_constants(row), time_constants(column));
    let pairs = row.iter().flat_map(|a| column.iter().map(move |b| (a, b)));
    let mode = |((a, s), (b, t)): (&(f64, f64), &(f64, f64))| Mode {
        amplitude: a * b,
        rate_per_s: 1.0 / (s + t),
    };
    let mut modes: Vec<Mode> = pairs.map(mode).collect();
    modes.retain(|m| m.rate_per_s.is_finite());
    modes.sort_by(|a, b| a.rate_per_s.total_cmp(&b.rate_per_s));
    StepResponse { modes }
}

/// Amplitude and time constant, s, of the slowest modes, and the remainder, which answers at once.
fn time_constants(step: &StepResponse) -> Vec<(f64, f64)> {
    let slowest = step.modes.iter().take(PRODUCT_MODES);
    let mut all: Vec<(f64, f64)> = slowest.map(|m| (m.amplitude, 1.0 / m.rate_per_s)).collect();
    let kept: f64 = all.iter().map(|(a, _)| a).sum();
    all.push((1.0 - kept, 0.0));
    all
}
