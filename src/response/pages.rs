//! What a response predicts for the patches of a chart page.

use super::model::{Response, coverage_of, rest_map, strokes_map};
use crate::pigment::{Column, Run, SlotMaps};
use crate::project::{Page, Panel};
use crate::tone::lstar_from_reflectance;
use rayon::prelude::*;

/// A page laid out for prediction: columns of equal content once, a few rows of each patch.
#[derive(Debug, Clone)]
pub struct PagePlan {
    columns: Vec<ColumnPlan>,
    patches: usize,
}

#[derive(Debug, Clone)]
struct ColumnPlan {
    runs: Vec<Run>,
    samples: Vec<Sample>,
}

/// A pixel that stands for some rows and columns of a patch.
#[derive(Debug, Clone, Copy)]
struct Sample {
    run: usize,
    row: usize,
    patch: usize,
    /// Share of the patch's area.
    share: f64,
}

impl PagePlan {
    /// Lays out `page` of a panel of `rows` rows with up to `per_patch` layers of rows a patch (all rows, where it has fewer).
    pub fn new(page: &Page, rows: usize, per_patch: usize) -> Self {
        let mut edges: Vec<usize> = page
            .patches
            .iter()
            .flat_map(|p| [p.column_first, p.column_last + 1])
            .collect();
        edges.sort_unstable();
        edges.dedup();
        let columns = edges
            .windows(2)
            .map(|e| column_plan(page, rows, per_patch, e[0], e[1]));
        PagePlan {
            columns: columns.collect(),
            patches: page.patches.len(),
        }
    }

    /// Lightness of each patch: the mean reflectance over its area, as an instrument sees it.
    pub fn lstar(&self, response: &Response, page: &Page, settle_ms: f64) -> Vec<f64> {
        let mut coverages: Vec<Vec<f64>> = self
            .columns
            .iter()
            .map(|c| vec![0.0; c.samples.len()])
            .collect();
        for mover in response.movers(page.temperature_c, page.stretch) {
            let start =
                strokes_map(&mover, &page.erase.strokes).apply(&response.kinetics.highest());
            let slots: Vec<SlotMaps> = page
                .fields
                .iter()
                .map(|f| SlotMaps::new(&mover, f))
                .collect();
            let settle = mover.hold(0.0, settle_ms * 1e-3);
            let rest = rest_map(&mover, &page.erase);
            for (plan, coverages) in self.columns.iter().zip(&mut coverages) {
                let column = Column::new(&slots, settle, &plan.runs);
                for (sample, coverage) in plan.samples.iter().zip(coverages) {
                    let end = rest.apply(&column.end_state(sample.run, sample.row, start));
                    *coverage += mover.class.share * coverage_of(&end);
                }
            }
        }
        let mut reflectances = vec![0.0; self.patches];
        for (plan, coverages) in self.columns.iter().zip(&coverages) {
            for (sample, &coverage) in plan.samples.iter().zip(coverages) {
                reflectances[sample.patch] += sample.share * response.curve.reflectance(coverage);
            }
        }
        reflectances
            .into_iter()
            .map(lstar_from_reflectance)
            .collect()
    }
}

/// Lightness of each patch of each page, every row counted.
pub fn pages_lstar(response: &Response, pages: &[Page], panel: &Panel) -> Vec<Vec<f64>> {
    let settle_ms = panel.drivers.field_settle_ms;
    let lstar =
        |page: &Page| PagePlan::new(page, panel.rows, usize::MAX).lstar(response, page, settle_ms);
    pages.par_iter().map(lstar).collect()
}

/// The content of columns `from..to`, which all patches cover wholly or not at all.
fn column_plan(page: &Page, rows: usize, per_patch: usize, from: usize, to: usize) -> ColumnPlan {
    let fill = |first: usize, last: usize| Run {
        first,
        last,
        ticks: page.fill_ticks.clone(),
    };
    let (mut runs, mut samples, mut next_row) = (Vec::new(), Vec::new(), 0);
    for i in page.patches_in(&(from..to)) {
        let patch = &page.patches[i];
        if patch.row_first > next_row {
            runs.push(fill(next_row, patch.row_first - 1));
        }
        let width = (to - from) as f64 / (patch.column_last + 1 - patch.column_first) as f64;
        for (offset, share) in strata(patch.row_last + 1 - patch.row_first, per_patch) {
            let row = patch.row_first + offset;
            samples.push(Sample {
                run: runs.len(),
                row,
                patch: i,
                share: share * width,
            });
        }
        runs.push(Run {
            first: patch.row_first,
            last: patch.row_last,
            ticks: patch.ticks.clone(),
        });
        next_row = patch.row_last + 1;
    }
    if next_row < rows {
        runs.push(fill(next_row, rows - 1));
    }
    ColumnPlan { runs, samples }
}

/// Rows at the top of a patch that stand for themselves: the store remembers the data of the row before, which differ
/// there, for a row or two.
const EDGE_ROWS: usize = 2;

/// `n` rows in up to `parts` layers, the first ones of one row, the others of nearly equal size: the rows that stand
/// for each layer, and their shares.
fn strata(n: usize, parts: usize) -> Vec<(usize, f64)> {
    let parts = parts.clamp(1, n.max(1));
    let edges = EDGE_ROWS.min(parts - 1);
    let edge = |k: usize| {
        if k <= edges {
            k
        } else {
            edges + (k - edges) * (n - edges) / (parts - edges)
        }
    };
    let layer = |k: usize| (edge(k), edge(k + 1));
    let rows = (0..parts).map(layer).flat_map(|(from, to)| pair(from, to));
    rows.map(|(row, rows)| (row, rows / n as f64)).collect()
}

/// Rows `from..to` by two of them: the points of Gauss's rule, to the nearest row, with the rows that each stands for.
fn pair(from: usize, to: usize) -> Vec<(usize, f64)> {
    let rows = (to - from) as f64;
    if to - from < 2 {
        return vec![(from, rows)];
    }
    let aside = ((rows * rows - 1.0) / 12.0).sqrt();
    let first = (0.5 * (rows - 1.0) - aside).round() as usize;
    vec![(from + first, 0.5 * rows), (to - 1 - first, 0.5 * rows)]
}
