//! `waveforms.json`: levels, bands, ticks, predictions.

use super::certificate::Certificate;
use crate::drive::{Erase, Field, Zone};
use serde::{Deserialize, Serialize};

pub const FORMAT: &str = "greyloom-waveforms";
pub const VERSION: u32 = 1;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Waveforms {
    pub format: String,
    pub version: u32,
    pub panel: PanelSize,
    pub levels: usize,
    /// The common ladder, darkest first; with `--ladder per-band`, that of the first band.
    pub targets_lstar: Vec<f64>,
    /// Coldest first; together they cover the panel's range.
    pub bands: Vec<Band>,
    /// What the set was compared with; absent where no search was exhaustive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<Box<Certificate>>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PanelSize {
    pub name: String,
    pub rows: usize,
    pub columns: usize,
    /// Pause at 0 V after each field, before stretching.
    pub field_settle_ms: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Band {
    pub temperature_c: Interval,
    /// The longest in the band.
    pub refresh_s: f64,
    /// Factor on every duration, linear between entries; empty means 1.
    pub stretch: Vec<StretchAt>,
    pub erase: Erase,
    pub fields: Vec<Field>,
    /// One row a level, one number a field; absent where rows have their ticks by zones, so that none is played that isn't
    /// meant. [`Band::row_ticks`] tells the ticks of a row either way.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub ticks: Vec<Vec<u32>>,
    /// In place of `ticks`: the tables of zones that cover the panel's rows in order, no gap, no overlap.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<Zone>,
    /// Data voltage, V, of the resting balance that the controller is to play while the picture stands; absent: none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resting_balance_v: Option<f64>,
    /// The band's own ladder, where it differs from the common one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub targets_lstar: Option<Vec<f64>>,
    pub predicted: Predicted,
    pub figures: Figures,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interval {
    pub low: f64,
    pub design: f64,
    pub high: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StretchAt {
    pub temperature_c: f64,
    pub factor: f64,
}

/// Per level: middle, worst low and high over contents, rows and temperatures; expanded uncertainty, k = 2.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Predicted {
    pub lstar: Vec<f64>,
    pub low_lstar: Vec<f64>,
    pub high_lstar: Vec<f64>,
    pub expanded_u_lstar: Vec<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Figures {
    pub step_lstar: f64,
    pub worst_error_lstar: f64,
    pub worst_error_steps: f64,
    pub ghost_lstar: f64,
    /// What the worst picture leaves on a pixel, after the resting balance where the band has it.
    pub net_impulse_vs: f64,
    pub energy_mj: f64,
}
