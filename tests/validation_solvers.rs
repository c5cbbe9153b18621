//! The optimisers that polish voltages, as they are configured, on published functions with known minima.

use greyloom::design::polish::Solver;

/// H. H. Rosenbrock, The Computer Journal 3 (1960) 175–184: 0 at (1, 1) (from memory).
fn rosenbrock(x: &[f64]) -> f64 {
    100.0 * (x[1] - x[0] * x[0]).powi(2) + (1.0 - x[0]).powi(2)
}

/// D. M. Himmelblau, Applied Nonlinear Programming (1972): 0 at (3, 2) and three more places (from memory).
fn himmelblau(x: &[f64]) -> f64 {
    (x[0] * x[0] + x[1] - 11.0).powi(2) + (x[0] + x[1] * x[1] - 7.0).powi(2)
}

/// L. A. Rastrigin, Systems of extremal control (1974), in two dimensions: 0 at (0, 0), a local minimum near every whole number
/// (from memory).
fn rastrigin(x: &[f64]) -> f64 {
    let wave = |x: &f64| x * x - 10.0 * (std::f64::consts::TAU * x).cos();
    20.0 + x.iter().map(wave).sum::<f64>()
}

type Case = (&'static str, fn(&[f64]) -> f64, [f64; 2], [(f64, f64); 2]);

const CASES: [Case; 3] = [
    ("Rosenbrock", rosenbrock, [-1.2, 1.0], [(-2.0, 2.0); 2]),
    ("Himmelblau", himmelblau, [0.0, 0.0], [(-5.0, 5.0); 2]),
    ("Rastrigin", rastrigin, [3.3, -2.6], [(-5.12, 5.12); 2]),
];

/// Above the minimum of 0; the functions reach hundreds in their intervals.
const NEAR: f64 = 1e-3;

fn found(solver: Solver, (_, function, start, bounds): &Case) -> f64 {
    let (at, _) = solver.minimise(function, start, bounds);
    function(&at)
}

/// As polishing has it: all are tried, the best counts.
#[test]
fn the_best_solver_finds_each_minimum() {
    for case in &CASES {
        let each = Solver::ALL.map(|s| found(s, case));
        let best = each.into_iter().fold(f64::INFINITY, f64::min);
        assert!(best < NEAR, "{}: {each:?}", case.0);
    }
}

/// A simplex follows the curved valley; a swarm gets over the walls between local minima; turns find a smooth bowl.
#[test]
fn each_solver_does_what_it_is_there_for() {
    assert!(found(Solver::Simplex, &CASES[0]) < NEAR);
    assert!(found(Solver::Simplex, &CASES[1]) < NEAR);
    assert!(found(Solver::Swarm, &CASES[1]) < NEAR);
    assert!(found(Solver::Swarm, &CASES[2]) < NEAR);
    let bowl = |x: &[f64]| (x[0] - 0.3).powi(2) + 4.0 * (x[1] + 0.7).powi(2);
    let (at, _) = Solver::Turns.minimise(&bowl, &[2.0, 2.0], &[(-3.0, 3.0); 2]);
    assert!(bowl(&at) < NEAR, "{at:?}");
}

#[test]
fn bounds_hold_starts_are_never_made_worse_and_runs_repeat() {
    for solver in Solver::ALL {
        // The minimum of the plane lies in a corner.
        let bounds = [(0.5, 2.0), (-1.0, 4.0)];
        let (at, evaluations) = solver.minimise(&|x| x[0] + x[1], &[1.0, 1.0], &bounds);
        for (x, b) in at.iter().zip(bounds) {
            assert!((b.0..=b.1).contains(x), "{solver:?}: {at:?}");
        }
        assert!(at[0] + at[1] < 0.0 && evaluations > 5, "{solver:?}: {at:?}");
        let (stays, _) = solver.minimise(&|x| x[0].abs(), &[0.0], &[(-1.0, 1.0)]);
        assert_eq!(stays, [0.0], "{solver:?}");
        let wall = |x: &[f64]| if x[0] > 0.2 { f64::INFINITY } else { -x[0] };
        let (at, _) = solver.minimise(&wall, &[0.0], &[(-1.0, 1.0)]);
        assert!(at[0] <= 0.2 && at[0] > 0.1, "{solver:?}: {at:?}");
        for case in &CASES {
            assert_eq!(found(solver, case), found(solver, case), "{}", case.0);
        }
    }
}
