//! Energy that a refresh draws from the supply.
//!
//! Each line is a capacitor to all lines that cross it: columns·pixel_f for a row, rows·pixel_f for a column. Each edge
//! of ΔV on a line draws C·ΔV²: half is stored and spent at the opposite edge, half is lost in the driver. Counted
//! are, from all lines at 0 V and back to it:
//!
//! - erase: rows step 0 → first stroke → … → last stroke → 0, columns stay at 0 V;
//! - rows: 0 → S → 0 for each slot, in a mirrored field too, whose second half selects no row;
//! - columns: every change of the column voltage within a slot (on, off, their mirrored halves, guard), from one slot
//!   to the next, and from and to 0 V at the two ends of a field. With guard ticks each slot begins and ends at 0 V.
//!
//! Pieces without a tick make no edge. An edge of ΔV that is 2·D counts as one, not two of D. The drivers' own
//! consumption is not counted.

use super::{Erase, Field, RowTicks};
use serde::{Deserialize, Serialize};

/// What the lines' capacitances depend on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PanelLoad {
    pub rows: usize,
    pub columns: usize,
    pub pixel_f: f64,
}

/// Energy of one refresh, mJ, by where it goes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Energy {
    pub erase_mj: f64,
    pub rows_mj: f64,
    pub columns_mj: f64,
}

impl Energy {
    /// All parts together, mJ.
    pub fn total_mj(&self) -> f64 {
        self.erase_mj + self.rows_mj + self.columns_mj
    }
}

const MJ_PER_J: f64 = 1e3;

impl PanelLoad {
    /// The most energy that a refresh draws, over all pictures made of levels with these ticks, one a field; without a
    /// level, columns draw nothing.
    ///
    /// Exact: columns are alike and choose freely, and the best sequence of levels down a column is found by dynamic
    /// programming over what a slot leaves the column at.
    pub fn worst_energy<'a>(
        &self,
        erase: &Erase,
        fields: &[Field],
        ticks: impl Into<RowTicks<'a>>,
    ) -> Energy {
        let worst_v2 = worst_column_swings_v2(fields, ticks.into(), self.rows);
        self.energy(erase, fields, worst_v2)
    }

    /// The energy where a column's Σ ΔV² is `column_v2` in the mean, V².
    pub(super) fn energy(&self, erase: &Erase, fields: &[Field], column_v2: f64) -> Energy {
        let row_f = self.columns as f64 * self.pixel_f;
        let column_f = self.rows as f64 * self.pixel_f;
        let selects: f64 = fields.iter().map(|f| 2.0 * f.select_v.powi(2)).sum();
        let all_rows = self.rows as f64 * row_f * MJ_PER_J;
        let all_columns = self.columns as f64 * column_f * MJ_PER_J;
        Energy {
            erase_mj: all_rows * stroke_swings_v2(erase),
            rows_mj: all_rows * selects,
            columns_mj: all_columns * column_v2,
        }
    }
}

/// Σ ΔV² of a row through the strokes, V².
fn stroke_swings_v2(erase: &Erase) -> f64 {
    let strokes = erase.strokes.iter().filter(|s| s.ms > 0.0);
    Swings::of(strokes.map(|s| s.pixel_v)).map_or(0.0, |s| s.opening_v2() + s.closing_v2())
}

/// A sequence of voltages of a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Swings {
    first_v: f64,
    last_v: f64,
    /// Σ ΔV² from the first to the last.
    inner_v2: f64,
}

impl Swings {
    /// `None` for no voltage at all.
    fn of(voltages: impl Iterator<Item = f64>) -> Option<Self> {
        voltages.fold(None, |done: Option<Swings>, v| {
            Some(match done {
                None => Swings {
                    first_v: v,
                    last_v: v,
                    inner_v2: 0.0,
                },
                Some(s) => Swings {
                    last_v: v,
                    inner_v2: s.inner_v2 + (v - s.last_v).powi(2),
                    ..s
                },
            })
        })
    }

    /// The column of `field` through one slot; a slot without ticks stands at 0 V.
    fn of_slot(field: &Field, ticks: u32) -> Self {
        // With the rows at 0 V the column voltage is the pixel's with its sign changed.
        let pieces = field.other_slot(ticks);
        let lasting = pieces.iter().filter(|p| p.ticks > 0);
        Swings::of(lasting.map(|p| -p.pixel_v)).unwrap_or(Swings {
            first_v: 0.0,
            last_v: 0.0,
            inner_v2: 0.0,
        })
    }

    /// Σ ΔV² from 0 V through the sequence.
    fn opening_v2(&self) -> f64 {
        self.first_v.powi(2) + self.inner_v2
    }

    /// The step back to 0 V.
    fn closing_v2(&self) -> f64 {
        self.last_v.powi(2)
    }

    /// This sequence's own swings and the step to it from `before`.
    fn after_v2(&self, before: &Swings) -> f64 {
        (self.first_v - before.last_v).powi(2) + self.inner_v2
    }
}

/// The largest Σ ΔV² of a column over all sequences of `rows` levels, V².
fn worst_column_swings_v2(fields: &[Field], ticks: RowTicks, rows: usize) -> f64 {
    // The levels of the zone before, and the most that a column can have swung by the time it shows each of them.
    let mut before: Option<(Vec<Vec<Swings>>, Vec<f64>)> = None;
    for (zone, table) in ticks.parts(rows).filter(|(zone, _)| !zone.is_empty()) {
        let levels = distinct_levels(fields, table);
        if levels.is_empty() {
            return 0.0;
        }
        let steps = steps_v2(&levels, &levels);
        let after = |best: &[f64], steps: &[Vec<f64>]| -> Vec<f64> {
            steps.iter().map(|from| largest_sum(best, from)).collect()
        };
        let mut best = match &before {
            None => openings_v2(&levels),
            Some((others, best)) => after(best, &steps_v2(&levels, others)),
        };
        for _ in 1..zone.len() {
            best = after(&best, &steps);
        }
        before = Some((levels, best));
    }
    before.map_or(0.0, |(levels, best)| {
        largest_sum(&best, &closings_v2(&levels))
    })
}

/// From 0 V through the first slot of each level, all fields, V².
pub(super) fn openings_v2(levels: &[Vec<Swings>]) -> Vec<f64> {
    let of = |level: &Vec<Swings>| level.iter().map(Swings::opening_v2).sum();
    levels.iter().map(of).collect()
}

/// From the last slot of each level to 0 V, all fields, V².
pub(super) fn closings_v2(levels: &[Vec<Swings>]) -> Vec<f64> {
    let of = |level: &Vec<Swings>| level.iter().map(Swings::closing_v2).sum();
    levels.iter().map(of).collect()
}

/// Through a level's slot, and to it from the slot of another: `[to][from]`, all fields, V².
fn steps_v2(levels: &[Vec<Swings>], others: &[Vec<Swings>]) -> Vec<Vec<f64>> {
    let row = |to: &Vec<Swings>| others.iter().map(|from| step_v2(to, from)).collect();
    levels.iter().map(row).collect()
}

/// Through the slot of a level, and to it from that of another, all fields, V².
pub(super) fn step_v2(to: &[Swings], from: &[Swings]) -> f64 {
    let each = to.iter().zip(from);
    each.map(|(to, from)| to.after_v2(from)).sum()
}

/// The swings of each level in each field; levels that swing alike stand once.
fn distinct_levels(fields: &[Field], level_ticks: &[Vec<u32>]) -> Vec<Vec<Swings>> {
    let mut levels: Vec<Vec<Swings>> = Vec::new();
    for level in level_ticks.iter().map(|ticks| swings(fields, ticks)) {
        if !levels.contains(&level) {
            levels.push(level);
        }
    }
    levels
}

/// A column through one level's slot, in each field.
pub(super) fn swings(fields: &[Field], ticks: &[u32]) -> Vec<Swings> {
    let each = fields.iter().zip(ticks);
    each.map(|(f, &t)| Swings::of_slot(f, t)).collect()
}

fn largest_sum(a: &[f64], b: &[f64]) -> f64 {
    let sums = a.iter().zip(b).map(|(a, b)| a + b);
    sums.fold(f64::NEG_INFINITY, f64::max)
}
