//! Where the seconds of a refresh go.

use super::{Erase, Field};
use serde::{Deserialize, Serialize};

/// The parts of a refresh, s, before any stretching.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Timing {
    pub erase_s: f64,
    pub fields_s: Vec<f64>,
    pub settle_s: f64,
    pub rest_s: f64,
}

impl Timing {
    /// `rows` slots in each field, `settle_ms` after each field.
    pub fn of(erase: &Erase, fields: &[Field], rows: usize, settle_ms: f64) -> Self {
        Timing {
            erase_s: erase.strokes.iter().map(|s| s.ms).sum::<f64>() / 1e3,
            fields_s: fields.iter().map(|f| f.seconds(rows)).collect(),
            settle_s: settle_ms / 1e3 * fields.len() as f64,
            rest_s: erase.rest_ms / 1e3,
        }
    }

    /// The whole refresh, s, before any stretching.
    pub fn total_s(&self) -> f64 {
        self.erase_s + self.fields_s.iter().sum::<f64>() + self.settle_s + self.rest_s
    }
}

impl Field {
    /// One tick, s.
    pub fn tick_s(&self) -> f64 {
        f64::from(self.tick_us) * 1e-6
    }

    /// Duration of the field over `rows` rows, s, without the pause after it.
    pub fn seconds(&self, rows: usize) -> f64 {
        rows as f64 * f64::from(self.ticks_per_row()) * self.tick_s()
    }
}
