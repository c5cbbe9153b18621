//! Least squares, covariance and its propagation against the worked example H.3 of JCGM 100:2008, Evaluation of
//! measurement data — Guide to the expression of uncertainty in measurement: a thermometer calibrated by a straight line.
//! Its data and results are from memory; that the data give the results to every printed digit speaks for both.

use greyloom::response::least_squares::{Options, Residuals, Solution, solve};
use greyloom::response::propagation::{carried, slopes, standard_u_of_difference};
use nalgebra::DMatrix;

/// Table H.6 (from memory): reading of the thermometer, °C, and correction, °C.
const READ_C: [f64; 11] = [
    21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
];
const CORRECTION_C: [f64; 11] = [
    -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
];
/// The line is y1 + y2·(t − 20 °C).
const REFERENCE_C: f64 = 20.0;

/// H.3.3 and H.3.4 (from memory), each with half a unit of its last printed digit.
const Y1_C: (f64, f64) = (-0.1712, 0.5e-4);
const U_Y1_C: (f64, f64) = (0.0029, 0.5e-4);
const Y2: (f64, f64) = (0.00218, 0.5e-5);
const U_Y2: (f64, f64) = (0.00067, 0.5e-5);
const CORRELATION: (f64, f64) = (-0.930, 0.5e-3);
const RESIDUAL_SD_C: (f64, f64) = (0.0035, 0.5e-4);
const AT_30_C: (f64, f64) = (-0.1494, 0.5e-4);
const U_AT_30_C: (f64, f64) = (0.0041, 0.5e-4);
/// A line is linear, so that differences lose only digits of rounding.
const ROUNDING: f64 = 1e-9;

struct Line;

impl Residuals for Line {
    fn len(&self) -> usize {
        READ_C.len()
    }

    fn residuals(&self, y: &[f64]) -> Option<Vec<f64>> {
        let pairs = READ_C.iter().zip(CORRECTION_C);
        Some(pairs.map(|(&t, b)| line(y, t) - b).collect())
    }
}

fn line(y: &[f64], read_c: f64) -> f64 {
    y[0] + y[1] * (read_c - REFERENCE_C)
}

fn calibrated() -> Solution {
    let found = solve(&Line, &[0.0, 0.0], &Options::default());
    assert!(found.ending.converged(), "{:?}", found.ending);
    found
}

fn assert_printed(what: &str, found: f64, (printed, half_digit): (f64, f64)) {
    assert!(
        (found - printed).abs() <= half_digit,
        "{what}: {found}, printed {printed}"
    );
}

#[test]
fn the_line_and_its_spread_are_the_printed_ones() {
    let found = calibrated();
    let u = found.standard_deviations(true);
    assert_printed("y1", found.parameters[0], Y1_C);
    assert_printed("u(y1)", u[0], U_Y1_C);
    assert_printed("y2", found.parameters[1], Y2);
    assert_printed("u(y2)", u[1], U_Y2);
    assert_printed("r(y1, y2)", found.correlations()[(0, 1)], CORRELATION);
    assert_printed("s", found.reduced_chi_square().sqrt(), RESIDUAL_SD_C);
}

/// Covariance of the corrections at some temperatures, carried on from the line's.
fn predicted_covariance(found: &Solution, at_c: &[f64]) -> DMatrix<f64> {
    let covariance = found.covariance(true);
    let predict = |y: &[f64]| Some(at_c.iter().map(|&t| line(y, t)).collect());
    let slopes = slopes(&found.parameters, &covariance, at_c.len(), predict);
    carried(&slopes, &covariance)
}

#[test]
fn a_predicted_correction_has_the_printed_uncertainty() {
    let found = calibrated();
    assert_printed("b(30 °C)", line(&found.parameters, 30.0), AT_30_C);
    let covariance = predicted_covariance(&found, &[30.0]);
    assert_printed("u(b(30 °C))", covariance[(0, 0)].sqrt(), U_AT_30_C);
}

/// Uncertainty at 30 °C had y1 and y2 been independent: what leaving out the covariance would give.
const U_AT_30_UNCORRELATED_C: (f64, f64) = (0.0073, 0.5e-4);

#[test]
fn the_covariance_counts() {
    let found = calibrated();
    let variances = DMatrix::from_diagonal(&found.covariance(true).diagonal());
    let slopes = DMatrix::from_row_slice(1, 2, &[1.0, 30.0 - REFERENCE_C]);
    let u = carried(&slopes, &variances)[(0, 0)].sqrt();
    assert_printed("u without covariance", u, U_AT_30_UNCORRELATED_C);
}

#[test]
fn what_two_corrections_share_cancels_in_their_difference() {
    let found = calibrated();
    let covariance = predicted_covariance(&found, &[22.0, 30.0]);
    let u = standard_u_of_difference(&covariance, 0, 1);
    // b(30) − b(22) = 8·y2 whatever y1 is.
    let expected = 8.0 * found.standard_deviations(true)[1];
    assert!((u - expected).abs() <= ROUNDING, "{u} {expected}");
}
