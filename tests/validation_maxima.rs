//! How many designs no other betters, against the mean number of maxima of random vectors.
//!
//! Of n vectors with d independent components, none of them alike, H₍d₋₁₎(n) are maxima on average: H₁(n) = Σ 1/i for d = 2,
//! H₂(n) = Σ H₁(i)/i for d = 3. Bentley, Kung, Schkolnick & Thompson, On the average number of maxima in a set of vectors and
//! applications, J. ACM 25 (1978), 536 (from memory).

use greyloom::design::sweep::{Merits, unbettered};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{RngCore, SeedableRng};

const VECTORS: usize = 100;
const SETS: usize = 1000;
/// Of the mean over the sets, relative; its standard deviation is about a hundredth.
const MEAN_OFF: f64 = 0.05;

fn uniform(random: &mut Xoshiro256PlusPlus) -> f64 {
    (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// Mean number of maxima of sets that `draw` makes.
fn mean_maxima(mut draw: impl FnMut(&mut Xoshiro256PlusPlus) -> Merits) -> f64 {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(7);
    let mut maxima = 0;
    for _ in 0..SETS {
        let set: Vec<Merits> = (0..VECTORS).map(|_| draw(&mut random)).collect();
        maxima += unbettered(&set).into_iter().filter(|&kept| kept).count();
    }
    maxima as f64 / SETS as f64
}

fn harmonic(n: usize) -> f64 {
    (1..=n).map(|i| 1.0 / i as f64).sum()
}

#[test]
fn of_two_components_the_harmonic_number_are_maxima() {
    let mean = mean_maxima(|random| Merits {
        levels: 8,
        refresh_s: uniform(random),
        span_lstar: uniform(random),
        line_v: 10.0,
    });
    let expected = harmonic(VECTORS);
    assert!(
        (mean / expected - 1.0).abs() <= MEAN_OFF,
        "{mean} {expected}"
    );
}

#[test]
fn of_three_components_the_second_harmonic_number_are_maxima() {
    let mean = mean_maxima(|random| Merits {
        levels: 8,
        refresh_s: uniform(random),
        span_lstar: uniform(random),
        line_v: uniform(random),
    });
    let expected: f64 = (1..=VECTORS).map(|i| harmonic(i) / i as f64).sum();
    assert!(
        (mean / expected - 1.0).abs() <= MEAN_OFF,
        "{mean} {expected}"
    );
}
