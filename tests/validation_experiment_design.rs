//! Optimal points of textbook models, found by the code that plans charts.

use greyloom::planning::{Aim, Knowledge, exchange};
use nalgebra::DVector;

/// Candidates stand this far apart: a published point is found to half of it.
const APART: f64 = 1e-3;
/// So wide a prior tells nothing beside the readings.
const WIDE: f64 = 1e5;

/// The points on 0…`last` that are D-optimal for a model whose derivatives by its parameters are `slopes`.
fn d_optimal(last: f64, count: usize, slopes: impl Fn(f64) -> Vec<f64>) -> Vec<f64> {
    let points: Vec<f64> = (0..=(last / APART).round() as usize)
        .map(|i| i as f64 * APART)
        .collect();
    let candidates: Vec<DVector<f64>> = points
        .iter()
        .map(|&t| DVector::from_vec(slopes(t)))
        .collect();
    let before = Knowledge::before(&vec![WIDE; count], Aim::Determinant);
    let mut found: Vec<f64> = exchange(&before, &candidates, count)
        .into_iter()
        .map(|i| points[i])
        .collect();
    found.sort_by(f64::total_cmp);
    found
}

fn assert_points(found: &[f64], published: &[f64]) {
    let near = |(f, p): (&f64, &f64)| (f - p).abs() <= 0.5 * APART + 1e-9;
    assert!(
        found.len() == published.len() && found.iter().zip(published).all(near),
        "{found:?}, published {published:?}"
    );
}

// The points below: formulas from memory, values computed from them, as kept with the project's reference values.

/// A·e^(−kt), k = 0.2: 0 and 1/k.
#[test]
fn exponential_decay() {
    let slopes = |t: f64| vec![(-0.2 * t).exp(), -3.0 * t * (-0.2 * t).exp()];
    assert_points(&d_optimal(20.0, 2, slopes), &[0.0, 5.0]);
}

/// G. E. P. Box & H. L. Lucas, Biometrika 46, 77 (1959): first-order consecutive reactions, rates 0.7 and 0.2.
#[test]
fn consecutive_reactions_of_box_and_lucas() {
    let (a, b) = (0.7f64, 0.2f64);
    let yield_of = |a: f64, b: f64, t: f64| a / (a - b) * ((-b * t).exp() - (-a * t).exp());
    const H: f64 = 1e-5;
    let slopes = |t: f64| {
        vec![
            (yield_of(a + H, b, t) - yield_of(a - H, b, t)) / (2.0 * H),
            (yield_of(a, b + H, t) - yield_of(a, b - H, t)) / (2.0 * H),
        ]
    };
    // 1.2295 and 6.8577 to four decimals; the grid has three.
    assert_points(&d_optimal(20.0, 2, slopes), &[1.2295, 6.8577]);
}

/// V·x/(K + x) on 0…b, K = 1, b = 5: b and bK/(2K + b).
#[test]
fn michaelis_and_menten() {
    let slopes = |x: f64| vec![x / (1.0 + x), -2.0 * x / (1.0 + x).powi(2)];
    assert_points(&d_optimal(5.0, 2, slopes), &[5.0 / 7.0, 5.0]);
}

/// a + b·e^(−kt) on 0…T, k = 1, T = 3: 0, 1/k − T·e^(−kT)/(1 − e^(−kT)), T.
#[test]
fn exponential_with_an_offset() {
    let slopes = |t: f64| vec![1.0, (-t).exp(), -2.0 * t * (-t).exp()];
    assert_points(&d_optimal(3.0, 3, slopes), &[0.0, 0.842813, 3.0]);
}

/// J. Kiefer & J. Wolfowitz, Canad. J. Math. 12, 363 (1960), from memory: at the D-optimal design the variance of
/// prediction, in units of a reading's and times the number of readings, is nowhere above the number of parameters.
#[test]
fn the_equivalence_theorem_holds_at_what_is_found() {
    let slopes = |t: f64| DVector::from_vec(vec![1.0, (-t).exp(), -2.0 * t * (-t).exp()]);
    let candidates: Vec<DVector<f64>> = (0..=3000).map(|i| slopes(f64::from(i) * APART)).collect();
    let before = Knowledge::before(&[WIDE; 3], Aim::Determinant);
    let chosen = exchange(&before, &candidates, 30);
    let mut knowledge = before;
    chosen.iter().for_each(|&i| knowledge.add(&candidates[i]));
    let variance = |g: &DVector<f64>| g.dot(&(knowledge.covariance() * g)) * chosen.len() as f64;
    let largest = candidates.iter().map(variance).fold(0.0, f64::max);
    // The grid lets the middle point stand half a step off.
    assert!((largest - 3.0).abs() < 1e-3, "{largest}");
}
