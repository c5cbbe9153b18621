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

impl Field {
    /// Such as "select 9 V, data 3 V, 70 ticks of 1 ms a row, 8 guard ticks".
    pub fn in_words(&self) -> String {
        let ticks = |n: u32| format!("{n} {}", if n == 1 { "tick" } else { "ticks" });
        let guard = match self.guard_ticks {
            0 => "no guard ticks".to_owned(),
            1 => "1 guard tick".to_owned(),
            n => format!("{n} guard ticks"),
        };
        format!(
            "select {} V, data {} V, {} of {} ms a row, {guard}{}",
            self.select_v,
            self.data_v,
            ticks(self.slot_ticks),
            f64::from(self.tick_us) / 1e3,
            if self.mirrored { ", mirrored" } else { "" }
        )
    }
}
