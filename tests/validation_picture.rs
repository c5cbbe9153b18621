//! Pictures into levels against what is published of colour spaces and dithering.

use greyloom::picture::{Dither, Fitting, Luminance, bayer, read_picture, scaled, to_levels};
use greyloom::tone::{lstar_from_reflectance, reflectance_from_lstar};
use image::{DynamicImage, GrayImage, Luma, Rgb, RgbImage};
use std::path::PathBuf;

/// Relative luminance is kept as f32.
const SINGLE: f64 = 1e-6;

fn read(picture: DynamicImage) -> Luminance {
    let dir = tempfile::tempdir().expect("a folder");
    let file: PathBuf = dir.path().join("picture.png");
    picture.save(&file).expect("written");
    read_picture(&file).expect("read")
}

/// IEC 61966-2-1:1999, 5.2: signal to linear light, and the luminances of the primaries, as in Rec. ITU-R BT.709-6, 3.2.
#[test]
fn samples_are_srgb() {
    let decoded = |signal: f64| {
        if signal <= 0.04045 {
            signal / 12.92
        } else {
            ((signal + 0.055) / 1.055).powf(2.4)
        }
    };
    let pixels = [
        [255, 0, 0],
        [0, 255, 0],
        [0, 0, 255],
        [128, 128, 128],
        [7, 7, 7],
        [200, 30, 90],
    ];
    let picture = RgbImage::from_fn(6, 1, |x, _| Rgb(pixels[x as usize]));
    let luminance = read(DynamicImage::ImageRgb8(picture));
    for (found, rgb) in luminance.values.iter().zip(pixels) {
        let [r, g, b] = rgb.map(|v| decoded(f64::from(v) / 255.0));
        let expected = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        assert!(
            (f64::from(*found) - expected).abs() < SINGLE,
            "{rgb:?} {found} {expected}"
        );
    }
    // The middle of the signal is about a fifth of the light: 0.2159 at 128 of 255 (from memory).
    assert!((luminance.values[3] - 0.2159).abs() < 1e-4);
}

/// B. E. Bayer, "An optimum method for two-level rendition of continuous-tone pictures", IEEE ICC 1973: the 4 × 4 and the
/// first rows of the 8 × 8 matrix as reprinted in textbooks (from memory).
#[test]
fn thresholds_are_those_of_bayer() {
    let eight = [
        [0, 32, 8, 40, 2, 34, 10, 42],
        [48, 16, 56, 24, 50, 18, 58, 26],
        [12, 44, 4, 36, 14, 46, 6, 38],
        [60, 28, 52, 20, 62, 30, 54, 22],
        [3, 35, 11, 43, 1, 33, 9, 41],
        [51, 19, 59, 27, 49, 17, 57, 25],
        [15, 47, 7, 39, 13, 45, 5, 37],
        [63, 31, 55, 23, 61, 29, 53, 21],
    ];
    for (row, entries) in eight.iter().enumerate() {
        for (column, &entry) in entries.iter().enumerate() {
            assert_eq!(bayer(row, column), entry, "{row} {column}");
            assert_eq!(bayer(row + 8, column + 16), entry);
        }
    }
}

const BLACK_WHITE: [f64; 2] = [0.0, 100.0];

fn flat(width: usize, height: usize, luminance: f32) -> Luminance {
    Luminance {
        width,
        height,
        values: vec![luminance; width * height],
    }
}

/// R. W. Floyd and L. Steinberg, Proc. SID 17 (1976) 75–77: 7/16 to the next pixel, 3/16, 5/16 and 1/16 below. Worked by
/// hand for two levels, 0 and 1, of a 3 × 2 picture, the second row from right to left.
#[test]
fn errors_go_where_floyd_and_steinberg_send_them() {
    // Row 0: 0.45 → 0, error 0.45: right 0.196875, below-left none, below 0.140625, below-right 0.028125.
    // 0.3 + 0.196875 = 0.496875 → 0: right 0.217383, below-left 0.093164, below 0.155273, below-right 0.031055.
    // 0.2 + 0.217383 = 0.417383 → 0: below-left 0.078259, below 0.130432.
    // Row 1, from the right: 0.4 + 0.031055 + 0.130432 = 0.561487 → 1, error −0.438513: next −0.191849.
    // 0.4 + 0.028125 + 0.155273 + 0.078259 − 0.191849 = 0.469808 → 0, error 0.469808: next 0.205541.
    // 0.1 + 0.140625 + 0.093164 + 0.205541 = 0.53933 → 1.
    let picture = Luminance {
        width: 3,
        height: 2,
        values: vec![0.45, 0.3, 0.2, 0.1, 0.4, 0.4],
    };
    // Targets of L* 0 and 100, so that what is asked for is the picture's own reflectance.
    let asked = |y: f32| reflectance_from_lstar(lstar_from_reflectance(f64::from(y)));
    assert!((asked(0.45) - 0.45).abs() < SINGLE);
    let levels = to_levels(&picture, &BLACK_WHITE, Dither::Diffused).levels;
    assert_eq!(levels, [0, 0, 0, 1, 0, 1]);
}

/// What dithering is for: the mean light of an area is that of the picture. Common practice, no source.
#[test]
fn dithered_areas_keep_their_light() {
    // Errors leave over the edge of the picture; thresholds have 64 steps.
    const LIGHT: f64 = 0.01;
    for luminance in [0.11f32, 0.42, 0.77] {
        for dither in [Dither::Diffused, Dither::Ordered] {
            let levels = to_levels(&flat(64, 64, luminance), &BLACK_WHITE, dither).levels;
            let mean = levels.iter().map(|&l| f64::from(l)).sum::<f64>() / levels.len() as f64;
            assert!(
                (mean - f64::from(luminance)).abs() < LIGHT,
                "{dither:?} {luminance} {mean}"
            );
        }
    }
}

/// A picture that shrinks is averaged in light and not in signal: a checker of black and white is half the light, L* 76.07
/// (CIE 1976: 116·0.5^(1/3) − 16), where an average of signals would give L* 54.
#[test]
fn pictures_shrink_in_linear_light() {
    let checker = GrayImage::from_fn(64, 64, |x, y| Luma([255 * ((x + y) % 2) as u8]));
    let luminance = read(DynamicImage::ImageLuma8(checker));
    let small = scaled(&luminance, 4, 4, Fitting::Stretch);
    for y in small.values {
        assert!((f64::from(y) - 0.5).abs() < SINGLE);
        assert!((lstar_from_reflectance(f64::from(y)) - 76.07).abs() < 0.01);
    }
}
