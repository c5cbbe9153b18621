//! How rows differ: one level of an ordinary picture from row to row.

use super::even::mixed_content;
use super::middle::Middle;
use super::proof::Finished;
use super::reach::Climate;
use rayon::prelude::*;
use std::collections::BTreeSet;

/// Rows that are looked at, at most, beside those where zones begin and end.
const ROWS: usize = 64;

/// The largest difference of one level between two rows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shading {
    pub level: usize,
    pub lstar: f64,
}

/// That of a finished scheme at one climate, in a picture of all levels; 0 without levels.
pub fn shading(finished: &Finished, climate: Climate) -> Shading {
    let content = mixed_content(finished.rows, finished.ticks);
    let row = |row: usize| -> Vec<f64> {
        let pixel = Middle::new(finished, climate, &content, row);
        let levels = finished.ticks.in_row(row).iter();
        levels.map(|t| pixel.lstar(t)).collect()
    };
    let shown: Vec<Vec<f64>> = rows(finished).into_par_iter().map(row).collect();
    let range = |level: usize| {
        let column = shown.iter().map(|row| row[level]);
        let low = column.clone().fold(f64::INFINITY, f64::min);
        Shading {
            level,
            lstar: column.fold(f64::NEG_INFINITY, f64::max) - low,
        }
    };
    let none = Shading {
        level: 0,
        lstar: 0.0,
    };
    let all = (0..finished.ticks.levels()).map(range);
    all.fold(none, |a, b| if b.lstar >= a.lstar { b } else { a })
}

/// All rows of a small panel; of a large one the first ones, where the erase is still felt, some of the rest, and the ends of
/// zones.
fn rows(finished: &Finished) -> Vec<usize> {
    let rows = finished.rows;
    if rows <= ROWS {
        return (0..rows).collect();
    }
    let half = ROWS / 2;
    let spread = (0..half).map(|k| half + k * (rows - 1 - half) / (half - 1));
    let parts = finished.ticks.parts(rows).skip(1);
    let ends = parts.flat_map(|(zone, _)| [zone.start.saturating_sub(1), zone.start]);
    let all: BTreeSet<usize> = (0..half).chain(spread).chain(ends).collect();
    all.into_iter().collect()
}
