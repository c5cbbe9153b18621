//! Energy that the refresh of one given picture draws, by the same count as [`super::energy`].

use super::energy::{closings_v2, openings_v2, step_v2, swings};
use super::{Energy, Erase, Field, PanelLoad, RowTicks};

impl PanelLoad {
    /// Energy of the refresh that shows `picture`: a level for each pixel, row by row. Never above
    /// [`PanelLoad::worst_energy`] of the same levels.
    ///
    /// `ticks` are those, one a field, of each level. `None` unless there is a level for every pixel, each of them one of a
    /// row's table, each of those with ticks for every field.
    pub fn picture_energy<'a>(
        &self,
        erase: &Erase,
        fields: &[Field],
        ticks: impl Into<RowTicks<'a>>,
        picture: &[usize],
    ) -> Option<Energy> {
        let ticks = ticks.into();
        let complete = |table: &[Vec<u32>]| table.iter().all(|t| t.len() == fields.len());
        let pixels = self.rows.checked_mul(self.columns)?;
        let levels = ticks.tables().map(<[_]>::len).min().unwrap_or(0);
        let known = picture.iter().all(|&level| level < levels);
        if !(ticks.tables().all(complete) && known && picture.len() == pixels) {
            return None;
        }
        let of = |table: &[Vec<u32>]| table.iter().map(|t| swings(fields, t)).collect();
        let zones: Vec<Vec<_>> = ticks.tables().map(of).collect();
        let rows: Vec<&[usize]> = picture.chunks_exact(self.columns.max(1)).collect();
        let zone_of = |row: usize| &zones[ticks.zone_of(row)];
        let ends = rows.first().zip(rows.last());
        let ends_v2 = ends.map_or(0.0, |(first, last)| {
            sum_over(first, &openings_v2(zone_of(0)))
                + sum_over(last, &closings_v2(zone_of(rows.len() - 1)))
        });
        let between = rows.windows(2).enumerate().flat_map(|(row, pair)| {
            let (from, to) = (zone_of(row), zone_of(row + 1));
            let pixels = pair[1].iter().zip(pair[0]);
            pixels.map(|(&t, &f)| step_v2(&to[t], &from[f]))
        });
        let between_v2: f64 = between.sum();
        let columns = self.columns.max(1) as f64;
        Some(self.energy(erase, fields, (ends_v2 + between_v2) / columns))
    }
}

fn sum_over(row: &[usize], of_level: &[f64]) -> f64 {
    row.iter().map(|&level| of_level[level]).sum()
}
