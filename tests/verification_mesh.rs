//! A panel's pixels as one network: what lag says of it, and superposition.

mod fine_lines;

use fine_lines::{FAR, MATRIX, lag};
use greyloom::drive::{DriveStep, Mesh, Swing};

/// Share of a step: 24 and 20 pixels in place of lines; lumping moves an edge by R·C/(8·20²) a line.
const PIXELS_SHARE: f64 = 1e-3;

/// Relative to the panel's largest lag, likewise.
const PIXELS_LAG: f64 = 1e-3;

/// V, of about 1 V: sums of some thousand terms.
const ROUNDING: f64 = 1e-9;

/// One moment's pixel voltages where `row_v` and `column_v` stand from the start.
fn network_v(mesh: &Mesh, row_v: &[f64], column_v: &[f64], seconds: f64) -> Vec<f64> {
    let step = DriveStep {
        at_s: 0.0,
        row_v: row_v.into(),
        column_v: column_v.into(),
    };
    mesh.pixel_v(&[step], seconds).unwrap()
}

#[test]
fn the_series_of_a_stroke_is_that_of_the_network() {
    let (lag, mesh) = (lag(), Mesh::of(&MATRIX).unwrap());
    for t in [1e-6, 3e-6, 10e-6, 30e-6] {
        let rows = network_v(&mesh, &[1.0; 20], &[0.0; 24], t);
        let columns = network_v(&mesh, &[0.0; 20], &[-1.0; 24], t);
        for (row, column) in [(0, 0), (0, 23), (19, 0), (9, 12), FAR] {
            let got = lag.step(row, column, Swing::All).unwrap().value(t);
            let wanted = rows[24 * row + column];
            assert!((columns[24 * row + column] - wanted).abs() <= ROUNDING);
            let near = (got - wanted).abs() <= PIXELS_SHARE;
            assert!(near, "{row} {column} {t}: {got}, not {wanted}");
        }
    }
}

/// ∫(1 − w) of the network's pixels, s, after one row, one column, or all columns have swung by 1 V.
#[test]
fn delays_are_what_the_network_lacks() {
    let (lag, mesh) = (lag(), Mesh::of(&MATRIX).unwrap());
    let largest_s = MATRIX.far_corner_lag_s();
    const PARTS: usize = 4000;
    let part_s = 20.0 * largest_s / PARTS as f64;
    for (row, column) in [(0, 0), (5, 17), FAR] {
        let (mut one_row, mut one_column) = ([0.0; 20], [0.0; 24]);
        (one_row[row], one_column[column]) = (1.0, -1.0);
        let lacking_s = |row_v: &[f64], column_v: &[f64]| {
            let moments = (0..PARTS).map(|i| (i as f64 + 0.5) * part_s);
            let at = |t| 1.0 - network_v(&mesh, row_v, column_v, t)[24 * row + column];
            moments.map(at).sum::<f64>() * part_s
        };
        let delays = lag.delays(row, column).unwrap();
        for (got, wanted) in [
            (delays.select_s, lacking_s(&one_row, &[0.0; 24])),
            (delays.data_s, lacking_s(&[0.0; 20], &one_column)),
            (delays.data_alike_s, lacking_s(&[0.0; 20], &[-1.0; 24])),
        ] {
            let near = (got - wanted).abs() <= PIXELS_LAG * largest_s;
            assert!(near, "{row} {column}: {got}, not {wanted}");
        }
    }
}

/// A pulse is a step less the same step later; long after, all that stands is what the drivers ask for.
#[test]
fn steps_superpose_and_settle() {
    let mesh = Mesh::of(&MATRIX).unwrap();
    let row_v: Vec<f64> = (0..20).map(|i| f64::from(i % 3)).collect();
    let column_v: Vec<f64> = (0..24).map(|j| f64::from(j % 5) - 2.0).collect();
    let step = |at_s, row_v: &[f64], column_v: &[f64]| DriveStep {
        at_s,
        row_v: row_v.into(),
        column_v: column_v.into(),
    };
    let pulse = [
        step(1e-6, &row_v, &column_v),
        step(6e-6, &[0.0; 20], &[0.0; 24]),
    ];
    let got = mesh.pixel_v(&pulse, 9e-6).unwrap();
    let early = network_v(&mesh, &row_v, &column_v, 8e-6);
    let late = network_v(&mesh, &row_v, &column_v, 3e-6);
    let wanted: Vec<f64> = early.iter().zip(&late).map(|(a, b)| a - b).collect();
    assert!(
        got.iter()
            .zip(&wanted)
            .all(|(a, b)| (a - b).abs() <= ROUNDING)
    );
    assert!(got.iter().any(|v| v.abs() > 0.1));
    let settled = network_v(&mesh, &row_v, &column_v, 1.0);
    for (pixel, v) in settled.iter().enumerate() {
        let asked = row_v[pixel / 24] - column_v[pixel % 24];
        assert!((v - asked).abs() <= ROUNDING, "{pixel}: {v}, {asked}");
    }
}

#[test]
fn steps_that_do_not_fit() {
    let mesh = Mesh::of(&MATRIX).unwrap();
    let short = DriveStep {
        at_s: 0.0,
        row_v: vec![0.0; 3],
        column_v: vec![0.0; 24],
    };
    assert!(mesh.pixel_v(&[short], 1.0).is_none() && mesh.pixel_v(&[], f64::NAN).is_none());
    assert_eq!(mesh.pixel_v(&[], 1.0), Some(vec![0.0; 480]));
}
