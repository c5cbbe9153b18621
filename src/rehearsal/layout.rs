//! Which pixels of a page stand for which: columns of equal content, and rows that get the same ticks.

use crate::project::{Page, Panel};
use std::ops::Range;

/// Neighbouring columns that all pages drive alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct ColumnGroup(pub Range<usize>);

/// Neighbouring rows of a column group that get the same ticks.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Run {
    pub rows: usize,
    /// One a field.
    pub ticks: Vec<u32>,
}

/// One row of a column group.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Pixel {
    pub group: usize,
    pub row: usize,
}

/// The column groups of some pages: every patch holds a group wholly or not at all.
pub(super) fn column_groups(pages: &[Page], panel: &Panel) -> Vec<ColumnGroup> {
    let patches = pages.iter().flat_map(|p| &p.patches);
    let mut edges: Vec<usize> = patches
        .flat_map(|p| [p.column_first, p.column_last + 1])
        .chain([0, panel.columns])
        .collect();
    edges.sort_unstable();
    edges.dedup();
    edges.windows(2).map(|e| ColumnGroup(e[0]..e[1])).collect()
}

/// The rows of one column group of a page, first to last.
pub(super) fn runs(page: &Page, group: &ColumnGroup, rows: usize) -> Vec<Run> {
    let fill = |rows: usize| Run {
        rows,
        ticks: page.fill_ticks.clone(),
    };
    let (mut runs, mut next) = (Vec::new(), 0);
    for i in page.patches_in(&group.0) {
        let patch = &page.patches[i];
        runs.push(fill(patch.row_first - next));
        runs.push(Run {
            rows: patch.row_last + 1 - patch.row_first,
            ticks: patch.ticks.clone(),
        });
        next = patch.row_last + 1;
    }
    runs.push(fill(rows - next));
    runs.retain(|run| run.rows > 0);
    runs
}

/// A pixel of a patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub pixel: Pixel,
    pub patch: usize,
    /// Share of the patch that the pixel stands for.
    pub share: f64,
}

/// The pixels of a page's patches.
pub(super) fn patch_pixels(page: &Page, groups: &[ColumnGroup]) -> Vec<Place> {
    let mut places = Vec::new();
    for (i, patch) in page.patches.iter().enumerate() {
        let columns = patch.column_first..patch.column_last + 1;
        let area = (columns.len() * (patch.row_last + 1 - patch.row_first)) as f64;
        let inside = |g: &ColumnGroup| columns.start <= g.0.start && g.0.end <= columns.end;
        for (group, range) in groups.iter().enumerate().filter(|(_, g)| inside(g)) {
            let place = |row| Place {
                pixel: Pixel { group, row },
                patch: i,
                share: range.0.len() as f64 / area,
            };
            places.extend((patch.row_first..=patch.row_last).map(place));
        }
    }
    places
}

/// By how much the row's edges reach a pixel later than the column's, s: the difference of the lines' mean delays, in the
/// middle of the group's columns.
pub(super) fn row_lateness_s(panel: &Panel, groups: &[ColumnGroup], pixel: Pixel) -> f64 {
    let matrix = panel.matrix();
    let columns = &groups[pixel.group].0;
    let column = 0.5 * (columns.start + columns.end) as f64 / panel.columns as f64;
    let row = (pixel.row as f64 + 0.5) / panel.rows as f64;
    matrix.row_line().elmore_s(column) - matrix.column_line().elmore_s(row)
}
