//! What a scheme can reach: for every choice of ticks, the lowest and highest coverage that rows, contents and
//! temperatures leave it.

use crate::drive::{Erase, Field};
use crate::pigment::{Map, Mover, State};
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
    /// Plain fields, at least one.
    pub fields: Vec<Field>,
}

impl Scheme {
    /// Choices of ticks that each field has.
    fn sizes(&self) -> impl DoubleEndedIterator<Item = usize> + '_ {
        self.fields.iter().map(|f| f.slot_ticks as usize + 1)
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
    /// is monotone (Kamke 1932; Müller 1927; see Hirsch & Smith, Monotone Dynamical Systems, 2005, from memory).
    pub fn new(scope: &Scope, scheme: &Scheme) -> Reach {
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
        let mut coverage = vec![0.0; scheme.choices()];
        for mover in scope
            .response
            .movers(climate.temperature_c, climate.stretch)
        {
            let class = ClassMaps::new(scope, scheme, &mover);
            class.add_coverage(scope, scope.panel_rows / 2, Others::Half, &mut coverage);
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
enum Others {
    Off,
    On,
    Half,
}

/// One field of a scheme for one class.
struct FieldMaps {
    /// The pixel's own slot with 0…slot_ticks on, without the guard.
    own: Vec<Map>,
    guard: Map,
    /// The whole slot of another row at the lower and at the higher of its two voltages, and half at each.
    other: [Map; 3],
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
            let after = other.power(below).then(&self.settle);
            let before = other.power(above);
            let own = |x: &State| field.own_states(before.apply(x), &field.guard.then(&after));
            states = states.iter().flat_map(own).collect();
        }
        let other = &last.other[others as usize];
        let after = last.guard.then(&other.power(below)).then(&self.end);
        let eyes = last.own_functionals(&other.power(above), &after);
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
        let other = |v: f64| hold(v, 1.0).then(&guard);
        let half = hold(field.data_v, 0.5).then(&hold(-field.data_v, 0.5));
        let on = mover.hold(field.own_on_v(), field.tick_s()).powers(ticks);
        let off = mover.hold(field.own_off_v(), field.tick_s()).powers(ticks);
        FieldMaps {
            own: on
                .iter()
                .zip(off.iter().rev())
                .map(|(on, off)| on.then(off))
                .collect(),
            guard,
            other: [other(-field.data_v), other(field.data_v), half.then(&guard)],
        }
    }

    /// States after the own slot with each choice of ticks and `after`, from `x` before the slot.
    fn own_states(&self, x: State, after: &Map) -> Vec<State> {
        self.own
            .iter()
            .map(|own| after.apply(&own.apply(&x)))
            .collect()
    }

    /// For each choice of ticks, coverage at the end as an affine function of the state before the field.
    fn own_functionals(&self, before: &Map, after: &Map) -> Vec<[f64; 4]> {
        let eye = after.pulled_back(&COVERAGE_ROW);
        self.own
            .iter()
            .map(|own| before.pulled_back(&own.pulled_back(&eye)))
            .collect()
    }
}

/// Lightness of the pixel in the last row with these ticks in each field, all other rows on or off.
pub fn lstar_of(
    response: &Response,
    scheme: &Scheme,
    rows: usize,
    settle_ms: f64,
    climate: Climate,
    ticks: impl Fn(&Field) -> u32,
    on: bool,
) -> f64 {
    let mut coverage = 0.0;
    for mover in response.movers(climate.temperature_c, climate.stretch) {
        let mut x = strokes_map(&mover, &scheme.erase.strokes).apply(&response.kinetics.highest());
        for field in &scheme.fields {
            let hold = |v: f64, ticks: u32| mover.hold(v, f64::from(ticks) * field.tick_s());
            let guard = hold(0.0, field.guard_ticks);
            let other_v = if on {
                field.other_on_v()
            } else {
                -field.other_on_v()
            };
            let own = ticks(field);
            x = hold(other_v, field.slot_ticks)
                .then(&guard)
                .power(rows - 1)
                .apply(&x);
            x = hold(field.own_on_v(), own).apply(&x);
            x = hold(field.own_off_v(), field.slot_ticks - own)
                .then(&guard)
                .apply(&x);
            x = mover.hold(0.0, settle_ms * 1e-3).apply(&x);
        }
        coverage += mover.class.share * coverage_of(&rest_map(&mover, &scheme.erase).apply(&x));
    }
    response.curve.lstar(coverage)
}
