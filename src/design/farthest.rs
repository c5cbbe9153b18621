//! The proof of mirrored fields: no content of the levels goes beyond, slot by slot.

use super::proof::Finished;
use super::pull::Pull;
use crate::drive::Field;
use crate::pigment::{Map, Mover, SlotMaps, State};
use crate::response::{coverage_of, rest_map, strokes_map};

impl Finished<'_> {
    /// Whether data follow their inverse in some field, so that no content is the extreme at every moment.
    pub(super) fn mirrored(&self) -> bool {
        self.scheme.is_mirrored()
    }

    /// Adds a class's share of the coverage of every level in some rows, from the dark and from the clear panel: other rows at
    /// their lightest, then at their darkest, whatever levels they show. Contents × rows × levels.
    pub(super) fn add_farthest(&self, mover: &Mover, rows: &[usize], coverage: &mut [(f64, f64)]) {
        let erased = strokes_map(mover, &self.scheme.erase.strokes);
        let kinetics = &self.response.kinetics;
        let starts = [kinetics.highest(), kinetics.lowest()].map(|x| erased.apply(&x));
        let fields = &self.scheme.fields;
        let slots: Vec<SlotMaps> = fields.iter().map(|f| SlotMaps::new(mover, f)).collect();
        let settle = mover.hold(0.0, self.settle_ms * 1e-3);
        let rest = rest_map(mover, &self.scheme.erase);
        let mut entries = coverage.iter_mut();
        for darkest in [false, true] {
            let pulls: Vec<Pull> = (0..fields.len())
                .map(|f| self.pull(&slots[f], f, darkest))
                .collect();
            for &row in rows {
                for level in self.ticks.in_row(row) {
                    let Some(entry) = entries.next() else { return };
                    let own: Vec<Map> = slots.iter().zip(level).map(|(s, &d)| s.own(d)).collect();
                    let seen = |start: State| {
                        let mut x = start;
                        for (pull, own) in pulls.iter().zip(&own) {
                            x = own.apply(&pull.times(row).apply(&x));
                            x = settle.apply(&pull.times(self.rows - 1 - row).apply(&x));
                        }
                        mover.class.share * coverage_of(&rest.apply(&x))
                    };
                    entry.0 += seen(starts[0]);
                    entry.1 += seen(starts[1]);
                }
            }
        }
    }

    /// What other rows do in a field at their lightest or darkest, over the ticks that levels have.
    fn pull(&self, slots: &SlotMaps, f: usize, darkest: bool) -> Pull {
        let field: &Field = &self.scheme.fields[f];
        if !field.mirrored {
            let on = darkest == (field.direction() > 0.0);
            return Pull::Straight(slots.other(if on { field.slot_ticks } else { 0 }));
        }
        let mut ticks: Vec<u32> = (self.ticks.tables())
            .flat_map(|table| table.iter().map(|level| level[f]))
            .collect();
        ticks.sort_unstable();
        ticks.dedup();
        Pull::farthest(slots, ticks.into_iter(), darkest)
    }
}
