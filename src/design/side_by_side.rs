//! What schemes of plain fields reach, classes and climates side by side: the same as [`Reach`] one climate after another, in a
//! fraction of the time. No content bends in a plain field, so that every map is one.

use super::rank_maps::{RankMaps, ranks};
use super::reach::{Climate, Corner, Others, Reach, Scheme, Scope};
use crate::pigment::{LANES, Lanes, Map, Mover, State, composed, value};
use crate::response::COVERAGE_ROW;
use multiversion::multiversion;
use std::iter::StepBy;
use std::ops::Range;

/// Whether the way serves a scheme.
pub(super) fn serves(scheme: &Scheme) -> bool {
    !scheme.is_mirrored()
}

const EXTREMES: [Others; 2] = [Others::Off, Others::On];
/// Two classes stand side by side, each at so many climates.
const CLIMATES: usize = LANES / 2;
/// The coverage at each climate.
type ByClimate = [f64; CLIMATES];

/// [`Reach::new`].
pub(super) fn reach(scope: &Scope, scheme: &Scheme) -> Reach {
    let count = scheme.choices();
    let (mut low, mut high) = (vec![f64::INFINITY; count], vec![0.0; count]);
    let corners = corners(scope);
    let mut ends = Vec::new();
    for climates in scope.climates.chunks(CLIMATES) {
        let ranks = by_climate(scope, scheme, climates);
        each_block(&ranks, &corners, add_by_climate, |choices, coverage| {
            extremes(coverage, corners.len(), &mut ends);
            for (choice, &[least, most]) in choices.zip(&ends) {
                low[choice] = f64::min(low[choice], least);
                high[choice] = f64::max(high[choice], most);
            }
        });
    }
    Reach { low, high }
}

/// [`Reach::each`], in another order.
pub(super) fn each(scope: &Scope, scheme: &Scheme, mut see: impl FnMut(Corner, &[f64])) {
    let corners = corners(scope);
    let count = scheme.choices();
    for climates in scope.climates.chunks(CLIMATES) {
        let mut all = vec![0.0; corners.len() * CLIMATES * count];
        let ranks = by_climate(scope, scheme, climates);
        each_block(&ranks, &corners, add_by_climate, |choices, coverage| {
            for (choice, coverage) in choices.zip(coverage.chunks(corners.len())) {
                let lanes = coverage.iter().flatten();
                for (all, lane) in all.chunks_mut(count).zip(lanes) {
                    all[choice] = *lane;
                }
            }
        });
        for (&(row, others), all) in corners.iter().zip(all.chunks(CLIMATES * count)) {
            let on = matches!(others, Others::On);
            for (&climate, coverage) in climates.iter().zip(all.chunks(count)) {
                see(Corner { climate, row, on }, coverage);
            }
        }
    }
}

/// [`Reach::ordinary`]: classes alone side by side.
pub(super) fn ordinary(scope: &Scope, scheme: &Scheme, climate: Climate, row: usize) -> Vec<f64> {
    let mut all = vec![0.0; scheme.choices()];
    let movers = scope
        .response
        .movers(climate.temperature_c, climate.stretch);
    let groups: Vec<Vec<Mover>> = movers.chunks(LANES).map(<[Mover]>::to_vec).collect();
    let ranks = ranks(scope, scheme, &groups, &[Others::Half]);
    for (group, rank) in groups.iter().zip(&ranks) {
        let rank = std::slice::from_ref(rank);
        each_block(rank, &[(row, Others::Half)], add, |choices, coverage| {
            for (choice, coverage) in choices.zip(coverage) {
                let lanes = coverage.0.iter().take(group.len());
                lanes.for_each(|c| all[choice] += c);
            }
        });
    }
    all
}

/// Rows with extreme contents, which alternate.
fn corners(scope: &Scope) -> Vec<(usize, Others)> {
    let both = |&row: &usize| EXTREMES.map(|others| (row, others));
    scope.rows.iter().flat_map(both).collect()
}

/// Of each choice the least coverage over corners and climates with others off, and the largest with them on.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn extremes(coverage: &[ByClimate], corners: usize, ends: &mut Vec<[f64; 2]>) {
    ends.clear();
    for coverage in coverage.chunks_exact(corners) {
        let (mut low, mut high) = ([f64::INFINITY; CLIMATES], [0.0; CLIMATES]);
        for pair in coverage.chunks_exact(2) {
            for lane in 0..CLIMATES {
                low[lane] = f64::min(low[lane], pair[0][lane]);
                high[lane] = f64::max(high[lane], pair[1][lane]);
            }
        }
        let low = low.into_iter().fold(f64::INFINITY, f64::min);
        ends.push([low, high.into_iter().fold(0.0, f64::max)]);
    }
}

/// Every class at up to [`CLIMATES`] climates, two classes to a rank.
fn by_climate(scope: &Scope, scheme: &Scheme, climates: &[Climate]) -> Vec<RankMaps> {
    let Some(last) = climates.len().checked_sub(1) else {
        return Vec::new();
    };
    let movers = climates
        .iter()
        .map(|c| scope.response.movers(c.temperature_c, c.stretch));
    let movers: Vec<Vec<Mover>> = movers.collect();
    let of = |class: usize| {
        let movers = &movers;
        (0..CLIMATES).map(move |lane| movers[lane.min(last)][class])
    };
    let classes: Vec<usize> = (0..movers[0].len()).collect();
    let pair = |pair: &[usize]| pair.iter().flat_map(|&class| of(class)).collect();
    let groups: Vec<Vec<Mover>> = classes.chunks(2).map(pair).collect();
    ranks(scope, scheme, &groups, &EXTREMES)
}

/// What stands around the last own slot of a rank in each corner.
struct Around {
    /// The rank's share of the coverage at the end, as an affine function of the state after the slot.
    eyes: Vec<[Lanes; 4]>,
    /// States before the slot with each choice of ticks in the fields before, corner by corner.
    states: Vec<State<Lanes>>,
    /// Room to work in.
    now: Vec<State<Lanes>>,
    next: Vec<State<Lanes>>,
}

impl Around {
    fn new(rank: &RankMaps, corners: &[(usize, Others)]) -> Self {
        let firsts = rank.fields.iter().rev().skip(1);
        let count: usize = firsts.map(|f| f.own.len()).product();
        let mut around = Around {
            eyes: Vec::with_capacity(corners.len()),
            states: Vec::with_capacity(corners.len() * count),
            now: Vec::with_capacity(count),
            next: Vec::with_capacity(count),
        };
        for &(row, others) in corners {
            go_around(rank, row, others, &mut around);
        }
        around
    }
}

/// Hands `see` the choices of ticks a block at a time, with what `add` has made of their coverage in every corner, those of
/// one choice next to each other.
#[inline(always)]
fn each_block<T: Copy + Default>(
    ranks: &[RankMaps],
    corners: &[(usize, Others)],
    add: impl Fn(&[Map<Lanes>], &Around, Range<usize>, &mut [T]),
    mut see: impl FnMut(StepBy<Range<usize>>, &[T]),
) {
    /// States and ticks whose coverage in all corners stays in the fastest cache while ranks go by.
    const BLOCK: usize = 16;
    const TICKS: usize = 4;
    let arounds: Vec<Around> = ranks.iter().map(|r| Around::new(r, corners)).collect();
    let Some(first) = arounds.first() else { return };
    let count = first.states.len() / corners.len();
    let ticks = ranks[0].fields.last().map_or(0, |f| f.own.len());
    let mut coverage = Vec::new();
    for from in (0..count).step_by(BLOCK) {
        let block = from..count.min(from + BLOCK);
        let each = block.len() * corners.len();
        for from in (0..ticks).step_by(TICKS) {
            let some = from..ticks.min(from + TICKS);
            coverage.clear();
            coverage.resize(some.len() * each, T::default());
            for (rank, around) in ranks.iter().zip(&arounds) {
                let own = &rank.fields[rank.fields.len() - 1].own[some.clone()];
                add(own, around, block.clone(), &mut coverage);
            }
            for (tick, coverage) in some.zip(coverage.chunks(each)) {
                let choices = block.start * ticks + tick..block.end * ticks;
                see(choices.step_by(ticks), coverage);
            }
        }
    }
}

/// Adds a rank's share of the coverage of some states with each of these own slots last, one class after another.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn add_by_climate(
    own: &[Map<Lanes>],
    around: &Around,
    block: Range<usize>,
    coverage: &mut [ByClimate],
) {
    seen(own, around, block, coverage, |sum, share| {
        let (first, second) = share.0.split_at(CLIMATES);
        for ((sum, first), second) in sum.iter_mut().zip(first).zip(second) {
            *sum += first;
            *sum += second;
        }
    });
}

/// The same lane by lane.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn add(own: &[Map<Lanes>], around: &Around, block: Range<usize>, coverage: &mut [Lanes]) {
    seen(own, around, block, coverage, |sum, share| {
        *sum = *sum + share
    });
}

/// Hands `add` what is seen of each state of a block in each corner.
#[inline(always)]
fn seen<T>(
    own: &[Map<Lanes>],
    around: &Around,
    block: Range<usize>,
    coverage: &mut [T],
    add: impl Fn(&mut T, Lanes),
) {
    let corners = around.eyes.len();
    let states = around.states.chunks_exact(around.states.len() / corners);
    let each = block.len() * corners;
    for (corner, (eye, states)) in around.eyes.iter().zip(states).enumerate() {
        for (own, coverage) in own.iter().zip(coverage.chunks_exact_mut(each)) {
            let eye = own.pulled_back(eye);
            let column = coverage[corner..].iter_mut().step_by(corners);
            for (coverage, x) in column.zip(&states[block.clone()]) {
                add(coverage, value(&eye, x));
            }
        }
    }
}

/// Adds what stands around the last own slot in one corner.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn go_around(rank: &RankMaps, row: usize, others: Others, around: &mut Around) {
    let Some((last, firsts)) = rank.fields.split_last() else {
        return;
    };
    let [clear, dark] = rank.starts;
    let start = match others {
        Others::Off => clear,
        Others::On | Others::Half => dark,
    };
    let (above, below) = (row, rank.panel_rows - 1 - row);
    let (states, next) = (&mut around.now, &mut around.next);
    states.clear();
    states.push(start);
    for field in firsts {
        let other = &field.other[others as usize];
        let before = composed(other, above);
        let after = field.guard.then(&composed(other, below)).then(&rank.settle);
        next.clear();
        for x in states.iter() {
            let x = before.apply(x);
            for own in field.own.iter() {
                next.push(after.apply(&own.apply(&x)));
            }
        }
        std::mem::swap(states, next);
    }
    let other = &last.other[others as usize];
    let before = composed(other, above);
    let after = last.guard.then(&composed(other, below)).then(&rank.end);
    for x in states.iter() {
        around.states.push(before.apply(x));
    }
    let seen = COVERAGE_ROW.map(|c| rank.share * Lanes::all(c));
    around.eyes.push(after.pulled_back(&seen));
}
