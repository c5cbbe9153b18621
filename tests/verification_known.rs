//! How well levels are known, and how many could be told apart, against covariances planted by hand.

use greyloom::design::Known;
use greyloom::design::climate::BandClimate;
use greyloom::design::correction::{Frame, Terms};
use greyloom::drive::Field;
use greyloom::response::propagation::{carried, slopes};
use greyloom::trim::{Character, Sample, smooth_with};
use nalgebra::{DMatrix, DVector};
use rand_xoshiro::SplitMix64;
use rand_xoshiro::rand_core::{RngCore, SeedableRng};

/// Sums of a few products.
const ROUNDING: f64 = 1e-12;
const REPEATABILITY_LSTAR: f64 = 0.15;

/// Evenly spread from 0 to 1.
struct Numbers(SplitMix64);

impl Numbers {
    fn of(seed: u64) -> Self {
        Numbers(SplitMix64::seed_from_u64(seed))
    }

    fn share(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Levels that share an error of `shared` and have one of `own` each, standard, L*.
fn planted(levels: usize, shared: f64, own: f64) -> DMatrix<f64> {
    DMatrix::from_element(levels, levels, shared * shared)
        + DMatrix::from_diagonal_element(levels, levels, own * own)
}

#[test]
fn standard_and_expanded_uncertainty_of_levels_and_steps() {
    let known = Known::of(&planted(5, 0.3, 0.4), 20.0, REPEATABILITY_LSTAR);
    assert_eq!(known.standard_u_lstar.len(), 5);
    assert_eq!(known.step_standard_u_lstar.len(), 4);
    for (list, expected) in [
        (&known.standard_u_lstar, 0.5),
        (&known.expanded_u_lstar, 1.0),
        // What is shared does not count between neighbours.
        (&known.step_standard_u_lstar, 0.4 * 2.0f64.sqrt()),
        (&known.step_expanded_u_lstar, 0.8 * 2.0f64.sqrt()),
    ] {
        for u in list {
            assert!((u - expected).abs() <= ROUNDING, "{u} {expected}");
        }
    }
}

#[test]
fn readings_alone_limit_the_levels_where_the_prediction_is_sure() {
    // k·√2·0.15 = 0.4243 L*, so that 43.19 L* hold 101 such steps.
    let told =
        |levels| Known::of(&planted(levels, 5.0, 0.0), 43.19, REPEATABILITY_LSTAR).told_apart;
    let fine = told(128);
    assert!((fine.reading_lstar - 0.3 * 2.0f64.sqrt()).abs() <= ROUNDING);
    assert!((fine.step_lstar - 43.19 / 127.0).abs() <= ROUNDING);
    assert!(fine.predicted_lstar <= 1e-6, "{fine:?}");
    assert_eq!(fine.levels, 102);
    assert_eq!(told(102).levels, 102);
    assert_eq!(told(103).levels, 102);
    assert_eq!(told(32).levels, 32);
    assert_eq!(told(2).levels, 2);
}

#[test]
fn a_poor_prediction_limits_them_further() {
    // 2·√2·0.4 = 1.131 L* between any two: 30 L* hold 26 such steps.
    let told = Known::of(&planted(64, 5.0, 0.4), 30.0, REPEATABILITY_LSTAR).told_apart;
    assert!((told.predicted_lstar - 0.8 * 2.0f64.sqrt()).abs() <= ROUNDING);
    assert_eq!(told.levels, 27);
    let none = Known::of(&planted(8, 0.0, 50.0), 30.0, REPEATABILITY_LSTAR).told_apart;
    assert_eq!(none.levels, 1);
}

#[test]
fn levels_further_apart_share_less() {
    // Errors that add up from level to level, as a random walk: j steps apart the variance is j times 0.09.
    let walk = DMatrix::from_fn(41, 41, |a, b| 0.09 * a.min(b) as f64);
    let told = Known::of(&walk, 20.0, 0.01).told_apart;
    // 2·0.3·√j < j·0.5 from j = 1.44 on; between 1 and 2 the uncertainty is taken as linear: from j = 1.4 on, so
    // that the ladder's 40 steps leave the whole number below 40/1.4.
    let between = |j: f64| 0.6 * (1.0 + (2.0f64.sqrt() - 1.0) * (j - 1.0));
    let steps = (1..=40).rev().find(|&s| {
        let j = 40.0 / f64::from(s);
        0.5 * j > between(j.min(2.0))
    });
    assert_eq!(Some(told.levels as i32 - 1), steps);
    assert!(told.levels < 41 && told.levels > 20, "{told:?}");
}

#[test]
fn slopes_carry_a_covariance_on_as_a_linear_model_does() {
    let mut numbers = Numbers::of(3);
    let mut random = |rows, columns| DMatrix::from_fn(rows, columns, |_, _| numbers.share() - 0.5);
    let (model, root) = (random(4, 3), random(3, 3));
    let covariance = &root * root.transpose();
    let predict = |x: &[f64]| {
        let y = &model * DVector::from_column_slice(x);
        Some(y.iter().copied().collect())
    };
    let found = slopes(&[0.3, -0.2, 0.9], &covariance, 4, predict);
    assert!((&found - &model).abs().max() <= 1e3 * ROUNDING, "{found}");
    let carried = carried(&found, &covariance);
    let expected = &model * &covariance * model.transpose();
    assert!((&carried - expected).abs().max() <= 1e3 * ROUNDING);
    let unfollowed = slopes(&[0.3, -0.2, 0.9], &covariance, 4, |_| None);
    assert_eq!(unfollowed, DMatrix::zeros(4, 3));
}

#[test]
fn what_is_not_felt_does_not_widen() {
    let covariance = DMatrix::from_diagonal(&DVector::from_vec(vec![0.25, f64::INFINITY]));
    let slopes = DMatrix::from_row_slice(2, 2, &[2.0, 0.0, 0.0, 1.0]);
    let carried = carried(&slopes, &covariance);
    assert_eq!(carried[(0, 0)], 1.0);
    assert_eq!(carried[(1, 1)], f64::INFINITY);
}

#[test]
fn a_correction_knows_its_places_together_as_it_does_each() {
    let field = Field {
        select_v: 9.0,
        data_v: 2.5,
        tick_us: 1000,
        slot_ticks: 80,
        guard_ticks: 4,
        mirrored: false,
    };
    let frame = Frame::new(80, &BandClimate::point(20.0), &[field]);
    let mut numbers = Numbers::of(7);
    let samples: Vec<Sample> = (0..60)
        .map(|i| Sample {
            predicted_lstar: 45.0 + 40.0 * f64::from(i) / 59.0,
            terms: frame.terms(39.0, 0.0, 20.0, &[40]),
            difference_lstar: numbers.share() - 0.5,
            u_lstar: REPEATABILITY_LSTAR,
        })
        .collect();
    let character = Character {
        scales: [0.3, 0.1, 0.1, 0.1, 0.05, 0.05, 0.05, 0.05, 0.05, 0.05],
        length_lstar: 12.0,
        rough_lstar: 0.02,
    };
    let correction = smooth_with(frame.clone(), &samples, &character).expect("a correction");
    let at = |lstar: f64| -> (f64, Terms) { (lstar, frame.terms(39.0, 0.0, 20.0, &[40])) };
    let places = [at(60.0), at(61.4), at(80.0)];
    let covariance = correction.covariance_lstar(&places);
    for (i, (lstar, terms)) in places.iter().enumerate() {
        let u = correction.standard_u_lstar(*lstar, terms);
        assert!(u > 0.0 && (covariance[(i, i)].sqrt() - u).abs() <= 1e3 * ROUNDING);
    }
    // A smooth difference is shared by neighbours and not by what lies two lengths off.
    let known = Known::of(&covariance, 20.0, REPEATABILITY_LSTAR);
    assert!(known.step_standard_u_lstar[0] < 0.5 * known.standard_u_lstar[0]);
    assert!(known.step_standard_u_lstar[1] > known.standard_u_lstar[0]);
}
