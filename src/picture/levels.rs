//! Luminance to the levels of a ladder, with and without dithering.

use super::Luminance;
use crate::tone::{lstar_from_reflectance, reflectance_from_lstar};

/// The level of every pixel, row by row; level 0 is the darkest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LevelPicture {
    pub rows: usize,
    pub columns: usize,
    /// rows × columns levels.
    pub levels: Vec<u16>,
}

/// How greys between levels are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dither {
    /// By the level whose lightness is nearest.
    None,
    /// The error of a pixel is passed on to its neighbours to the right and below: 7/16, 3/16, 5/16, 1/16 (R. W. Floyd
    /// and L. Steinberg, Proc. SID 17 (1976) 75), every other row from right to left.
    Diffused,
    /// By the thresholds of an 8 × 8 matrix (B. E. Bayer, IEEE ICC 1973, 26-11).
    Ordered,
}

/// Size of the matrix of thresholds.
const MATRIX: usize = 8;

/// The lightness of each pixel that the ladder is to show: L* 0 … 100 of the picture becomes the ladder's darkest …
/// lightest, in proportion.
pub fn wanted_lstar(picture: &Luminance, targets_lstar: &[f64]) -> Vec<f64> {
    let (Some(&dark), Some(&light)) = (targets_lstar.first(), targets_lstar.last()) else {
        return Vec::new();
    };
    let lstar = |&y: &f32| {
        let share = lstar_from_reflectance(f64::from(y)) / 100.0;
        dark + (light - dark) * share.clamp(0.0, 1.0)
    };
    picture.values.iter().map(lstar).collect()
}

/// The picture in the levels of a ladder of rising targets, 2 or more. Errors are averaged in reflectance, as the eye
/// averages light.
pub fn to_levels(picture: &Luminance, targets_lstar: &[f64], dither: Dither) -> LevelPicture {
    let (rows, columns) = (picture.height, picture.width);
    let wanted = wanted_lstar(picture, targets_lstar);
    let levels = match dither {
        Dither::None => wanted.iter().map(|l| nearest(targets_lstar, *l)).collect(),
        Dither::Diffused => diffused(&wanted, columns, targets_lstar),
        Dither::Ordered => ordered(&wanted, columns, targets_lstar),
    };
    LevelPicture {
        rows,
        columns,
        levels,
    }
}

/// The level of the nearest value of a rising list.
fn nearest(values: &[f64], to: f64) -> u16 {
    let above = values
        .partition_point(|v| *v < to)
        .clamp(1, values.len().max(2) - 1);
    let below = above - 1;
    let lower = to - values[below] <= values[above] - to;
    (if lower { below } else { above }) as u16
}

fn reflectances(lstar: &[f64]) -> Vec<f64> {
    lstar.iter().map(|l| reflectance_from_lstar(*l)).collect()
}

fn diffused(wanted_lstar: &[f64], columns: usize, targets_lstar: &[f64]) -> Vec<u16> {
    let targets = reflectances(targets_lstar);
    let mut left = reflectances(wanted_lstar);
    let mut levels = vec![0; left.len()];
    for row in 0..left.len() / columns.max(1) {
        let ahead: isize = if row % 2 == 0 { 1 } else { -1 };
        for k in 0..columns {
            let column = if ahead > 0 { k } else { columns - 1 - k };
            let at = row * columns + column;
            let level = nearest(&targets, left[at]);
            levels[at] = level;
            let error = left[at] - targets[usize::from(level)];
            for (down, along, share) in [(0, 1, 7.0), (1, -1, 3.0), (1, 0, 5.0), (1, 1, 1.0)] {
                let to = column.checked_add_signed(along * ahead);
                let to = to
                    .filter(|&c| c < columns)
                    .map(|c| (row + down) * columns + c);
                if let Some(next) = to.and_then(|t| left.get_mut(t)) {
                    *next += error * share / 16.0;
                }
            }
        }
    }
    levels
}

fn ordered(wanted_lstar: &[f64], columns: usize, targets_lstar: &[f64]) -> Vec<u16> {
    let targets = reflectances(targets_lstar);
    let level = |(at, &lstar): (usize, &f64)| {
        let wanted = reflectance_from_lstar(lstar);
        let above = targets
            .partition_point(|t| *t <= wanted)
            .clamp(1, targets.len() - 1);
        let (low, high) = (targets[above - 1], targets[above]);
        let threshold = f64::from(bayer(at / columns, at % columns)) + 0.5;
        let share = (wanted - low) / (high - low);
        let up = share * (MATRIX * MATRIX) as f64 > threshold;
        (if up { above } else { above - 1 }) as u16
    };
    wanted_lstar.iter().enumerate().map(level).collect()
}

/// Entry 0…63 of the 8 × 8 matrix of thresholds, by its recursion from (0 2; 3 1): M₂ₙ = (4Mₙ, 4Mₙ+2; 4Mₙ+3, 4Mₙ+1).
pub fn bayer(row: usize, column: usize) -> u32 {
    let (mut entry, mut size) = (0, MATRIX / 2);
    let mut weight = 1;
    while size > 0 {
        let (down, across) = (row / size % 2, column / size % 2);
        entry += weight * [[0, 2], [3, 1]][down][across];
        weight *= 4;
        size /= 2;
    }
    entry
}
