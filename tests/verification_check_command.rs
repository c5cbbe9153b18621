//! `greyloom check` and the pictures of `greyloom preview`, on the set that ships.

mod refusals;

use greyloom::panel::{Figure, Limit, Verdict, kept};
use image::{DynamicImage, GrayAlphaImage, GrayImage, ImageFormat, Luma, LumaA, Rgb, RgbImage};
use refusals::{assert_refused, run};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::sync::LazyLock;

/// A folder with the shipped set.
fn shipped() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("waveforms/harbour-tile");
    for name in ["waveforms.json", "response.json", "panel.toml"] {
        fs::copy(from.join(name), dir.path().join(name)).unwrap();
    }
    dir
}

fn edited(dir: &Path, name: &str, from: &str, to: &str) {
    let file = dir.join(name);
    let text = fs::read_to_string(&file).unwrap();
    assert!(text.contains(from), "{name}: {from}");
    fs::write(&file, text.replacen(from, to, 1)).unwrap();
}

static FIGURES: LazyLock<Vec<Value>> = LazyLock::new(|| {
    let dir = shipped();
    let output = run(
        dir.path(),
        "check waveforms.json --json --cell-mah 500 --cell-v 4 --refreshes 48",
    );
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    told["figures"].as_array().unwrap().clone()
});

fn figure(name: &str) -> &'static Value {
    let found = FIGURES.iter().find(|f| f["name"] == name);
    found.unwrap_or_else(|| panic!("no figure {name}"))
}

/// The figures of the set agree with those that the design wrote into it.
#[test]
fn figures_are_those_of_the_set() {
    let dir = shipped();
    let set: Value =
        serde_json::from_slice(&fs::read(dir.path().join("waveforms.json")).unwrap()).unwrap();
    let bands = set["bands"].as_array().unwrap();
    let largest = |of: &str| {
        let all = bands
            .iter()
            .map(|b| b["figures"][of].as_f64().unwrap().abs());
        all.fold(0.0, f64::max)
    };
    // Figures of the set are rounded to 4 decimals, its levels too.
    const ROUNDED: f64 = 2e-4;
    for (name, expected) in [
        ("level error", largest("worst_error_steps")),
        ("ghost", largest("ghost_lstar")),
        ("net impulse", largest("net_impulse_vs")),
        ("energy", largest("energy_mj")),
        ("step", largest("step_lstar")),
    ] {
        let value = figure(name)["value"].as_f64().unwrap();
        assert!(
            (value - expected).abs() < ROUNDED * expected.max(1.0),
            "{name} {value} {expected}"
        );
    }
    let crosstalk = figure("crosstalk")["value"].as_f64().unwrap();
    let tolerance = 0.25 * largest("step_lstar");
    assert!(
        crosstalk > 0.05 && crosstalk <= 2.0 * tolerance,
        "{crosstalk}"
    );
    // 500 mAh at 4 V are 7200 J; 48 refreshes of that energy a day.
    let days = 7200.0 / (48.0 * 1e-3 * largest("energy_mj"));
    let life = figure("battery life")["value"].as_f64().unwrap();
    assert!((life / days - 1.0).abs() < 1e-3, "{life} {days}");
}

#[test]
fn a_limit_that_is_broken_ends_with_4() {
    let dir = shipped();
    assert_eq!(
        run(dir.path(), "check waveforms.json").status.code(),
        Some(0)
    );
    // The set's own balance voltage is judged: a high one moves the levels.
    let waveforms = dir.path().join("waveforms.json");
    let set = std::fs::read_to_string(&waveforms).unwrap();
    let high = set.replace("\"resting_balance_v\": 1.5", "\"resting_balance_v\": 6.0");
    assert_ne!(high, set);
    std::fs::write(&waveforms, high).unwrap();
    let shifted = run(dir.path(), "check waveforms.json");
    assert_eq!(shifted.status.code(), Some(4));
    assert!(
        String::from_utf8(shifted.stderr)
            .unwrap()
            .contains("balance shift")
    );
    // As driven, without its resting balance, the set leaves more than the limit.
    let without: Vec<&str> = set
        .lines()
        .filter(|l| !l.contains("resting_balance_v"))
        .collect();
    assert!(without.len() < set.lines().count());
    std::fs::write(&waveforms, without.join("\n")).unwrap();
    let output = run(dir.path(), "check waveforms.json");
    let (told, said) = (
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    );
    assert_eq!(output.status.code(), Some(4), "{said}");
    assert!(
        told.contains("net impulse") && told.contains("FAIL"),
        "{told}"
    );
    assert!(
        told.contains("extra-low voltage") && told.contains("seizures"),
        "{told}"
    );
    assert!(said.contains("net impulse"), "{said}");
    std::fs::write(&waveforms, set).unwrap();
    let closer = run(dir.path(), "check waveforms.json --tolerance 0.1");
    assert_eq!(closer.status.code(), Some(4));
}

#[test]
fn the_same_on_any_number_of_threads() {
    let dir = shipped();
    let on = |threads: &str| {
        run(
            dir.path(),
            &format!("check waveforms.json --threads {threads}"),
        )
        .stdout
    };
    assert!(!on("1").is_empty());
    assert_eq!(on("1"), on("2"));
}

/// Just inside the limit, at it, within the uncertainty either way, beyond.
#[test]
fn no_verdict_where_the_limit_lies_within_the_uncertainty() {
    let verdict = |value: f64, u: Option<f64>| {
        let figure = Figure::new("x", (value, ""), Some(Limit::AtMost(1.0)), "", "");
        u.map_or(figure.clone(), |u| figure.known_to(u)).verdict
    };
    assert_eq!(verdict(1.0, None), Verdict::Pass);
    assert_eq!(verdict(1.001, None), Verdict::Fail);
    assert_eq!(verdict(f64::NAN, None), Verdict::Fail);
    assert_eq!(verdict(0.875, Some(0.125)), Verdict::Pass);
    assert_eq!(verdict(0.95, Some(0.1)), Verdict::Undecided);
    assert_eq!(verdict(1.05, Some(0.1)), Verdict::Undecided);
    assert_eq!(verdict(1.2, Some(0.1)), Verdict::Fail);
    assert_eq!(verdict(f64::NAN, Some(0.1)), Verdict::Fail);
    let stated = Figure::new("x", (f64::MAX, ""), None, "", "");
    assert!(kept(&[stated]));
}

#[test]
fn what_does_not_belong_together_is_refused() {
    let refused = |name: &str, from: &str, to: &str, words: &[&str]| {
        let dir = shipped();
        edited(dir.path(), name, from, to);
        assert_refused(dir.path(), "check waveforms.json", 3, words);
    };
    refused(
        "panel.toml",
        "rows = 80",
        "rows = 81",
        &["80 × 120", "81 × 120"],
    );
    refused(
        "response.json",
        "\"panel\": \"harbour-tile\"",
        "\"panel\": \"other\"",
        &["response.json", "panel"],
    );
    refused(
        "response.json",
        "\"clear_reflectance\": 0.7",
        "\"clear_reflectance\": 0.5",
        &["response.json", "levels up to"],
    );
    refused(
        "response.json",
        "\"softness_v\": ",
        "\"softness_v\": -",
        &["softness_v", "above 0"],
    );
    refused(
        "response.json",
        "\"softness_v\": ",
        "\"softness_v\": NaN, \"x\": ",
        &["response.json", "line"],
    );
    for name in ["response.json", "panel.toml"] {
        let dir = shipped();
        fs::remove_file(dir.path().join(name)).unwrap();
        assert_refused(
            dir.path(),
            "check waveforms.json",
            3,
            &[name, "beside the waveforms"],
        );
    }
    let dir = shipped();
    for line in [
        "check waveforms.json --chart c.csv",
        "check waveforms.json --cell-mah 100 --cell-v 3",
        "check waveforms.json --cell-mah 0 --cell-v 3 --refreshes 3",
        "check waveforms.json --cell-mah 9 --cell-v 1001 --refreshes 3",
        "preview waveforms.json --from x.png",
        "preview waveforms.json --pattern ramp --magnify 33",
        "preview waveforms.json --pattern ramp --temperature 60",
        "preview waveforms.json --pattern ramp --picture x.png",
    ] {
        assert_refused(dir.path(), line, 2, &[]);
    }
}

/// Every kind of picture that is read shows something; the file is written once and not replaced when it was edited.
#[test]
fn pictures_of_every_kind_are_driven() {
    let dir = shipped();
    let grey = GrayImage::from_fn(90, 60, |x, y| Luma([(2 * x + y) as u8]));
    let rgb = RgbImage::from_fn(90, 60, |x, y| Rgb([(2 * x) as u8, (3 * y) as u8, 90]));
    let with_alpha = GrayAlphaImage::from_fn(60, 60, |x, y| LumaA([(3 * x) as u8, (4 * y) as u8]));
    let grey = DynamicImage::ImageLuma8(grey);
    let rgb = DynamicImage::ImageRgb8(rgb);
    let pictures = [
        ("a.png", grey.clone(), ImageFormat::Png),
        ("b.jpg", rgb.clone(), ImageFormat::Jpeg),
        ("c.tif", rgb.clone(), ImageFormat::Tiff),
        (
            "d.png",
            DynamicImage::ImageLuma16(grey.to_luma16()),
            ImageFormat::Png,
        ),
        (
            "e.png",
            DynamicImage::ImageRgba16(rgb.to_rgba16()),
            ImageFormat::Png,
        ),
        (
            "f.png",
            DynamicImage::ImageLumaA8(with_alpha),
            ImageFormat::Png,
        ),
        ("g.jpg", grey, ImageFormat::Jpeg),
    ];
    for (name, picture, format) in pictures {
        picture
            .save_with_format(dir.path().join(name), format)
            .unwrap();
        let line = format!(
            "preview waveforms.json --picture {name} --out shown.png --dither ordered --force"
        );
        let output = run(dir.path(), &line);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(0), "{name} {said}");
        let shown = image::open(dir.path().join("shown.png"))
            .unwrap()
            .to_luma8();
        let (low, high) = shown
            .pixels()
            .fold((255, 0), |(l, h), p| (p.0[0].min(l), p.0[0].max(h)));
        assert!(low < 120 && high > 200, "{name}: {low} {high}");
    }
    fs::write(dir.path().join("shown.png"), b"mine").unwrap();
    assert_refused(
        dir.path(),
        "preview waveforms.json --picture a.png --out shown.png",
        3,
        &["shown.png", "not replaced"],
    );
    assert_eq!(fs::read(dir.path().join("shown.png")).unwrap(), b"mine");
}

/// A PNG's header with this size and nothing behind it.
fn png_header(width: u32, height: u32) -> Vec<u8> {
    let mut header = b"IHDR".to_vec();
    header.extend(width.to_be_bytes());
    header.extend(height.to_be_bytes());
    header.extend([8, 0, 0, 0, 0]);
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&header);
    let mut bytes = b"\x89PNG\r\n\x1a\n\x00\x00\x00\x0d".to_vec();
    bytes.extend(header);
    bytes.extend(crc.to_be_bytes());
    // A chunk of data, so that the header is looked at.
    bytes.extend(b"\x00\x00\x00\x00IDAT\x35\xaf\x06\x1e");
    bytes
}

#[test]
fn what_is_no_picture_is_refused() {
    let dir = shipped();
    let whole = {
        let mut bytes = std::io::Cursor::new(Vec::new());
        let picture = DynamicImage::ImageLuma8(GrayImage::from_pixel(300, 300, Luma([77])));
        picture.write_to(&mut bytes, ImageFormat::Png).unwrap();
        bytes.into_inner()
    };
    let jpeg = {
        let mut bytes = std::io::Cursor::new(Vec::new());
        let picture = RgbImage::from_fn(200, 200, |x, y| Rgb([x as u8, y as u8, (x * y) as u8]));
        let picture = DynamicImage::ImageRgb8(picture);
        picture.write_to(&mut bytes, ImageFormat::Jpeg).unwrap();
        bytes.into_inner()
    };
    let cases: [(&str, Vec<u8>, &str); 7] = [
        ("cut.jpg", jpeg[..jpeg.len() / 2].to_vec(), "end-of-image"),
        ("strip.png", png_header(40_000_000, 1), "no side longer"),
        (
            "text.png",
            b"not a picture at all".to_vec(),
            "PNG, JPEG or TIFF",
        ),
        ("empty.png", Vec::new(), "PNG, JPEG or TIFF"),
        (
            "cut.png",
            whole[..whole.len() / 2].to_vec(),
            "a whole picture",
        ),
        ("zero.png", png_header(0, 10), "picture"),
        ("huge.png", png_header(30_000, 30_000), "million pixels"),
    ];
    for (name, bytes, words) in cases {
        fs::write(dir.path().join(name), bytes).unwrap();
        let line = format!("preview waveforms.json --picture {name}");
        assert_refused(dir.path(), &line, 3, &[name, words]);
    }
    assert_refused(
        dir.path(),
        "preview waveforms.json --picture none.png",
        3,
        &["none.png"],
    );
}

#[test]
fn patterns_show_and_the_pull_stays_within_its_bound() {
    let dir = shipped();
    for pattern in ["ramp", "bars", "checker", "window", "text"] {
        let line = format!("preview waveforms.json --pattern {pattern} --temperature 9");
        assert_eq!(run(dir.path(), &line).status.code(), Some(0), "{pattern}");
        assert!(dir.path().join(format!("shown-{pattern}-9C.png")).exists());
    }
    let told = run(
        dir.path(),
        "preview waveforms.json --pattern pull --temperature 40",
    )
    .stdout;
    let told = String::from_utf8(told).unwrap();
    let numbers: Vec<f64> = told
        .split_whitespace()
        .zip(told.split_whitespace().skip(1))
        .filter(|(_, unit)| unit.starts_with("L*"))
        .filter_map(|(number, _)| number.parse().ok())
        .collect();
    let [.., light, dark, apart, bound] = numbers.as_slice() else {
        panic!("{told}");
    };
    // Printed to three decimals.
    assert!(
        (light - dark - apart).abs() < 2e-3 && *apart > 0.1,
        "{told}"
    );
    assert!(apart <= bound && *apart > 0.95 * bound, "{told}");
}
