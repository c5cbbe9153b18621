//! What every line carries through a refresh, from the drive model alone: what [`crate::drive`] puts on a pixel in its own
//! slot and in another row's, and the balance of [`crate::panel`]. No integer of a table enters, so that a player is
//! checked against the design and not against its own table.

use super::quantise::{refused, ticks_of};
use crate::drive::{Field, Pieces};
use crate::error::Result;
use crate::panel::{Levels, column_impulse_vs, resting_balance};
use crate::waveforms::{Band, Waveforms};

/// A line at one voltage for so many ticks, before stretching.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hold {
    pub v: f64,
    pub ticks: u32,
    pub tick_us: u32,
}

/// Which rows are driven; all others are at 0 V.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Selected {
    None,
    Row(usize),
    All,
}

/// A picture through a refresh of one band.
#[derive(Debug, Clone)]
pub struct Refresh<'a> {
    pub set: &'a Waveforms,
    pub band: &'a Band,
    picture: Levels<'a>,
    /// Of each column, ticks and voltage of its resting balance.
    balance: Vec<(u32, f64)>,
}

/// Most pixels of a panel whose lines are worked out: those of the largest that a project may describe.
const PIXELS_MAX: usize = 4096 * 4096;

/// Errs where a panel has too many pixels.
pub fn check_size(set: &Waveforms) -> Result<()> {
    let (rows, columns) = (set.panel.rows, set.panel.columns);
    if rows.checked_mul(columns).is_some_and(|n| n <= PIXELS_MAX) {
        return Ok(());
    }
    Err(refused(
        format!("line levels of {rows} × {columns} pixels, more than {PIXELS_MAX}"),
        "a smaller panel".into(),
    ))
}

/// Ticks this near to half a tick more count as half: sums of voltages are off by rounding.
const ROUNDING_TICKS: f64 = 1e-9;

impl<'a> Refresh<'a> {
    /// `set` as its file holds it, one of its bands, and a picture of its panel's size; with `balance`, the resting balance
    /// follows where the band asks for it.
    pub fn new(set: &'a Waveforms, band: &'a Band, picture: Levels<'a>, balance: bool) -> Self {
        let mut refresh = Refresh {
            set,
            band,
            picture,
            balance: vec![(0, 0.0); picture.columns],
        };
        if let Some(v) = band.resting_balance_v.filter(|_| balance) {
            refresh.balance = refresh.balanced(v);
        }
        refresh
    }

    fn balanced(&self, data_v: f64) -> Vec<(u32, f64)> {
        let tick_s = f64::from(self.tick_us()) * 1e-6;
        let column_vs = column_impulse_vs(&self.band.fields, self.band.row_ticks(), self.picture);
        let ticks = |seconds: f64| (seconds / tick_s - 0.5 - ROUNDING_TICKS).ceil().max(0.0) as u32;
        let each = resting_balance(&column_vs, data_v).into_iter();
        // Rows are at 0, so that a column stands at its pixels' voltage with the sign changed.
        each.map(|b| (ticks(b.seconds), -b.pixel_v)).collect()
    }

    /// Tick of strokes, settling, rest and balance, µs.
    pub fn tick_us(&self) -> u32 {
        let ticks = self.band.fields.iter().map(|f| f.tick_us);
        ticks.min().unwrap_or(1)
    }

    fn pause(&self, ms: f64) -> Hold {
        self.at(0.0, ms)
    }

    fn at(&self, v: f64, ms: f64) -> Hold {
        let tick_us = self.tick_us();
        Hold {
            v,
            ticks: ticks_of(1000.0 * ms, tick_us) as u32,
            tick_us,
        }
    }

    /// Ticks of the longest balance, and one in which all lines end at 0 V.
    fn closing(&self) -> u32 {
        let longest = self.balance.iter().map(|b| b.0).max();
        longest.unwrap_or(0).saturating_add(1)
    }

    /// What the rows do, in order; holds of no ticks stand as such.
    pub fn rows(&self) -> Vec<(Selected, Hold)> {
        let strokes = &self.band.erase.strokes;
        let mut holds: Vec<_> = strokes
            .iter()
            .map(|s| (Selected::All, self.at(s.pixel_v, s.ms)))
            .collect();
        for field in &self.band.fields {
            for row in 0..self.set.panel.rows {
                holds.extend(row_slot(field).map(|h| {
                    let driven = if h.v == 0.0 {
                        Selected::None
                    } else {
                        Selected::Row(row)
                    };
                    (driven, h)
                }));
            }
            holds.push((Selected::None, self.pause(self.set.panel.field_settle_ms)));
        }
        let rest = self.pause(self.band.erase.rest_ms);
        let end = Hold {
            v: 0.0,
            ticks: self.closing(),
            tick_us: self.tick_us(),
        };
        holds.extend([rest, end].map(|h| (Selected::None, h)));
        holds
    }

    /// What one row carries.
    pub fn row(&self, row: usize) -> Vec<Hold> {
        let own = |(selected, hold): (Selected, Hold)| match selected {
            Selected::All => hold,
            Selected::Row(r) if r == row => hold,
            _ => Hold { v: 0.0, ..hold },
        };
        self.rows().into_iter().map(own).collect()
    }

    /// What one column carries.
    pub fn column(&self, column: usize) -> Vec<Hold> {
        let strokes = self.band.erase.strokes.iter();
        let mut holds: Vec<Hold> = strokes.map(|s| self.pause(s.ms)).collect();
        for (i, field) in self.band.fields.iter().enumerate() {
            let rows = self
                .picture
                .levels
                .chunks_exact(self.picture.columns.max(1));
            for (row, shown) in rows.enumerate() {
                let table = self.band.row_ticks().in_row(row);
                let ticks = table[usize::from(shown[column])][i];
                holds.extend(column_slot(field, ticks));
            }
            holds.push(self.pause(self.set.panel.field_settle_ms));
        }
        holds.push(self.pause(self.band.erase.rest_ms));
        let (ticks, v) = self.balance[column];
        let tick_us = self.tick_us();
        let left = self.closing() - ticks;
        holds.push(Hold { v, ticks, tick_us });
        holds.push(Hold {
            v: 0.0,
            ticks: left,
            tick_us,
        });
        holds
    }

    /// What one pixel feels: its row less its column.
    pub fn pixel(&self, row: usize, column: usize) -> Vec<Hold> {
        let difference = |r: &Hold, c: &Hold| r.v - c.v;
        together(&self.row(row), &self.column(column), difference)
    }
}

/// A slot as holds of one voltage each, of a line that `v` gives from what a pixel of its own and of another row feels.
fn slot(field: &Field, ticks: u32, v: impl Fn(&Pieces, &Pieces, usize) -> f64) -> [Hold; 5] {
    let (own, other) = (field.own_slot(ticks), field.other_slot(ticks));
    std::array::from_fn(|i| Hold {
        v: v(&own, &other, i),
        ticks: other[i].ticks,
        tick_us: field.tick_us,
    })
}

/// Rows other than the selected one are at 0 V, so that their pixels feel the column alone.
fn column_slot(field: &Field, ticks: u32) -> [Hold; 5] {
    slot(field, ticks, |_, other, i| -other[i].pixel_v)
}

/// The selected row is what its own pixel feels beyond the others.
fn row_slot(field: &Field) -> [Hold; 5] {
    slot(field, field.slot_ticks, |own, other, i| {
        own[i].pixel_v - other[i].pixel_v
    })
}

/// Two lines of equal length as one, cut wherever either changes.
fn together(a: &[Hold], b: &[Hold], v: impl Fn(&Hold, &Hold) -> f64) -> Vec<Hold> {
    let mut holds: Vec<Hold> = Vec::new();
    let (mut a, mut b) = (a.iter().copied(), b.iter().copied());
    let (mut x, mut y) = (a.next(), b.next());
    while let (Some(p), Some(q)) = (&mut x, &mut y) {
        let ticks = p.ticks.min(q.ticks);
        if ticks > 0 {
            holds.push(Hold {
                v: v(p, q),
                ticks,
                tick_us: p.tick_us,
            });
        }
        p.ticks -= ticks;
        q.ticks -= ticks;
        if p.ticks == 0 {
            x = a.next();
        } else {
            y = b.next();
        }
    }
    holds
}

/// Neighbouring holds of one voltage and tick as one, those of no ticks left out.
pub fn merged(holds: &[Hold]) -> Vec<Hold> {
    let mut merged: Vec<Hold> = Vec::new();
    for hold in holds.iter().filter(|h| h.ticks > 0) {
        match merged.last_mut() {
            Some(last) if last.v == hold.v && last.tick_us == hold.tick_us => {
                last.ticks += hold.ticks
            }
            _ => merged.push(*hold),
        }
    }
    merged
}
