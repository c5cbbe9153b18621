//! The inner search against a general solver of mixed-integer programs, and the half- and third-voltage schemes out of a search.

#[path = "small_panel/numbers.rs"]
mod numbers;

use greyloom::design::certificate::branch::Branching;
use greyloom::design::certificate::exact::{Outer, SPAN_LSTAR, span_beyond};
use greyloom::design::choice::{Demand, Spot, Spots};
use greyloom::design::reach::{Climate, Reach, Scheme, Scope};
use greyloom::design::search::spots_of;
use greyloom::drive::{Erase, Stroke};
use greyloom::pigment::{Crossing, Kinetics, Spread, TemperatureLaw};
use greyloom::response::Response;
use greyloom::tone::ResponseCurve;
use greyloom::waveforms::{FieldAxes, Kind, Lattice};
use microlp::{ComparisonOp, OptimizationDirection, Problem};
use numbers::Numbers;

/// L*: what the solver and the grid of spans may differ by beyond the grid itself.
const SOLVER_LSTAR: f64 = 1e-5;
/// Larger than any lightness: takes a constraint out.
const OUT_LSTAR: f64 = 300.0;

/// The widest even ladder as a mixed-integer program, solved exactly by microlp (simplex with branch and bound, crate of the
/// registry): darkest target and step free, one choice a level, |mid − target| + half ≤ tolerance · step.
fn widest_by_solver(spots: &[Spot], demand: Demand) -> Option<f64> {
    let mut problem = Problem::new(OptimizationDirection::Maximize);
    let steps = (demand.levels - 1) as f64;
    let darkest = problem.add_var(0.0, (0.0, 100.0));
    let step = problem.add_var(steps, (0.0, 100.0 / steps));
    for level in 0..demand.levels {
        let chosen: Vec<_> = spots.iter().map(|_| problem.add_binary_var(0.0)).collect();
        problem.add_constraint(chosen.iter().map(|&c| (c, 1.0)), ComparisonOp::Eq, 1.0);
        for (spot, &chosen) in spots.iter().zip(&chosen) {
            let at = level as f64;
            // mid + half − darkest − level·step ≤ tolerance·step + OUT·(1 − chosen), and the other side.
            problem.add_constraint(
                [
                    (darkest, -1.0),
                    (step, -at - demand.tolerance_steps),
                    (chosen, OUT_LSTAR),
                ],
                ComparisonOp::Le,
                OUT_LSTAR - spot.mid_lstar - spot.half_lstar,
            );
            problem.add_constraint(
                [
                    (darkest, 1.0),
                    (step, at - demand.tolerance_steps),
                    (chosen, OUT_LSTAR),
                ],
                ComparisonOp::Le,
                OUT_LSTAR + spot.mid_lstar - spot.half_lstar,
            );
        }
    }
    let solution = problem.solve().ok()?.into_solution().ok()?;
    Some(solution.objective())
}

#[test]
fn the_widest_ladder_is_that_of_a_general_solver() {
    let mut r = Numbers(11);
    let mut ladders = 0;
    for _ in 0..12 {
        let spots: Vec<Spot> = (0..6 + r.below(3))
            .map(|choice| {
                let (mid, half) = (30.0 + 50.0 * r.share(), 0.3 + 1.5 * r.share());
                Spot::between(mid - half, mid + half, choice)
            })
            .collect();
        let demand = Demand {
            levels: 3,
            tolerance_steps: 0.25,
        };
        let ours = span_beyond(&Spots::new(spots.clone()), demand, 0.0, Outer::Served);
        let theirs = widest_by_solver(&spots, demand);
        match (ours, theirs) {
            // Ours are multiples of the grid; the solver's optimum lies between ours and the next, unless what is possible has gaps.
            (Some(ours), Some(theirs)) => {
                ladders += 1;
                assert!(ours <= theirs + SOLVER_LSTAR, "{ours} for {theirs}");
                assert!(
                    theirs < ours + SPAN_LSTAR + SOLVER_LSTAR,
                    "{ours} for {theirs}"
                );
            }
            (None, Some(theirs)) => assert!(theirs < SPAN_LSTAR, "{theirs}"),
            (ours, None) => assert_eq!(ours, None),
        }
    }
    assert!(ladders >= 6, "{ladders}");
}

/// A pigment that crosses at a hard threshold, fast, and nothing else.
fn hard(threshold_v: f64) -> Response {
    let crossing = Crossing {
        rate_per_vs: 400.0,
        threshold_v,
        softness_v: 0.002,
    };
    Response {
        kinetics: Kinetics {
            crossing,
            returning: crossing,
            store: None,
            window: None,
            threshold_slope_v_per_k: 0.0,
            temperature: TemperatureLaw::Arrhenius {
                activation_kj_per_mol: 0.0,
            },
            spread: Spread {
                mobility_sigma: 0.0,
                threshold_sigma_v: 0.0,
                correlation: 0.0,
                mobility_nodes: 1,
                threshold_nodes: 1,
            },
        },
        curve: ResponseCurve::new(0.73, 0.03, 4.0).expect("a curve"),
    }
}

const ROWS: usize = 40;
const CLIMATE: Climate = Climate {
    temperature_c: 23.0,
    stretch: 1.0,
};

/// Whether the search finds two levels for one field of select and data voltages in the ratio of a scheme.
fn found(response: &Response, whole_v: f64, parts: f64) -> bool {
    let stroke = |(pixel_v, ms)| Stroke { pixel_v, ms };
    let (data_v, demand) = (
        whole_v / parts,
        Demand {
            levels: 2,
            tolerance_steps: 0.25,
        },
    );
    let axes = FieldAxes {
        select_v: vec![whole_v - data_v],
        data_v: vec![data_v],
        tick_us: vec![1000],
        slot_ticks: Vec::new(),
        guard_ticks: vec![0],
    };
    let lattice = Lattice {
        rows: ROWS,
        settle_ms: 0.0,
        refresh_s: 1.0,
        slot_ticks_max: 127,
        erases: vec![Erase {
            name: "plain".into(),
            strokes: [(30.0, 50.0), (-30.0, 200.0)].map(stroke).to_vec(),
            rest_ms: 100.0,
        }],
        kinds: vec![Kind {
            fields: vec![axes],
            filling: 0,
            mirrored: false,
        }],
    };
    let judge = |scheme: &Scheme, beyond: f64| {
        let scope = Scope {
            response,
            panel_rows: ROWS,
            settle_ms: 0.0,
            climates: vec![CLIMATE],
            rows: (0..ROWS).collect(),
        };
        let spots = spots_of(|a| response.curve.lstar(a), &Reach::new(&scope, scheme));
        span_beyond(&spots, demand, beyond, Outer::Shown)
    };
    let branching = Branching {
        lattice: &lattice,
        response,
        climate: CLIMATE,
        demand,
        judge: &judge,
        work: u64::MAX,
        sample: (0, 0),
    };
    // A contrast worth the name, not what a threshold's last trace of softness lets through.
    branching.run(20.0, &|_| ()).best.is_some()
}

/// Passive-matrix practice: with a hard threshold, half-voltage selection (others at V/2) leaves others alone for Vth < V < 2·Vth,
/// third-voltage selection for Vth < V < 3·Vth (common practice, no source).
#[test]
fn half_and_third_voltage_windows_come_out_of_the_search() {
    const THRESHOLD_V: f64 = 4.1;
    let response = hard(THRESHOLD_V);
    for parts in [2.0, 3.0] {
        for k in 4..32 {
            let whole_v = 0.5 * f64::from(k);
            let inside = THRESHOLD_V < whole_v && whole_v < parts * THRESHOLD_V;
            let found = found(&response, whole_v, parts);
            assert_eq!(found, inside, "V = {whole_v} V in {parts} parts");
        }
    }
}
