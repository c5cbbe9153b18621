//! Bounds on a share against published ones.

use greyloom::response::beta::least_share;

/// The tables print four decimals.
const PRINTED: f64 = 0.5e-4;

/// Exact limits of Clopper and Pearson, two-sided 95 %: of so many, so many, lower and upper.
///
/// Source: R. G. Newcombe, Statistics in Medicine 17 (1998) 857–872, table I, method 5 (from memory).
const NEWCOMBE: [(usize, usize, f64, f64); 4] = [
    (81, 263, 0.2527, 0.3676),
    (15, 148, 0.0578, 0.1617),
    (0, 20, 0.0, 0.1684),
    (1, 29, 0.0009, 0.1776),
];

#[test]
fn bounds_are_those_of_newcombes_table() {
    for (within, tried, low, high) in NEWCOMBE {
        let ours = least_share(within, tried, 0.975);
        assert!((ours - low).abs() <= PRINTED, "{within}/{tried}: {ours}");
        // The upper limit is one less the lower one of those outside.
        let ours = 1.0 - least_share(tried - within, tried, 0.975);
        assert!((ours - high).abs() <= PRINTED, "{within}/{tried}: {ours}");
    }
}

/// All of n within: p^n = 1 − confidence, by hand; 59 of 59 vouch for 95 % with 95 % confidence, 58 of 58 don't (common practice in
/// quality control, no source).
#[test]
fn all_within_is_a_power() {
    for n in [1, 10, 59, 300] {
        let exact = 0.05f64.powf(1.0 / n as f64);
        assert!((least_share(n, n, 0.95) - exact).abs() < 1e-12, "{n}");
    }
    assert!(least_share(59, 59, 0.95) >= 0.95 && least_share(58, 58, 0.95) < 0.95);
}

#[test]
fn a_bound_rises_with_what_is_within_and_falls_with_confidence() {
    for n in [7, 300] {
        assert_eq!(least_share(0, n, 0.95), 0.0);
        for k in 1..=n {
            let bound = least_share(k, n, 0.95);
            assert!(bound > least_share(k - 1, n, 0.95), "{k}/{n}");
            assert!(
                bound > least_share(k, n, 0.99) && bound < k as f64 / n as f64,
                "{k}/{n}"
            );
        }
    }
}
