//! Pictures hold what the data say and come out the same twice.
//!
//! They are left in the target's `tmp` folder, to be looked at.

mod support;

use greyloom::draw::{FitPoint, PointKind, RampBand, RampLevel, fit_png, ramp_png};
use std::path::Path;
use support::harbour_tile;

fn keep(name: &str, png: &[u8]) {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::write(path, png).expect("picture kept");
}

fn ramp(title: &str, count: usize, half_steps: f64) -> RampBand {
    let step = 48.0 / (count as f64 - 1.0);
    let level = |i: usize| {
        let target_lstar = 37.0 + step * i as f64;
        let lstar = target_lstar + 0.08 * step * (1.9 * i as f64).sin();
        let half = half_steps * step / (1.0 + i as f64 / count as f64);
        RampLevel {
            lstar,
            low_lstar: lstar - half,
            high_lstar: lstar + half,
            target_lstar,
        }
    };
    RampBand {
        title: title.into(),
        levels: (0..count).map(level).collect(),
    }
}

const TITLE: &str = "Harbour tile, pier 4: grey ramp";
const CAPTION: &str = "32 levels in 9.4 s, as predicted from 60 pages of readings";

fn decoded(png: &[u8]) -> image::RgbImage {
    image::load_from_memory(png).expect("a PNG").to_rgb8()
}

/// Width of the longest run of one exact grey on any line of the picture.
fn longest_run(picture: &image::RgbImage, grey: u8) -> usize {
    let run = |row: image::buffer::Pixels<'_, image::Rgb<u8>>| {
        let step = |(best, now): (usize, usize), p: &image::Rgb<u8>| {
            let now = if p.0 == [grey; 3] { now + 1 } else { 0 };
            (best.max(now), now)
        };
        row.fold((0, 0), step).0
    };
    picture.rows().map(run).max().unwrap_or(0)
}

/// sRGB bytes of L* 25, 50, 75: CIE 1976 and IEC 61966-2-1 worked by hand from the reflectances 4.4155,
/// 18.4187 and 48.2781 % (colour-science 0.4.7): 255 (1.055 Y^(1/2.4) − 0.055).
const GREYS: [(f64, u8); 3] = [(25.0, 59), (50.0, 119), (75.0, 185)];

#[test]
fn a_swatch_has_the_grey_of_its_lightness() {
    let level = |(lstar, _)| RampLevel {
        lstar,
        low_lstar: lstar - 1.0,
        high_lstar: lstar + 1.0,
        target_lstar: lstar,
    };
    let band = RampBand {
        title: "23 °C".into(),
        levels: GREYS.map(level).to_vec(),
    };
    let picture = decoded(&ramp_png(&[band], 0.25, TITLE, CAPTION).expect("a ramp"));
    for (lstar, grey) in GREYS {
        let run = longest_run(&picture, grey);
        assert_eq!(run, 390, "L* {lstar}: a third of the ramp in grey {grey}");
    }
}

#[test]
fn ramps_hold_all_levels_and_come_out_the_same_twice() {
    let set = harbour_tile();
    let bands: Vec<RampBand> = set.bands.iter().map(|b| RampBand::of(&set, b)).collect();
    let one = ramp_png(&bands[..1], 0.25, TITLE, CAPTION).expect("a ramp");
    let three = ramp_png(&bands, 0.25, TITLE, CAPTION).expect("a ramp");
    assert_eq!(
        three,
        ramp_png(&bands, 0.25, TITLE, CAPTION).expect("a ramp")
    );
    assert!(decoded(&three).height() > 2 * decoded(&one).height());
    keep("ramp-3-bands.png", &three);
    for (count, half) in [(2, 0.1), (4, 0.1), (33, 0.1), (64, 0.2), (256, 0.6)] {
        let png = ramp_png(&[ramp("23 °C", count, half)], 0.25, TITLE, CAPTION).expect("a ramp");
        keep(&format!("ramp-{count}.png"), &png);
    }
}

#[test]
fn a_level_at_the_tolerance_does_not_leave_it() {
    /// Okabe and Ito's vermilion, for what leaves the tolerance.
    const LEAVES: [u8; 3] = [213, 94, 0];
    let with_low = |low_lstar| {
        let mut band = ramp("23 °C", 32, 0.1);
        let target_lstar = band.levels[31].target_lstar;
        band.levels[31].low_lstar = target_lstar - low_lstar;
        inked(
            &decoded(&ramp_png(&[band], 0.25, TITLE, CAPTION).expect("a ramp")),
            LEAVES,
        )
    };
    let step_lstar = {
        let levels = ramp("23 °C", 32, 0.1).levels;
        levels[1].target_lstar - levels[0].target_lstar
    };
    // In the legend, that mark stands always; the set rounds L* to 4 decimals.
    let legend = with_low(0.0);
    assert_eq!(with_low(0.25 * step_lstar + 0.5e-4), legend);
    assert!(with_low(0.25 * step_lstar + 5e-4) > legend);
}

#[test]
fn long_words_and_wild_ranges_are_drawn_too() {
    let words = "A title that goes on and on ".repeat(12);
    let mut band = ramp(&words, 32, 0.1);
    band.levels[7].high_lstar = 1e9;
    keep(
        "ramp-wild.png",
        &ramp_png(&[band], 0.25, &words, &words).expect("a ramp"),
    );
}

#[test]
fn a_ramp_that_can_not_be_drawn_says_why() {
    let mut nan = ramp("23 °C", 8, 0.1);
    nan.levels[3].low_lstar = f64::NAN;
    let mut flat = ramp("23 °C", 8, 0.1);
    flat.levels.iter_mut().for_each(|l| l.target_lstar = 50.0);
    let mut short = ramp("23 °C", 8, 0.1);
    short.levels.truncate(1);
    let long = ramp("23 °C", 257, 0.1);
    for bands in [vec![], vec![nan], vec![flat], vec![short], vec![long]] {
        let error = ramp_png(&bands, 0.25, TITLE, CAPTION).expect_err("no ramp");
        assert_eq!(error.exit_code(), 4, "{error}");
    }
    for tolerance in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(ramp_png(&[ramp("23 °C", 8, 0.1)], tolerance, TITLE, CAPTION).is_err());
    }
}

/// Numbers that look like noise: mean 0, standard deviation 1, the same every time.
fn noise(i: usize) -> f64 {
    let uniform = |k: usize| {
        ((i * 12 + k) as f64 * 12.9898)
            .sin()
            .mul_add(43758.5453, 0.0)
            .fract()
            .abs()
    };
    (0..12).map(uniform).sum::<f64>() - 6.0
}

fn point(i: usize) -> FitPoint {
    let kind = match i {
        0..360 => PointKind::Page,
        360..420 => PointKind::Mirrored,
        420..500 => PointKind::Cell,
        _ => PointKind::Holdout,
    };
    let on_panel = |x: f64| (kind != PointKind::Cell).then_some(x);
    let share = (i as f64 * 0.618_034).fract();
    let predicted_lstar = 86.0 - 52.0 * share + 2.0 * noise(i + 7000);
    let stray = [17, 140, 333].contains(&i);
    let residual = 0.16 * noise(i)
        + if stray {
            1.1 * (i as f64).sin().signum()
        } else {
            0.0
        };
    FitPoint {
        name: format!("p{:02}/{}", i / 6, ["a", "b", "c", "d", "e", "f"][i % 6]),
        measured_lstar: predicted_lstar + residual,
        predicted_lstar,
        u_lstar: 0.15,
        temperature_c: [5.0, 12.0, 23.0, 32.0, 40.0][i / 6 % 5],
        row: on_panel((i * 37 % 80) as f64),
        select_v: on_panel([7.0, 9.0, 11.0, 14.0, 18.0][i % 5]),
        own_ticks_share: on_panel(share),
        content_share: on_panel((i as f64 * 0.414).fract()),
        kind,
        stray,
    }
}

const FIT_TITLE: &str = "Harbour tile, pier 4: the fitted response";

/// Pixels of nearly one of the palette's colours.
fn inked(picture: &image::RgbImage, ink: [u8; 3]) -> usize {
    let near = |p: &&image::Rgb<u8>| p.0.iter().zip(ink).all(|(a, b)| a.abs_diff(b) <= 6);
    picture.pixels().filter(near).count()
}

#[test]
fn a_fit_shows_points_held_out_in_their_own_colour() {
    const VERMILION: [u8; 3] = [213, 94, 0];
    let points: Vec<FitPoint> = (0..620).map(point).collect();
    let caption = "14 parameters, 500 readings, χ² per degree of freedom 1.08.";
    let png = fit_png(&points, FIT_TITLE, caption).expect("a fit");
    assert_eq!(png, fit_png(&points, FIT_TITLE, caption).expect("a fit"));
    let fitted = fit_png(&points[..500], FIT_TITLE, caption).expect("a fit");
    let (with, without) = (
        inked(&decoded(&png), VERMILION),
        inked(&decoded(&fitted), VERMILION),
    );
    // The legend of the histogram keeps its stairs.
    assert!(
        with > 1000 && without < 60,
        "{with} pixels with, {without} without"
    );
    keep("fit.png", &png);
}

#[test]
fn few_or_strange_points_are_drawn_too() {
    let points: Vec<FitPoint> = (0..620).map(point).collect();
    keep(
        "fit-few.png",
        &fit_png(&points[420..431], "Test cell alone", "").expect("a fit"),
    );
    keep(
        "fit-one.png",
        &fit_png(&points[..1], "One point", "").expect("a fit"),
    );
    let mut wild = points;
    for (i, p) in wild.iter_mut().enumerate() {
        p.stray = i % 20 == 0;
        p.name = "a page with a long name/and a patch".into();
        p.row = Some([0.0, f64::NAN, 1e300, 40.0][i % 4]);
        p.temperature_c = 23.0;
        p.measured_lstar += if i % 50 == 0 { 1e5 } else { 0.0 };
        p.u_lstar = if i % 7 == 0 { 0.0 } else { 0.15 };
    }
    keep(
        "fit-wild.png",
        &fit_png(&wild, "Wild points", "Long names.").expect("a fit"),
    );
}

#[test]
fn without_a_usable_point_there_is_no_fit_to_draw() {
    let nan = FitPoint {
        predicted_lstar: f64::NAN,
        ..point(0)
    };
    for points in [vec![], vec![nan]] {
        assert_eq!(
            fit_png(&points, FIT_TITLE, "")
                .expect_err("no fit")
                .exit_code(),
            4
        );
    }
}
