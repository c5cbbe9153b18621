//! Where patches lie on a page.

use crate::error::{Error, InputError, Result};
use crate::project::{Panel, Patch};
use std::ops::Range;
use std::path::Path;

/// Room for placing the instrument, on each side of the aperture (common practice, no source).
const MARGIN_MM: f64 = 1.0;
/// Places for patches, side by side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Grid {
    /// Rows and columns of pixels of one patch.
    pub side: usize,
    /// Places above each other and side by side.
    pub down: usize,
    pub across: usize,
}

impl Grid {
    /// Patches that the instrument's aperture fits into with some room. Errs where the panel has no place for one;
    /// `panel_file` is named there.
    pub fn new(panel: &Panel, panel_file: &Path) -> Result<Grid> {
        let side_mm = panel.instrument.aperture_mm + 2.0 * MARGIN_MM;
        let side = (side_mm * 1e3 / panel.pixel_pitch_um).ceil().max(1.0) as usize;
        let grid = Grid {
            side,
            down: panel.rows / side,
            across: panel.columns / side,
        };
        if grid.down > 0 && grid.across > 0 {
            return Ok(grid);
        }
        let mm = |pixels: usize| pixels as f64 * panel.pixel_pitch_um * 1e-3;
        Err(Error::Input(InputError {
            file: panel_file.to_owned(),
            line: None,
            field: Some("instrument.aperture_mm".into()),
            value: Some(format!("{} mm", panel.instrument.aperture_mm)),
            expected: format!(
                "an aperture that the panel has room for: one patch of it takes {side_mm} mm, {side} pixels, and the panel \
                 has {} × {} pixels, {:.1} × {:.1} mm",
                panel.rows,
                panel.columns,
                mm(panel.rows),
                mm(panel.columns)
            ),
        }))
    }

    /// The patch at a place, counted from 0 downwards and sideways.
    pub fn patch(
        &self,
        place: (usize, usize),
        name: String,
        ticks: &[u32],
        panel: &Panel,
    ) -> Patch {
        let row_first = self.first(place.0, self.down, panel.rows);
        self.patch_from(row_first, place.1, name, ticks, panel)
    }

    /// The same from a row on, at a place sideways.
    pub fn patch_from(
        &self,
        row_first: usize,
        across: usize,
        name: String,
        ticks: &[u32],
        panel: &Panel,
    ) -> Patch {
        let column_first = self.first(across, self.across, panel.columns);
        Patch {
            name,
            row_first,
            row_last: row_first + self.side - 1,
            column_first,
            column_last: column_first + self.side - 1,
            ticks: ticks.to_vec(),
            line: 0,
        }
    }

    /// First rows of the patches that some neighbouring rows have room for, above each other.
    pub fn rows_within(&self, rows: &Range<usize>) -> Vec<usize> {
        let down = rows.len() / self.side;
        let first = |at: usize| rows.start + self.first(at, down, rows.len());
        (0..down).map(first).collect()
    }

    /// First line of one of so many places: what they leave over is shared out evenly round them.
    fn first(&self, at: usize, places: usize, lines: usize) -> usize {
        let left = lines - places * self.side;
        at * self.side + left * (2 * at + 1) / (2 * places)
    }
}
