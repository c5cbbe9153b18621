//! A refresh followed slot by slot.

use greyloom::design::reach::Scheme;
use greyloom::drive::{Field, Piece, Pieces};
use greyloom::pigment::{Map, Mover, State};
use greyloom::response::{coverage_of, rest_map, strokes_map};

/// A refresh of one class by one map a slot, each made piece by piece.
pub struct SlotTable {
    erased: Map,
    /// `own[field][ticks]`, and as the others feel it.
    own: Vec<Vec<Map>>,
    other: Vec<Vec<Map>>,
    settle: Map,
    rest: Map,
    share: f64,
}

impl SlotTable {
    pub fn new(mover: &Mover, scheme: &Scheme, settle_ms: f64) -> Self {
        let slot = |field: &Field, pieces: Pieces| {
            let hold = |p: &Piece| mover.hold(p.pixel_v, f64::from(p.ticks) * field.tick_s());
            pieces
                .iter()
                .fold(Map::IDENTITY, |done, p| done.then(&hold(p)))
        };
        let all = |of: fn(&Field, u32) -> Pieces| {
            let field = |f: &Field| (0..=f.slot_ticks).map(|t| slot(f, of(f, t))).collect();
            scheme.fields.iter().map(field).collect()
        };
        SlotTable {
            erased: strokes_map(mover, &scheme.erase.strokes),
            own: all(Field::own_slot),
            other: all(Field::other_slot),
            settle: mover.hold(0.0, settle_ms * 1e-3),
            rest: rest_map(mover, &scheme.erase),
            share: mover.class.share,
        }
    }

    /// This class's part of the coverage of the pixel in `row`; `content[row]` is the ticks of a row, one a field.
    pub fn coverage(&self, start: State, row: usize, content: &[Vec<u32>]) -> f64 {
        let mut x = self.erased.apply(&start);
        for f in 0..self.own.len() {
            for (r, ticks) in content.iter().enumerate() {
                let slots = if r == row { &self.own } else { &self.other };
                x = slots[f][ticks[f] as usize].apply(&x);
            }
            x = self.settle.apply(&x);
        }
        self.share * coverage_of(&self.rest.apply(&x))
    }
}
