//! What the readings say of the instrument: piles at the ends of its range, repeats that don't agree. Honest readings
//! say nothing, however coarsely they are written.

mod small_project;

use greyloom::Error;
use greyloom::error::InputError;
use greyloom::planning::Grid;
use greyloom::project::{Measured, Page, Patch, Project, Reading, Warning, chart_csv, scans_csv};
use greyloom::rehearsal::Instrument;
use greyloom::tone::lightness::{lstar_from_reflectance, reflectance_from_lstar};
use greyloom::trim::verification_chart;
use greyloom::waveforms::Waveforms;
use small_project::{SCANS, write_project};
use std::fs;
use std::path::Path;
use std::process::Command;

fn shipped() -> Project {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    Project::read(&dir).expect("the shipped project")
}

/// The shipped readings with each reflectance changed.
fn changed(project: &Project, change: impl Fn(f64) -> f64) -> Measured {
    let mut measured = project.measured.clone();
    for reading in &mut measured.readings {
        reading.lstar = lstar_from_reflectance(change(reflectance_from_lstar(reading.lstar)));
    }
    measured
}

fn told(project: &Project, measured: &Measured) -> Vec<InputError> {
    let scans = Path::new("a/scans.csv");
    match measured.check_saturation(scans, &project.panel.instrument) {
        Ok(()) => Vec::new(),
        Err(error) => {
            assert_eq!(error.exit_code(), 3);
            match error {
                Error::Inputs(places) => places,
                other => panic!("{other}"),
            }
        }
    }
}

/// Reflectances of a reading to so many decimals.
fn written(decimals: i32) -> impl Fn(f64) -> f64 {
    let unit = 10f64.powi(decimals);
    move |r| (r * unit).round() / unit
}

#[test]
fn readings_clipped_at_either_end_are_told_with_their_lines() {
    let project = shipped();
    for (low, high, word) in [(0.0, 0.6, "highest"), (0.12, 2.0, "lowest")] {
        for decimals in [4, 6] {
            let write = written(decimals);
            let measured = changed(&project, |r| write(r.clamp(low, high)));
            let places = told(&project, &measured);
            let [place] = &places[..] else {
                panic!("{word}: {places:?}")
            };
            let value = if word == "highest" { high } else { low };
            let clipped = |r: &&Reading| (reflectance_from_lstar(r.lstar) - value).abs() < 1e-9;
            let lines: Vec<usize> = measured
                .readings
                .iter()
                .filter(clipped)
                .map(|r| r.line)
                .collect();
            assert!(lines.len() > 10);
            assert_eq!(place.line, lines.first().copied());
            assert_eq!(place.file, Path::new("a/scans.csv"));
            let text = place.to_string();
            for words in [
                format!("lines {}, {}", lines[0], lines[1]),
                format!("{} more", lines.len() - 8),
                word.to_owned(),
                format!("reflectance {value:.6}"),
                "saturates".to_owned(),
            ] {
                assert!(text.contains(&words), "no {words:?} in {text}");
            }
        }
    }
    let both = changed(&project, |r| written(5)(r.clamp(0.12, 0.6)));
    assert_eq!(told(&project, &both).len(), 2);
}

#[test]
fn honest_readings_pass_however_coarsely_they_are_written() {
    let project = shipped();
    for decimals in 1..=6 {
        assert_eq!(
            told(&project, &changed(&project, written(decimals))),
            [],
            "{decimals}"
        );
    }
    // Eight bits, even in reflectance or nearly even in lightness, then written to many digits.
    let eight = |r: f64| (r * 255.0).round() / 255.0;
    assert_eq!(told(&project, &changed(&project, eight)), []);
    let gamma = |r: f64| ((r.powf(1.0 / 2.2) * 255.0).round() / 255.0).powf(2.2);
    assert_eq!(told(&project, &changed(&project, gamma)), []);
}

/// Equal patches everywhere, read again and again by an instrument of this repeatability, written in each of some steps: no
/// pile is told.
fn assert_equal_patches_pass(repeatability: impl Fn(f64) -> f64, steps_lstar: [f64; 4]) {
    let project = shipped();
    let pages = &project.measured.chart.pages;
    let white: Vec<Vec<f64>> = pages.iter().map(|p| vec![80.0; p.patches.len()]).collect();
    for seed in 0..300 {
        let step_lstar = steps_lstar[seed as usize % 4];
        let instrument = Instrument {
            repeatability_lstar: repeatability(project.panel.instrument.repeatability_lstar),
            seed,
            repeats: 1,
        };
        let mut measured = project.measured.clone();
        measured.readings = instrument.read(&white);
        for reading in &mut measured.readings {
            reading.lstar = (reading.lstar / step_lstar).round() * step_lstar;
        }
        let told = told(&project, &measured);
        assert_eq!(told, [], "seed {seed}, step {step_lstar}");
    }
}

/// Equal patches everywhere are the hardest case: only noise and the step of the numbers tell their readings apart.
#[test]
fn equal_patches_pass_too() {
    assert_equal_patches_pass(|stated| stated, [0.3, 0.1, 0.01, 0.001]);
}

/// A panel file may say less of an instrument than it does: equal patches are then still more alike.
#[test]
fn equal_patches_pass_where_the_instrument_repeats_three_times_better_than_said() {
    assert_equal_patches_pass(|stated| stated / 3.0, [0.1, 0.05, 0.02, 0.01]);
}

/// Nothing but one value: no noise reads so, whatever the numbers' step.
#[test]
fn one_value_everywhere_is_refused() {
    let project = shipped();
    let told = told(&project, &changed(&project, |_| 0.5));
    assert_eq!(told.len(), 1, "{told:?}");
}

/// `trim` on the shipped set with readings of its levels, none above `top_lstar`: exit code, what was said, whether
/// anything was written.
fn trim_with(top_lstar: f64) -> (Option<i32>, String, bool) {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (project, waveforms) = (
        home.join("calibration/harbour-tile"),
        home.join("waveforms/harbour-tile/waveforms.json"),
    );
    let panel = shipped().panel;
    let set = Waveforms::read(&waveforms).unwrap();
    let grid = Grid::new(&panel, Path::new("panel.toml")).unwrap();
    let chart = verification_chart(&set, &panel, grid).unwrap();
    // Short pulses, which no level has, are as light as can be.
    let level = |patch: &Patch| match patch.name.strip_prefix('L') {
        Some(name) => name[..3].parse::<usize>().unwrap(),
        None => set.levels - 1,
    };
    let shown = |p: &Page| {
        p.patches
            .iter()
            .map(|patch| set.targets_lstar[level(patch)])
            .collect()
    };
    let instrument = Instrument {
        repeatability_lstar: panel.instrument.repeatability_lstar,
        seed: 1,
        repeats: 1,
    };
    let mut readings = instrument.read(&chart.pages.iter().map(shown).collect::<Vec<_>>());
    for reading in &mut readings {
        reading.lstar = reading.lstar.min(top_lstar);
    }
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("chart.csv"), chart_csv(&chart)).unwrap();
    fs::write(dir.path().join("scans.csv"), scans_csv(&chart, &readings)).unwrap();
    let output = Command::new(assert_cmd::cargo::cargo_bin!("greyloom"))
        .current_dir(dir.path())
        .arg("trim")
        .arg(waveforms)
        .arg("--project")
        .arg(project)
        .args([
            "--chart",
            "chart.csv",
            "--scans",
            "scans.csv",
            "--out",
            "out",
        ])
        .output()
        .unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    (output.status.code(), said, dir.path().join("out").exists())
}

#[test]
fn trim_refuses_a_saturated_instrument_and_writes_nothing() {
    let (code, said, written) = trim_with(80.0);
    assert_eq!(code, Some(3), "{said}");
    assert!(
        said.contains("scans.csv, line ") && said.contains("80.000 L*"),
        "{said}"
    );
    assert!(!written);
}

#[test]
fn the_reader_of_a_project_refuses_a_saturated_instrument() {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    let dir = tempfile::tempdir().unwrap();
    for file in ["panel.toml", "chart.csv"] {
        fs::copy(from.join(file), dir.path().join(file)).unwrap();
    }
    let scans = fs::read_to_string(from.join("scans.csv")).unwrap();
    let clip = |line: &str| {
        let (place, value) = line.rsplit_once(',').unwrap();
        let clipped = value
            .parse()
            .map_or(value.to_owned(), |r: f64| r.min(0.55).to_string());
        format!("{place},{clipped}\n")
    };
    fs::write(
        dir.path().join("scans.csv"),
        scans.lines().map(clip).collect::<String>(),
    )
    .unwrap();
    let error = Project::read(dir.path()).expect_err("saturated");
    assert_eq!(error.exit_code(), 3);
    assert!(error.to_string().contains("scans.csv, line "), "{error}");
}

#[test]
fn repeats_that_disagree_are_named() {
    let read = |scans: &str| {
        let dir = tempfile::tempdir().unwrap();
        write_project(dir.path());
        fs::write(dir.path().join("scans.csv"), scans).unwrap();
        Project::read(dir.path()).unwrap().warnings()
    };
    // From 0.25 to 0.26 is 0.96 L*, from 0.25 to 0.262 is 1.14 L*; five times √2·0.15 is 1.06 L*.
    assert_eq!(read(SCANS), []);
    let warnings = read(&SCANS.replace("p,2,0.26", "p,2,0.262"));
    let [
        Warning::Repeats {
            page, patch, lines, ..
        },
    ] = &warnings[..]
    else {
        panic!("{warnings:?}")
    };
    assert_eq!((page.as_str(), patch.as_str(), *lines), ("a", "p", (2, 3)));
    let said = warnings[0].to_string();
    assert!(
        said.contains("lines 2 and 3 of scans.csv differ by 1.1"),
        "{said}"
    );
    let honest = shipped().warnings();
    assert!(!honest.iter().any(|w| matches!(w, Warning::Repeats { .. })));
}
