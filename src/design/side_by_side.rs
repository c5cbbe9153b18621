//! What schemes of plain fields reach, several climates side by side: the same as [`Reach`] one climate after another, in a
//! fraction of the time. No content bends in a plain field, so that every map is one.

use super::reach::{Climate, Corner, Others, Reach, Scheme, Scope};
use crate::drive::{Field, Stroke};
use crate::pigment::{LANES, Lanes, Map, Mover, Number, State, hold_side_by_side, value};
use crate::response::COVERAGE_ROW;
use multiversion::multiversion;

/// Whether the way serves a scheme.
pub(super) fn serves(scheme: &Scheme) -> bool {
    scheme.fields.iter().all(|f| !f.mirrored)
}

/// [`Reach::new`].
pub(super) fn reach(scope: &Scope, scheme: &Scheme) -> Reach {
    let count = scheme.choices();
    let mut low = vec![Lanes([f64::INFINITY; LANES]); count];
    let mut high = vec![Lanes::ZERO; count];
    for climates in scope.climates.chunks(LANES) {
        sweep(scope, scheme, climates, |_, on, coverage| {
            let (kept, of): (_, fn(f64, f64) -> f64) = match on {
                true => (&mut high, f64::max),
                false => (&mut low, f64::min),
            };
            for (kept, c) in kept.iter_mut().zip(coverage) {
                for (kept, c) in kept.0.iter_mut().zip(c.0) {
                    *kept = of(*kept, c);
                }
            }
        });
    }
    let least = |l: &Lanes| l.0.into_iter().fold(f64::INFINITY, f64::min);
    let most = |l: &Lanes| l.0.into_iter().fold(0.0, f64::max);
    Reach {
        low: low.iter().map(least).collect(),
        high: high.iter().map(most).collect(),
    }
}

/// [`Reach::each`], in another order.
pub(super) fn each(scope: &Scope, scheme: &Scheme, mut see: impl FnMut(Corner, &[f64])) {
    let mut alone = Vec::new();
    for climates in scope.climates.chunks(LANES) {
        sweep(scope, scheme, climates, |row, on, coverage| {
            for (lane, &climate) in climates.iter().enumerate() {
                alone.clear();
                alone.extend(coverage.iter().map(|c| c.0[lane]));
                see(Corner { climate, row, on }, &alone);
            }
        });
    }
}

/// [`Reach::ordinary`].
pub(super) fn ordinary(scope: &Scope, scheme: &Scheme, climate: Climate, row: usize) -> Vec<f64> {
    let mut coverage = vec![Lanes::ZERO; scheme.choices()];
    for class in classes(scope, scheme, &[climate]) {
        class.add_coverage(scope, row, Others::Half, &mut coverage);
    }
    coverage.iter().map(|c| c.0[0]).collect()
}

/// Hands `see` every row and extreme content with the coverage of all choices of ticks there, climates side by side: up to
/// [`LANES`], the last one again in lanes that are left.
fn sweep(
    scope: &Scope,
    scheme: &Scheme,
    climates: &[Climate],
    mut see: impl FnMut(usize, bool, &[Lanes]),
) {
    let mut coverage = vec![Lanes::ZERO; scheme.choices()];
    let classes = classes(scope, scheme, climates);
    for &row in &scope.rows {
        for (on, others) in [(false, Others::Off), (true, Others::On)] {
            coverage.fill(Lanes::ZERO);
            for class in &classes {
                class.add_coverage(scope, row, others, &mut coverage);
            }
            see(row, on, &coverage);
        }
    }
}

/// Every class at some climates.
fn classes(scope: &Scope, scheme: &Scheme, climates: &[Climate]) -> Vec<ClassMaps> {
    let movers = climates
        .iter()
        .map(|c| scope.response.movers(c.temperature_c, c.stretch));
    let movers: Vec<Vec<Mover>> = movers.collect();
    let count = movers.first().map_or(0, Vec::len);
    let of = |k: usize| -> Vec<Mover> { movers.iter().map(|m| m[k]).collect() };
    (0..count)
        .filter_map(|k| ClassMaps::new(scope, scheme, &of(k)))
        .collect()
}

/// One field of a scheme for one class.
struct FieldMaps {
    /// The pixel's own slot with 0…slot_ticks on, without the guard.
    own: Vec<Map<Lanes>>,
    guard: Map<Lanes>,
    /// The whole slot of another row at the lower and at the higher of its two voltages, and half at each.
    other: [Map<Lanes>; 3],
}

/// One class at some climates.
struct ClassMaps {
    share: f64,
    /// After the erase, from the clear and from the dark panel.
    starts: [State<Lanes>; 2],
    fields: Vec<FieldMaps>,
    settle: Map<Lanes>,
    /// Settle, then rest: what stands between the last field and the eye.
    end: Map<Lanes>,
}

impl ClassMaps {
    /// `None` of no movers.
    fn new(scope: &Scope, scheme: &Scheme, movers: &[Mover]) -> Option<Self> {
        let hold = |v: f64, seconds: f64| hold_side_by_side(movers, v, seconds);
        let strokes = scheme.erase.strokes.iter();
        let stroke = |done: Map<Lanes>, s: &Stroke| done.then(&hold(s.pixel_v, s.ms * 1e-3));
        let erased = strokes.fold(Map::IDENTITY, stroke);
        let settle = hold(0.0, scope.settle_ms * 1e-3);
        let kinetics = &scope.response.kinetics;
        let start = |x: State| erased.apply(&x.map(|x| Lanes([x; LANES])));
        let fields = scheme.fields.iter().map(|f| FieldMaps::new(&hold, f));
        Some(ClassMaps {
            share: movers.first()?.class.share,
            starts: [kinetics.lowest(), kinetics.highest()].map(start),
            fields: fields.collect(),
            settle,
            end: settle.then(&hold(0.0, scheme.erase.rest_ms * 1e-3)),
        })
    }

    /// Adds this class's share of the coverage of every choice of ticks.
    fn add_coverage(&self, scope: &Scope, row: usize, others: Others, coverage: &mut [Lanes]) {
        let [clear, dark] = self.starts;
        let start = match others {
            Others::Off => clear,
            Others::On | Others::Half => dark,
        };
        let rows = (row, scope.panel_rows - 1 - row);
        add_coverage(self, start, rows, others, coverage);
    }
}

/// Of all choices of ticks with so many rows above and below.
#[multiversion(targets("x86_64+avx2"))]
fn add_coverage(
    class: &ClassMaps,
    start: State<Lanes>,
    (above, below): (usize, usize),
    others: Others,
    coverage: &mut [Lanes],
) {
    let Some((last, firsts)) = class.fields.split_last() else {
        return;
    };
    let mut states = vec![start];
    for field in firsts {
        let other = &field.other[others as usize];
        let after = field.guard.then(&other.power(below)).then(&class.settle);
        let before = other.power(above);
        let mut next = Vec::with_capacity(states.len() * field.own.len());
        for x in &states {
            let x = before.apply(x);
            for own in &field.own {
                next.push(after.apply(&own.apply(&x)));
            }
        }
        states = next;
    }
    let other = &last.other[others as usize];
    let before = other.power(above);
    let after = last.guard.then(&other.power(below)).then(&class.end);
    let share = Lanes([class.share; LANES]);
    // For each choice, the class's share of coverage at the end as an affine function of the state before the slot.
    let eye = after.pulled_back(&COVERAGE_ROW.map(|c| share * Lanes([c; LANES])));
    let mut eyes = Vec::with_capacity(last.own.len());
    for own in &last.own {
        eyes.push(own.pulled_back(&eye));
    }
    let states: Vec<State<Lanes>> = states.iter().map(|x| before.apply(x)).collect();
    // States innermost, so that compilers put lanes side by side and not choices.
    for (choice, eye) in eyes.iter().enumerate() {
        let column = coverage[choice..].iter_mut().step_by(eyes.len());
        for (coverage, x) in column.zip(&states) {
            *coverage = *coverage + value(eye, x);
        }
    }
}

/// The own slot with every number of ticks on.
#[multiversion(targets("x86_64+avx2"))]
fn own_slots(on: &Map<Lanes>, off: &Map<Lanes>, ticks: usize) -> Vec<Map<Lanes>> {
    let mut own = off.powers(ticks);
    own.reverse();
    let mut before = Map::IDENTITY;
    for own in &mut own {
        *own = before.then(own);
        before = before.then(on);
    }
    own
}

impl FieldMaps {
    /// `hold` makes the maps of a constant voltage and so many seconds.
    fn new(hold: &impl Fn(f64, f64) -> Map<Lanes>, field: &Field) -> Self {
        let guard = hold(0.0, f64::from(field.guard_ticks) * field.tick_s());
        let half_s = 0.5 * f64::from(field.slot_ticks) * field.tick_s();
        let (light, dark) = (hold(-field.data_v, half_s), hold(field.data_v, half_s));
        let other = |half: &Map<Lanes>| half.then(half).then(&guard);
        let on = hold(field.own_on_v(), field.tick_s());
        let off = hold(field.own_off_v(), field.tick_s());
        FieldMaps {
            own: own_slots(&on, &off, field.slot_ticks as usize),
            guard,
            other: [other(&light), other(&dark), dark.then(&light).then(&guard)],
        }
    }
}
