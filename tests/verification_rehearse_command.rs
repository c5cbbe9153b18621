//! `greyloom rehearse` as a person runs it.

mod on_the_test_panel;
mod refusals;
mod small_project;

use greyloom::project::read_scans;
use greyloom::rehearsal::{Instrument, Start};
use on_the_test_panel::*;
use refusals::{assert_refused, run};
use small_project::write_project;
use std::fs;

const SHIPPED: &str = include_str!("../calibration/test-panel.toml");

fn instrument(seed: u64, repeats: u32) -> Instrument {
    Instrument {
        repeatability_lstar: 0.15,
        seed,
        repeats,
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// A folder with the small project in `project`, without its scans.
fn folder() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let project = dir.path().join("project");
    fs::create_dir(&project).unwrap();
    write_project(&project);
    fs::remove_file(project.join("scans.csv")).unwrap();
    dir
}

#[test]
fn the_command_writes_scans_that_read_back() {
    let dir = folder();
    let scans = dir.path().join("project/scans.csv");
    let output = run(dir.path(), "rehearse project --repeats 2");
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let said = text(&output.stdout);
    for word in [
        "2 pages, 3 patches, 6 readings at 23 and 32 °C",
        "mole head",
        "seed 1",
        "0.15 L*",
        "project/scans.csv",
    ] {
        assert!(said.contains(word), "no {word:?} in\n{said}");
    }
    assert!(text(&output.stderr).contains("cell.csv: not the test panel's"));
    let first = fs::read(&scans).unwrap();
    let (panel, chart) = small();
    let lstar = shown(&shipped(), &panel, &chart, Start::Dark);
    let expected = instrument(1, 2).read(&lstar);
    for (found, expected) in read_scans(&scans, &chart).unwrap().iter().zip(&expected) {
        assert_eq!(
            (found.page, found.patch, found.repeat, found.line),
            (
                expected.page,
                expected.patch,
                expected.repeat,
                expected.line
            )
        );
        // L*, of six places of reflectance.
        assert!((found.lstar - expected.lstar).abs() < 1e-3);
    }
    // Its own file it replaces; on one thread with the same bytes.
    assert_eq!(
        run(dir.path(), "rehearse project --repeats 2 --threads 1")
            .status
            .code(),
        Some(0)
    );
    assert_eq!(fs::read(&scans).unwrap(), first);
    assert_eq!(
        run(dir.path(), "rehearse project --repeats 2 --seed 2")
            .status
            .code(),
        Some(0)
    );
    assert_ne!(fs::read(&scans).unwrap(), first);
    let json = run(
        dir.path(),
        "rehearse project --exact --start last --json --out exact.csv",
    );
    let told: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(
        (
            &told["readings"],
            &told["noise_lstar"],
            &told["starts_from_last"]
        ),
        (&3.into(), &0.0.into(), &true.into())
    );
    let exact = read_scans(&dir.path().join("exact.csv"), &chart).unwrap();
    let last = shown(&shipped(), &panel, &chart, Start::Last).concat();
    assert!(
        exact
            .iter()
            .zip(&last)
            .all(|(r, l)| (r.lstar - l).abs() < 1e-3)
    );
}

#[test]
fn another_chart_and_another_panel_are_taken() {
    let dir = folder();
    fs::copy(
        dir.path().join("project/chart.csv"),
        dir.path().join("late-chart.csv"),
    )
    .unwrap();
    fs::write(
        dir.path().join("slow.toml"),
        SHIPPED.replace("speed_factor = 1.0", "speed_factor = 0.5"),
    )
    .unwrap();
    let output = run(
        dir.path(),
        "rehearse project --chart late-chart.csv --panel slow.toml --exact",
    );
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let (panel, chart) = small();
    let slow = shown(
        &shipped().with_speed_factor(0.5),
        &panel,
        &chart,
        Start::Dark,
    )
    .concat();
    let found = read_scans(&dir.path().join("late-scans.csv"), &chart).unwrap();
    assert!(
        found
            .iter()
            .zip(&slow)
            .all(|(r, l)| (r.lstar - l).abs() < 1e-3)
    );
}

#[test]
fn wrong_use_and_wrong_input_leave_everything_as_it_was() {
    let dir = folder();
    let at = |name: &str| dir.path().join(name);
    fs::write(
        at("bad.toml"),
        SHIPPED.replace("agitation = 30.0", "agitation = -1"),
    )
    .unwrap();
    fs::write(at("mine.csv"), "my own readings\n").unwrap();
    let chart = fs::read_to_string(at("project/chart.csv")).unwrap();
    fs::write(at("band-chart.csv"), chart.replace(",plain,", ",band,")).unwrap();
    fs::write(at("bad-chart.csv"), chart.replace(",23,", ",230,")).unwrap();
    for (line, exit, words) in [
        (
            "rehearse project --repeats 0",
            2,
            ["--repeats", "1 to 1000"],
        ),
        ("rehearse project --seed -1", 2, ["--seed", "-1"]),
        (
            "rehearse project --exact --seed 3",
            2,
            ["--exact", "--seed"],
        ),
        ("rehearse project --start clear", 2, ["--start", "dark"]),
        ("rehearse project --threads 0", 2, ["--threads", "1 to 256"]),
        (
            "rehearse project --out project/../project/chart.csv --force",
            2,
            ["--out", "another file than the chart"],
        ),
        ("rehearse nowhere", 3, ["nowhere/panel.toml", "cannot read"]),
        (
            "rehearse project --chart none.csv",
            3,
            ["none.csv", "cannot read the chart"],
        ),
        (
            "rehearse project --chart bad-chart.csv",
            3,
            [
                "bad-chart.csv, line 2, field `temperature_c`: found `230`",
                "-60 to 120",
            ],
        ),
        (
            "rehearse project --chart band-chart.csv",
            3,
            [
                "band-chart.csv, line 2, field `erase`: found `band`",
                "given beside it",
            ],
        ),
        (
            "rehearse project --waveforms none.json",
            3,
            ["none.json", "cannot"],
        ),
        (
            "rehearse project --panel none.toml",
            3,
            ["none.toml", "cannot read the test panel"],
        ),
        (
            "rehearse project --panel bad.toml",
            3,
            [
                "bad.toml, line",
                "field `liquid.agitation`: found `-1`: expected a number from 1 to 1000",
            ],
        ),
        (
            "rehearse project --out mine.csv",
            3,
            ["mine.csv", "this program did not write it"],
        ),
    ] {
        assert_refused(dir.path(), line, exit, &words);
        assert!(
            !at("project/scans.csv").exists() && !at("bad-scans.csv").exists(),
            "{line}"
        );
    }
    assert_eq!(
        fs::read_to_string(at("mine.csv")).unwrap(),
        "my own readings\n"
    );
    assert_eq!(fs::read_to_string(at("project/chart.csv")).unwrap(), chart);
}
