//! The least-squares code against itself: planted parameters, walls, idle parameters, strays, threads.

use greyloom::response::differences::{Differences, jacobian};
use greyloom::response::least_squares::{Ending, Options, Residuals, solve, solve_from};
use greyloom::response::robust::{HUBER_K, Weighted, huber_weights, normal_bound, spread, strays};

/// Relative error of a parameter recovered from readings without noise: the offset at which the fit ends.
const RECOVERED: f64 = 1e-7;

/// A model y(b, x), its readings and nothing else.
struct Curve<F> {
    model: F,
    readings: Vec<(f64, f64)>,
}

impl<F: Fn(&[f64], f64) -> f64 + Sync> Curve<F> {
    /// Readings of the model itself at `count` times 0, 0.25, 0.5, …, with `noise(index)` on them.
    fn planted(model: F, truth: &[f64], count: usize, noise: impl Fn(usize) -> f64) -> Self {
        let reading = |k: usize| {
            let x = 0.25 * k as f64;
            (x, model(truth, x) + noise(k))
        };
        let readings = (0..count).map(reading).collect();
        Self { model, readings }
    }
}

impl<F: Fn(&[f64], f64) -> f64 + Sync> Residuals for Curve<F> {
    fn len(&self) -> usize {
        self.readings.len()
    }

    fn residuals(&self, b: &[f64]) -> Option<Vec<f64>> {
        Some(
            self.readings
                .iter()
                .map(|&(x, y)| (self.model)(b, x) - y)
                .collect(),
        )
    }
}

fn saturating(b: &[f64], x: f64) -> f64 {
    b[0] + b[1] * (1.0 - (-b[2] * x).exp())
}

/// A fixed, uneven sequence of errors of about unit size.
fn ripple(k: usize) -> f64 {
    (12.9898 * k as f64).sin() + (78.233 * k as f64).cos()
}

fn close(got: &[f64], wanted: &[f64], relative: f64) -> bool {
    got.len() == wanted.len()
        && got
            .iter()
            .zip(wanted)
            .all(|(g, w)| (g - w).abs() <= relative * w.abs())
}

#[test]
fn planted_parameters_come_back() {
    let truth = [12.0, -7.5, 0.6];
    let problem = Curve::planted(saturating, &truth, 30, |_| 0.0);
    let found = solve(&problem, &[1.0, 1.0, 1.0], &Options::default());
    assert!(found.ending.converged(), "{:?}", found.ending);
    assert!(
        close(&found.parameters, &truth, RECOVERED),
        "{:?}",
        found.parameters
    );
    assert_eq!(found.degrees_of_freedom, 27);
    assert_eq!((found.jacobian.nrows(), found.jacobian.ncols()), (30, 3));
}

/// For a straight line the covariance has a closed form, and noise of a known size scales it.
#[test]
fn covariance_of_a_straight_line() {
    let line = |b: &[f64], x: f64| b[0] + b[1] * x;
    let problem = Curve::planted(line, &[3.0, 2.0], 9, ripple);
    let found = solve(&problem, &[0.0, 0.0], &Options::default());
    let (n, mean, spread_x) = (9.0, 1.0, 3.75);
    let wanted = [
        (1.0f64 / n + mean * mean / spread_x).sqrt(),
        (1.0f64 / spread_x).sqrt(),
    ];
    assert!(close(&found.standard_deviations(false), &wanted, 1e-9));
    let chi = found.reduced_chi_square().sqrt();
    assert!(chi > 0.1);
    let scaled = found.standard_deviations(true);
    assert!(close(&scaled, &[wanted[0] * chi, wanted[1] * chi], 1e-9));
    let correlation = found.correlations()[(0, 1)];
    let wanted = -mean / (spread_x / n + mean * mean).sqrt();
    assert!(
        (correlation - wanted).abs() <= 1e-9,
        "{correlation} {wanted}"
    );
}

/// The model ends at a wall (a root of a negative number, an explicit refusal) that the first steps run into.
#[test]
fn a_wall_turns_the_step_back() {
    struct Walled {
        refuse: bool,
        inner: Curve<fn(&[f64], f64) -> f64>,
    }
    impl Residuals for Walled {
        fn len(&self) -> usize {
            self.inner.len()
        }
        fn residuals(&self, b: &[f64]) -> Option<Vec<f64>> {
            if self.refuse && b[0] < 0.0 {
                None
            } else {
                self.inner.residuals(b)
            }
        }
    }
    let root: fn(&[f64], f64) -> f64 = |b, x| b[1] * (b[0] + x).sqrt();
    for refuse in [true, false] {
        let inner = Curve::planted(root, &[0.02, 5.0], 20, |_| 0.0);
        let found = solve(&Walled { refuse, inner }, &[8.0, 0.5], &Options::default());
        assert!(found.ending.converged(), "{:?}", found.ending);
        assert!(
            close(&found.parameters, &[0.02, 5.0], RECOVERED),
            "{:?}",
            found.parameters
        );
    }
}

/// At the wall itself derivatives come from the side that there is.
#[test]
fn derivatives_beside_a_wall() {
    let root = |b: &[f64], x: f64| (b[0] * x).powf(1.5) + if b[0] > 1.0 { f64::NAN } else { 0.0 };
    let problem = Curve::planted(root, &[1.0], 5, |_| 0.0);
    let at = problem.residuals(&[1.0]).unwrap();
    for scheme in [
        Differences::Forward,
        Differences::Central,
        Differences::FourthOrder,
    ] {
        let found = jacobian(&problem, &[1.0], &at, scheme).unwrap();
        for (row, (x, _)) in problem.readings.iter().enumerate() {
            let wanted = 1.5 * x.powf(1.5);
            // One-sided differences of the fourth-order step are the coarsest.
            assert!(
                (found[(row, 0)] - wanted).abs() <= 1e-3 * wanted,
                "{scheme:?}: {found}"
            );
        }
    }
}

#[test]
fn each_scheme_reaches_its_digits() {
    let truth = [12.0, -7.5, 0.6];
    let problem = Curve::planted(saturating, &truth, 10, |_| 0.0);
    let at = problem.residuals(&truth).unwrap();
    for (scheme, error) in [
        (Differences::Forward, 1e-6),
        (Differences::Central, 1e-8),
        (Differences::FourthOrder, 1e-10),
    ] {
        let found = jacobian(&problem, &truth, &at, scheme).unwrap();
        for (row, (x, _)) in problem.readings.iter().enumerate() {
            let wanted = truth[1] * x * (-truth[2] * x).exp();
            assert!((found[(row, 2)] - wanted).abs() <= error, "{scheme:?}");
        }
    }
}

#[test]
fn a_start_that_cannot_be_evaluated_ends_at_once() {
    let problem = Curve::planted(saturating, &[1.0, 2.0, 3.0], 10, |_| 0.0);
    for start in [
        [f64::NAN, 1.0, 1.0],
        [f64::INFINITY, 1.0, 1.0],
        [1.0, 1.0, -1e6],
    ] {
        let found = solve(&problem, &start, &Options::default());
        assert_eq!(found.ending, Ending::StartNotEvaluable);
        assert!(!found.ending.converged());
        assert_eq!(found.sum_of_squares, f64::INFINITY);
        assert_eq!(found.undetermined(), [0, 1, 2]);
        assert!(
            found
                .standard_deviations(true)
                .iter()
                .all(|s| !s.is_finite())
        );
    }
}

#[test]
fn too_few_readings_are_no_fit() {
    let problem = Curve::planted(saturating, &[1.0, 2.0, 3.0], 2, |_| 0.0);
    let options = Options::default();
    assert_eq!(
        solve(&problem, &[1.0, 1.0, 1.0], &options).ending,
        Ending::Underdetermined
    );
    assert_eq!(
        solve(&problem, &[], &options).ending,
        Ending::Underdetermined
    );
}

/// Two parameters of which only the product counts, and one that nothing feels: the other two keep their spread.
#[test]
fn idle_parameters_are_named() {
    let product = |b: &[f64], x: f64| b[0] * b[1] * x + b[2] + 0.0 * b[3];
    let problem = Curve::planted(product, &[2.0, 3.0, 5.0, 7.0], 12, |k| 0.01 * ripple(k));
    let found = solve(&problem, &[1.0, 1.0, 1.0, 7.0], &Options::default());
    assert_eq!(found.undetermined(), [0, 1, 3]);
    assert_eq!(found.parameters[3], 7.0);
    let slope = found.parameters[0] * found.parameters[1];
    assert!((slope - 6.0).abs() <= 0.01, "{slope}");
    let spread = found.standard_deviations(true);
    assert!(spread[2].is_finite() && spread[2] > 0.0);
    assert!(spread[0].is_infinite() && spread[1].is_infinite() && spread[3].is_infinite());
}

#[test]
fn out_of_patience_still_hands_back_the_best_point() {
    let problem = Curve::planted(saturating, &[12.0, -7.5, 0.6], 30, ripple);
    let short = Options {
        max_evaluations: 4,
        max_finish: 0,
        ..Options::default()
    };
    let start = [1.0, 1.0, 1.0];
    let found = solve(&problem, &start, &short);
    assert_eq!(found.ending, Ending::OutOfPatience);
    let before: f64 = problem
        .residuals(&start)
        .unwrap()
        .iter()
        .map(|r| r * r)
        .sum();
    assert!(found.sum_of_squares < before);
    assert!(found.relative_offset > short.offset);
}

/// Options that make no sense must not stop the program.
#[test]
fn odd_options_do_no_harm() {
    let problem = Curve::planted(saturating, &[12.0, -7.5, 0.6], 30, ripple);
    let odd = Options {
        max_evaluations: 0,
        ftol: -1.0,
        xtol: f64::NAN,
        gtol: -0.0,
        step_bounds: vec![-1.0, f64::NAN, 0.0],
        ..Options::default()
    };
    assert!(
        solve(&problem, &[1.0, 1.0, 1.0], &odd)
            .sum_of_squares
            .is_finite()
    );
    let none = Options {
        step_bounds: Vec::new(),
        ..Options::default()
    };
    let found = solve(&problem, &[1.0, 1.0, 1.0], &none);
    assert_eq!(found.parameters, [1.0, 1.0, 1.0]);
    assert!(!found.ending.converged());
}

/// A wave has many low points; of several starts the deepest comes first.
#[test]
fn several_starts_find_the_deepest() {
    let wave = |b: &[f64], x: f64| (b[0] * x).sin();
    let problem = Curve::planted(wave, &[2.0], 40, |_| 0.0);
    let starts = [vec![9.0], vec![0.3], vec![2.1], vec![f64::NAN]];
    let found = solve_from(&problem, &starts, &Options::default());
    assert_eq!(found.len(), starts.len());
    assert!(close(&found[0].parameters, &[2.0], RECOVERED));
    assert!(
        found
            .windows(2)
            .all(|pair| pair[0].sum_of_squares <= pair[1].sum_of_squares)
    );
    assert!(found[1].sum_of_squares > 1.0);
    assert_eq!(found[3].ending, Ending::StartNotEvaluable);
}

#[test]
fn threads_do_not_change_a_bit() {
    let problem = Curve::planted(saturating, &[12.0, -7.5, 0.6], 200, ripple);
    let starts = [
        vec![1.0, 1.0, 1.0],
        vec![10.0, -5.0, 0.1],
        vec![0.0, 0.0, 2.0],
    ];
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        let found = pool.install(|| solve_from(&problem, &starts, &Options::default()));
        found
            .into_iter()
            .map(|f| (f.parameters, f.residuals, f.jacobian, f.evaluations))
            .collect::<Vec<_>>()
    };
    assert_eq!(on(1), on(2));
}

#[test]
fn huber_weights_by_hand() {
    let weights = huber_weights(
        &[0.0, -HUBER_K, 2.69, -13.45, f64::NAN, f64::INFINITY],
        HUBER_K,
    );
    assert!(
        close(&weights, &[1.0, 1.0, 0.5, 0.1, 0.0, 0.0], 1e-12),
        "{weights:?}"
    );
}

/// Reweighting a fit over and over holds two wild readings back to what Huber's bound lets through.
#[test]
fn weights_hold_strays_back_and_the_rule_names_them() {
    let truth = [12.0, -7.5, 0.6];
    let wild = |k: usize| match k {
        7 => 60.0,
        21 => -80.0,
        k => 0.5 * ripple(k),
    };
    let problem = Curve::planted(saturating, &truth, 60, wild);
    let options = Options::default();
    let plain = solve(&problem, &truth, &options);
    let mut found = plain.clone();
    for _ in 0..10 {
        let residuals = problem.residuals(&found.parameters).unwrap();
        let weighted = Weighted::new(&problem, &huber_weights(&residuals, HUBER_K)).unwrap();
        found = solve(&weighted, &found.parameters, &options);
        assert!(found.ending.converged());
    }
    let off = |parameters: &[f64]| (parameters[1] - truth[1]).abs();
    assert!(off(&found.parameters) < 0.2 * off(&plain.parameters));
    // A residual is model less reading.
    let named = strays(&problem.residuals(&found.parameters).unwrap());
    assert_eq!(
        named.iter().map(|stray| stray.index).collect::<Vec<_>>(),
        [7, 21]
    );
    assert!(named[0].standardised < -named[0].bound && named[1].standardised > named[1].bound);
}

#[test]
fn weights_must_fit_the_problem() {
    let problem = Curve::planted(saturating, &[1.0, 2.0, 3.0], 3, |_| 0.0);
    assert!(Weighted::new(&problem, &[1.0, 0.0, 2.0]).is_some());
    assert!(Weighted::new(&problem, &[1.0, 1.0]).is_none());
    assert!(Weighted::new(&problem, &[1.0, -0.1, 1.0]).is_none());
    assert!(Weighted::new(&problem, &[1.0, f64::NAN, 1.0]).is_none());
}

/// A weight of 4 on a squared residual is the reading taken four times.
#[test]
fn a_weight_counts_as_repeats() {
    let line = |b: &[f64], x: f64| b[0] + b[1] * x;
    let once = Curve::planted(line, &[3.0, 2.0], 6, ripple);
    let mut readings = once.readings.clone();
    readings.extend([once.readings[2]; 3]);
    let repeated = Curve {
        model: line,
        readings,
    };
    let weighted = Weighted::new(&once, &[1.0, 1.0, 4.0, 1.0, 1.0, 1.0]).unwrap();
    let options = Options::default();
    let (a, b) = (
        solve(&weighted, &[0.0, 0.0], &options),
        solve(&repeated, &[0.0, 0.0], &options),
    );
    assert!(close(&a.parameters, &b.parameters, 1e-9));
    assert!(close(
        &a.standard_deviations(false),
        &b.standard_deviations(false),
        1e-9
    ));
}

/// Quantiles of the normal distribution from any statistical table (from memory).
#[test]
fn normal_bounds() {
    for (tail, wanted) in [
        (0.025, 1.959964),
        (0.005, 2.575829),
        (0.001, 3.090232),
        (2.5e-5, 4.055627),
    ] {
        let got = normal_bound(tail);
        assert!((got - wanted).abs() <= 1e-6, "{tail}: {got}");
    }
}

#[test]
fn a_model_wrong_everywhere_makes_no_strays() {
    let residuals: Vec<f64> = (0..500).map(|k| 5.0 * ripple(k)).collect();
    assert!(spread(&residuals) > 3.0);
    assert!(strays(&residuals).is_empty());
    assert_eq!(spread(&[0.1, -0.1, 0.2]), 1.0);
    assert_eq!(spread(&[]), 1.0);
    assert!(strays(&[]).is_empty());
    assert_eq!(strays(&[0.1, f64::NAN, 0.2, -0.3]).len(), 1);
}
