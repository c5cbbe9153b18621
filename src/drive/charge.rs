//! The net charge that a refresh leaves on a pixel, as voltage times time.
//!
//! A pixel's net impulse is
//! Σ strokes + Σ_f [(S+D)·d + (S−D)·(Q−d)]·tick + Σ_f Σ_other rows D·(2d'−Q)·tick,
//! d of Q ticks on, D with the sign of a lightening field's select voltage. Guards, pauses and the rest are at 0 V. In a
//! mirrored field every column waveform is followed by its inverse, so only S·Q is left. Stretching every duration
//! multiplies every impulse by the same factor; the functions here don't stretch.

use super::{Erase, Field, RowTicks};
use serde::{Deserialize, Serialize};

/// The largest net impulse that any picture leaves on any pixel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WorstImpulse {
    /// Net impulse with its sign, V·s.
    pub value_vs: f64,
    /// Level that the pixel and all other rows of its column show; where zones differ in it, that of the zone that leaves most.
    pub level: usize,
    /// What is left on every pixel, whatever the picture, once each column's own impulse is taken off while the
    /// picture stands, V·s.
    pub balanced_vs: f64,
    /// The largest impulse of a column's own, of either sign, V·s.
    pub column_vs: f64,
}

/// Net impulse of the erase strokes, V·s.
pub fn strokes_impulse_vs(erase: &Erase) -> f64 {
    erase.strokes.iter().map(|s| s.pixel_v * s.ms * 1e-3).sum()
}

/// Net impulse of a pixel's own slot with `ticks` (0…slot_ticks) on, V·s.
pub fn own_impulse_vs(field: &Field, ticks: u32) -> f64 {
    row_impulse_vs(field) + other_impulse_vs(field, ticks)
}

/// Net impulse of another row's slot whose data is on for `ticks`, V·s; it is all that a column's data leave.
pub fn other_impulse_vs(field: &Field, ticks: u32) -> f64 {
    if field.mirrored {
        return 0.0;
    }
    let on = f64::from(ticks.min(field.slot_ticks));
    field.other_on_v() * (2.0 * on - f64::from(field.slot_ticks)) * field.tick_s()
}

/// What one row's data leave on its column over all fields, V·s; `ticks` one a field.
pub fn data_impulse_vs(fields: &[Field], ticks: &[u32]) -> f64 {
    let each = fields.iter().zip(ticks);
    each.map(|(field, &t)| other_impulse_vs(field, t)).sum()
}

/// The part of a pixel's own slot that is the row's, S·Q·tick, V·s.
fn row_impulse_vs(field: &Field) -> f64 {
    field.select_v * f64::from(field.slot_ticks) * field.tick_s()
}

/// What a refresh leaves on every pixel once the columns' impulse is taken off, V·s: strokes and row pulses.
pub fn balanced_impulse_vs(erase: &Erase, fields: &[Field]) -> f64 {
    strokes_impulse_vs(erase) + fields.iter().map(row_impulse_vs).sum::<f64>()
}

/// The largest net impulse over all pictures made of levels with these ticks, one a field.
///
/// Exact: the impulse is a sum over rows, and rows choose freely, so all rows of a zone show the level of the largest
/// (or smallest) column impulse there. `None` without a level or a row.
pub fn worst_net_impulse_vs<'a>(
    erase: &Erase,
    fields: &[Field],
    ticks: impl Into<RowTicks<'a>>,
    rows: usize,
) -> Option<WorstImpulse> {
    let ticks = ticks.into();
    let balanced_vs = balanced_impulse_vs(erase, fields);
    let [low, high] = [-1.0, 1.0].map(|sign| extreme_column(fields, ticks, rows, sign));
    let (low, high) = (low?, high?);
    // A pixel's own data add to the others' as one row more.
    let net = |of: &ExtremeColumn| balanced_vs + of.impulse_vs;
    let worst = if net(&low).abs() > net(&high).abs() {
        &low
    } else {
        &high
    };
    Some(WorstImpulse {
        value_vs: net(worst),
        level: worst.level,
        balanced_vs,
        column_vs: low.impulse_vs.abs().max(high.impulse_vs.abs()),
    })
}

/// What the column of the highest or the lowest impulse shows.
struct ExtremeColumn {
    impulse_vs: f64,
    /// In the zone that leaves most.
    level: usize,
}

/// The column whose data leave the most of `sign`, 1 or −1; `None` without a level or a row.
fn extreme_column(
    fields: &[Field],
    ticks: RowTicks,
    rows: usize,
    sign: f64,
) -> Option<ExtremeColumn> {
    let mut column: Option<(ExtremeColumn, f64)> = None;
    for (zone, table) in ticks.parts(rows).filter(|(zone, _)| !zone.is_empty()) {
        let data = table.iter().map(|t| data_impulse_vs(fields, t));
        let data: Vec<f64> = data.collect();
        let level = extreme(&data, sign)?;
        let impulse_vs = zone.len() as f64 * data[level];
        let (before, most) = match column {
            Some((before, most)) => (Some(before), most),
            None => (None, 0.0),
        };
        let leads = before.is_none() || impulse_vs.abs() > most;
        let column_vs = before.as_ref().map_or(0.0, |b| b.impulse_vs) + impulse_vs;
        column = Some((
            ExtremeColumn {
                impulse_vs: column_vs,
                level: before.filter(|_| !leads).map_or(level, |b| b.level),
            },
            most.max(impulse_vs.abs()),
        ));
    }
    column.map(|(column, _)| column)
}

/// The first place of the largest of `sign` times the values.
fn extreme(values: &[f64], sign: f64) -> Option<usize> {
    (0..values.len()).reduce(|best, i| {
        if sign * values[i] > sign * values[best] {
            i
        } else {
            best
        }
    })
}
