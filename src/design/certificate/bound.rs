//! What no scheme of a region can go beyond: bounds over ranges of voltages at fixed durations.
//!
//! They look at the last row at one climate. Its lightest content (all others at −D, after a clear panel) and its darkest (all at
//! +D, after a dark one) are two of the cases that a ladder must stand, so that leaving out the rest can only widen it. A
//! higher voltage at any moment never gives a lower coverage (Kamke 1932; Müller 1927, from memory), so taking the
//! end of a range for every voltage bounds all schemes between.

use super::holds::Holds;
use super::places::FieldPlaces;
use super::region::Region;
use super::windows::{Ladder, first_where, order};
use crate::design::choice::Demand;
use crate::design::reach::Climate;
use crate::design::search::CurveTable;
use crate::pigment::{Map, State, value};
use crate::response::{COVERAGE_ROW, Response, rest_map, strokes_map};
use crate::waveforms::{FIELDS_MAX, Frame, Lattice};

/// What the table of the curve and rounding may be off, L*.
pub const MARGIN_LSTAR: f64 = 1e-3;

/// What is asked of a region.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    pub demand: Demand,
    /// Only ladders wider than this count, L*.
    pub beyond_lstar: f64,
}

/// What a region's bounds say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// Dark and light lie too close together.
    Reach,
    /// No choice of ticks comes near enough to some level.
    Level,
    /// Not ruled out: no ladder is wider than this, L*.
    Open(f64),
}

/// A frame ready to be bounded at one climate.
pub struct Bounds<'a> {
    holds: &'a Holds,
    curve: &'a CurveTable,
    filling: usize,
    mirrored: bool,
    classes: usize,
    /// After the erase, one a class: from the clear and from the dark panel.
    starts: [Vec<State>; 2],
    fields: Vec<FieldPlaces>,
    settle: Vec<Map>,
    /// Rest, seen: coverage as a function of the state after the last settling, one a class, its share in it.
    seen: Vec<[f64; 4]>,
    scratch: [Side; 2],
}

/// The voltages of a field at one end of a region.
#[derive(Debug, Clone, Copy, Default)]
struct Drive {
    on: usize,
    off: usize,
    /// Mirrored half: first as long as on, then as long as off.
    back: usize,
    forth: usize,
    others: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    /// No scheme is darker with its lightest content.
    Upper,
    /// No scheme is lighter with its darkest content.
    Lower,
}

/// One end's numbers for a region.
#[derive(Debug, Default)]
struct Side {
    drives: [Drive; FIELDS_MAX],
    /// Before the filling field's slot, one a combination of earlier ticks and class.
    before: Vec<State>,
    /// Coverage, of the state after the filling field's own slot: one a combination of later ticks and class.
    after: Vec<[f64; 4]>,
    /// Coverage by combination and ticks, NaN where not asked yet.
    known: Vec<f64>,
    /// Where nothing follows the filling field: coverage as a function of the state before its slot, by ticks and class; and
    /// for which ticks it stands there.
    functionals: Vec<[f64; 4]>,
    standing: Vec<bool>,
}

impl<'a> Bounds<'a> {
    /// The maps of all that stands in a frame.
    pub fn new(
        lattice: &'a Lattice,
        frame: &'a Frame,
        response: &Response,
        climate: Climate,
        holds: &'a Holds,
        curve: &'a CurveTable,
    ) -> Self {
        let movers = response.movers(climate.temperature_c, climate.stretch);
        let kind = &lattice.kinds[frame.kind];
        let erase = &lattice.erases[frame.erase];
        let erased: Vec<Map> = movers
            .iter()
            .map(|m| strokes_map(m, &erase.strokes))
            .collect();
        let settle: Vec<Map> = movers
            .iter()
            .map(|m| m.hold(0.0, lattice.settle_ms * 1e-3))
            .collect();
        let kinetics = &response.kinetics;
        let starts = [kinetics.lowest(), kinetics.highest()]
            .map(|x| erased.iter().map(|e| e.apply(&x)).collect());
        let seen = movers.iter().map(|m| {
            let eye = rest_map(m, erase).pulled_back(&COVERAGE_ROW);
            eye.map(|e| m.class.share * e)
        });
        let fields = (0..frame.fields.len())
            .map(|f| FieldPlaces::new(lattice, frame, f, holds))
            .collect();
        Bounds {
            holds,
            curve,
            filling: kind.filling,
            mirrored: kind.mirrored,
            classes: movers.len(),
            starts,
            fields,
            settle,
            seen: seen.collect(),
            scratch: [Side::default(), Side::default()],
        }
    }

    /// What the bounds say of a region.
    pub fn verdict(&mut self, region: &Region, asked: &Asked) -> Verdict {
        let drives = [End::Upper, End::Lower].map(|end| self.drives(region, end));
        let darkest = self
            .curve
            .lstar(self.straight(&drives[0], End::Upper, true));
        let lightest = self
            .curve
            .lstar(self.straight(&drives[1], End::Lower, false));
        let steps = (asked.demand.levels - 1) as f64;
        let tolerance = asked.demand.tolerance_steps;
        let reach = lightest - darkest + 2.0 * MARGIN_LSTAR;
        // Both outer targets may lie beyond what is shown by the error allowed, tolerance · span / steps.
        let widest = reach / (1.0 - 2.0 * tolerance / steps).max(f64::MIN_POSITIVE);
        if widest <= asked.beyond_lstar {
            return Verdict::Reach;
        }
        let error = tolerance * widest / steps + MARGIN_LSTAR;
        let ladder = Ladder {
            levels: asked.demand.levels,
            least_step: asked.beyond_lstar.max(0.0) / steps,
            lowest: darkest - error,
            highest: lightest + error,
            error,
        };
        self.prepare(drives);
        for level in order(asked.demand.levels) {
            if !self.serves(&ladder, level) {
                return Verdict::Level;
            }
        }
        Verdict::Open(widest)
    }

    /// Voltages of all fields at one end of a region.
    fn drives(&self, region: &Region, end: End) -> [Drive; FIELDS_MAX] {
        let mut drives = [Drive::default(); FIELDS_MAX];
        for (f, field) in self.fields.iter().enumerate() {
            let range = |axis: usize| {
                let (low, high) = (
                    usize::from(region.low[axis]),
                    usize::from(region.high[axis]),
                );
                if end == End::Upper {
                    (high, low)
                } else {
                    (low, high)
                }
            };
            // `far` is the end that raises (lowers) what adds to the voltage, `near` what takes from it.
            let (select, _) = range(2 * f);
            let (far, near) = range(2 * f + 1);
            let plus = field.plus[select * field.datas + far];
            let minus = field.minus[select * field.datas + near];
            let (on, off) = if field.direction > 0.0 {
                (plus, minus)
            } else {
                (minus, plus)
            };
            let (up, down) = (field.data[far], field.back[near]);
            let (back, forth) = if field.direction > 0.0 {
                (down, up)
            } else {
                (up, down)
            };
            // Others at −D from above, at +D from below: the smallest D; then, mirrored, the other sign.
            let first = usize::from(region.low[2 * f + 1]);
            let others = if self.mirrored {
                first * field.datas + usize::from(region.high[2 * f + 1])
            } else {
                first
            };
            drives[f] = Drive {
                on,
                off,
                back,
                forth,
                others,
            };
        }
        drives
    }

    fn content(end: End) -> usize {
        match end {
            End::Upper => 0,
            End::Lower => 1,
        }
    }

    /// Coverage with every field at its darkest or lightest.
    fn straight(&self, drives: &[Drive; FIELDS_MAX], end: End, dark: bool) -> f64 {
        let content = Self::content(end);
        let mut coverage = 0.0;
        for k in 0..self.classes {
            let mut x = self.starts[content][k];
            for (f, field) in self.fields.iter().enumerate() {
                x = field.others[content][drives[f].others][k].apply(&x);
                let on = field.on_ticks(if dark { field.slot_ticks } else { 0 });
                x = self.own(f, &drives[f], k, on, x);
                x = self.settle[k].apply(&field.guard[k].apply(&x));
            }
            coverage += value(&self.seen[k], &x);
        }
        coverage
    }

    /// After the pixel's own slot, without its guard.
    #[inline]
    fn own(&self, f: usize, drive: &Drive, class: usize, on: u32, x: State) -> State {
        let off = self.fields[f].slot_ticks - on;
        let holds = self.holds;
        let mut x = holds.of(drive.on, on)[class].apply(&x);
        x = holds.of(drive.off, off)[class].apply(&x);
        if self.mirrored {
            x = holds.of(drive.back, on)[class].apply(&x);
            x = holds.of(drive.forth, off)[class].apply(&x);
        }
        x
    }

    /// The same, backwards, for a function of the state after it.
    #[inline]
    fn own_back(&self, f: usize, drive: &Drive, class: usize, on: u32, of: [f64; 4]) -> [f64; 4] {
        let off = self.fields[f].slot_ticks - on;
        let holds = self.holds;
        let mut of = of;
        if self.mirrored {
            of = holds.of(drive.forth, off)[class].pulled_back(&of);
            of = holds.of(drive.back, on)[class].pulled_back(&of);
        }
        of = holds.of(drive.off, off)[class].pulled_back(&of);
        holds.of(drive.on, on)[class].pulled_back(&of)
    }

    fn prepare(&mut self, drives: [[Drive; FIELDS_MAX]; 2]) {
        let mut scratch = std::mem::take(&mut self.scratch);
        for (side, (drives, end)) in scratch
            .iter_mut()
            .zip(drives.into_iter().zip([End::Upper, End::Lower]))
        {
            side.drives = drives;
            self.prepare_side(side, end);
        }
        self.scratch = scratch;
    }

    fn prepare_side(&self, side: &mut Side, end: End) {
        let content = Self::content(end);
        let classes = self.classes;
        let mut states = self.starts[content].clone();
        for f in 0..self.filling {
            let (field, drive) = (&self.fields[f], &side.drives[f]);
            let mut next = Vec::with_capacity(states.len() * (field.slot_ticks as usize + 1));
            for states in states.chunks(classes) {
                for on in 0..=field.slot_ticks {
                    for (k, x) in states.iter().enumerate() {
                        let x = field.others[content][drive.others][k].apply(x);
                        let x = self.own(f, drive, k, on, x);
                        next.push(self.settle[k].apply(&field.guard[k].apply(&x)));
                    }
                }
            }
            states = next;
        }
        let filling = &self.fields[self.filling];
        let others = &filling.others[content][side.drives[self.filling].others];
        side.before.clear();
        side.before.extend(
            states
                .iter()
                .enumerate()
                .map(|(i, x)| others[i % classes].apply(x)),
        );
        let mut after: Vec<[f64; 4]> = self.seen.clone();
        for f in (self.filling + 1..self.fields.len()).rev() {
            let (field, drive) = (&self.fields[f], &side.drives[f]);
            let mut next = Vec::with_capacity(after.len() * (field.slot_ticks as usize + 1));
            for on in 0..=field.slot_ticks {
                for (i, seen) in after.iter().enumerate() {
                    let k = i % classes;
                    let seen = field.guard[k].pulled_back(&self.settle[k].pulled_back(seen));
                    let seen = self.own_back(f, drive, k, on, seen);
                    next.push(field.others[content][drive.others][k].pulled_back(&seen));
                }
            }
            after = next;
        }
        side.after.clear();
        side.after.extend(after.iter().enumerate().map(|(i, seen)| {
            let k = i % classes;
            filling.guard[k].pulled_back(&self.settle[k].pulled_back(seen))
        }));
        let ticks = filling.slot_ticks as usize + 1;
        let combinations = side.before.len() / classes * (side.after.len() / classes);
        side.known.clear();
        side.known.resize(combinations * ticks, f64::NAN);
        side.functionals.resize(ticks * classes, [0.0; 4]);
        side.standing.clear();
        side.standing.resize(ticks, false);
    }

    /// Coverage at one end of the region with these ticks.
    fn coverage(&self, side: &mut Side, before: usize, after: usize, ticks: u32) -> f64 {
        let classes = self.classes;
        let afters = side.after.len() / classes;
        let field = &self.fields[self.filling];
        let at = (before * afters + after) * (field.slot_ticks as usize + 1) + ticks as usize;
        if !side.known[at].is_nan() {
            return side.known[at];
        }
        let drive = side.drives[self.filling];
        let on = field.on_ticks(ticks);
        let states = &side.before[before * classes..][..classes];
        let seen = &side.after[after * classes..][..classes];
        let coverage: f64 = if afters == 1 {
            let functionals = &mut side.functionals[ticks as usize * classes..][..classes];
            if !side.standing[ticks as usize] {
                side.standing[ticks as usize] = true;
                for (k, (of, seen)) in functionals.iter_mut().zip(seen).enumerate() {
                    *of = self.own_back(self.filling, &drive, k, on, *seen);
                }
            }
            functionals
                .iter()
                .zip(states)
                .map(|(of, x)| value(of, x))
                .sum()
        } else {
            let each = states.iter().zip(seen).enumerate();
            each.map(|(k, (x, seen))| value(seen, &self.own(self.filling, &drive, k, on, *x)))
                .sum()
        };
        side.known[at] = coverage;
        coverage
    }

    /// Whether some choice of ticks may serve a level of some ladder wider than asked.
    fn serves(&mut self, ladder: &Ladder, level: usize) -> bool {
        let (low, high) = ladder.targets(level);
        // As coverages: dark enough with the lightest content, light enough with the darkest.
        let least = self.curve.coverage(high + ladder.error);
        let most_covered = self.curve.coverage(low - ladder.error);
        let classes = self.classes;
        let [mut upper, mut lower] = std::mem::take(&mut self.scratch);
        let (befores, afters) = (upper.before.len() / classes, upper.after.len() / classes);
        let most = self.fields[self.filling].slot_ticks;
        let mut found = false;
        let mut near = most / 2;
        'all: for before in 0..befores {
            for after in 0..afters {
                let dark = |u: u32| self.coverage(&mut upper, before, after, u) >= least;
                let Some(first) = first_where(most, near, dark) else {
                    continue;
                };
                near = first;
                for ticks in first..=most {
                    let darkest = self.coverage(&mut lower, before, after, ticks);
                    if darkest > most_covered {
                        break;
                    }
                    let lightest = self.coverage(&mut upper, before, after, ticks);
                    let apart = self.curve.lstar(lightest) - self.curve.lstar(darkest);
                    if apart <= 2.0 * ladder.error {
                        found = true;
                        break 'all;
                    }
                }
            }
        }
        self.scratch = [upper, lower];
        found
    }
}
