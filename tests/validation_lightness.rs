//! Lightness and spectra against CIE 15, the Munsell scale and an independent reckoning of ASTM E308.

use std::path::Path;

use greyloom::tone::spectra::{Illuminant, Spectrum, white};
use greyloom::tone::{Ladder, lstar_from_reflectance, reflectance_from_lstar};

/// L*: the printed values carry four decimals.
const PRINTED_LSTAR: f64 = 0.5e-4 + 1e-9;

/// Y in percent: the printed values carry four decimals.
const PRINTED_PERCENT: f64 = 0.5e-4 + 1e-9;

/// L*: the Munsell table's L* carries three decimals.
const PRINTED_MUNSELL_LSTAR: f64 = 0.5e-3 + 1e-9;

/// Y in percent: how far the 1943 renotation's printed luminous reflectances and the ASTM D1535 polynomial may part, in
/// units of the last printed digit (the polynomial was fitted to the table, not drawn through it).
const RENOTATION_PERCENT: f64 = 0.006;

/// X, Y, Z on the scale of 100: the 5 nm sums used here against the 1 nm sums of the reference, which differ by 0.0041
/// in X of the white alone.
const FIVE_NM_TRISTIMULUS: f64 = 0.005;

/// L*: the same difference, far below an instrument's repeatability of 0.15.
const FIVE_NM_LSTAR: f64 = 0.001;

/// a*, b*: the same difference; 500 times the cube roots' difference makes it larger.
const FIVE_NM_AB: f64 = 0.005;

fn near(got: f64, wanted: f64, tolerance: f64) -> bool {
    (got - wanted).abs() <= tolerance
}

/// CIE 15 values as computed by colour-science 0.4.7.
#[test]
fn lightness_of_percent_reflectance() {
    let table = [
        (1.0, 8.9914),
        (5.0, 26.7348),
        (10.0, 37.8424),
        (18.0, 49.4961),
        (20.0, 51.8372),
        (40.0, 69.4695),
        (50.0, 76.0693),
        (80.0, 91.6849),
    ];
    for (percent, lstar) in table {
        let got = lstar_from_reflectance(percent / 100.0);
        assert!(
            near(got, lstar, PRINTED_LSTAR),
            "Y {percent} %: {got}, not {lstar}"
        );
    }
}

/// CIE 15 values as computed by colour-science 0.4.7.
#[test]
fn percent_reflectance_of_lightness() {
    let table = [
        (10.0, 1.1260),
        (25.0, 4.4155),
        (50.0, 18.4187),
        (75.0, 48.2781),
        (90.0, 76.3034),
    ];
    for (lstar, percent) in table {
        let got = 100.0 * reflectance_from_lstar(lstar);
        assert!(
            near(got, percent, PRINTED_PERCENT),
            "L* {lstar}: {got}, not {percent}"
        );
    }
}

#[test]
fn lightness_of_black_and_of_the_perfect_diffuser() {
    assert_eq!(lstar_from_reflectance(0.0), 0.0);
    assert!(near(lstar_from_reflectance(1.0), 100.0, 1e-12));
    assert!(near(lstar_from_reflectance(216.0 / 24389.0), 8.0, 1e-12));
}

/// Sixteen steps even in CIE 15 lightness between 3 % and 40 %, calculated outside this program.
#[test]
fn sixteen_even_steps() {
    let percents = [
        3.0000, 3.9003, 4.9647, 6.2071, 7.6411, 9.2806, 11.1393, 13.2310, 15.5693, 18.1680,
        21.0410, 24.2019, 27.6645, 31.4425, 35.5498, 40.0000,
    ];
    let (low, high) = (lstar_from_reflectance(0.03), lstar_from_reflectance(0.40));
    assert!(near(low, 20.0439, PRINTED_LSTAR) && near(high, 69.4695, PRINTED_LSTAR));
    let targets = Ladder::Lightness
        .targets_lstar(low, high, percents.len())
        .unwrap();
    for (target, percent) in targets.iter().zip(percents) {
        let got = 100.0 * reflectance_from_lstar(*target);
        assert!(near(got, percent, PRINTED_PERCENT), "{got}, not {percent}");
    }
    for pair in targets.windows(2) {
        assert!(near(pair[1] - pair[0], 3.2950, PRINTED_LSTAR), "{pair:?}");
    }
}

/// Munsell value to luminous reflectance in percent: the polynomial of ASTM D1535 as carried by colour-science 0.4.7.
fn d1535_percent(value: f64) -> f64 {
    let coefficients = [0.0, 1.1914, -0.22533, 0.23352, -0.020484, 0.00081939];
    coefficients
        .iter()
        .rev()
        .fold(0.0, |sum, c| sum * value + c)
}

/// An independent scale of even lightness: ASTM D1535, and the 1943 renotation times 0.975.
#[test]
fn munsell_values() {
    let renotation = [
        1.210, 3.126, 6.555, 12.00, 19.77, 30.05, 43.06, 59.10, 78.66,
    ];
    let lstar = [
        10.408, 20.236, 30.379, 40.737, 51.004, 61.046, 70.861, 80.527, 90.181,
    ];
    for (index, (old_percent, lstar)) in renotation.into_iter().zip(lstar).enumerate() {
        let percent = d1535_percent((index + 1) as f64);
        let got = lstar_from_reflectance(percent / 100.0);
        assert!(
            near(got, lstar, PRINTED_MUNSELL_LSTAR),
            "value {}: {got}, not {lstar}",
            index + 1
        );
        let parted = (percent - 0.975 * old_percent).abs();
        assert!(
            parted <= RENOTATION_PERCENT,
            "value {}: {parted} %",
            index + 1
        );
    }
}

/// White points printed in ASTM E308 for the 2° observer (from memory).
#[test]
fn white_points() {
    for (illuminant, wanted) in [
        (Illuminant::D50, [96.422, 100.0, 82.521]),
        (Illuminant::D65, [95.047, 100.0, 108.883]),
    ] {
        let got = white(illuminant);
        // The standard's sums go on to 830 nm and its D50 carries more digits: 0.009 in Z.
        const PRINTED_WHITE: f64 = 0.01;
        for (got, wanted) in [got.x, got.y, got.z].into_iter().zip(wanted) {
            assert!(
                near(got, wanted, PRINTED_WHITE),
                "{illuminant:?}: {got}, not {wanted}"
            );
        }
    }
}

fn data(name: &str) -> Vec<Vec<String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(name);
    let text = std::fs::read_to_string(path).unwrap();
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    lines
        .map(|line| line.split(',').map(str::to_owned).collect())
        .collect()
}

fn numbers(words: &[String]) -> Vec<f64> {
    words.iter().map(|word| word.parse().unwrap()).collect()
}

fn spectrum(name: &str, every: usize) -> Spectrum {
    let table = data("spectra.csv");
    let nm = |head: &String| head.trim_start_matches("nm_").parse::<f64>().unwrap();
    let row = table.iter().find(|row| row[0] == name).unwrap();
    let values = numbers(&row[1..]);
    let points = table[0][1..].iter().map(nm).zip(values).step_by(every);
    let (wavelengths, reflectance) = points.unzip();
    Spectrum::new(wavelengths, reflectance).unwrap()
}

/// `spectra-to-lightness.csv`: ASTM E308 by colour-science 0.4.7.
#[test]
fn spectra_to_tristimulus_and_lab() {
    let table = data("spectra-to-lightness.csv");
    assert_eq!(table.len(), 1 + 12);
    for row in &table[1..] {
        let illuminant = if row[1] == "D50" {
            Illuminant::D50
        } else {
            Illuminant::D65
        };
        let spectrum = spectrum(&row[0], 1);
        let (xyz, lab) = (spectrum.tristimulus(illuminant), spectrum.lab(illuminant));
        let wanted = numbers(&row[2..]);
        for (got, wanted) in [xyz.x, xyz.y, xyz.z].into_iter().zip(&wanted) {
            assert!(
                near(got, *wanted, FIVE_NM_TRISTIMULUS),
                "{}: {got}, not {wanted}",
                row[0]
            );
        }
        assert!(
            near(lab.lstar, wanted[3], FIVE_NM_LSTAR),
            "{}: {lab:?}",
            row[0]
        );
        assert!(near(lab.a, wanted[4], FIVE_NM_AB), "{}: {lab:?}", row[0]);
        assert!(near(lab.b, wanted[5], FIVE_NM_AB), "{}: {lab:?}", row[0]);
        let lstar = lstar_from_reflectance(spectrum.luminous_reflectance(illuminant));
        assert!(
            near(lstar, lab.lstar, 1e-9),
            "{}: {lstar} and {lab:?}",
            row[0]
        );
    }
}

/// Every second point, 20 nm apart and ending at 720 nm, still gives the reference's lightness.
#[test]
fn spectra_by_twenty_nanometres() {
    /// L*: the dip is 60 nm wide, and points 20 nm apart miss 0.023 of it; the others part by 0.0003.
    const TWENTY_NM_LSTAR: f64 = 0.03;
    for row in &data("spectra-to-lightness.csv")[1..] {
        let illuminant = if row[1] == "D50" {
            Illuminant::D50
        } else {
            Illuminant::D65
        };
        let got = spectrum(&row[0], 2).lab(illuminant).lstar;
        let wanted: f64 = row[5].parse().unwrap();
        assert!(
            near(got, wanted, TWENTY_NM_LSTAR),
            "{}: {got}, not {wanted}",
            row[0]
        );
    }
}
