//! What a picture leaves on the pixels as net charge, and the resting balance that takes the columns' part away.

use super::maps::Played;
use super::picture_run::{Before, Levels, PictureRun};
use crate::drive::{Erase, Field, RowTicks, balanced_impulse_vs, data_impulse_vs};

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
pub fn picture_impulse_vs<'a>(
    erase: &Erase,
    fields: &[Field],
    ticks: impl Into<RowTicks<'a>>,
    picture: Levels,
) -> Vec<f64> {
    let alike = balanced_impulse_vs(erase, fields);
    let columns = column_impulse_vs(fields, ticks, picture);
    columns.into_iter().map(|c| alike + c).collect()
}

/// The part of each column's data, V·s.
pub fn column_impulse_vs<'a>(
    fields: &[Field],
    ticks: impl Into<RowTicks<'a>>,
    picture: Levels,
) -> Vec<f64> {
    let ticks = ticks.into();
    let levels = |table: &[Vec<u32>]| table.iter().map(|t| data_impulse_vs(fields, t)).collect();
    let zones: Vec<Vec<f64>> = ticks.tables().map(levels).collect();
    let mut columns = vec![0.0; picture.columns];
    let rows = picture.levels.chunks_exact(picture.columns.max(1));
    for (row, shown) in rows.enumerate() {
        let levels = &zones[ticks.zone_of(row)];
        for (column, &level) in columns.iter_mut().zip(shown) {
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

/// What the resting balance does to a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    pub level: usize,
    /// L*, either way.
    pub lstar: f64,
}

/// The most that a resting balance at `data_v` changes a level of a panel of `rows` rows: the first, middle or last pixel of a
/// column whose other pixels all show the level that asks for the longest in their zone of rows, of either sign.
pub fn balance_shift(run: &PictureRun, played: &Played, rows: usize, data_v: f64) -> Shift {
    let ticks = played.ticks;
    let extreme = |table: &[Vec<u32>]| {
        let data_vs = |level: usize| data_impulse_vs(played.fields, &table[level]);
        let by_data = |a: &usize, b: &usize| data_vs(*a).total_cmp(&data_vs(*b));
        let levels = 0..table.len();
        [levels.clone().min_by(by_data), levels.max_by(by_data)].map(|level| level.unwrap_or(0))
    };
    let around: Vec<[usize; 2]> = ticks.tables().map(extreme).collect();
    // A column for each level of the pixel, in each of its rows, among each content.
    let mut places = Vec::new();
    for side in [0, 1] {
        for row in [0, rows / 2, rows - 1] {
            places.extend((0..ticks.levels()).map(|level| (side, row, level)));
        }
    }
    let columns = places.len();
    let mut levels = vec![0; rows * columns];
    for (column, &(side, own, level)) in places.iter().enumerate() {
        for row in 0..rows {
            let shown = if row == own {
                level
            } else {
                around[ticks.zone_of(row)][side]
            };
            levels[row * columns + column] = shown as u16;
        }
    }
    let picture = Levels {
        columns,
        levels: &levels,
    };
    let balance = resting_balance(&column_impulse_vs(played.fields, ticks, picture), data_v);
    let before = run.lstar(picture, Before::Dark);
    let after = run.balanced_lstar(picture, Before::Dark, &balance);
    let shift = |(column, &(_, row, level)): (usize, &(usize, usize, usize))| {
        let pixel = row * columns + column;
        let lstar = (after[pixel] - before[pixel]).abs();
        Shift { level, lstar }
    };
    let shifts = places.iter().enumerate().map(shift);
    let none = Shift {
        level: 0,
        lstar: 0.0,
    };
    shifts.fold(none, |a, b| if b.lstar > a.lstar { b } else { a })
}

/// The largest impulse of either sign.
pub fn largest_vs(impulses_vs: &[f64]) -> f64 {
    impulses_vs
        .iter()
        .copied()
        .reduce(|a, b| if b.abs() > a.abs() { b } else { a })
        .unwrap_or(0.0)
}
