//! Response curve, ladders and picture greys against published values.

use greyloom::tone::gsdf::{jnd_index, luminance_cd_m2};
use greyloom::tone::srgb::{decode, encode, grey_from_reflectance, reflectance_from_grey};
use greyloom::tone::{Ladder, ResponseCurve, lstar_from_reflectance, reflectance_from_lstar};

/// Reflectance: the worked values carry four decimals.
const PRINTED_REFLECTANCE: f64 = 0.5e-4 + 1e-9;

/// Density: the example prints three decimals, but no largest index fits all of them; the best straight line of
/// index over code value still leaves 0.0008, the function's own ends 0.0012.
const EXAMPLE_DENSITY: f64 = 0.0015;

/// Index: the standard's closed inverse is an approximation and lies 0.03 from the function's true inverse.
const APPROXIMATE_INVERSE: f64 = 0.05;

fn near(got: f64, wanted: f64, tolerance: f64) -> bool {
    (got - wanted).abs() <= tolerance
}

/// Yule–Nielsen between paper 1 and ink 0 at half cover (calculated from the formula outside this program).
#[test]
fn yule_nielsen_half_cover_of_black_ink() {
    for (n, wanted) in [(1.0, 0.5000), (1.5, 0.3536), (1.7, 0.3078), (2.0, 0.2500)] {
        let got = ResponseCurve::new(1.0, 0.0, n).unwrap().reflectance(0.5);
        assert!(
            near(got, wanted, PRINTED_REFLECTANCE),
            "n {n}: {got}, not {wanted}"
        );
    }
}

/// Ink of density 1.5 at half cover with n = 2, and the area that Murray–Davies (n = 1) would read from it
/// (calculated outside this program).
#[test]
fn yule_nielsen_against_murray_davies() {
    let ink = 10f64.powf(-1.5);
    let got = ResponseCurve::new(1.0, ink, 2.0).unwrap().reflectance(0.5);
    assert!(near(got, 0.3468, PRINTED_REFLECTANCE), "{got}");
    let apparent = ResponseCurve::new(1.0, ink, 1.0)
        .unwrap()
        .coverage(got)
        .unwrap();
    assert!(near(apparent, 0.6745, PRINTED_REFLECTANCE), "{apparent}");
}

/// n = 1 is the straight line of Murray and Davies; for large n the curve nears the geometric mean, even in density.
#[test]
fn yule_nielsen_limits() {
    let (clear, dark) = (0.72, 0.03);
    let straight = ResponseCurve::new(clear, dark, 1.0).unwrap();
    let steep = ResponseCurve::new(clear, dark, 20.0).unwrap();
    for share in [0.0, 0.2, 0.5, 0.9, 1.0] {
        let line = (1.0 - share) * clear + share * dark;
        assert!(near(straight.reflectance(share), line, 1e-15));
        let geometric = clear.powf(1.0 - share) * dark.powf(share);
        // ln R differs by half the variance of ln R over n, here up to 0.063.
        let parted = (steep.reflectance(share) / geometric).ln();
        assert!((-1e-12..=0.065).contains(&parted), "{share}: {parted}");
    }
}

/// Ends of the table of DICOM PS3.14 annex B.
#[test]
fn display_function_ends() {
    let (first, last) = (
        luminance_cd_m2(1.0).unwrap(),
        luminance_cd_m2(1023.0).unwrap(),
    );
    assert!(near(first, 0.0500, 0.5e-4), "{first}");
    // The printed coefficients carry eight digits and give 3993.33, the table prints 3993.4040.
    assert!(near(last, 3993.33, 0.005), "{last}");
    assert!(near(last / 3993.4040, 1.0, 2e-5), "{last}");
    assert!(luminance_cd_m2(0.99).is_none() && luminance_cd_m2(1023.01).is_none());
    assert!(luminance_cd_m2(f64::NAN).is_none() && jnd_index(f64::NAN).is_none());
}

/// DICOM PS3.14 annex D.2: film on a light box of 2000 cd/m² under 10 cd/m² of ambient light, densities 0.20 to 3.00,
/// 8 bit. Density is −log10 of what here is reflectance.
#[test]
fn display_function_worked_example() {
    let (diffuser_cd_m2, veil_cd_m2) = (2000.0, 10.0);
    let lstar = |density: f64| lstar_from_reflectance(10f64.powf(-density));
    let ladder = Ladder::Jnd {
        diffuser_cd_m2,
        veil_cd_m2,
    };
    let targets = ladder.targets_lstar(lstar(3.0), lstar(0.2), 256).unwrap();
    let printed = [
        (0, 3.000),
        (1, 2.936),
        (16, 2.405),
        (32, 2.103),
        (64, 1.698),
        (128, 1.122),
        (192, 0.641),
        (255, 0.200),
    ];
    for (value, wanted) in printed {
        let got = -reflectance_from_lstar(targets[value]).log10();
        assert!(
            near(got, wanted, EXAMPLE_DENSITY),
            "P {value}: {got}, not {wanted}"
        );
    }
}

/// The same example prints a largest index of 848.75; its own table follows 847.18 and ends at density 0.200, where the
/// other would end at 0.196.
#[test]
fn display_function_worked_example_has_a_misprint() {
    let density = |j: f64| -((luminance_cd_m2(j).unwrap() - 10.0) / 2000.0).log10();
    let largest = jnd_index(10.0 + 2000.0 * 10f64.powf(-0.2)).unwrap();
    assert!(near(largest, 847.18, APPROXIMATE_INVERSE), "{largest}");
    assert!(near(density(847.18), 0.200, 0.5e-3), "{}", density(847.18));
    assert!(near(density(848.75), 0.196, 0.5e-3), "{}", density(848.75));
}

/// IEC 61966-2-1: the ends, and 18 % grey and the middle code (both calculated from its formula outside this program).
#[test]
fn srgb_greys() {
    assert_eq!(grey_from_reflectance(0.0), 0);
    assert_eq!(grey_from_reflectance(1.0), 255);
    assert_eq!(grey_from_reflectance(0.18), 118);
    assert!(near(reflectance_from_grey(128), 0.215861, 1e-6));
    assert_eq!(grey_from_reflectance(-0.1), 0);
    assert_eq!(grey_from_reflectance(1.2), 255);
}

/// Its two branches meet within the digits that the standard prints.
#[test]
fn srgb_branches_meet() {
    let (below, above) = (encode(0.003_130_8), encode(0.003_130_801));
    assert!(near(below, above, 1e-6), "{below} {above}");
    assert!(near(decode(0.04045), decode(0.040_450_01), 1e-7));
    for grey in 0..=255 {
        assert_eq!(grey_from_reflectance(reflectance_from_grey(grey)), grey);
    }
}
