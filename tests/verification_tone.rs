//! Tone against itself: curves rise or fall throughout, and every way out has its way back.

use greyloom::tone::gsdf::{jnd_index, luminance_cd_m2};
use greyloom::tone::pchip::{KnotError, MonotoneCubic};
use greyloom::tone::spectra::{Illuminant, Spectrum, SpectrumError};
use greyloom::tone::{
    CurveError, Knot, Ladder, LadderError, ResponseCurve, lstar_from_reflectance, lstar_slope,
    reflectance_from_lstar,
};
use proptest::prelude::*;
use proptest::test_runner::Config;

/// Share of a quantity that a way out and back may lose: some hundred roundings.
const ROUND_TRIP: f64 = 1e-12;

/// Relative error of a central difference with a step of 1e-6 of a smooth curve.
const DIFFERENCE: f64 = 1e-5;

/// Three rising numbers strictly inside 0…1.
fn rising() -> impl Strategy<Value = [f64; 3]> {
    [0.02..1.0f64, 0.02..1.0f64, 0.02..1.0f64, 0.02..1.0f64].prop_map(|[a, b, c, d]| {
        let whole = a + b + c + d;
        [a / whole, (a + b) / whole, (a + b + c) / whole]
    })
}

fn curve() -> impl Strategy<Value = ResponseCurve> {
    (
        0.3..1.2f64,
        0.0..0.25f64,
        1.0..10.0f64,
        proptest::option::of((rising(), rising())),
    )
        .prop_map(|(clear, dark, n, knots)| {
            let knots = knots.map_or(Vec::new(), |(x, y)| {
                x.into_iter()
                    .zip(y)
                    .map(|(coverage, effective)| Knot {
                        coverage,
                        effective,
                    })
                    .collect()
            });
            ResponseCurve::with_correction(clear, dark, n, knots).unwrap()
        })
}

proptest! {
    #![proptest_config(Config { failure_persistence: None, ..Config::default() })]

    #[test]
    fn lightness_round_trip(reflectance in 0.0..1.2f64) {
        let back = reflectance_from_lstar(lstar_from_reflectance(reflectance));
        prop_assert!((back - reflectance).abs() <= ROUND_TRIP);
    }

    #[test]
    fn lightness_slope_is_its_difference(reflectance in 0.0001..1.2f64) {
        let h = 1e-6 * reflectance;
        let rise = lstar_from_reflectance(reflectance + h) - lstar_from_reflectance(reflectance - h);
        prop_assert!((rise / (2.0 * h) / lstar_slope(reflectance) - 1.0).abs() <= DIFFERENCE);
    }

    #[test]
    fn response_falls(curve in curve(), a in 0.0..1.0f64, step in 1e-4..0.5f64) {
        let b = (a + step).min(1.0);
        prop_assert!(curve.reflectance(a) > curve.reflectance(b));
        prop_assert!(curve.slope(a) <= 0.0);
    }

    #[test]
    fn response_round_trip_in_reflectance(curve in curve(), share in 0.0..=1.0f64) {
        let (clear, dark) = (curve.clear_reflectance(), curve.dark_reflectance());
        let wanted = clear + (dark - clear) * share;
        let wanted = wanted.clamp(dark, clear);
        let back = curve.reflectance(curve.coverage(wanted).unwrap());
        prop_assert!((back - wanted).abs() <= ROUND_TRIP, "{back} {wanted}");
    }

    #[test]
    fn response_slope_is_its_difference(curve in curve(), a in 0.001..0.999f64) {
        let h = 1e-6;
        let fall = (curve.reflectance(a + h) - curve.reflectance(a - h)) / (2.0 * h);
        // Absolute, in units of reflectance: at a knot the second derivative jumps.
        prop_assert!((fall - curve.slope(a)).abs() <= 2e-3, "{fall} {}", curve.slope(a));
    }

    #[test]
    fn response_goes_through_its_file(curve in curve()) {
        let text = serde_json::to_string(&curve).unwrap();
        let back: ResponseCurve = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(back.knots().len(), curve.knots().len());
        for a in [0.0, 0.3, 0.8, 1.0] {
            // A reader of JSON may miss a number's last bit.
            prop_assert!((back.reflectance(a) - curve.reflectance(a)).abs() <= ROUND_TRIP);
        }
    }

    #[test]
    fn cubic_rises_and_inverts(x in rising(), y in rising(), at in 0.0..1.0f64, step in 1e-4..0.5f64) {
        let cubic = MonotoneCubic::new(x.to_vec(), y.to_vec()).unwrap();
        let from = x[0] + at * (x[2] - x[0]);
        let to = (from + step).min(x[2]);
        prop_assert!(cubic.value(to) >= cubic.value(from));
        let value = cubic.value(from);
        prop_assert!((cubic.value(cubic.inverse(value)) - value).abs() <= ROUND_TRIP);
    }

    #[test]
    fn display_function_round_trip(j in 1.0..1023.0f64) {
        let back = jnd_index(luminance_cd_m2(j).unwrap()).unwrap();
        prop_assert!((back / j - 1.0).abs() <= ROUND_TRIP);
    }

    #[test]
    fn ladders_rise_between_their_ends(low in 1.0..60.0f64, span in 5.0..40.0f64, levels in 2usize..64) {
        let jnd = Ladder::Jnd { diffuser_cd_m2: 500.0 / std::f64::consts::PI, veil_cd_m2: 0.5 };
        for ladder in [Ladder::Lightness, Ladder::Reflectance, Ladder::Density, jnd] {
            let targets = ladder.targets_lstar(low, low + span, levels).unwrap();
            prop_assert_eq!(targets.len(), levels);
            prop_assert_eq!((targets[0], targets[levels - 1]), (low, low + span));
            prop_assert!(targets.windows(2).all(|pair| pair[0] < pair[1]), "{:?}", targets);
        }
    }

    #[test]
    fn cubic_spectra_are_met_exactly_between_their_points(nm in 400.0..700.0f64, step in prop_oneof![Just(5.0), Just(10.0), Just(20.0)]) {
        let cubic = |nm: f64| { let t = (nm - 540.0) / 200.0; 0.4 + 0.1 * t - 0.15 * t * t + 0.12 * t * t * t };
        let wavelengths: Vec<f64> = (0..=(400.0 / step) as usize).map(|k| 380.0 + step * k as f64).collect();
        let spectrum = Spectrum::new(wavelengths.clone(), wavelengths.iter().map(|w| cubic(*w)).collect()).unwrap();
        prop_assert!((spectrum.at(nm) - cubic(nm)).abs() <= ROUND_TRIP);
    }
}

/// Each ladder is even in its own scale.
#[test]
fn ladders_are_even_in_their_own_scale() {
    let (low, high, levels) = (20.0, 85.0, 17);
    let even = |ladder: Ladder, scale: fn(f64) -> f64| {
        let values: Vec<f64> = ladder
            .targets_lstar(low, high, levels)
            .unwrap()
            .into_iter()
            .map(scale)
            .collect();
        let step = (values[levels - 1] - values[0]) / (levels - 1) as f64;
        values
            .windows(2)
            .all(|pair| ((pair[1] - pair[0]) / step - 1.0).abs() <= 1e-9)
    };
    assert!(even(Ladder::Lightness, |lstar| lstar));
    assert!(even(Ladder::Reflectance, reflectance_from_lstar));
    assert!(even(Ladder::Density, |lstar| reflectance_from_lstar(lstar)
        .log10()));
    let jnd = Ladder::Jnd {
        diffuser_cd_m2: 160.0,
        veil_cd_m2: 1.0,
    };
    assert!(even(jnd, |lstar| jnd_index(
        1.0 + 160.0 * reflectance_from_lstar(lstar)
    )
    .unwrap()));
    assert!(!even(Ladder::Density, |lstar| lstar));
}

#[test]
fn ladders_that_cannot_stand() {
    let lightness = Ladder::Lightness;
    assert_eq!(
        lightness.targets_lstar(10.0, 90.0, 1),
        Err(LadderError::TooFewLevels(1))
    );
    assert!(matches!(
        lightness.targets_lstar(50.0, 50.0, 4),
        Err(LadderError::Ends { .. })
    ));
    assert!(matches!(
        lightness.targets_lstar(-1.0, 50.0, 4),
        Err(LadderError::Ends { .. })
    ));
    assert!(matches!(
        lightness.targets_lstar(f64::NAN, 50.0, 4),
        Err(LadderError::Ends { .. })
    ));
    assert!(matches!(
        lightness.targets_lstar(0.0, f64::INFINITY, 4),
        Err(LadderError::Ends { .. })
    ));
    let density = Ladder::Density.targets_lstar(0.0, 50.0, 4);
    assert_eq!(density, Err(LadderError::BlackHasNoDensity));
    let jnd = |diffuser_cd_m2, veil_cd_m2| {
        Ladder::Jnd {
            diffuser_cd_m2,
            veil_cd_m2,
        }
        .targets_lstar(10.0, 90.0, 4)
    };
    assert!(matches!(jnd(0.0, 0.0), Err(LadderError::Light { .. })));
    assert!(matches!(jnd(100.0, -1.0), Err(LadderError::Light { .. })));
    assert!(matches!(
        jnd(1e5, 0.0),
        Err(LadderError::OutsideDisplayFunction(_))
    ));
}

#[test]
fn curves_that_cannot_be() {
    let reflectance = |clear, dark| ResponseCurve::new(clear, dark, 2.0);
    assert!(reflectance(1.2, 0.0).is_ok());
    assert!(matches!(
        reflectance(1.201, 0.0),
        Err(CurveError::Reflectance { .. })
    ));
    assert!(matches!(
        reflectance(0.5, 0.5),
        Err(CurveError::Reflectance { .. })
    ));
    assert!(matches!(
        reflectance(0.5, -0.001),
        Err(CurveError::Reflectance { .. })
    ));
    assert!(matches!(
        reflectance(f64::NAN, 0.1),
        Err(CurveError::Reflectance { .. })
    ));
    let factor = |n| ResponseCurve::new(0.7, 0.03, n);
    assert!(factor(1.0).is_ok() && factor(20.0).is_ok());
    assert!(matches!(factor(0.999), Err(CurveError::Factor(_))));
    assert!(matches!(factor(20.001), Err(CurveError::Factor(_))));
    assert!(matches!(factor(f64::NAN), Err(CurveError::Factor(_))));
    let knots = |points: &[(f64, f64)]| {
        let knot = |&(coverage, effective)| Knot {
            coverage,
            effective,
        };
        ResponseCurve::with_correction(0.7, 0.03, 2.0, points.iter().map(knot).collect())
    };
    assert!(knots(&[(0.3, 0.2), (0.6, 0.7)]).is_ok());
    assert!(matches!(knots(&[(0.0, 0.2)]), Err(CurveError::Outside(_))));
    assert!(matches!(knots(&[(0.3, 1.0)]), Err(CurveError::Outside(_))));
    assert!(matches!(
        knots(&[(0.3, f64::NAN)]),
        Err(CurveError::Outside(_))
    ));
    let falling = knots(&[(0.3, 0.5), (0.6, 0.5)]);
    assert!(matches!(
        falling,
        Err(CurveError::Knots(KnotError::NotRising { index: 2, .. }))
    ));
}

#[test]
fn response_file_is_checked_on_reading() {
    let good = r#"{"clear_reflectance":0.7,"dark_reflectance":0.03,"yule_nielsen":1.8}"#;
    assert!(serde_json::from_str::<ResponseCurve>(good).is_ok());
    let wrong = good.replace("0.03", "0.8");
    let error = serde_json::from_str::<ResponseCurve>(&wrong)
        .unwrap_err()
        .to_string();
    assert!(error.contains("dark reflectance 0.8"), "{error}");
    let unknown = good.replace("yule_nielsen", "n");
    assert!(serde_json::from_str::<ResponseCurve>(&unknown).is_err());
}

/// The end values of the radiochemical data by which monotone interpolation was first shown (from memory): flat, a
/// steep front, flat again, where an ordinary cubic spline swings past both ends.
#[test]
fn cubic_stays_within_a_steep_front() {
    let x = [7.99, 8.09, 8.19, 8.7, 9.2, 10.0, 12.0, 15.0, 20.0];
    let y = [
        0.0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994,
    ];
    let cubic = MonotoneCubic::new(x.to_vec(), y.to_vec()).unwrap();
    for (x, y) in x.iter().zip(y) {
        assert!((cubic.value(*x) - y).abs() <= 1e-15);
    }
    let along: Vec<f64> = (0..=5000)
        .map(|k| cubic.value(7.99 + 12.01 * f64::from(k) / 5000.0))
        .collect();
    assert!(along.windows(2).all(|pair| pair[0] <= pair[1]));
    assert_eq!((cubic.value(0.0), cubic.value(30.0)), (y[0], y[8]));
}

/// Knots on a straight line give the straight line, on uneven spacing too.
#[test]
fn cubic_through_a_line_is_the_line() {
    let x = vec![0.0, 0.1, 0.5, 0.55, 1.0];
    let cubic = MonotoneCubic::new(x.clone(), x.iter().map(|x| 2.0 + 3.0 * x).collect()).unwrap();
    for k in 0..=100 {
        let x = f64::from(k) / 100.0;
        assert!((cubic.value(x) - 2.0 - 3.0 * x).abs() <= 1e-14);
        assert!((cubic.slope(x) - 3.0).abs() <= 1e-12);
    }
}

/// An error of the interpolation falls with the fourth power of the spacing where the curve bends gently.
#[test]
fn spectrum_interpolation_order() {
    let error = |step: f64| -> f64 {
        let wavelengths: Vec<f64> = (0..=(400.0 / step) as usize)
            .map(|k| 380.0 + step * k as f64)
            .collect();
        let smooth = |nm: f64| 0.5 + 0.3 * (nm / 60.0).sin();
        let values = wavelengths.iter().map(|w| smooth(*w)).collect();
        let spectrum = Spectrum::new(wavelengths, values).unwrap();
        (0..300)
            .map(|k| 425.3 + f64::from(k))
            .map(|nm| (spectrum.at(nm) - smooth(nm)).abs())
            .fold(0.0, f64::max)
    };
    let order = (error(20.0) / error(10.0)).log2();
    assert!((3.7..=4.3).contains(&order), "{order}");
}

#[test]
fn spectra_that_cannot_be() {
    let of = |wavelengths: Vec<f64>, value: f64| {
        let reflectance = vec![value; wavelengths.len()];
        Spectrum::new(wavelengths, reflectance)
    };
    let by = |first: f64, step: f64, count: usize| {
        (0..count)
            .map(|k| first + step * k as f64)
            .collect::<Vec<f64>>()
    };
    assert!(of(by(400.0, 20.0, 16), 0.5).is_ok());
    assert!(matches!(
        of(by(400.0, 20.001, 16), 0.5),
        Err(SpectrumError::Spacing { at: 1, .. })
    ));
    assert!(matches!(
        of(by(401.0, 20.0, 16), 0.5),
        Err(SpectrumError::Reach { .. })
    ));
    assert!(matches!(
        of(by(380.0, 10.0, 32), 0.5),
        Err(SpectrumError::Reach { .. })
    ));
    assert!(matches!(
        of(Vec::new(), 0.5),
        Err(SpectrumError::Reach { .. })
    ));
    assert!(matches!(
        of(by(400.0, 20.0, 16), 1.21),
        Err(SpectrumError::Reflectance { .. })
    ));
    assert!(matches!(
        of(by(400.0, 20.0, 16), f64::NAN),
        Err(SpectrumError::Reflectance { .. })
    ));
    let lengths = Spectrum::new(by(400.0, 20.0, 16), vec![0.5; 15]);
    assert!(matches!(
        lengths,
        Err(SpectrumError::Lengths {
            wavelengths: 16,
            values: 15
        })
    ));
    let mut knotted = by(400.0, 20.0, 16);
    knotted[7] = knotted[6];
    assert!(matches!(
        of(knotted, 0.5),
        Err(SpectrumError::Spacing { at: 7, .. })
    ));
    let grey = of(by(380.0, 5.0, 81), 0.5)
        .unwrap()
        .luminous_reflectance(Illuminant::D65);
    assert!((grey - 0.5).abs() <= 1e-12);
}
