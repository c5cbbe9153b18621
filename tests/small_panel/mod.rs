//! A panel of a few rows with a known response, followed slot by slot.

mod numbers;

use greyloom::design::reach::Scheme;
use greyloom::drive::{Field, Piece, Pieces};
use greyloom::pigment::{Map, Mover, State};
use greyloom::response::Rung;
use greyloom::response::parameters::build;
use greyloom::response::{Response, coverage_of, rest_map, strokes_map};
pub use numbers::Numbers;

pub const RUNG: Rung = Rung {
    store: true,
    window: true,
    independent_spread: false,
    vft: false,
};

/// In the order of the parameters of RUNG, those of the store and the window last; near what the shipped readings ask
/// for.
const PLANTED: [f64; 18] = [
    0.73, 0.03, 0.25, 3.8, 6.5, 0.5, 2.5, 5.7, 0.5, -0.0075, 0.3, 0.6, 12.0, 60.0, 15.0, 3.0, 2.5,
    -6.0,
];

/// A response of `rung` (Arrhenius), with so many classes along the spread of mobility.
pub fn response(rung: Rung, classes: usize) -> Response {
    build(rung, &PLANTED, classes).expect("a curve")
}

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
