//! The whole way by command line on a small panel: chart, rehearse, fit, chart of the levels, rehearse, trim, check.

mod refusals;

use refusals::{assert_refused, run};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::sync::LazyLock;

/// A tile of 40 × 60 pixels from 18 to 27 °C, as far as the first set and the readings of its levels.
static READ: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
    let dir = tempfile::tempdir().unwrap();
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile/panel.toml");
    let panel = fs::read_to_string(shipped)
        .unwrap()
        .replace("rows = 80", "rows = 40")
        .replace("columns = 120", "columns = 60")
        .replace("{ min = 5.0, max = 40.0 }", "{ min = 18.0, max = 27.0 }");
    fs::create_dir(dir.path().join("pier")).unwrap();
    fs::write(dir.path().join("pier/panel.toml"), panel).unwrap();
    for line in [
        "chart pier --patches 40 --pages 4 --temperatures 18,27",
        "rehearse pier",
        "fit pier --levels 8 --budget 5s --out first",
        "chart pier --waveforms first/waveforms.json",
        "rehearse pier --chart pier/verify-chart.csv --waveforms first/waveforms.json --repeats 6",
    ] {
        done(dir.path(), line);
    }
    dir
});

fn done(dir: &Path, line: &str) -> Vec<u8> {
    let output = run(dir, line);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{line}\n{said}");
    output.stdout
}

fn trim_line(scans: &str, out: &str) -> String {
    format!(
        "trim first/waveforms.json --project pier --chart pier/verify-chart.csv --scans {scans} --out {out} --json"
    )
}

fn copied() -> tempfile::TempDir {
    let copy = tempfile::tempdir().unwrap();
    for folder in ["pier", "first"] {
        fs::create_dir(copy.path().join(folder)).unwrap();
        for entry in fs::read_dir(READ.path().join(folder)).unwrap() {
            let entry = entry.unwrap();
            let to = copy.path().join(folder).join(entry.file_name());
            fs::copy(entry.path(), to).unwrap();
        }
    }
    copy
}

/// The trimmed set is evener, keeps its limits, and what it writes can be checked and driven on its own.
#[test]
fn the_loop_closes() {
    let dir = copied();
    let told: Value = serde_json::from_slice(&done(
        dir.path(),
        &trim_line("pier/verify-scans.csv", "trimmed"),
    ))
    .unwrap();
    for band in told["bands"].as_array().unwrap() {
        let number = |key: &str| band[key].as_f64().unwrap();
        assert!(
            number("uneven_steps") <= number("uneven_before_steps").max(0.05),
            "{band}"
        );
        assert!(
            number("rms_after_lstar") < number("rms_before_lstar"),
            "{band}"
        );
        assert!(number("worst_error_steps") <= 0.5, "{band}");
    }
    assert!(told["unread_levels"].as_array().unwrap().is_empty());
    let checked = done(dir.path(), "check trimmed/waveforms.json --tolerance 0.5");
    assert!(String::from_utf8(checked).unwrap().contains("level error"));
    done(
        dir.path(),
        "preview trimmed/waveforms.json --pattern window",
    );
    // What was read of the first set, with its uncertainty.
    let read = run(
        dir.path(),
        "check first/waveforms.json --chart pier/verify-chart.csv --scans pier/verify-scans.csv --json",
    );
    let read: Value = serde_json::from_slice(&read.stdout).unwrap();
    let figures = read["figures"].as_array().unwrap();
    let named = |name: &str| figures.iter().find(|f| f["name"] == name).unwrap();
    for name in [
        "level error, read",
        "step error, read",
        "contrast, read",
        "crosstalk, read",
    ] {
        assert!(named(name)["expanded_u"].as_f64().unwrap() > 0.0, "{name}");
    }
    let contrasts = ["contrast", "contrast, read"].map(|n| named(n)["value"].as_f64().unwrap());
    assert!(
        (contrasts[0] / contrasts[1] - 1.0).abs() < 0.2,
        "{contrasts:?}"
    );
}

/// Readings of some levels only are used, and said to be.
#[test]
fn readings_of_some_levels_are_used_and_said_so() {
    let dir = copied();
    let scans = fs::read_to_string(dir.path().join("pier/verify-scans.csv")).unwrap();
    let some: Vec<&str> = scans.lines().filter(|l| !l.contains(",L005-")).collect();
    assert!(some.len() < scans.lines().count());
    fs::write(dir.path().join("some.csv"), some.join("\n")).unwrap();
    let told: Value =
        serde_json::from_slice(&done(dir.path(), &trim_line("some.csv", "trimmed"))).unwrap();
    assert_eq!(told["unread_levels"], serde_json::json!([5]));
}

#[test]
fn readings_that_cannot_be_are_refused() {
    let dir = copied();
    let scans = fs::read_to_string(dir.path().join("pier/verify-scans.csv")).unwrap();
    // Every level read as if the page lay the other way round.
    let turned: Vec<String> = scans
        .lines()
        .map(|line| {
            let fields: Vec<&str> = line.split(',').collect();
            match fields[3].parse::<f64>() {
                Ok(y) => format!("{},{},{},{:.5}", fields[0], fields[1], fields[2], 0.75 - y),
                Err(_) => line.to_owned(),
            }
        })
        .collect();
    fs::write(dir.path().join("turned.csv"), turned.join("\n")).unwrap();
    assert_refused(
        dir.path(),
        &trim_line("turned.csv", "out"),
        3,
        &["turned.csv", "rise with the level"],
    );
    // The chart of the first measurements is no chart of levels.
    let other = "trim first/waveforms.json --project pier --chart pier/chart.csv --scans pier/scans.csv --out out";
    assert_refused(dir.path(), other, 3, &["chart.csv"]);
    assert!(!dir.path().join("out").exists());
}

/// A quick run says what it left out, meets the request by the same proof, and is the same on any number of threads.
#[test]
fn a_quick_fit_keeps_the_tolerance_and_says_what_it_left_out() {
    let dir = copied();
    let line = "fit pier --levels 8 --budget 5s --quick";
    let told = done(
        dir.path(),
        &format!("{line} --threads 2 --out quick --json"),
    );
    let summary = done(dir.path(), &format!("{line} --threads 1 --out quick-1"));
    let read = |out: &str| fs::read(dir.path().join(out).join("waveforms.json")).unwrap();
    assert_eq!(read("quick"), read("quick-1"));
    let told: Value = serde_json::from_slice(&told).unwrap();
    assert_eq!(told["left_out"].as_array().unwrap().len(), 2, "{told}");
    let models = told["response"]["models"].as_array().unwrap();
    assert_eq!(models.len(), 2, "{models:?}");
    for band in told["design"]["set"]["bands"].as_array().unwrap() {
        let merit = band["figures"]["worst_error_steps"].as_f64().unwrap();
        assert!(merit > 0.0 && merit <= 0.25, "{band}");
    }
    let summary = String::from_utf8(summary).unwrap();
    assert!(
        summary.contains("  quick       response: not fitted"),
        "{summary}"
    );
}

/// A rail without a step is polished and says so; the assurance is told, in the summary and to machines.
#[test]
fn a_rail_without_a_step_is_polished_and_panels_like_this_one_are_assured() {
    let dir = copied();
    let panel = dir.path().join("pier/panel.toml");
    let text = fs::read_to_string(&panel).unwrap();
    let stepless = text.replace(
        "data_v = { min = 1.5, max = 6.0, step = 0.25 }",
        "data_v = { min = 1.5, max = 3.0 }",
    );
    assert!(stepless != text, "{text}");
    fs::write(&panel, stepless + "\n[spread]\nspeed = 0.002\n").unwrap();
    let line = "fit pier --levels 8 --budget 5s --temperature 23 --pin fields=1 --assure 0.6 --out polished";
    let told: Value = serde_json::from_slice(&done(dir.path(), &format!("{line} --json"))).unwrap();
    let design = &told["design"];
    let number = |of: &Value, key: &str| of[key].as_f64().unwrap_or(f64::NAN);
    let polish = &design["polish"];
    assert!(
        number(polish, "span_after_lstar") >= number(polish, "span_before_lstar"),
        "{polish}"
    );
    let tried = polish["bands"][0]["tried"].as_array().unwrap();
    assert_eq!(tried.len(), 3);
    assert!(
        tried.iter().all(|t| number(t, "gain_lstar") >= 0.0),
        "{polish}"
    );
    let assured = &design["assured"];
    assert!(number(assured, "at_least") >= 0.6, "{assured}");
    assert_eq!(number(assured, "speed"), 0.002);
    for (line, word) in [
        (
            "fit pier --levels 8 --budget 5s --assure 0.4 --out x",
            "0.5 to 0.99",
        ),
        (
            "fit pier --levels 8 --budget 5s --assure 1 --out x",
            "0.5 to 0.99",
        ),
    ] {
        let output = run(dir.path(), line);
        assert_eq!(output.status.code(), Some(2), "{line}");
        assert!(
            String::from_utf8_lossy(&output.stderr).contains(word),
            "{line}"
        );
    }
}
