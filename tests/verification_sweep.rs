//! The map of levels, time, contrast and voltage: its maxima against brute force, and what must hold of a small panel's.

mod twelve_rows;

use greyloom::design::sweep::{Merits, Point, Sweep, SweepRequest, sweep, unbettered};
use greyloom::error::Error;
use proptest::prelude::*;
use std::sync::LazyLock;
use twelve_rows::{known, project};

const TIMES: [f64; 4] = [1.5, 2.8, 3.2, 3.6];
const LEVELS: [usize; 3] = [4, 6, 8];
const TOLERANCE_STEPS: f64 = 0.25;
/// Designs are rounded to 4 decimals.
const ROUNDED: f64 = 1e-4;

fn request() -> SweepRequest {
    SweepRequest {
        levels: LEVELS.to_vec(),
        refresh_s: TIMES.to_vec(),
        tolerance_steps: TOLERANCE_STEPS,
        temperature_c: Some(23.0),
    }
}

fn mapped(request: &SweepRequest) -> Result<Sweep, Error> {
    sweep(&project(), &known(), request, &|_| {})
}

static MAP: LazyLock<Sweep> = LazyLock::new(|| mapped(&request()).expect("a map"));

fn free() -> impl Iterator<Item = &'static Point> {
    MAP.points
        .iter()
        .filter(|p| p.select_cap_v.is_none() && p.data_cap_v.is_none())
}

/// By its definition: every other one is looked at.
fn brute_force(all: &[Merits]) -> Vec<bool> {
    let better = |a: &Merits, b: &Merits| {
        let no_worse = a.levels >= b.levels
            && a.refresh_s <= b.refresh_s
            && a.span_lstar >= b.span_lstar
            && a.line_v <= b.line_v;
        let somewhere = a.levels > b.levels
            || a.refresh_s < b.refresh_s
            || a.span_lstar > b.span_lstar
            || a.line_v < b.line_v;
        no_worse && somewhere
    };
    all.iter()
        .map(|b| !all.iter().any(|a| better(a, b)))
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    /// Coarse values, so that many are alike.
    #[test]
    fn maxima_are_those_of_brute_force(raw in prop::collection::vec((2usize..6, 1u8..6, 1u8..6, 1u8..6), 0..60)) {
        let all: Vec<Merits> = raw
            .iter()
            .map(|&(levels, s, l, v)| Merits {
                levels,
                refresh_s: f64::from(s),
                span_lstar: f64::from(l),
                line_v: f64::from(v),
            })
            .collect();
        prop_assert_eq!(unbettered(&all), brute_force(&all));
    }
}

#[test]
fn the_marked_designs_are_the_maxima_of_the_map() {
    let own: Vec<&Point> = MAP.points.iter().filter(|p| !p.carried).collect();
    let merits: Vec<Merits> = own.iter().map(|p| p.merits()).collect();
    let marked: Vec<bool> = own.iter().map(|p| p.pareto).collect();
    assert_eq!(marked, brute_force(&merits));
    assert!(marked.iter().any(|m| *m) && MAP.points.iter().all(|p| !p.carried || !p.pareto));
}

#[test]
fn every_point_keeps_what_was_asked() {
    for p in &MAP.points {
        assert!(p.refresh_s <= p.budget_s + ROUNDED, "{p:?}");
        assert!(p.worst_error_steps <= TOLERANCE_STEPS + ROUNDED, "{p:?}");
        assert!(p.select_cap_v.is_none_or(|v| p.select_v <= v), "{p:?}");
        assert!(p.data_cap_v.is_none_or(|v| p.data_v <= v), "{p:?}");
        let step = p.span_lstar / (p.levels - 1) as f64;
        assert!((p.step_lstar - step).abs() < 1e-9 && p.line_v <= p.select_v + p.data_v);
        let least = (2.0 * p.worst_error_lstar + p.step_expanded_u_lstar).max(p.least_step_lstar);
        assert!(
            p.honest == (p.step_lstar >= least) && p.erase_s < p.refresh_s,
            "{p:?}"
        );
    }
}

#[test]
fn more_time_never_gives_less_and_fewer_levels_never_need_more_time() {
    let span = |levels: usize, t: f64| {
        let at = free().filter(|p| p.levels == levels && p.budget_s == t);
        at.map(|p| p.span_lstar).reduce(f64::max)
    };
    let found: Vec<usize> = free().map(|p| p.levels).collect();
    for &l in &found {
        for w in TIMES.windows(2) {
            if let Some(before) = span(l, w[0]) {
                assert!(
                    span(l, w[1]).is_some_and(|after| after >= before),
                    "{l} {w:?}"
                );
            }
        }
    }
    let needs: Vec<f64> = MAP.knees.need.iter().map(|n| n.budget_s).collect();
    assert!(needs.is_sorted() && !needs.is_empty(), "{needs:?}");
    assert!(MAP.knees.need.is_sorted_by_key(|n| n.levels));
}

#[test]
fn times_below_the_erase_are_left_out() {
    assert!(MAP.too_short_s.is_empty() || MAP.too_short_s[0] < 1.5);
    let shortest = SweepRequest::shortest_s(&project().panel);
    let mut short = request();
    short.refresh_s = vec![0.5 * shortest, 0.9 * shortest];
    let refused = mapped(&short);
    assert!(matches!(refused, Err(Error::Unmet(_))), "{refused:?}");
    short.refresh_s = vec![0.9 * shortest, 3.6];
    let map = mapped(&short).expect("a map");
    assert_eq!(map.too_short_s, [0.9 * shortest]);
    assert!(map.points.iter().all(|p| p.budget_s == 3.6));
}

#[test]
fn lower_voltages_are_told_for_both_rails() {
    for v in &MAP.knees.voltage {
        assert!(v.caps.iter().all(|c| c.cap_v < v.free_v), "{v:?}");
        assert!(v.enough_v <= v.free_v && v.rail == "select" || v.rail == "data");
    }
    assert!(!MAP.knees.voltage.is_empty());
}
