//! One pixel of an ordinary picture with any ticks of its own and of the row before, the rest of its column standing.

use super::proof::Finished;
use super::reach::Climate;
use crate::pigment::{Map, Mover, SlotMaps, State, value};
use crate::response::{COVERAGE_ROW, rest_map, strokes_map};

/// A pixel among rows that stand.
#[derive(Debug)]
pub struct Middle<'a> {
    base: &'a Finished<'a>,
    climate: Climate,
    row: usize,
    /// Ticks of the row before; `None` in the first row.
    before: Option<&'a [u32]>,
    /// What the other rows show, −1 lightest … 1 darkest, where readings add something.
    darkness: f64,
    classes: Vec<ClassAround>,
}

/// One class around the pixel's own slot and that of the row before.
#[derive(Debug)]
struct ClassAround {
    share: f64,
    /// Before the slot of the row before, in the first field.
    start: State,
    /// From the pixel's own slot to that of the row before in the next field.
    between: Vec<Map>,
    /// Coverage at the end, of the state after the pixel's last own slot.
    seen: [f64; 4],
    slots: Vec<SlotMaps>,
}

impl<'a> Middle<'a> {
    /// The pixel in `row`, from 0, of a column whose rows have the ticks of `content`; from the dark panel.
    pub fn new(
        base: &'a Finished<'a>,
        climate: Climate,
        content: &'a [Vec<u32>],
        row: usize,
    ) -> Self {
        let movers = base.response.movers(climate.temperature_c, climate.stretch);
        let around = |mover: &Mover| ClassAround::new(base, mover, content, row);
        let darkness = base.correction.map_or(0.0, |c| {
            let others = content.iter().enumerate().filter(|(r, _)| *r != row);
            let sum: f64 = others.map(|(_, ticks)| c.frame.content(ticks)).sum();
            sum / (content.len().max(2) - 1) as f64
        });
        Middle {
            base,
            climate,
            row,
            before: row.checked_sub(1).map(|r| content[r].as_slice()),
            darkness,
            classes: movers.iter().map(around).collect(),
        }
    }

    /// Lightness with these ticks, what readings add included.
    pub fn lstar(&self, ticks: &[u32]) -> f64 {
        let lstar = self.predicted_lstar(ticks, self.before);
        self.base.correction.map_or(lstar, |c| {
            let (row, t) = (self.row as f64, self.climate.temperature_c);
            c.corrected(lstar, row, self.darkness, t, ticks)
        })
    }

    /// How much lighter the pixel is predicted to be than after a row with the same ticks as its own, as in a patch, L*.
    pub fn apart_from_patch_lstar(&self, ticks: &[u32]) -> f64 {
        if self.before.is_none() {
            return 0.0;
        }
        self.predicted_lstar(ticks, self.before) - self.predicted_lstar(ticks, Some(ticks))
    }

    fn predicted_lstar(&self, ticks: &[u32], before: Option<&[u32]>) -> f64 {
        let coverage = self.classes.iter().map(|c| c.share * c.seen(ticks, before));
        self.base.response.curve.lstar(coverage.sum())
    }
}

impl ClassAround {
    fn new(base: &Finished, mover: &Mover, content: &[Vec<u32>], row: usize) -> Self {
        let fields = base.scheme.fields.iter();
        let slots: Vec<SlotMaps> = fields.map(|f| SlotMaps::new(mover, f)).collect();
        let rows = |f: usize, rows: &[Vec<u32>]| {
            let slot = |done: Map, ticks: &Vec<u32>| done.then(&slots[f].other(ticks[f]));
            rows.iter().fold(Map::IDENTITY, slot)
        };
        let first = row.saturating_sub(1);
        let settle = mover.hold(0.0, base.settle_ms * 1e-3);
        let after = |f: usize| rows(f, &content[row + 1..]).then(&settle);
        let between = (1..slots.len()).map(|f| after(f - 1).then(&rows(f, &content[..first])));
        let end = after(slots.len() - 1).then(&rest_map(mover, &base.scheme.erase));
        let erased =
            strokes_map(mover, &base.scheme.erase.strokes).apply(&base.response.kinetics.highest());
        ClassAround {
            share: mover.class.share,
            start: rows(0, &content[..first]).apply(&erased),
            between: between.collect(),
            seen: end.pulled_back(&COVERAGE_ROW),
            slots,
        }
    }

    fn seen(&self, ticks: &[u32], before: Option<&[u32]>) -> f64 {
        let mut x = self.start;
        for (f, slots) in self.slots.iter().enumerate() {
            if let Some(before) = before {
                x = slots.other(before[f]).apply(&x);
            }
            x = slots.own(ticks[f]).apply(&x);
            if let Some(between) = self.between.get(f) {
                x = between.apply(&x);
            }
        }
        value(&self.seen, &x)
    }
}
