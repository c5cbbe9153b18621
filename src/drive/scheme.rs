//! The pieces of a refresh: erase strokes, fields, rest.

use serde::{Deserialize, Serialize};

/// One constant voltage on all pixels at once.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stroke {
    pub pixel_v: f64,
    pub ms: f64,
}

/// The strokes that bring every pixel to the clear state, and the rest that ends the refresh.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Erase {
    pub name: String,
    pub strokes: Vec<Stroke>,
    pub rest_ms: f64,
}

/// One pass over all rows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Field {
    /// Voltage of the selected row; negative in a lightening field.
    pub select_v: f64,
    /// A column at −data_v is on, at +data_v off.
    pub data_v: f64,
    pub tick_us: u32,
    /// Ticks for which one row is selected.
    pub slot_ticks: u32,
    /// Ticks at the end of each slot with all lines at 0 V.
    pub guard_ticks: u32,
    /// After each slot, the inverted column waveform with no row selected.
    pub mirrored: bool,
}
