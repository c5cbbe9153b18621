//! What a scheme can reach: for every choice of ticks, the lowest and highest coverage that rows, contents and
//! temperatures leave it.

use super::pull::{Pull, Pulls};
use super::side_by_side;
use crate::drive::{Erase, Field};
use crate::pigment::{Map, Mover, SlotMaps, State};
use crate::response::{COVERAGE_ROW, Response, coverage_of, rest_map, strokes_map};

/// A temperature and the factor on every duration there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Climate {
    pub temperature_c: f64,
    pub stretch: f64,
}

/// An erase and the fields after it.
#[derive(Debug, Clone, PartialEq)]
pub struct Scheme {
    pub erase: Erase,
    /// At least one.
    pub fields: Vec<Field>,
}

impl Scheme {
    /// Choices of ticks that each field has.
    fn sizes(&self) -> impl DoubleEndedIterator<Item = usize> + '_ {
        self.fields.iter().map(|f| f.slot_ticks as usize + 1)
    }

    /// Whether some field is followed by its mirror image.
    pub fn is_mirrored(&self) -> bool {
        self.fields.iter().any(|f| f.mirrored)
    }

    /// How many choices of ticks there are.
    pub fn choices(&self) -> usize {
        self.sizes().product()
    }

    /// The ticks of a choice, one a field; the last field's run fastest.
    pub fn ticks_of(&self, choice: usize) -> Vec<u32> {
        let mut rest = choice;
        let mut ticks: Vec<u32> = Vec::with_capacity(self.fields.len());
        for size in self.sizes().rev() {
            ticks.push((rest % size) as u32);
            rest /= size;
        }
        ticks.reverse();
        ticks
    }

    /// In a few words.
    pub fn in_words(&self) -> String {
        let fields: Vec<String> = self.fields.iter().map(Field::in_words).collect();
        format!("{} erase; {}", self.erase.name, fields.join("; "))
    }
}

/// The panel as a reach sees it, and what is to be covered.
#[derive(Debug, Clone)]
pub struct Scope<'a> {
    pub response: &'a Response,
    pub panel_rows: usize,
    pub settle_ms: f64,
    pub climates: Vec<Climate>,
    /// Rows to be covered, from 0.
    pub rows: Vec<usize>,
}

/// One climate, row and extreme content.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corner {
    pub climate: Climate,
    /// From 0.
    pub row: usize,
    /// Whether all other rows are at their darkest (on, in a darkening field) or at their lightest.
    pub on: bool,
}

/// Coverage extremes of every choice of ticks, the last field's ticks running fastest.
#[derive(Debug, Clone)]
pub struct Reach {
    pub low: Vec<f64>,
    pub high: Vec<f64>,
}

impl Reach {
    /// All choices of ticks of `scheme` over the scope.
    ///
    /// The lowest coverage of a pixel is that with all other rows of its column off (on, in a lightening field) after a clear
    /// panel, the highest that with all on (off) after a dark one:
    /// the slots of other rows are then, moment by moment, the lowest and highest that any data makes, and the chain
    /// is monotone (Kamke 1932; Müller 1927; see Hirsch & Smith, Monotone Dynamical Systems, 2005, from memory). In a mirrored
    /// field no content is extreme at every moment, and what stands here is a bound; see [`Pull`].
    pub fn new(scope: &Scope, scheme: &Scheme) -> Reach {
        if side_by_side::serves(scheme) {
            return side_by_side::reach(scope, scheme);
        }
        let count = scheme.choices();
        let mut reach = Reach {
            low: vec![f64::INFINITY; count],
            high: vec![0.0; count],
        };
        Self::each(scope, scheme, |place, coverage| {
            reach.take(coverage, place.on);
        });
        reach
    }

    /// Hands `see` the coverage of all choices of ticks at every climate, row and extreme content of the scope; before the
    /// erase the panel stood clear where the others are at their lightest, dark where they are at their darkest.
    pub fn each(scope: &Scope, scheme: &Scheme, mut see: impl FnMut(Corner, &[f64])) {
        if side_by_side::serves(scheme) {
            return side_by_side::each(scope, scheme, see);
        }
        let mut coverage = vec![0.0; scheme.choices()];
        for &climate in &scope.climates {
            let classes: Vec<ClassMaps> = scope
                .response
                .movers(climate.temperature_c, climate.stretch)
                .iter()
                .map(|mover| ClassMaps::new(scope, scheme, mover))
                .collect();
            for &row in &scope.rows {
                for on in [false, true] {
                    coverage.fill(0.0);
                    for class in &classes {
                        let others = if on { Others::On } else { Others::Off };
                        class.add_coverage(scope, row, others, &mut coverage);
                    }
                    see(Corner { climate, row, on }, &coverage);
                }
            }
        }
    }

    /// Coverage of every choice in the middle row at one climate, all other rows half on, after a dark panel.
    pub fn ordinary(scope: &Scope, scheme: &Scheme, climate: Climate) -> Vec<f64> {
        Self::ordinary_in(scope, scheme, climate, scope.panel_rows / 2)
    }

    /// The same in another row, from 0.
    pub fn ordinary_in(scope: &Scope, scheme: &Scheme, climate: Climate, row: usize) -> Vec<f64> {
        if side_by_side::serves(scheme) {
            return side_by_side::ordinary(scope, scheme, climate, row);
        }
        let mut coverage = vec![0.0; scheme.choices()];
        for mover in scope
            .response
            .movers(climate.temperature_c, climate.stretch)
        {
            let class = ClassMaps::new(scope, scheme, &mover);
            class.add_coverage(scope, row, Others::Half, &mut coverage);
        }
        coverage
    }

    fn take(&mut self, coverage: &[f64], on: bool) {
        if on {
            self.high
                .iter_mut()
                .zip(coverage)
                .for_each(|(h, &c)| *h = h.max(c));
        } else {
            self.low
                .iter_mut()
                .zip(coverage)
                .for_each(|(l, &c)| *l = l.min(c));
        }
    }
}

/// What all other rows show while one is looked at: an index into their slot maps.
#[derive(Debug, Clone, Copy)]
pub(super) enum Others {
    Off,
    On,
    Half,
}

/// One field of a scheme for one class.
struct FieldMaps {
    /// The pixel's own slot with 0…slot_ticks on, without the guard.
    own: Vec<Map>,
    guard: Map,
    /// The whole slot of another row at its lightest and at its darkest, and half at each voltage.
    other: [Pull; 3],
}

/// One class at one climate.
struct ClassMaps {
    share: f64,
    /// After the erase, from the clear and from the dark panel.
    starts: [State; 2],
    fields: Vec<FieldMaps>,
    settle: Map,
    /// Settle, then rest: what stands between the last field and the eye.
    end: Map,
}

impl ClassMaps {
    fn new(scope: &Scope, scheme: &Scheme, mover: &Mover) -> Self {
        let settle = mover.hold(0.0, scope.settle_ms * 1e-3);
        let erased = strokes_map(mover, &scheme.erase.strokes);
        let kinetics = &scope.response.kinetics;
        ClassMaps {
            share: mover.class.share,
            starts: [kinetics.lowest(), kinetics.highest()].map(|x| erased.apply(&x)),
            fields: scheme
                .fields
                .iter()
                .map(|f| FieldMaps::new(mover, f))
                .collect(),
            settle,
            end: settle.then(&rest_map(mover, &scheme.erase)),
        }
    }

    /// Adds this class's share of the coverage of every choice of ticks.
    fn add_coverage(&self, scope: &Scope, row: usize, others: Others, coverage: &mut [f64]) {
        let Some((last, firsts)) = self.fields.split_last() else {
            return;
        };
        let (above, below) = (row, scope.panel_rows - 1 - row);
        let [clear, dark] = self.starts;
        let start = match others {
            Others::Off => clear,
            Others::On | Others::Half => dark,
        };
        let mut states = vec![start];
        for field in firsts {
            let other = &field.other[others as usize];
            let (before, after) = (other.times(above), other.times(below));
            let end = |x: &State| self.settle.apply(&after.apply(&field.guard.apply(x)));
            let own = |x: &State| match &after {
                Pulls::Straight(map) => {
                    let after = field.guard.then(&map.then(&self.settle));
                    field.own_states(before.apply(x), |x| after.apply(x))
                }
                Pulls::Farthest { .. } => field.own_states(before.apply(x), end),
            };
            states = states.iter().flat_map(own).collect();
        }
        let other = &last.other[others as usize];
        let (before, after) = (other.times(above), other.times(below));
        let seen = last
            .guard
            .pulled_back(&after.pulled_back(&self.end.pulled_back(&COVERAGE_ROW)));
        let eyes = match &before {
            Pulls::Straight(map) => last.own_functionals(&seen, map),
            Pulls::Farthest { .. } => {
                states.iter_mut().for_each(|x| *x = before.apply(x));
                last.own_functionals(&seen, &Map::IDENTITY)
            }
        };
        for (state, row) in states.iter().zip(coverage.chunks_mut(eyes.len())) {
            for (eye, coverage) in eyes.iter().zip(row) {
                let seen = eye[0] * state[0] + eye[1] * state[1] + eye[2] * state[2] + eye[3];
                *coverage += self.share * seen;
            }
        }
    }
}

impl FieldMaps {
    fn new(mover: &Mover, field: &Field) -> Self {
        let ticks = field.slot_ticks as usize;
        let guard = mover.hold(0.0, f64::from(field.guard_ticks) * field.tick_s());
        let slot_s = f64::from(field.slot_ticks) * field.tick_s();
        let hold = |v: f64, share: f64| mover.hold(v, share * slot_s);
        let halves = |v: f64| hold(v, 0.5).then(&hold(-v, 0.5));
        let on = mover.hold(field.own_on_v(), field.tick_s()).powers(ticks);
        let off = mover.hold(field.own_off_v(), field.tick_s()).powers(ticks);
        let own = on
            .iter()
            .zip(off.iter().rev())
            .map(|(on, off)| on.then(off));
        if field.mirrored {
            let back = mover
                .hold(-field.other_on_v(), field.tick_s())
                .powers(ticks);
            let forth = mover.hold(field.other_on_v(), field.tick_s()).powers(ticks);
            let mirror = back.iter().zip(forth.iter().rev()).map(|(b, f)| b.then(f));
            let slots = SlotMaps::new(mover, field);
            let half = halves(field.data_v).then(&halves(-field.data_v));
            return FieldMaps {
                own: own
                    .zip(mirror)
                    .map(|(own, mirror)| own.then(&mirror))
                    .collect(),
                other: [
                    Pull::farthest(&slots, 0..=field.slot_ticks, false),
                    Pull::farthest(&slots, 0..=field.slot_ticks, true),
                    Pull::Straight(half.then(&guard)),
                ],
                guard,
            };
        }
        let other = |v: f64| Pull::Straight(hold(v, 1.0).then(&guard));
        FieldMaps {
            own: own.collect(),
            other: [
                other(-field.data_v),
                other(field.data_v),
                Pull::Straight(halves(field.data_v).then(&guard)),
            ],
            guard,
        }
    }

    /// States after the own slot with each choice of ticks and what comes `after`, from `x` before the slot.
    fn own_states(&self, x: State, after: impl Fn(&State) -> State) -> Vec<State> {
        self.own.iter().map(|own| after(&own.apply(&x))).collect()
    }

    /// For each choice of ticks, coverage at the end as an affine function of the state before the other rows' slots that
    /// `before` stands for; `seen`: of that after the own slot.
    fn own_functionals(&self, seen: &[f64; 4], before: &Map) -> Vec<[f64; 4]> {
        self.own
            .iter()
            .map(|own| before.pulled_back(&own.pulled_back(seen)))
            .collect()
    }
}

/// Lightness of the pixel in the last row with these ticks in each field: all other rows off, all on.
pub fn lstars_of(
    response: &Response,
    scheme: &Scheme,
    rows: usize,
    settle_ms: f64,
    climate: Climate,
    ticks: impl Fn(&Field) -> u32,
) -> [f64; 2] {
    let mut coverage = [0.0; 2];
    for mover in response.movers(climate.temperature_c, climate.stretch) {
        let erased = strokes_map(&mover, &scheme.erase.strokes).apply(&response.kinetics.highest());
        let settle = mover.hold(0.0, settle_ms * 1e-3);
        let mut states = [erased; 2];
        for field in &scheme.fields {
            let guard = mover.hold(0.0, f64::from(field.guard_ticks) * field.tick_s());
            let slot = |on_v: f64, off_v: f64, on: u32| slot_of(&mover, field, (on_v, off_v), on);
            let own = slot(field.own_on_v(), field.own_off_v(), ticks(field))
                .then(&guard)
                .then(&settle);
            for (x, on) in states.iter_mut().zip([0, field.slot_ticks]) {
                let other = slot(field.other_on_v(), -field.other_on_v(), on).then(&guard);
                *x = own.apply(&other.power(rows - 1).apply(x));
            }
        }
        let rest = rest_map(&mover, &scheme.erase);
        for (coverage, x) in coverage.iter_mut().zip(&states) {
            *coverage += mover.class.share * coverage_of(&rest.apply(x));
        }
    }
    coverage.map(|a| response.curve.lstar(a))
}

/// A slot at these voltages with so many ticks on, its mirror image with it, without the guard.
fn slot_of(mover: &Mover, field: &Field, (on_v, off_v): (f64, f64), on: u32) -> Map {
    let hold = |v: f64, ticks: u32| mover.hold(v, f64::from(ticks) * field.tick_s());
    let off = field.slot_ticks - on;
    let slot = hold(on_v, on).then(&hold(off_v, off));
    if field.mirrored {
        let data_v = field.other_on_v();
        slot.then(&hold(-data_v, on)).then(&hold(data_v, off))
    } else {
        slot
    }
}
