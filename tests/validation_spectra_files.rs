//! Files of spectra against colour-science 0.4.7 (tests/data/README.md), and the grammar of ISO 28178 (from memory).

use greyloom::error::{Error, InputError};
use greyloom::intake::correction::{corrected, covered, uncover};
use greyloom::intake::drift::Drift;
use greyloom::intake::spectra::from_spectra;
use greyloom::intake::spectra_file::{Scale, SpectraFile, read_spectra};
use greyloom::project::{Chart, Cover, Illuminant, Panel, ToNormal, read_chart, read_panel};
use greyloom::tone::lightness::{lstar_from_reflectance, reflectance_from_lstar};
use std::fs;
use std::path::Path;

const PROJECT: &str = "tests/data/scans/project";
const TEXT: &str = "tests/data/spectra/surfaces.txt";
/// The reference gives six decimals of L*; its weights are at 1 nm, those here at 5 nm.
const LSTAR: f64 = 0.01;

fn panel() -> Panel {
    read_panel(&Path::new(PROJECT).join("panel.toml")).unwrap()
}

fn chart() -> Chart {
    read_chart(&Path::new(PROJECT).join("chart.csv"), &panel()).unwrap()
}

/// L* of each reading, in the order of the file, with an illuminant.
fn lstar(file: &SpectraFile, illuminant: Illuminant) -> Vec<f64> {
    let mut instrument = panel().instrument;
    instrument.illuminant = illuminant;
    let found = from_spectra(Path::new(TEXT), file, &instrument, &chart(), false).unwrap();
    found.taken.iter().map(|t| t.lstar).collect()
}

/// Names of the surfaces and their spectra, as the reference file has them.
fn surfaces() -> (Vec<String>, Vec<Vec<String>>) {
    let text = fs::read_to_string("tests/data/spectra.csv").unwrap();
    let mut lines = text.lines().filter(|l| !l.starts_with('#'));
    let header = lines.next().unwrap().split(',').skip(1);
    let nm = header
        .map(|h| h.trim_start_matches("nm_").to_owned())
        .collect();
    let rows = lines.map(|l| l.split(',').map(str::to_owned).collect());
    (nm, rows.collect())
}

fn reference_lstar(illuminant: &str) -> Vec<f64> {
    let text = fs::read_to_string("tests/data/spectra-to-lightness.csv").unwrap();
    let rows = text.lines().map(|l| l.split(',').collect::<Vec<_>>());
    let own = rows.filter(|r| r[1] == illuminant);
    own.map(|r| r[5].parse().unwrap()).collect()
}

/// The surfaces as CSV, each on a patch of page p01, values times `scale`.
fn csv(scale: f64, suffix: &str) -> String {
    let (nm, rows) = surfaces();
    let columns: Vec<String> = nm.iter().map(|n| format!("{n}{suffix}")).collect();
    let mut text = format!("page,patch,{}\n", columns.join(","));
    for (k, row) in rows.iter().enumerate() {
        let values: Vec<String> = row[1..]
            .iter()
            .map(|v| format!("{:.8}", v.parse::<f64>().unwrap() * scale))
            .collect();
        text += &format!("p01,q{k:02},{}\n", values.join(","));
    }
    text
}

fn read(text: &str) -> Result<SpectraFile, Error> {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("spectra.csv");
    fs::write(&file, text).unwrap();
    read_spectra(&file, &chart())
}

fn assert_lstar(found: &[f64], expected: &[f64], what: &str) {
    assert_eq!(found.len(), expected.len(), "{what}");
    for (a, b) in found.iter().zip(expected) {
        assert!((a - b).abs() <= LSTAR, "{what}: {a} for {b}");
    }
}

#[test]
fn exchange_text_gives_the_reference_lightness() {
    let file = read_spectra(Path::new(TEXT), &chart()).unwrap();
    assert_eq!((file.scale, file.scale_stated), (Scale::Percent, true));
    assert_eq!(
        (file.first_nm, file.last_nm, file.count),
        (380.0, 730.0, 36)
    );
    assert_lstar(
        &lstar(&file, Illuminant::D50),
        &reference_lstar("D50"),
        "D50",
    );
    assert_lstar(
        &lstar(&file, Illuminant::D65),
        &reference_lstar("D65"),
        "D65",
    );
}

#[test]
fn csv_gives_the_reference_lightness_as_factor_and_in_percent() {
    for (scale, suffix, expected) in [
        (1.0, "", Scale::Factor),
        (100.0, "nm", Scale::Percent),
        (1.0, " nm", Scale::Factor),
    ] {
        let file = read(&csv(scale, suffix)).unwrap();
        assert_eq!((file.scale, file.scale_stated), (expected, false));
        assert_lstar(
            &lstar(&file, Illuminant::D50),
            &reference_lstar("D50"),
            suffix,
        );
    }
}

/// Where one place is wrong, what is said of it: line, field, value, a word.
fn assert_wrong(
    result: Result<SpectraFile, Error>,
    line: usize,
    field: &str,
    value: &str,
    word: &str,
) {
    let places: Vec<InputError> = match result {
        Err(Error::Inputs(places)) => places,
        Err(other) => panic!("{other}"),
        Ok(_) => panic!("accepted: {word}"),
    };
    let first = &places[0];
    let said = first.to_string();
    assert_eq!(first.line, Some(line), "{said}");
    assert_eq!(first.field.as_deref().unwrap_or(""), field, "{said}");
    assert_eq!(first.value.as_deref().unwrap_or(""), value, "{said}");
    assert!(first.expected.contains(word), "no {word:?} in {said}");
}

#[test]
fn wrong_spectra_are_refused_with_their_place() {
    let good = csv(1.0, "");
    let (nm, _) = surfaces();
    let cut = |last: &str| -> String {
        let keep = 3 + nm.iter().position(|n| n == last).unwrap();
        let line = |l: &str| l.split(',').take(keep).collect::<Vec<_>>().join(",") + "\n";
        good.lines().map(line).collect()
    };
    let without = |names: [&str; 2]| -> String {
        let out: Vec<usize> = names
            .iter()
            .map(|n| 2 + nm.iter().position(|m| m == n).unwrap())
            .collect();
        let line = |l: &str| {
            let cells = l.split(',').enumerate().filter(|(k, _)| !out.contains(k));
            cells.map(|(_, c)| c).collect::<Vec<_>>().join(",") + "\n"
        };
        good.lines().map(line).collect()
    };
    assert_wrong(
        read(&cut("650")),
        1,
        "650",
        "380 to 650 nm",
        "from 400 to 700",
    );
    assert_wrong(
        read(&without(["500", "510"])),
        1,
        "520",
        "490 to 520 nm",
        "20 nm apart",
    );
    let first = "p01,q00,0.18000000";
    assert_wrong(
        read(&good.replace(first, "p01,q00,-0.18")),
        2,
        "380",
        "-0.18",
        "0 or more",
    );
    assert_wrong(
        read(&good.replace(first, "p01,q00,18.0")),
        2,
        "380",
        "18.0",
        "percent",
    );
    assert_wrong(
        read(&good.replace(first, "p01,q00,dark")),
        2,
        "380",
        "dark",
        "a reflectance",
    );
    assert_wrong(
        read(&good.replace(first, "p07,q00,0.18")),
        2,
        "page",
        "p07",
        "a page of the chart",
    );
    assert_wrong(
        read(&good.replace(first, "p01,z,0.18")),
        2,
        "patch",
        "z",
        "page `p01`",
    );
    assert_wrong(
        read(&good.replace("page,patch", "page,spot")),
        1,
        "spot",
        "spot",
        "a wavelength",
    );
    assert_wrong(
        read(&good.replace("390,400", "400,390")),
        1,
        "390",
        "390 nm",
        "rise",
    );
    assert_wrong(
        read(&good.replace(',', ";")),
        1,
        "",
        &good
            .replace(',', ";")
            .lines()
            .next()
            .unwrap()
            .chars()
            .take(60)
            .chain(['…'])
            .collect::<String>(),
        "commas",
    );
}

#[test]
fn wrong_exchange_text_is_refused_with_its_place() {
    let good = fs::read_to_string(TEXT).unwrap();
    let with = |from: &str, to: &str| {
        assert!(good.contains(from), "{from}");
        read(&good.replacen(from, to, 1))
    };
    assert_wrong(
        with("NUMBER_OF_FIELDS 38", "NUMBER_OF_FIELDS 37"),
        10,
        "NUMBER_OF_FIELDS",
        "37",
        "38",
    );
    assert_wrong(
        with("NUMBER_OF_SETS 6", "NUMBER_OF_SETS six"),
        14,
        "NUMBER_OF_SETS",
        "six",
        "whole number",
    );
    assert_wrong(
        with("1 \"p01/q00\" 18.000000", "1 \"p01/q00\""),
        16,
        "",
        "37 values",
        "38 values",
    );
    assert_wrong(
        with("1 \"p01/q00\"", "1 \"p09/q00\""),
        16,
        "SAMPLE_NAME",
        "p09/q00",
        "page/patch",
    );
    assert_wrong(
        with("END_DATA\n", ""),
        15,
        "END_DATA",
        "",
        "end of the file",
    );
    assert_wrong(
        with("\"bench spectrophotometer, 45:0\"", "\"bench"),
        6,
        "",
        "INSTRUMENTATION \"bench",
        "closing quote",
    );
}

/// Stearns and Stearns 1988 with α = 0.083 (from memory), by hand: a peak of 0.8 on 0.2 becomes 0.8 + 0.083·1.2.
#[test]
fn bandpass_correction_follows_its_formula() {
    use greyloom::tone::spectra::Spectrum;
    let nm: Vec<f64> = (0..36).map(|k| 380.0 + 10.0 * f64::from(k)).collect();
    let mut values = vec![0.2; 36];
    values[17] = 0.8;
    let corrected = Spectrum::new(nm, values).unwrap().without_bandpass();
    for (at, expected) in [
        (550.0, 0.8996),
        (540.0, 0.1502),
        (560.0, 0.1502),
        (500.0, 0.2),
        (380.0, 0.2),
    ] {
        assert!(
            (corrected.at(at) - expected).abs() < 1e-12,
            "{at} nm: {}",
            corrected.at(at)
        );
    }
}

/// A plate of reflectance 0.08 and transmittance 0.92 over 0.5: 0.08 + 0.8464·0.5/(1 − 0.04) = 0.520833… by hand.
#[test]
fn a_cover_is_taken_off() {
    let cover = Cover {
        reflectance: 0.08,
        transmittance: 0.92,
        u: 0.004,
    };
    assert!((covered(0.5, &cover) - 0.520_833_333).abs() < 1e-9);
    for reflectance in [0.02, 0.3, 0.85] {
        assert!((uncover(covered(reflectance, &cover), &cover) - reflectance).abs() < 1e-12);
    }
    let mut instrument = panel().instrument;
    instrument.cover = Some(cover);
    instrument.to_45_0 = Some(ToNormal {
        gain: 1.02,
        specular: 0.04,
        u: 0.003,
    });
    let (value, u) = corrected(covered(0.5, &cover), &instrument);
    assert!((value - (1.02 * 0.5 - 0.04)).abs() < 1e-12);
    // Both parts of the cover move the result by about u/T²; the geometry adds its own.
    assert!((0.005..0.02).contains(&u), "{u}");
}

/// Drift of 0.5 L* over eleven readings, planted, comes off to the last digit where nothing scatters.
#[test]
fn planted_drift_is_found() {
    let references: Vec<(f64, f64)> = [0.0, 4.0, 7.0, 10.0].map(|x| (x, 76.0 + 0.05 * x)).to_vec();
    let drift = Drift::of(&references, 11).unwrap();
    assert!(
        drift.significant && (drift.total_lstar - 0.5).abs() < 1e-9,
        "{drift:?}"
    );
    // In proportion: the reference itself comes back to its first lightness at every place.
    for place in [0.0, 6.0, 10.0] {
        let read = reflectance_from_lstar(76.0 + 0.05 * place);
        let back = lstar_from_reflectance(read * drift.gain(place).0);
        assert!((back - 76.0).abs() < 1e-9, "{place}: {back}");
    }
    let scattered = [(0.0, 76.0), (4.0, 76.1), (7.0, 75.95), (10.0, 76.02)];
    assert!(!Drift::of(&scattered, 11).unwrap().significant);
    assert!(Drift::of(&references[..2], 11).is_none());
}

/// A session whose instrument loses light in proportion: where its reference falls by half an L*, patches are put right; by two, all
/// is refused.
#[test]
fn drift_over_a_session_is_corrected_or_refused() {
    let session = |fall: f64| {
        let nm: Vec<String> = (0..36).map(|k| format!("{}", 380 + 10 * k)).collect();
        let mut text = format!("page,patch,{}\n", nm.join(","));
        for k in 0..13 {
            let at = 76.0 - fall * f64::from(k) / 12.0;
            let gain = reflectance_from_lstar(at) / reflectance_from_lstar(76.0);
            let (page, patch, lstar) = match k % 4 {
                0 => ("reference", "tile".to_owned(), 76.0),
                _ => ("p01", format!("q{k:02}").replace("q12", "q00"), 60.0),
            };
            let value = format!("{:.7}", reflectance_from_lstar(lstar) * gain);
            text += &format!("{page},{patch},{}\n", vec![value; 36].join(","));
        }
        let file = read(&text.replace("q12", "q00")).unwrap();
        from_spectra(
            Path::new("s.csv"),
            &file,
            &panel().instrument,
            &chart(),
            false,
        )
    };
    let read = session(0.5).unwrap();
    assert_eq!(read.taken.len(), 9);
    for taken in &read.taken {
        assert!((taken.lstar - 60.0).abs() < 0.01, "{}", taken.lstar);
    }
    let refused = session(2.0).err().unwrap();
    assert_eq!(refused.exit_code(), 3);
    assert!(refused.to_string().contains("-2.00 L*"), "{refused}");
    let steady = session(0.0).unwrap();
    assert!(
        steady
            .taken
            .iter()
            .all(|t| (t.lstar - lstar_from_reflectance(reflectance_from_lstar(60.0))).abs() < 0.01)
    );
}
