//! The column that holds what the instrument read: `reflectance`, or `lstar` in its place.

use super::limits::{LSTAR, REFLECTANCE};
use super::table::{Row, Table};
use crate::tone::lstar_from_reflectance;

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
