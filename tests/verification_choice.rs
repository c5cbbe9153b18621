//! The choice of ticks against brute force: over all spots, over a fine grid of targets, over a fine scan of spans.

use greyloom::design::choice::{Demand, Fineness, Span, Spot, Spots, common, united, widest};
use proptest::prelude::*;

/// L*: rounding of a few sums of numbers up to 100.
const ROUNDING_LSTAR: f64 = 1e-9;
/// L*: targets that brute force looks at lie this far apart; off every round number that a spot may have.
const GRID_LSTAR: f64 = 0.0371;
/// L*: spans that brute force looks at lie this far apart.
const SCAN_LSTAR: f64 = 0.02;
const FINE: Fineness = Fineness {
    coarse_lstar: 0.25,
    fine_lstar: 0.005,
};

fn spot((choice, (mid_lstar, half_lstar)): (usize, (f64, f64))) -> Spot {
    Spot {
        mid_lstar,
        half_lstar,
        unsure_lstar: 0.0,
        choice,
    }
}

/// Middles to a quarter, so that some coincide, or anywhere.
fn any_spots(most: usize) -> impl Strategy<Value = Vec<Spot>> {
    let mid = prop_oneof![
        20.0..60.0f64,
        (80..240u32).prop_map(|q| 0.25 * f64::from(q))
    ];
    let half = prop_oneof![Just(0.0), 0.0..2.5f64];
    prop::collection::vec((mid, half), 1..most)
        .prop_map(|all| all.into_iter().enumerate().map(spot).collect())
}

/// Many narrow spots, as a scheme of two fields has, and a few.
fn fixed_sets() -> Vec<Vec<Spot>> {
    [(7u64, 5usize), (20, 40), (31, 400)]
        .map(|(seed, count)| {
            let mut numbers = Numbers(seed);
            let mut next = || spot((0, (40.0 + 45.0 * numbers.share(), 0.4 * numbers.share())));
            let numbered = |choice| Spot { choice, ..next() };
            (0..count).map(numbered).collect()
        })
        .to_vec()
}

/// Evenly spread shares from a seed: SplitMix64 (Steele, Lea & Flood 2014).
struct Numbers(u64);

impl Numbers {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}

fn error(s: &Spot, target_lstar: f64) -> f64 {
    (s.mid_lstar - target_lstar).abs() + s.half_lstar
}

fn least_error(spots: &[Spot], target_lstar: f64) -> f64 {
    let errors = spots.iter().map(|s| error(s, target_lstar));
    errors.fold(f64::INFINITY, f64::min)
}

/// The worst level of a ladder whose every level gets its best spot.
fn ladder_error(spots: &[Spot], levels: usize, darkest: f64, step: f64) -> f64 {
    let errors = (0..levels).map(|i| least_error(spots, darkest + i as f64 * step));
    errors.fold(0.0, f64::max)
}

fn grid(low: f64, high: f64, apart: f64) -> impl Iterator<Item = f64> {
    (0..)
        .map(move |i| low + f64::from(i) * apart)
        .take_while(move |x| *x <= high)
}

fn holds(spans: &[Span], x: f64) -> bool {
    spans.iter().any(|s| s.low <= x && x <= s.high)
}

fn rising_and_apart(spans: &[Span]) -> bool {
    spans.iter().all(|s| s.low <= s.high) && spans.windows(2).all(|w| w[0].high < w[1].low)
}

/// Where brute force is surer than rounding, the spans say the same.
fn says(spans: &[Span], x: f64, excess: f64) -> bool {
    excess.abs() <= ROUNDING_LSTAR || holds(spans, x) == (excess < 0.0)
}

fn check_best(all: &[Spot], target: f64) {
    let spots = Spots::new(all.to_vec());
    let (best, found) = spots.best_for(target).expect("a spot");
    assert_eq!(found, least_error(all, target), "{target}: {best:?}");
    assert_eq!(found, error(&all[best.choice], target));
}

fn check_served(all: &[Spot], error_lstar: f64) {
    let served = Spots::new(all.to_vec()).served(error_lstar);
    assert!(rising_and_apart(&served), "{served:?}");
    for target in grid(10.0, 100.0, GRID_LSTAR) {
        let excess = least_error(all, target) - error_lstar;
        assert!(says(&served, target, excess), "{target}: {served:?}");
    }
}

fn check_darkest(all: &[Spot], demand: Demand, step: f64) {
    let places = Spots::new(all.to_vec()).darkest_targets(demand, step);
    assert!(rising_and_apart(&places), "{places:?}");
    let allowed = demand.tolerance_steps * step;
    for darkest in grid(10.0, 100.0, GRID_LSTAR) {
        let short = ladder_error(all, demand.levels, darkest, step) - allowed;
        let excess = short.max(beyond_middles(all, demand.levels, darkest, step));
        assert!(says(&places, darkest, excess), "{darkest}: {places:?}");
    }
    // Islands that fall through the grid, and the ends of all.
    for end in places.iter().flat_map(|s| [s.low, s.high]) {
        let worst = ladder_error(all, demand.levels, end, step);
        assert!(worst <= allowed + ROUNDING_LSTAR, "{end}: {worst}");
        assert!(beyond_middles(all, demand.levels, end, step) <= ROUNDING_LSTAR);
    }
}

/// How far a ladder's outer targets lie beyond the outermost middles; at most 0 where they don't.
fn beyond_middles(all: &[Spot], levels: usize, darkest: f64, step: f64) -> f64 {
    let middles = || all.iter().map(|s| s.mid_lstar);
    let low = middles().fold(f64::INFINITY, f64::min);
    let high = middles().fold(f64::NEG_INFINITY, f64::max);
    (low - darkest).max(darkest + (levels - 1) as f64 * step - high)
}

/// A ladder found is feasible; and where the widest feasible spans of a fine scan make a run at least as long as the
/// coarse step, none wider is overlooked. (Feasibility isn't monotone in general: a narrower ladder also has less room
/// for error.) Returns the span where the scan is that sure of it.
fn check_widest(all: &[Spot], demand: Demand) -> Option<f64> {
    let spots = Spots::new(all.to_vec());
    let steps = (demand.levels - 1) as f64;
    let bounds = Span {
        low: 1.0,
        high: 60.0,
    };
    let places = |step: f64| spots.darkest_targets(demand, step);
    let found = widest(demand.levels, bounds, FINE, places);
    if let Some((darkest, step)) = found {
        assert!((bounds.low..=bounds.high).contains(&(steps * step)));
        let worst = ladder_error(all, demand.levels, darkest, step);
        let allowed = demand.tolerance_steps * step;
        assert!(worst <= allowed + ROUNDING_LSTAR, "{worst} > {allowed}");
        assert_eq!(darkest, places(step).last().expect("a place").high);
    }
    let run = widest_run(bounds, |span| !places(span / steps).is_empty())?;
    if run.high - run.low < FINE.coarse_lstar {
        return None;
    }
    let reached = found.map(|(_, step)| step * steps).expect("a ladder");
    assert!(reached >= run.high - FINE.fine_lstar, "{reached}: {run:?}");
    Some(reached)
}

/// The topmost run of feasible spans of a fine scan.
fn widest_run(bounds: Span, feasible: impl Fn(f64) -> bool) -> Option<Span> {
    let mut scanned: Vec<f64> = grid(bounds.low, bounds.high, SCAN_LSTAR).collect();
    scanned.reverse();
    let mut run = scanned
        .into_iter()
        .skip_while(|s| !feasible(*s))
        .take_while(|s| feasible(*s));
    let high = run.next()?;
    let low = run.last().unwrap_or(high);
    Some(Span { low, high })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn best_is_the_least_error(all in any_spots(14), target in 15.0..65.0f64) {
        check_best(&all, target);
    }

    #[test]
    fn served_targets_are_those_within_the_error(all in any_spots(14), error_lstar in 0.0..3.0f64) {
        check_served(&all, error_lstar);
    }

    #[test]
    fn darkest_targets_are_those_whose_whole_ladder_is_served(
        all in any_spots(40), levels in 2usize..7, tolerance_steps in 0.05..0.5f64, step in 0.5..9.0f64,
    ) {
        check_darkest(&all, Demand { levels, tolerance_steps }, step);
    }

    #[test]
    fn the_widest_ladder_is_feasible_and_as_wide_as_a_scan_finds(
        all in any_spots(40), levels in 2usize..7, tolerance_steps in 0.05..0.5f64,
    ) {
        check_widest(&all, Demand { levels, tolerance_steps });
    }

    #[test]
    fn spans_are_united_and_common_point_by_point(
        a in any_spots(8), b in any_spots(8), c in any_spots(8), error_lstar in 0.1..2.5f64,
    ) {
        let lists = [a, b, c].map(|all| Spots::new(all).served(error_lstar));
        let either = united(lists.iter().cloned());
        let both = common(&lists[0], &lists[1]);
        prop_assert!(rising_and_apart(&either));
        for x in grid(15.0, 65.0, GRID_LSTAR) {
            prop_assert_eq!(holds(&either, x), lists.iter().any(|l| holds(l, x)));
            prop_assert_eq!(holds(&both, x), holds(&lists[0], x) && holds(&lists[1], x));
        }
    }

    #[test]
    fn thinning_costs_a_bucket_at_most(all in any_spots(40), target in 15.0..65.0f64, bucket in 0.01..2.0f64) {
        let thinned = Spots::new(all.clone()).thinned(bucket);
        let (best, found) = thinned.best_for(target).expect("a spot");
        let least = least_error(&all, target);
        prop_assert_eq!(found, error(&all[best.choice], target));
        prop_assert!(found >= least && found <= least + bucket + ROUNDING_LSTAR);
    }
}

#[test]
fn fixed_sets_are_chosen_from_exactly() {
    for all in fixed_sets() {
        for target in grid(35.0, 90.0, 0.61) {
            check_best(&all, target);
        }
        for error_lstar in [0.0, 0.07, 0.4, 1.5] {
            check_served(&all, error_lstar);
        }
        for (levels, step) in [(2, 20.0), (8, 5.0), (16, 2.5), (32, 1.3)] {
            let tolerance_steps = 0.25;
            check_darkest(
                &all,
                Demand {
                    levels,
                    tolerance_steps,
                },
                step,
            );
        }
    }
}

#[test]
fn dense_spots_carry_a_wide_ladder() {
    let dense = &fixed_sets()[2];
    let demand = Demand {
        levels: 16,
        tolerance_steps: 0.25,
    };
    let span = check_widest(dense, demand).expect("a run of feasible spans");
    // Spots lie from 40 to 85 L*, a tenth of an L* apart.
    assert!((40.0..47.0).contains(&span), "{span}");
}

#[test]
fn a_ladder_worked_by_hand() {
    // Middles 40, 52, 60 without width. Levels T, T+s, T+2s between 40 and 60 with |T+s−52| ≤ s/4, so that T = 40 and
    // T + 2s = 60 leave the middle one at 50, 2 off where 2.5 are allowed: the span is the whole 20.
    let all: Vec<Spot> = [(40.0, 0.0), (52.0, 0.0), (60.0, 0.0)]
        .into_iter()
        .enumerate()
        .map(spot)
        .collect();
    let demand = Demand {
        levels: 3,
        tolerance_steps: 0.25,
    };
    let bounds = Span {
        low: 1.0,
        high: 40.0,
    };
    let spots = Spots::new(all);
    let places = |step: f64| spots.darkest_targets(demand, step);
    let (darkest, step) = widest(3, bounds, FINE, places).expect("a ladder");
    assert!((2.0 * step - 20.0).abs() <= FINE.fine_lstar, "{step}");
    assert!((darkest - 40.0).abs() <= FINE.fine_lstar, "{darkest}");
    // Half a step wide spots serve nothing at a quarter.
    let wide = Spots::new(vec![spot((0, (50.0, 10.0)))]);
    assert!(widest(3, bounds, FINE, |step| wide.darkest_targets(demand, step)).is_none());
}

#[test]
fn spots_without_a_number_are_left_out() {
    let nan = Spots::new(vec![
        spot((0, (f64::NAN, 0.1))),
        spot((1, (50.0, f64::NAN))),
        spot((2, (f64::INFINITY, 0.0))),
    ]);
    assert!(nan.ends().is_none() && nan.best_for(50.0).is_none());
    assert!(nan.served(1.0).is_empty());
}
