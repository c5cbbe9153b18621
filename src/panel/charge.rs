//! What a picture leaves on the pixels as net charge, and the resting balance that takes the columns' part away.

use super::picture_run::Levels;
use crate::drive::{Erase, Field, balanced_impulse_vs, other_impulse_vs};

/// The opposite data voltage that a column stands at while the picture rests, rows at 0 V.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// What its pixels feel, V.
    pub pixel_v: f64,
    pub seconds: f64,
}

/// Net impulse of the pixels of each column, V·s; all pixels of a column are left with the same.
///
/// A pixel's own data count like those of any other row of its column, so that only the column's sum matters, beside
/// strokes and row pulses. Without stretching.
pub fn picture_impulse_vs(
    erase: &Erase,
    fields: &[Field],
    ticks: &[Vec<u32>],
    picture: Levels,
) -> Vec<f64> {
    let alike = balanced_impulse_vs(erase, fields);
    let columns = column_impulse_vs(fields, ticks, picture);
    columns.into_iter().map(|c| alike + c).collect()
}

/// The part of each column's data, V·s.
pub fn column_impulse_vs(fields: &[Field], ticks: &[Vec<u32>], picture: Levels) -> Vec<f64> {
    let of_level = |ticks: &Vec<u32>| -> f64 {
        let fields = fields.iter().zip(ticks);
        fields.map(|(f, &d)| other_impulse_vs(f, d)).sum()
    };
    let levels: Vec<f64> = ticks.iter().map(of_level).collect();
    let mut columns = vec![0.0; picture.columns];
    for row in picture.levels.chunks_exact(picture.columns.max(1)) {
        for (column, &level) in columns.iter_mut().zip(row) {
            *column += levels[usize::from(level)];
        }
    }
    columns
}

/// How long each column must stand at the opposite of `data_v`, V, above 0, to lose its impulse.
pub fn resting_balance(column_vs: &[f64], data_v: f64) -> Vec<Balance> {
    let of = |impulse: &f64| Balance {
        pixel_v: -data_v * impulse.signum(),
        seconds: impulse.abs() / data_v,
    };
    column_vs.iter().map(of).collect()
}

/// The largest impulse of either sign.
pub fn largest_vs(impulses_vs: &[f64]) -> f64 {
    impulses_vs
        .iter()
        .copied()
        .reduce(|a, b| if b.abs() > a.abs() { b } else { a })
        .unwrap_or(0.0)
}
