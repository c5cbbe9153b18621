//! One population through one refresh, pixel by pixel.
//!
//! Maps of slots are made once for each distinct voltage and number of ticks. A pixel goes through the runs of its column
//! by powers of those maps, so neighbouring rows of equal ticks cost a few products.

use super::layout::Run;
use super::propagator::{Amounts, Powers, Propagator, doublings};
use super::test_panel::{Population, TestPanel};
use crate::drive::{Field, Piece};
use crate::project::Page;
use std::collections::BTreeMap;
use std::ops::Range;

/// Parts of a tick below this are rounding.
const ROUNDING_TICKS: f64 = 1e-9;

/// One population at the temperature of a refresh, with every duration of the refresh times `stretch`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mover<'a> {
    pub panel: &'a TestPanel,
    pub population: &'a Population,
    pub temperature_c: f64,
    pub stretch: f64,
}

impl Mover<'_> {
    /// `seconds` (before stretching) at a pixel voltage, as a matrix.
    pub fn hold(&self, pixel_v: f64, seconds: f64) -> Propagator {
        let transport = self
            .panel
            .transport(self.population, pixel_v, self.temperature_c);
        Propagator::hold(&transport, seconds * self.stretch, self.panel.step_s)
    }

    /// The same for one vector, in the same steps.
    pub fn step(&self, pixel_v: f64, seconds: f64, mut amounts: Amounts) -> Amounts {
        let transport = self
            .panel
            .transport(self.population, pixel_v, self.temperature_c);
        let seconds = seconds * self.stretch;
        let steps = 1u32 << doublings(seconds, self.panel.step_s);
        let stepper = transport.stepper(seconds / f64::from(steps));
        (0..steps).for_each(|_| stepper.step(amounts.as_mut_slice()));
        amounts
    }

    /// The strokes of a page's erase.
    pub fn erase(&self, page: &Page) -> Propagator {
        let strokes = page.erase.strokes.iter();
        let maps = strokes.map(|s| self.hold(s.pixel_v, s.ms * 1e-3));
        maps.reduce(|done, next| done.then(&next))
            .unwrap_or_else(|| self.hold(0.0, 0.0))
    }
}

/// The maps of one field.
pub(super) struct FieldMaps<'a> {
    mover: Mover<'a>,
    field: Field,
    /// One tick at each voltage, and its powers.
    ticks: Vec<(f64, Powers)>,
    /// Another row's slot by its ticks, and its powers.
    others: BTreeMap<u32, Powers>,
}

impl<'a> FieldMaps<'a> {
    /// For the ticks and lengths that `runs` have in field `index`.
    pub fn new(mover: Mover<'a>, field: Field, index: usize, runs: &[Vec<Run>]) -> Self {
        let mut maps = FieldMaps {
            mover,
            field,
            ticks: Vec::new(),
            others: BTreeMap::new(),
        };
        let on = field.other_on_v();
        for pixel_v in [field.own_on_v(), field.own_off_v(), on, -on, 0.0] {
            if maps.ticks.iter().all(|(v, _)| *v != pixel_v) {
                let once = mover.hold(pixel_v, field.tick_s());
                let largest = field.slot_ticks.max(field.guard_ticks) as usize;
                maps.ticks.push((pixel_v, Powers::new(once, largest)));
            }
        }
        let mut longest: BTreeMap<u32, usize> = BTreeMap::new();
        for run in runs.iter().flatten() {
            let rows = longest.entry(run.ticks[index]).or_default();
            *rows = run.rows.max(*rows);
        }
        for (ticks, rows) in longest {
            let slot = maps.pieces(&field.other_slot(ticks));
            maps.others.insert(ticks, Powers::new(slot, rows));
        }
        maps
    }

    fn powers(&self, pixel_v: f64) -> Option<&Powers> {
        let found = self.ticks.iter().find(|(v, _)| *v == pixel_v);
        found.map(|(_, powers)| powers)
    }

    fn pieces(&self, pieces: &[Piece]) -> Propagator {
        let map = |p: &Piece| self.powers(p.pixel_v)?.power(p.ticks as usize);
        let maps = pieces.iter().filter_map(map);
        maps.reduce(|done, next| done.then(&next))
            .unwrap_or_else(|| self.mover.hold(0.0, 0.0))
    }

    /// The slots of rows `from..to`, none of them the pixel's own.
    fn others(&self, index: usize, runs: &[Run], rows: Range<usize>, amounts: Amounts) -> Amounts {
        let (mut first, mut x) = (0, amounts);
        for run in runs {
            let end = first + run.rows;
            let inside = rows.end.min(end).saturating_sub(rows.start.max(first));
            if let Some(powers) = self.others.get(&run.ticks[index]) {
                x = powers.apply(inside, x);
            }
            first = end;
        }
        x
    }

    /// The pixel's own slot, and that of a neighbour into which the row's pulse reaches (`None` where it doesn't, or beyond the
    /// panel's edge): the pulse comes `late` ticks after the column's data, before them where negative.
    ///
    /// Each edge counts as a step at its line's mean delay: right to the first order of delays over ticks.
    fn own(&self, [above, own, below]: [Option<u32>; 3], late: f64, amounts: Amounts) -> Amounts {
        let slot = |ticks: Option<u32>, pad: f64| -> Vec<(f64, f64)> {
            ticks.map_or(vec![(pad, 0.0)], |ticks| {
                let pieces = self.field.other_slot(ticks);
                pieces.map(|p| (f64::from(p.ticks), p.pixel_v)).to_vec()
            })
        };
        let before = slot(above, (-late).max(0.0));
        let after = slot(below, self.overhang(late).max(0.0));
        let start = before.iter().map(|(ticks, _)| ticks).sum::<f64>() + late;
        let end = start + f64::from(self.field.slot_ticks);
        let (mut time, mut x) = (0.0, amounts);
        for (ticks, pixel_v) in [before, slot(own, 0.0), after].concat() {
            let (next, selected_v) = (time + ticks, pixel_v + self.field.select_v);
            let (on, off) = (start.clamp(time, next), end.clamp(time, next));
            x = self.piece(pixel_v, on - time, x);
            x = self.piece(selected_v, off - on, x);
            x = self.piece(pixel_v, next - off, x);
            time = next;
        }
        x
    }

    /// Ticks by which a late pulse reaches past its slot.
    fn overhang(&self, late: f64) -> f64 {
        late + f64::from(self.field.slot_ticks) - f64::from(self.field.ticks_per_row())
    }

    /// By how many ticks the row's pulse comes after the column's data, at most a slot. Lags belong to the lines and don't
    /// stretch.
    fn late(&self, lateness_s: f64) -> f64 {
        let reach = f64::from(self.field.ticks_per_row());
        let late = lateness_s / (self.field.tick_s() * self.mover.stretch);
        late.clamp(-reach, reach)
    }

    /// A voltage for a number of ticks: the whole ones by powers, the rest step by step.
    fn piece(&self, pixel_v: f64, ticks: f64, amounts: Amounts) -> Amounts {
        let known = self.powers(pixel_v);
        let whole = known.map_or(0.0, |_| (ticks + ROUNDING_TICKS).floor());
        let x = known.map_or(amounts.clone(), |p| p.apply(whole as usize, amounts));
        let part = ticks - whole;
        if part > ROUNDING_TICKS {
            self.mover.step(pixel_v, part * self.field.tick_s(), x)
        } else {
            x
        }
    }

    /// The pixel in `row` through the field.
    fn pass(
        &self,
        index: usize,
        runs: &[Run],
        row: usize,
        lateness_s: f64,
        amounts: Amounts,
    ) -> Amounts {
        let late = self.late(lateness_s);
        let rows = runs.iter().map(|r| r.rows).sum();
        let ticks = |row: usize| ticks_of(runs, index, row);
        let above = row.checked_sub(1).filter(|_| late < 0.0);
        let below = Some(row + 1).filter(|row| *row < rows && self.overhang(late) > 0.0);
        let near = [above.and_then(ticks), ticks(row), below.and_then(ticks)];
        let x = self.others(index, runs, 0..above.unwrap_or(row), amounts);
        let x = self.own(near, late, x);
        self.others(index, runs, below.unwrap_or(row) + 1..rows, x)
    }
}

/// Ticks of a row in field `index`; `None` beyond the panel.
fn ticks_of(runs: &[Run], index: usize, row: usize) -> Option<u32> {
    let ends = runs.iter().scan(0, |end, run| {
        *end += run.rows;
        Some((*end, run))
    });
    let mut here = ends.filter(|(end, _)| row < *end);
    here.next().map(|(_, run)| run.ticks[index])
}

/// Everything of a page for one population.
pub(super) struct Refresh<'a> {
    fields: Vec<FieldMaps<'a>>,
    settle: Propagator,
    rest: Propagator,
}

impl<'a> Refresh<'a> {
    /// `runs` of each column group; `settle_ms` after each field.
    pub fn new(mover: Mover<'a>, page: &Page, runs: &[Vec<Run>], settle_ms: f64) -> Self {
        let maps = page.fields.iter().enumerate();
        Refresh {
            fields: maps
                .map(|(i, field)| FieldMaps::new(mover, *field, i, runs))
                .collect(),
            settle: mover.hold(0.0, settle_ms * 1e-3),
            rest: mover.hold(0.0, page.erase.rest_ms * 1e-3),
        }
    }

    /// The pixel in `row` of a column with these runs, from the end of the erase to the end of the rest.
    pub fn pass(&self, runs: &[Run], row: usize, lateness_s: f64, erased: Amounts) -> Amounts {
        let fields = self.fields.iter().enumerate();
        let x = fields.fold(erased, |x, (i, field)| {
            self.settle.apply(&field.pass(i, runs, row, lateness_s, x))
        });
        self.rest.apply(&x)
    }
}
