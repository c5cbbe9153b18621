//! `greyloom fit` on the shipped project, from readings to files.

use greyloom::emit::{Built, Layout, TableOptions, c_table};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::LazyLock;

use greyloom::waveforms::Waveforms;

/// Largest error of a level that the request allows, steps.
const TOLERANCE_STEPS: f64 = 0.25;
const BUDGET_S: f64 = 12.0;
/// Figures of a set are rounded to 4 decimals.
const ROUNDED: f64 = 0.5e-4;
/// L*: levels.csv and the set are both rounded to 4 decimals.
const CSV_LSTAR: f64 = 1.1e-4;
/// Prediction error on held-out pages, L*: readings carry 0.15.
const HELD_OUT_RMS_LSTAR: f64 = 0.25;
const HELD_OUT_MAX_LSTAR: f64 = 0.8;

struct Run {
    dir: tempfile::TempDir,
    output: Output,
}

impl Run {
    fn of(arguments: &[&str]) -> Run {
        let dir = tempfile::tempdir().unwrap();
        let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
        let output = Command::new(assert_cmd::cargo::cargo_bin!("greyloom"))
            .current_dir(dir.path())
            .arg("fit")
            .arg(project)
            .args(["--out", "out"])
            .args(arguments)
            .output()
            .unwrap();
        Run { dir, output }
    }

    fn out(&self) -> PathBuf {
        self.dir.path().join("out")
    }

    fn code(&self) -> Option<i32> {
        self.output.status.code()
    }

    fn stderr(&self) -> String {
        String::from_utf8(self.output.stderr.clone()).unwrap()
    }

    fn stdout(&self) -> String {
        String::from_utf8(self.output.stdout.clone()).unwrap()
    }

    fn set(&self) -> Waveforms {
        assert_eq!(self.code(), Some(0), "{}", self.stderr());
        Waveforms::read(&self.out().join("waveforms.json")).unwrap()
    }

    fn files(&self) -> BTreeMap<String, Vec<u8>> {
        let entries = fs::read_dir(self.out()).unwrap().map(Result::unwrap);
        entries
            .map(|e| {
                (
                    e.file_name().into_string().unwrap(),
                    fs::read(e.path()).unwrap(),
                )
            })
            .collect()
    }
}

/// The README's first command.
static MAIN: LazyLock<Run> = LazyLock::new(|| Run::of(&["--levels", "32", "--budget", "12s"]));
/// A quick one, and the same on one thread, told to a machine: what a grid is gone through with is the same on any number of
/// threads, see `verification_certificate`.
const QUICK: [&str; 5] = ["--levels", "32", "--budget", "12s", "--quick"];
static QUICKLY: LazyLock<Run> = LazyLock::new(|| Run::of(&QUICK));
static ONE_THREAD: LazyLock<Run> =
    LazyLock::new(|| Run::of(&[QUICK.as_slice(), &["--threads", "1", "--json"]].concat()));

#[test]
fn every_band_meets_the_request_and_together_they_cover_the_range() {
    let set = MAIN.set();
    assert_eq!(set.levels, 32);
    assert_eq!(set.bands.first().map(|b| b.temperature_c.low), Some(5.0));
    assert_eq!(set.bands.last().map(|b| b.temperature_c.high), Some(40.0));
    for pair in set.bands.windows(2) {
        assert_eq!(pair[0].temperature_c.high, pair[1].temperature_c.low);
    }
    for band in &set.bands {
        assert_eq!(band.ticks.len(), 32);
        assert!(
            band.figures.worst_error_steps <= TOLERANCE_STEPS + ROUNDED,
            "{:?}",
            band.figures
        );
        assert!(band.refresh_s <= BUDGET_S, "{}", band.refresh_s);
        let lstar = &band.predicted.lstar;
        assert_eq!(lstar.len(), 32);
        assert!(lstar.windows(2).all(|pair| pair[0] < pair[1]), "{lstar:?}");
    }
}

#[test]
fn all_files_are_there_and_made_from_the_set() {
    let set = MAIN.set();
    let files = MAIN.files();
    let names: Vec<&str> = files.keys().map(String::as_str).collect();
    let expected = [
        ".greyloom-written",
        "fit.png",
        "levels.csv",
        "panel.toml",
        "ramp.png",
        "response.json",
        "table.c",
        "table.h",
        "waveforms.json",
    ];
    assert_eq!(names, expected);
    let built = Built::of(&set, &TableOptions::default()).unwrap();
    for (name, text) in c_table(&built, "greyloom", Layout::Plain).unwrap() {
        assert_eq!(files[name], text.into_bytes());
    }
    for picture in ["fit.png", "ramp.png"] {
        assert!(
            image::load_from_memory(&files[picture]).unwrap().width() > 1000,
            "{picture}"
        );
    }
    for file in expected.iter().skip(1) {
        assert!(MAIN.stdout().contains(&format!("out/{file}")), "{file}");
    }
}

/// `waveforms/harbour-tile/waveforms.json` ships for trying `preview` and `emit`; when the design changes it must be made anew.
#[test]
fn the_shipped_set_is_what_the_command_writes() {
    /// Room for the last digits of another machine's mathematics, L*.
    const MACHINES_LSTAR: f64 = 0.05;
    let shipped =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("waveforms/harbour-tile/waveforms.json");
    let (shipped, made) = (Waveforms::read(&shipped).unwrap(), MAIN.set());
    assert_eq!(shipped.bands.len(), made.bands.len());
    for (old, new) in shipped.targets_lstar.iter().zip(&made.targets_lstar) {
        assert!((old - new).abs() <= MACHINES_LSTAR, "{old} {new}");
    }
    for (old, new) in shipped.bands.iter().zip(&made.bands) {
        assert_eq!((&old.erase, &old.fields), (&new.erase, &new.fields));
    }
}

/// `preview` over the finished set, with the tolerance that the set was asked for.
fn previewed(run: &Run, tolerance: &str) -> Vec<u8> {
    run.set();
    let picture = run.dir.path().join("again.png");
    let output = Command::new(assert_cmd::cargo::cargo_bin!("greyloom"))
        .arg("preview")
        .arg(run.out().join("waveforms.json"))
        .args(["--tolerance", tolerance, "--force", "--out"])
        .arg(&picture)
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    fs::read(picture).unwrap()
}

#[test]
fn a_preview_of_the_set_draws_the_same_ramp() {
    let ramp = &MAIN.files()["ramp.png"];
    assert!(&previewed(&MAIN, "0.25") == ramp, "another picture");
    assert!(&previewed(&MAIN, "0.2") != ramp, "the tolerance shows");
}

#[test]
fn the_response_is_reported_with_its_prediction_error() {
    MAIN.set();
    let text = fs::read_to_string(MAIN.out().join("response.json")).unwrap();
    let report: Value = serde_json::from_str(&text).unwrap();
    let held_out = &report["holdout"]["all"];
    let figure = |key: &str| held_out[key].as_f64().unwrap();
    assert_eq!(held_out["readings"], 120);
    assert!(
        figure("rms_lstar") > 0.0 && figure("rms_lstar") <= HELD_OUT_RMS_LSTAR,
        "{held_out}"
    );
    assert!(figure("max_lstar") <= HELD_OUT_MAX_LSTAR, "{held_out}");
    let parameters = report["parameters"].as_array().unwrap();
    let spread = |p: &Value| p["standard_deviation"].as_f64().is_some_and(|s| s > 0.0);
    assert!(
        parameters.len() >= 12 && parameters.iter().all(spread),
        "{parameters:?}"
    );
    assert_eq!(
        report["covariance"].as_array().unwrap().len(),
        parameters.len()
    );
    for input in ["pixel voltage", "time on", "temperature", "row", "content"] {
        let named = |r: &Value| r["input"] == input;
        assert!(
            report["residuals"].as_array().unwrap().iter().any(named),
            "{input}"
        );
    }
}

#[test]
fn one_thread_gives_the_same_bytes_and_json_the_same_result() {
    assert_eq!(ONE_THREAD.set(), QUICKLY.set());
    assert_eq!(ONE_THREAD.files(), QUICKLY.files());
    let json: Value = serde_json::from_str(&ONE_THREAD.stdout()).unwrap();
    assert_eq!(json["design"]["set"]["levels"], 32);
    assert_eq!(json["response"]["holdout"]["all"]["readings"], 120);
    assert_eq!(json["files"].as_array().unwrap().len(), 8);
}

#[test]
fn one_temperature_reaches_at_least_a_known_scheme() {
    /// What a scheme found by hand reaches at 23 °C in 12 s: 32 levels from 36.9 to 85.0 L* at merit 0.24
    /// (select 9 V, data 3 V, 70 + 32 ticks of 1 ms, 8 guard ticks, primed erase).
    const SPAN_LSTAR: f64 = 85.0 - 36.9;
    const MERIT_STEPS: f64 = 0.24;
    let tolerance = MERIT_STEPS.to_string();
    let arguments = [
        "--levels",
        "32",
        "--budget",
        "12s",
        "--temperature",
        "23",
        "--tolerance",
        &tolerance,
    ];
    let set = Run::of(&arguments).set();
    let [band] = &set.bands[..] else {
        panic!("{} bands", set.bands.len())
    };
    let targets = band.targets(&set);
    assert!(targets[31] - targets[0] >= SPAN_LSTAR, "{targets:?}");
    assert!(
        band.figures.worst_error_steps <= MERIT_STEPS + ROUNDED,
        "{:?}",
        band.figures
    );
}

#[test]
fn levels_csv_holds_the_set_with_its_uncertainty() {
    let set = MAIN.set();
    let text = String::from_utf8(MAIN.files()["levels.csv"].clone()).unwrap();
    let head: Vec<&str> = text.lines().next().unwrap().split(',').collect();
    let rows: Vec<Vec<f64>> = text
        .lines()
        .skip(1)
        .map(|l| {
            l.split(',')
                .map(|cell| cell.parse().unwrap_or(f64::NAN))
                .collect()
        })
        .collect();
    assert_eq!(rows.len(), 32 * set.bands.len());
    for row in &rows {
        let cell = |name: &str| row[head.iter().position(|h| *h == name).expect(name)];
        let band = &set.bands[cell("band") as usize - 1];
        let (level, p) = (cell("level") as usize, &band.predicted);
        for (name, kept) in [
            ("target_lstar", band.targets(&set)[level]),
            ("predicted_lstar", p.lstar[level]),
            ("low_lstar", p.low_lstar[level]),
            ("high_lstar", p.high_lstar[level]),
            ("expanded_u_lstar", p.expanded_u_lstar[level]),
        ] {
            assert!((cell(name) - kept).abs() <= CSV_LSTAR, "{name} {row:?}");
        }
        let u = cell("u_lstar");
        assert!(
            u > 0.0 && (cell("expanded_u_lstar") - 2.0 * u).abs() <= 3.0 * CSV_LSTAR,
            "{row:?}"
        );
    }
}

#[test]
fn what_cannot_be_met_ends_with_4_and_says_what_would_do() {
    let run = Run::of(&["--levels", "200", "--budget", "3s"]);
    let said = run.stderr();
    assert_eq!(run.code(), Some(4), "{said}");
    assert!(
        said.contains("200 levels") && said.contains("cannot be met: "),
        "{said}"
    );
    assert!(said.contains("would do: "), "{said}");
    assert_eq!(run.stdout(), "");
    assert!(!run.out().exists());
}
