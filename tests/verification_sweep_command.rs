//! `greyloom sweep` as a person runs it.

mod refusals;
mod small_project;

use refusals::{assert_refused, run};
use small_project::write_project;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// One temperature and one time, so that a run is short.
const LINE: &str = "sweep project --out out --levels 4..6 --refresh 6s..6s --temperature 23";
/// Pages of the shipped project, enough for a fit.
const PAGES: [&str; 7] = ["a01", "a07", "a14", "a15", "a18", "a25", "page"];

fn folder(write: impl Fn(&Path)) -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    let project = dir.path().join("project");
    fs::create_dir(&project).unwrap();
    write(&project);
    dir
}

fn project() -> TempDir {
    folder(write_project)
}

/// Some pages of the shipped project.
fn few_pages() -> TempDir {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    folder(|project| {
        fs::copy(shipped.join("panel.toml"), project.join("panel.toml")).unwrap();
        for name in ["chart.csv", "scans.csv"] {
            let text = fs::read_to_string(shipped.join(name)).unwrap();
            let kept = |l: &&str| l.split(',').next().is_some_and(|p| PAGES.contains(&p));
            let lines: Vec<&str> = text.lines().filter(kept).collect();
            fs::write(project.join(name), lines.join("\n") + "\n").unwrap();
        }
    })
}

fn read(dir: &Path, name: &str) -> Vec<u8> {
    fs::read(dir.join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

#[test]
fn a_map_is_written_and_told_the_same_on_one_thread_and_on_two() {
    let dir = few_pages();
    let one = run(dir.path(), &format!("{LINE} --threads 1"));
    let said = String::from_utf8(one.stderr).unwrap();
    assert_eq!(one.status.code(), Some(0), "{said}");
    assert!(said.contains("levels in"), "progress: {said}");
    let told = String::from_utf8(one.stdout).unwrap();
    for words in [
        "Most levels that count",
        "Knees",
        "levels need",
        "written",
        "rule",
    ] {
        assert!(told.contains(words), "no {words:?} in\n{told}");
    }
    let out = dir.path().join("out");
    let written = ["sweep.csv", "sweep.png"].map(|name| read(&out, name));
    assert!(written[1].starts_with(b"\x89PNG"));

    let two = run(dir.path(), &format!("{LINE} --threads 2 --json"));
    assert_eq!(two.status.code(), Some(0));
    assert_eq!(
        ["sweep.csv", "sweep.png"].map(|name| read(&out, name)),
        written
    );
    let json: serde_json::Value = serde_json::from_slice(&two.stdout).unwrap();
    check_table(&String::from_utf8(written[0].clone()).unwrap(), &json);
}

/// The table and the document tell the same points.
fn check_table(csv: &str, json: &serde_json::Value) {
    let mut lines = csv.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let rows: Vec<Vec<&str>> = lines.map(|l| l.split(',').collect()).collect();
    let points = json["points"].as_array().unwrap();
    assert!(!rows.is_empty() && rows.len() == points.len());
    let column = |name: &str| head.iter().position(|h| *h == name).expect(name);
    for (row, point) in rows.iter().zip(points) {
        assert_eq!(row.len(), head.len());
        for name in [
            "levels",
            "budget_s",
            "refresh_s",
            "span_lstar",
            "contrast",
            "line_v",
        ] {
            let (cell, value) = (
                row[column(name)].parse::<f64>().unwrap(),
                point[name].as_f64().unwrap(),
            );
            assert!((cell - value).abs() <= 1e-4, "{name} {row:?}");
        }
        let yes = point["pareto"].as_bool().unwrap();
        assert_eq!(row[column("pareto")], if yes { "yes" } else { "no" });
    }
    for knees in ["most", "need", "widest", "voltage"] {
        assert!(json["knees"][knees].is_array(), "{knees}");
    }
}

#[test]
fn what_is_wrong_is_refused_in_plain_words() {
    let dir = project();
    let base = "sweep project --out out";
    for (options, exit, words) in [
        ("--levels 8..4", 2, &["--levels", "smaller first"][..]),
        ("--levels ..", 2, &["whole number from 2 to 256"]),
        ("--levels 1..8", 2, &["whole number from 2 to 256"]),
        ("--levels 8..300", 2, &["whole number from 2 to 256"]),
        ("--levels 8", 2, &["such as 8..64"]),
        ("--refresh 9s..4s", 2, &["--refresh", "smaller first"]),
        ("--refresh 4..9", 2, &["time with its unit"]),
        ("--refresh 4s", 2, &["such as 4s..20s"]),
        ("--tolerance 0", 2, &["above 0"]),
        ("--tolerance 0.6", 2, &["at most 0.5"]),
        ("--temperature 60", 2, &["5 to 40 °C"]),
        ("--threads 0", 2, &["from 1 to 256"]),
        ("--refresh 100ms..500ms", 4, &["cannot be met", "would do"]),
    ] {
        assert_refused(dir.path(), &format!("{base} {options}"), exit, words);
        assert!(!dir.path().join("out").exists(), "{options}");
    }
    assert_refused(dir.path(), "sweep nowhere --out out", 3, &["nowhere"]);
    assert_refused(dir.path(), "sweep project", 2, &["--out"]);
}

#[test]
fn what_is_not_ours_stays() {
    let dir = project();
    let out = dir.path().join("out");
    fs::create_dir(&out).unwrap();
    fs::write(out.join("sweep.csv"), "mine").unwrap();
    assert_refused(
        dir.path(),
        LINE,
        3,
        &["sweep.csv", "not replaced", "--force"],
    );
    assert_eq!(read(&out, "sweep.csv"), b"mine");
    assert_eq!(fs::read_dir(&out).unwrap().count(), 1);
}
