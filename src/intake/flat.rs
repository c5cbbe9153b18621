//! The picture of a uniform sheet, taken like the scans: how the light and the lens fall off over the picture.

use super::frame::Point;
use super::plane::{MOST, Plane};
use crate::error::Result;
use std::path::Path;

/// Cells along the longer side: the light is smooth, dust isn't.
const CELLS: usize = 96;

#[derive(Debug, Clone)]
pub struct Flat {
    pub width: usize,
    pub height: usize,
    factor: usize,
    across: usize,
    down: usize,
    /// Mean signal of each cell, 0 to 1.
    means: Vec<f32>,
}

impl Flat {
    /// Errs where the picture can't be read, or its sheet is clipped.
    pub fn read(file: &Path) -> Result<Self> {
        let plane = Plane::read(file)?;
        let clipped = plane.values.iter().filter(|v| **v == MOST).count() as f64;
        let share = clipped / plane.values.len().max(1) as f64;
        if share > 0.01 {
            return Err(plane.wrong(
                Some(format!("{:.1} % of pixels at the upper end", 100.0 * share)),
                "a uniform sheet that the scanner doesn't saturate on: lower the exposure, of the scans too",
            ));
        }
        let factor = plane.width.max(plane.height).div_ceil(CELLS).max(1);
        let (means, across, down) = plane.reduced(factor);
        if across < 2 || down < 2 {
            return Err(plane.wrong(
                Some(format!("{} × {} pixels", plane.width, plane.height)),
                "a picture of the size of the scans",
            ));
        }
        Ok(Flat {
            width: plane.width,
            height: plane.height,
            factor,
            across,
            down,
            means,
        })
    }

    /// Signal at a place of the picture, linear between the middles of cells.
    pub fn at(&self, place: Point) -> f64 {
        let along =
            |v: f64, cells: usize| (v / self.factor as f64 - 0.5).clamp(0.0, (cells - 1) as f64);
        let (x, y) = (along(place.0, self.across), along(place.1, self.down));
        let (column, row) = (
            (x as usize).min(self.across - 2),
            (y as usize).min(self.down - 2),
        );
        let (u, v) = (x - column as f64, y - row as f64);
        let value =
            |dx: usize, dy: usize| f64::from(self.means[(row + dy) * self.across + column + dx]);
        (1.0 - v) * ((1.0 - u) * value(0, 0) + u * value(1, 0))
            + v * ((1.0 - u) * value(0, 1) + u * value(1, 1))
    }

    pub fn middle(&self) -> f64 {
        self.at((self.width as f64 / 2.0, self.height as f64 / 2.0))
    }
}
