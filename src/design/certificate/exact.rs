//! The widest ladder of some choices of ticks among spans on a fixed grid, without a guess where it lies.

use super::windows::order;
use crate::design::choice::{Demand, Span, Spots};

/// Spans of ladders that are compared are multiples of this, L*.
pub const SPAN_LSTAR: f64 = 0.1;

/// What holds for the outer two targets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outer {
    /// No farther out than the middle of some choice.
    Shown,
    /// Served, no more. What serves a ladder over some rows and temperatures serves it over fewer, so that this never refuses
    /// what a look at more of them would take.
    Served,
}

/// The widest ladder, L*, where it is wider than `beyond_lstar`.
pub fn span_beyond(spots: &Spots, demand: Demand, beyond_lstar: f64, outer: Outer) -> Option<f64> {
    let steps = (demand.levels - 1) as f64;
    let mut widest = WIDEST_LSTAR;
    for _ in 0..NARROWINGS {
        let within = spots.outermost(demand.tolerance_steps * widest / steps)?;
        widest = widest.min(within.high - within.low);
    }
    let most = (widest / SPAN_LSTAR + ROUNDING).floor() as i64;
    let least = ((beyond_lstar / SPAN_LSTAR + ROUNDING).floor() as i64 + 1).max(1);
    let spans = (least..=most).rev().map(|k| k as f64 * SPAN_LSTAR);
    spans
        .into_iter()
        .find(|span| carries(spots, demand, span / steps, outer))
}

/// No ladder is wider: L* goes from 0 to 100, and a little beyond for a bright tile.
const WIDEST_LSTAR: f64 = 110.0;
/// How often the widest span is narrowed to what is served within the error allowed on it.
const NARROWINGS: usize = 4;
/// Parts of a multiple that are rounding.
const ROUNDING: f64 = 1e-6;

fn carries(spots: &Spots, demand: Demand, step_lstar: f64, outer: Outer) -> bool {
    let error = demand.tolerance_steps * step_lstar;
    let Some(within) = spots.outermost(error) else {
        return false;
    };
    let last = demand.levels - 1;
    if within.high - within.low < last as f64 * step_lstar {
        return false;
    }
    let darkest = Span {
        low: within.low,
        high: within.high - last as f64 * step_lstar,
    };
    // A quick look at some levels refuses most.
    let near = |level: usize| {
        let low = within.low + level as f64 * step_lstar;
        let high = within.high - (last - level) as f64 * step_lstar;
        spots.any_between(low - error, high + error, error)
    };
    if !order(demand.levels).all(near) {
        return false;
    }
    let places = match outer {
        Outer::Shown => spots.darkest_targets(demand, step_lstar),
        Outer::Served => spots.darkest_within(demand, step_lstar, darkest),
    };
    !places.is_empty()
}
