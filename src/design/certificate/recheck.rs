//! Another look at a certificate from its file alone, by a plainer way: slot after slot, choice after choice.

use super::exact::SPAN_LSTAR;
use crate::design::ladder::choice_rows;
use crate::drive::{Erase, Field, Piece, Timing};
use crate::pigment::{Map, Mover, State};
use crate::planning::Chance;
use crate::response::{Response, coverage_of};
use crate::waveforms::{Certificate, RuledOut, Waveforms};
use serde::Serialize;
use std::cell::RefCell;
use std::collections::BTreeMap;

/// Schemes drawn from each region that was ruled out.
const DRAWN: usize = 2;
/// Merit may differ from the file's by this: its numbers are rounded, and it was proved at more temperatures, steps.
const MERIT_STEPS: f64 = 0.002;
/// Parts that are rounding.
const ROUNDING: f64 = 1e-6;

/// What another look found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rechecked {
    /// Schemes counted anew on the grid, and those that the tally accounts for.
    pub schemes: u64,
    pub accounted: u64,
    /// The largest error of a level over so many rows and both extreme contents at the ends and the design temperature, in
    /// steps, the worst of all bands.
    pub rows: usize,
    pub merit_steps: f64,
    pub tolerance_steps: f64,
    /// Regions looked into, schemes drawn from them, and how many of those show a wider ladder than the certificate allows.
    pub regions: usize,
    pub drawn: usize,
    pub wider: usize,
}

impl Rechecked {
    /// Whether everything is as the certificate says.
    pub fn holds(&self) -> bool {
        self.schemes == self.accounted && self.merit_kept() && self.wider == 0
    }

    /// Whether the set's largest error is allowed.
    pub fn merit_kept(&self) -> bool {
        self.merit_steps <= self.tolerance_steps + MERIT_STEPS
    }
}

/// Looks at the certificate of a set again: counts its grid, steps the set itself, and steps schemes drawn from the regions that
/// were ruled out.
pub fn recheck(set: &Waveforms, certificate: &Certificate) -> Rechecked {
    let response = Response {
        kinetics: certificate.kinetics,
        curve: certificate.curve.clone(),
    };
    let rows = choice_rows(set.panel.rows, &(0..set.panel.rows));
    let mut chance = Chance::new(0);
    let mut wider = 0;
    for region in &certificate.ruled_out {
        for _ in 0..DRAWN {
            let carried = drawn_carries(&response, set, certificate, region, &mut chance);
            wider += usize::from(carried);
        }
    }
    Rechecked {
        schemes: certificate.grid.schemes(),
        accounted: certificate.tally.schemes(),
        rows: rows.len(),
        merit_steps: merit_steps(&response, set, &rows),
        tolerance_steps: certificate.tolerance_steps,
        regions: certificate.ruled_out.len(),
        drawn: DRAWN * certificate.ruled_out.len(),
        wider,
    }
}

/// The worst error of the set in steps: every band and level, some rows, all others at their lightest and at their darkest.
fn merit_steps(response: &Response, set: &Waveforms, rows: &[usize]) -> f64 {
    let mut worst: f64 = 0.0;
    for band in &set.bands {
        let targets = band.targets(set);
        let step = (targets[targets.len() - 1] - targets[0]) / (targets.len() - 1) as f64;
        let t = &band.temperature_c;
        for temperature_c in [t.low, t.design, t.high] {
            let plain = Plain {
                response,
                erase: &band.erase,
                fields: &band.fields,
                rows: set.panel.rows,
                settle_ms: set.panel.field_settle_ms,
                temperature_c,
                stretch: band.stretch_factor(temperature_c),
            };
            for &row in rows {
                for (level, target) in targets.iter().enumerate() {
                    for dark in [false, true] {
                        let ticks = &band.row_ticks().in_row(row)[level];
                        let shown = plain.lstar(row, ticks, dark);
                        worst = worst.max((shown - target).abs() / step);
                    }
                }
            }
        }
    }
    worst
}

/// Whether a scheme drawn from a region shows a ladder wider than the region was ruled out for, in the last row at the certificate's
/// temperature.
fn drawn_carries(
    response: &Response,
    set: &Waveforms,
    certificate: &Certificate,
    region: &RuledOut,
    chance: &mut Chance,
) -> bool {
    let grid = &certificate.grid;
    let ends = region.first.iter().zip(&region.last);
    let places: Vec<usize> = ends
        .map(|(&first, &last)| first + chance.below(last - first + 1))
        .collect();
    let fields = grid.fields(&region.frame, &places);
    let erase = &grid.erases[region.frame.erase];
    let taken_s = Timing::of(erase, &fields, grid.rows, grid.settle_ms).total_s();
    if taken_s > grid.refresh_s + ROUNDING {
        return false;
    }
    let plain = Plain {
        response,
        erase,
        fields: &fields,
        rows: grid.rows,
        settle_ms: grid.settle_ms,
        temperature_c: certificate.temperature_c,
        stretch: set.bands[certificate.band].stretch_factor(certificate.temperature_c),
    };
    let (darkest, lightest) = (plain.choices(true), plain.choices(false));
    let shown: Vec<(f64, f64)> = darkest.into_iter().zip(lightest).collect();
    carries(
        &shown,
        set.levels,
        certificate.tolerance_steps,
        region.beyond_lstar,
    )
}

/// Whether choices that show from a lowest to a highest lightness carry an even ladder wider than `beyond_lstar`.
fn carries(shown: &[(f64, f64)], levels: usize, tolerance_steps: f64, beyond_lstar: f64) -> bool {
    let darkest = shown.iter().map(|s| s.0).fold(f64::INFINITY, f64::min);
    let lightest = shown.iter().map(|s| s.1).fold(f64::NEG_INFINITY, f64::max);
    let steps = (levels - 1) as f64;
    let mut multiple = (beyond_lstar / SPAN_LSTAR + ROUNDING).floor() + 1.0;
    loop {
        let step = multiple * SPAN_LSTAR / steps;
        let error = tolerance_steps * step;
        if step * steps > lightest - darkest + 2.0 * error {
            return false;
        }
        // Where the darkest target may lie for each choice to serve it.
        let serves = shown.iter().map(|&(low, high)| (high - error, low + error));
        let serves: Vec<(f64, f64)> = serves.filter(|(from, to)| from <= to).collect();
        let mut left = serves.clone();
        for level in 1..levels {
            let by = level as f64 * step;
            let both = |a: &(f64, f64)| {
                let a = *a;
                let each = serves
                    .iter()
                    .map(move |b| (a.0.max(b.0 - by), a.1.min(b.1 - by)));
                each.filter(|(from, to)| from <= to)
            };
            left = left.iter().flat_map(both).collect();
            // Pieces of one stretch are one.
            left.sort_by(|a, b| a.0.total_cmp(&b.0));
            left.dedup_by(|next, kept| {
                let joined = next.0 <= kept.1;
                if joined {
                    kept.1 = kept.1.max(next.1);
                }
                joined
            });
        }
        if !left.is_empty() {
            return true;
        }
        multiple += 1.0;
    }
}

/// One scheme at one climate, stepped.
struct Plain<'a> {
    response: &'a Response,
    erase: &'a Erase,
    fields: &'a [Field],
    rows: usize,
    settle_ms: f64,
    temperature_c: f64,
    stretch: f64,
}

/// Maps of pieces that were met: by voltage and duration.
type Met = RefCell<BTreeMap<(u64, u64), Map>>;

impl Plain<'_> {
    /// Lightness of a pixel with these ticks in a row, all other rows at their darkest or at their lightest, after a dark or a
    /// clear panel.
    fn lstar(&self, row: usize, ticks: &[u32], dark: bool) -> f64 {
        self.seen(|mover, met| {
            let mut x = self.erased(mover, met, dark);
            for (field, &own) in self.fields.iter().zip(ticks) {
                for other in 0..self.rows {
                    let pieces = if other == row {
                        field.own_slot(own)
                    } else {
                        field.other_slot(extreme(field, dark))
                    };
                    x = slot(mover, met, field, &pieces, x);
                }
                x = held(mover, met, 0.0, self.settle_ms * 1e-3, x);
            }
            vec![x]
        })[0]
    }

    /// Lightness of every choice of ticks in the last row.
    fn choices(&self, dark: bool) -> Vec<f64> {
        self.seen(|mover, met| {
            let mut states = vec![self.erased(mover, met, dark)];
            for field in self.fields {
                let others = field.other_slot(extreme(field, dark));
                let mut next = Vec::new();
                for mut x in states {
                    for _ in 1..self.rows {
                        x = slot(mover, met, field, &others, x);
                    }
                    for own in 0..=field.slot_ticks {
                        let x = slot(mover, met, field, &field.own_slot(own), x);
                        next.push(held(mover, met, 0.0, self.settle_ms * 1e-3, x));
                    }
                }
                states = next;
            }
            states
        })
    }

    fn erased(&self, mover: &Mover, met: &Met, dark: bool) -> State {
        let kinetics = &self.response.kinetics;
        let before = if dark {
            kinetics.highest()
        } else {
            kinetics.lowest()
        };
        let strokes = self.erase.strokes.iter();
        strokes.fold(before, |x, s| held(mover, met, s.pixel_v, s.ms * 1e-3, x))
    }

    /// Lightness of the states that every class ends in, rested.
    fn seen(&self, ends: impl Fn(&Mover, &Met) -> Vec<State>) -> Vec<f64> {
        let mut coverage: Vec<f64> = Vec::new();
        for mover in self.response.movers(self.temperature_c, self.stretch) {
            let met = Met::default();
            let ends = ends(&mover, &met);
            coverage.resize(ends.len(), 0.0);
            for (sum, x) in coverage.iter_mut().zip(ends) {
                let rested = held(&mover, &met, 0.0, self.erase.rest_ms * 1e-3, x);
                *sum += mover.class.share * coverage_of(&rested);
            }
        }
        coverage
            .into_iter()
            .map(|a| self.response.curve.lstar(a))
            .collect()
    }
}

/// Ticks of other rows that are darkest or lightest.
fn extreme(field: &Field, dark: bool) -> u32 {
    if dark == (field.direction() > 0.0) {
        field.slot_ticks
    } else {
        0
    }
}

fn slot(mover: &Mover, met: &Met, field: &Field, pieces: &[Piece], x: State) -> State {
    let tick_s = field.tick_s();
    pieces.iter().fold(x, |x, p| {
        held(mover, met, p.pixel_v, f64::from(p.ticks) * tick_s, x)
    })
}

fn held(mover: &Mover, met: &Met, pixel_v: f64, seconds: f64, x: State) -> State {
    let key = (pixel_v.to_bits(), seconds.to_bits());
    let mut met = met.borrow_mut();
    met.entry(key)
        .or_insert_with(|| mover.hold(pixel_v, seconds))
        .apply(&x)
}
