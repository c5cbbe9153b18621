//! Energy that the refresh of one given picture draws, by the same count as [`super::energy`].

use super::energy::{closings_v2, openings_v2, steps_v2, swings};
use super::{Energy, Erase, Field, PanelLoad};

impl PanelLoad {
    /// Energy of the refresh that shows `picture`: a level for each pixel, row by row. Never above
    /// [`PanelLoad::worst_energy`] of the same levels.
    ///
    /// `level_ticks` are the ticks, one a field, of each level. `None` unless there is a level for every pixel, each
    /// of them one of `level_ticks`, each of those with ticks for every field.
    pub fn picture_energy(
        &self,
        erase: &Erase,
        fields: &[Field],
        level_ticks: &[Vec<u32>],
        picture: &[usize],
    ) -> Option<Energy> {
        let complete = level_ticks.iter().all(|ticks| ticks.len() == fields.len());
        let pixels = self.rows.checked_mul(self.columns)?;
        let known = picture.iter().all(|&level| level < level_ticks.len());
        if !(complete && known && picture.len() == pixels) {
            return None;
        }
        let levels: Vec<_> = level_ticks.iter().map(|t| swings(fields, t)).collect();
        let steps = steps_v2(&levels);
        let rows: Vec<&[usize]> = picture.chunks_exact(self.columns.max(1)).collect();
        let ends = rows.first().zip(rows.last());
        let ends_v2 = ends.map_or(0.0, |(first, last)| {
            sum_over(first, &openings_v2(&levels)) + sum_over(last, &closings_v2(&levels))
        });
        let between = rows.windows(2).flat_map(|pair| pair[1].iter().zip(pair[0]));
        let between_v2: f64 = between.map(|(&to, &from)| steps[to][from]).sum();
        let columns = self.columns.max(1) as f64;
        Some(self.energy(erase, fields, (ends_v2 + between_v2) / columns))
    }
}

fn sum_over(row: &[usize], of_level: &[f64]) -> f64 {
    row.iter().map(|&level| of_level[level]).sum()
}
