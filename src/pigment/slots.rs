//! Maps of slots: what one class does while one row, its own or another, is selected.

use super::affine::Map;
use super::classes::Class;
use super::kinetics::Kinetics;
use crate::drive::{Field, Piece};

/// A class at one temperature, with every duration multiplied by `stretch`.
#[derive(Debug, Clone, Copy)]
pub struct Mover<'a> {
    pub kinetics: &'a Kinetics,
    pub class: Class,
    pub temperature_c: f64,
    pub stretch: f64,
}

impl Mover<'_> {
    /// The map of `seconds` (before stretching) at a constant pixel voltage.
    pub fn hold(&self, pixel_v: f64, seconds: f64) -> Map {
        self.kinetics
            .rates(&self.class, pixel_v, self.temperature_c)
            .map(seconds * self.stretch)
    }
}

/// Powers of the tick maps of one field, from which any slot is two to five compositions.
#[derive(Debug, Clone)]
pub struct SlotMaps {
    slot_ticks: usize,
    mirrored: bool,
    own_on: Vec<Map>,
    own_off: Vec<Map>,
    other_on: Vec<Map>,
    other_off: Vec<Map>,
    guard: Option<Map>,
}

impl SlotMaps {
    /// The maps of `field` for one class at its temperature and stretch; 4·(slot_ticks + 1) of them.
    pub fn new(mover: &Mover, field: &Field) -> Self {
        let ticks = field.slot_ticks as usize;
        let powers = |v: f64| mover.hold(v, field.tick_s()).powers(ticks);
        let guard_s = f64::from(field.guard_ticks) * field.tick_s();
        SlotMaps {
            slot_ticks: ticks,
            mirrored: field.mirrored,
            own_on: powers(field.own_on_v()),
            own_off: powers(field.own_off_v()),
            other_on: powers(field.other_on_v()),
            other_off: powers(-field.other_on_v()),
            guard: (field.guard_ticks > 0).then(|| mover.hold(0.0, guard_s)),
        }
    }

    /// The pixel's own slot with `ticks` on (more than the slot holds counts as all).
    pub fn own(&self, ticks: u32) -> Map {
        self.slot(&self.own_on, &self.own_off, ticks)
    }

    /// The pixel's own slot where the select pulse comes a tick late: for that long the pixel feels what others do.
    pub fn own_late(&self, ticks: u32) -> Map {
        let on = (ticks as usize).min(self.slot_ticks);
        let off = self.slot_ticks - on;
        let missed = |row: &[Map], other: &[Map], n: usize| {
            if n == 0 {
                Map::IDENTITY
            } else {
                other[1].then(&row[n - 1])
            }
        };
        let map = if on > 0 {
            missed(&self.own_on, &self.other_on, on).then(&self.own_off[off])
        } else {
            missed(&self.own_off, &self.other_off, off)
        };
        self.ended(map, on)
    }

    /// The slot of another row whose data is on for `ticks`.
    pub fn other(&self, ticks: u32) -> Map {
        self.slot(&self.other_on, &self.other_off, ticks)
    }

    fn slot(&self, on_powers: &[Map], off_powers: &[Map], ticks: u32) -> Map {
        let on = (ticks as usize).min(self.slot_ticks);
        let off = self.slot_ticks - on;
        self.ended(on_powers[on].then(&off_powers[off]), on)
    }

    /// The slot's mirrored half and guard ticks behind `map`.
    fn ended(&self, mut map: Map, on: usize) -> Map {
        let off = self.slot_ticks - on;
        if self.mirrored {
            map = map.then(&self.other_off[on]).then(&self.other_on[off]);
        }
        match &self.guard {
            Some(guard) => map.then(guard),
            None => map,
        }
    }
}

/// The same slot stepped piece by piece: the plain route that [`SlotMaps`] is checked against.
pub fn step_pieces(
    mover: &Mover,
    tick_s: f64,
    pieces: &[Piece],
    mut x: super::State,
) -> super::State {
    for piece in pieces {
        x = mover
            .hold(piece.pixel_v, f64::from(piece.ticks) * tick_s)
            .apply(&x);
    }
    x
}
