//! What a pixel feels during one slot: its own, or another row's.

use super::Field;

/// A pixel voltage held for a number of ticks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    pub pixel_v: f64,
    pub ticks: u32,
}

/// The pieces of a slot, in order; pieces of no length stand as such.
pub type Pieces = [Piece; 5];

impl Field {
    /// +1 for a darkening field, −1 for a lightening one, in which on and off swap sign.
    pub fn direction(&self) -> f64 {
        if self.select_v < 0.0 { -1.0 } else { 1.0 }
    }

    /// Pixel voltage of the selected row while its column is on.
    pub fn own_on_v(&self) -> f64 {
        self.select_v + self.direction() * self.data_v
    }

    /// Pixel voltage of the selected row while its column is off.
    pub fn own_off_v(&self) -> f64 {
        self.select_v - self.direction() * self.data_v
    }

    /// Pixel voltage of every other row while the column is on; off is its negative.
    pub fn other_on_v(&self) -> f64 {
        self.direction() * self.data_v
    }

    /// Ticks from the start of one slot to the start of the next.
    pub fn ticks_per_row(&self) -> u32 {
        self.slot_ticks * if self.mirrored { 2 } else { 1 } + self.guard_ticks
    }

    /// What a pixel feels in its own slot with `ticks` (0…slot_ticks) on.
    pub fn own_slot(&self, ticks: u32) -> Pieces {
        self.pieces(self.own_on_v(), self.own_off_v(), ticks)
    }

    /// What a pixel feels in the slot of another row whose data is on for `ticks`.
    pub fn other_slot(&self, ticks: u32) -> Pieces {
        self.pieces(self.other_on_v(), -self.other_on_v(), ticks)
    }

    /// On, off, the mirrored on and off (no row selected), guard.
    fn pieces(&self, on_v: f64, off_v: f64, ticks: u32) -> Pieces {
        let on = ticks.min(self.slot_ticks);
        let off = self.slot_ticks - on;
        let mirror = if self.mirrored { (on, off) } else { (0, 0) };
        let piece = |pixel_v, ticks| Piece { pixel_v, ticks };
        [
            piece(on_v, on),
            piece(off_v, off),
            piece(-self.other_on_v(), mirror.0),
            piece(self.other_on_v(), mirror.1),
            piece(0.0, self.guard_ticks),
        ]
    }
}
