//! What measuring a chart costs in time.

use crate::drive::Timing;
use crate::project::{Chart, Panel};
use serde::Serialize;

/// From one temperature to the next, until the panel is at it, min. This and the next two: common practice, no source.
pub const SOAK_MIN: f64 = 20.0;
/// Bringing a page up and the instrument to it, min.
pub const HANDLING_MIN: f64 = 2.0;
/// One reading of one patch, s.
pub const READING_S: f64 = 5.0;

/// An account of what readings cost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Cost {
    pub patches: usize,
    pub pages: usize,
    pub temperatures: usize,
    pub soak_min: f64,
    pub handling_min: f64,
    /// All refreshes.
    pub refresh_min: f64,
    pub reading_min: f64,
    pub total_min: f64,
}

impl Cost {
    /// Of a chart whose pages stand in the order of their temperatures, each patch read once.
    pub fn of(chart: &Chart, panel: &Panel) -> Self {
        let pages = &chart.pages;
        let patches: usize = pages.iter().map(|p| p.patches.len()).sum();
        let mut temperatures: Vec<f64> = pages.iter().map(|p| p.temperature_c).collect();
        temperatures.dedup();
        let refresh_s: f64 = pages
            .iter()
            .map(|p| {
                let settle_ms = panel.drivers.field_settle_ms;
                p.stretch * Timing::of(&p.erase, &p.fields, panel.rows, settle_ms).total_s()
            })
            .sum();
        let (soak_min, handling_min) = (
            SOAK_MIN * temperatures.len() as f64,
            HANDLING_MIN * pages.len() as f64,
        );
        let (refresh_min, reading_min) = (refresh_s / 60.0, READING_S * patches as f64 / 60.0);
        Cost {
            patches,
            pages: pages.len(),
            temperatures: temperatures.len(),
            soak_min,
            handling_min,
            refresh_min,
            reading_min,
            total_min: soak_min + handling_min + refresh_min + reading_min,
        }
    }
}
