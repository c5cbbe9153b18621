//! Ticks of the levels by rows: one table for all rows, or one for each zone of rows.

use serde::{Deserialize, Serialize};
use std::ops::Range;

/// Most zones of a band.
pub const ZONES_MAX: usize = 16;

/// Neighbouring rows with a table of their own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Zone {
    /// First and last row, both included, from 0.
    pub row_first: usize,
    pub row_last: usize,
    /// Darkest level first, one number a field.
    pub ticks: Vec<Vec<u32>>,
}

/// `row 3`, `rows 3 to 9`.
pub fn rows_in_words(first: usize, last: usize) -> String {
    match first == last {
        true => format!("row {first}"),
        false => format!("rows {first} to {last}"),
    }
}

/// Which ticks a level has in which row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RowTicks<'a> {
    /// All rows have one table: darkest level first, one number a field.
    Alike(&'a [Vec<u32>]),
    /// Zones that cover all rows in order.
    Zones(&'a [Zone]),
}

impl<'a> RowTicks<'a> {
    /// The table of a row, from 0.
    pub fn in_row(self, row: usize) -> &'a [Vec<u32>] {
        self.table(self.zone_of(row))
    }

    /// The zone that a row lies in, from 0; rows behind the last zone count to it.
    pub fn zone_of(self, row: usize) -> usize {
        match self {
            RowTicks::Alike(_) => 0,
            RowTicks::Zones(zones) => {
                let before = zones.partition_point(|z| z.row_last < row);
                before.min(zones.len().saturating_sub(1))
            }
        }
    }

    /// How many tables there are.
    pub fn zones(self) -> usize {
        match self {
            RowTicks::Alike(_) => 1,
            RowTicks::Zones(zones) => zones.len(),
        }
    }

    /// The table of a zone; without an entry where there is no such zone.
    pub fn table(self, zone: usize) -> &'a [Vec<u32>] {
        match self {
            RowTicks::Alike(table) => table,
            RowTicks::Zones(zones) => zones.get(zone).map_or(&[], |z| &z.ticks),
        }
    }

    /// Every table, in the order of rows.
    pub fn tables(self) -> impl Iterator<Item = &'a [Vec<u32>]> {
        (0..self.zones()).map(move |zone| self.table(zone))
    }

    /// The rows of a zone on a panel of `rows` rows.
    pub fn rows_of(self, zone: usize, rows: usize) -> Range<usize> {
        match self {
            RowTicks::Alike(_) => 0..rows,
            RowTicks::Zones(zones) => zones.get(zone).map_or(rows..rows, |z| {
                z.row_first.min(rows)..(z.row_last + 1).min(rows)
            }),
        }
    }

    /// The rows of every zone on a panel of `rows` rows, with their table.
    pub fn parts(self, rows: usize) -> impl Iterator<Item = (Range<usize>, &'a [Vec<u32>])> {
        (0..self.zones()).map(move |zone| (self.rows_of(zone, rows), self.table(zone)))
    }

    /// The zone with the most rows on a panel of `rows` rows, the first of equals.
    pub fn main_zone(self, rows: usize) -> usize {
        let size = |zone: usize| self.rows_of(zone, rows).len();
        let more = |best: usize, zone: usize| if size(zone) > size(best) { zone } else { best };
        (0..self.zones()).reduce(more).unwrap_or(0)
    }

    /// Levels of every table.
    pub fn levels(self) -> usize {
        self.table(0).len()
    }
}

impl<'a> From<&'a [Vec<u32>]> for RowTicks<'a> {
    fn from(table: &'a [Vec<u32>]) -> Self {
        RowTicks::Alike(table)
    }
}

impl<'a> From<&'a Vec<Vec<u32>>> for RowTicks<'a> {
    fn from(table: &'a Vec<Vec<u32>>) -> Self {
        RowTicks::Alike(table)
    }
}

impl<'a, const N: usize> From<&'a [Vec<u32>; N]> for RowTicks<'a> {
    fn from(table: &'a [Vec<u32>; N]) -> Self {
        RowTicks::Alike(table)
    }
}

impl<'a> From<&'a [Zone]> for RowTicks<'a> {
    fn from(zones: &'a [Zone]) -> Self {
        RowTicks::Zones(zones)
    }
}

impl<'a> From<&'a Vec<Zone>> for RowTicks<'a> {
    fn from(zones: &'a Vec<Zone>) -> Self {
        RowTicks::Zones(zones)
    }
}
