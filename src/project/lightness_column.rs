//! The column that holds what the instrument read: `reflectance`, or `lstar` in its place.

use super::limits::{LSTAR, REFLECTANCE};
use super::table::{Row, Table};

/// Exactly one of these stands in a table of readings.
pub(super) const COLUMNS: [&str; 2] = ["reflectance", "lstar"];

/// CIE 1976 L* of each row of a table.
pub(super) struct LightnessColumn {
    is_lstar: bool,
}

impl LightnessColumn {
    pub fn of(table: &Table) -> Self {
        LightnessColumn {
            is_lstar: table.has("lstar"),
        }
    }

    pub fn lstar(&self, row: &Row) -> Option<f64> {
        if self.is_lstar {
            row.number("lstar", LSTAR)
        } else {
            row.number("reflectance", REFLECTANCE)
                .map(lstar_from_reflectance)
        }
    }
}

/// CIE 1976 L* of a luminous reflectance; CIE 15, equations 8.3 and 8.6.
fn lstar_from_reflectance(reflectance: f64) -> f64 {
    if reflectance > (6.0f64 / 29.0).powi(3) {
        116.0 * reflectance.cbrt() - 16.0
    } else {
        reflectance * (29.0f64 / 3.0).powi(3)
    }
}
