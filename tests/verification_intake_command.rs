//! `greyloom intake` and `chart --scan-frame` as a person runs them.

mod folder;

use folder::contents;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

const SCANS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/scans");

fn run(dir: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("greyloom"));
    command.current_dir(dir).args(arguments).output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// A copy of the project of the synthetic scans, in a folder of its own.
fn project() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir(dir.path().join("p")).unwrap();
    for name in ["panel.toml", "chart.csv", "wedge.csv"] {
        let from = Path::new(SCANS).join("project").join(name);
        fs::copy(from, dir.path().join("p").join(name)).unwrap();
    }
    dir
}

fn edit(dir: &Path, name: &str, from: &str, to: &str) {
    let file = dir.join("p").join(name);
    let text = fs::read_to_string(&file).unwrap();
    assert!(text.contains(from), "{name} holds no {from:?}");
    fs::write(file, text.replacen(from, to, 1)).unwrap();
}

fn scan(name: &str) -> String {
    format!("{SCANS}/{name}")
}

fn image<'a>(file: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let mut line = vec![
        "intake",
        "image",
        file,
        "--project",
        "p",
        "--out",
        "out/scans.csv",
    ];
    line.extend(more);
    line
}

/// Exit code, words on stderr, nothing on stdout, nothing written.
fn assert_refused(dir: &Path, line: &[&str], exit: i32, words: &[&str]) {
    let output = run(dir, line);
    let told = said(&output);
    assert_eq!(output.status.code(), Some(exit), "{line:?}\n{told}");
    for word in words {
        assert!(told.contains(word), "{line:?}: no {word:?} in\n{told}");
    }
    assert!(
        output.stdout.is_empty() && !told.contains("panicked"),
        "{told}"
    );
    assert!(!dir.join("out").exists(), "{line:?} left something");
}

#[test]
fn scans_become_readings_the_same_on_any_number_of_threads() {
    let dir = project();
    let files = [
        scan("straight.png"),
        scan("turned.tif"),
        scan("quarter-turn-8.png"),
    ];
    let mut written = Vec::new();
    for threads in ["1", "2"] {
        let out = format!("out-{threads}/scans.csv");
        let mut line = vec!["intake", "image"];
        line.extend(files.iter().map(String::as_str));
        line.extend(["--project", "p", "--threads", threads, "--out", &out]);
        let output = run(dir.path(), &line);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        let told = String::from_utf8(output.stdout.clone()).unwrap();
        for word in [
            "turned.tif",
            "p02",
            "91.2",
            "combined",
            "wedge",
            "24 patches",
        ] {
            assert!(told.contains(word), "no {word:?} in\n{told}");
        }
        // Page p01 was scanned twice, of panels that differ.
        assert!(
            said(&output).contains("repeats scatter by"),
            "{}",
            said(&output)
        );
        written.push(contents(&dir.path().join(format!("out-{threads}"))));
    }
    assert_eq!(written[0], written[1]);
    let names: Vec<&str> = written[0].keys().map(String::as_str).collect();
    assert_eq!(
        names,
        [
            ".greyloom-written",
            "intake-01.png",
            "intake-02.png",
            "intake-03.png",
            "scans.csv"
        ]
    );
    let scans = String::from_utf8(written[0]["scans.csv"].clone()).unwrap();
    assert!(scans.starts_with("page,patch,repeat,reflectance,reflectance_u\np01,q00,1,0."));
    assert_eq!(scans.lines().count(), 25);
    fs::copy(
        dir.path().join("out-1/scans.csv"),
        dir.path().join("p/scans.csv"),
    )
    .unwrap();
    let project = greyloom::project::Project::read(&dir.path().join("p")).unwrap();
    assert!(
        project
            .measured
            .readings
            .iter()
            .all(|r| r.u_lstar.is_some_and(|u| u > 0.01))
    );
}

#[test]
fn wrong_wedges_are_refused_with_their_line() {
    let straight = scan("straight.png");
    let refused = |from: &str, to: &str, words: &[&str]| {
        let dir = project();
        edit(dir.path(), "wedge.csv", from, to);
        assert_refused(dir.path(), &image(&straight, &[]), 3, words);
    };
    refused("A1,", "C1,", &["wedge.csv, line 2", "`place`", "A1 to A12"]);
    refused("A2,", "A1,", &["line 3", "`A1`", "line 2 has it too"]);
    refused(
        "reflectance,",
        "grey,",
        &["line 1", "`grey`", "place, reflectance"],
    );
    // Places of two neighbours changed over.
    let dir = project();
    for (from, to) in [("A5,", "X,"), ("A6,", "A5,"), ("X,", "A6,")] {
        edit(dir.path(), "wedge.csv", from, to);
    }
    assert_refused(
        dir.path(),
        &image(&straight, &[]),
        3,
        &["wedge.csv, line", "a wedge that rises"],
    );
    let dir = project();
    let four = "place,reflectance\nA1,0.04\nA4,0.1\nA8,0.3\nA12,0.8\nB12,0.8\n";
    fs::write(dir.path().join("p/wedge.csv"), four).unwrap();
    assert_refused(
        dir.path(),
        &image(&straight, &[]),
        3,
        &["line 6", "4 different steps", "at least 5"],
    );
    let dir = project();
    fs::remove_file(dir.path().join("p/wedge.csv")).unwrap();
    assert_refused(
        dir.path(),
        &image(&straight, &[]),
        3,
        &["wedge.csv", "known reflectances"],
    );
}

#[test]
fn pages_that_are_not_on_the_chart_are_refused() {
    let straight = scan("straight.png");
    let dir = project();
    let chart = fs::read_to_string(dir.path().join("p/chart.csv")).unwrap();
    fs::write(
        dir.path().join("p/chart.csv"),
        chart.replace(",2.75,", ",2.5,"),
    )
    .unwrap();
    assert_refused(
        dir.path(),
        &image(&straight, &[]),
        3,
        &["straight.png", "page 1 of another chart", "--page"],
    );
    assert_refused(
        dir.path(),
        &image(&straight, &["--page", "p09"]),
        2,
        &["--page p09", "p01, p02"],
    );
    let named = run(dir.path(), &image(&straight, &["--page", "p01"]));
    assert_eq!(named.status.code(), Some(0), "{}", said(&named));
}

#[test]
fn files_that_are_no_scans_are_refused() {
    let dir = project();
    let file = |name: &str, bytes: &[u8]| fs::write(dir.path().join(name), bytes).unwrap();
    file("text.png", b"no picture");
    let whole = fs::read(scan("straight.png")).unwrap();
    file("half.png", &whole[..whole.len() / 2]);
    file("empty.tif", b"");
    // Sparse: takes no room.
    let huge = fs::File::create(dir.path().join("huge.tif")).unwrap();
    huge.set_len(2 << 30).unwrap();
    for (name, word) in [
        ("text.png", "a PNG, JPEG or TIFF"),
        ("half.png", "a whole picture"),
        ("empty.tif", "a PNG, JPEG or TIFF"),
        ("huge.tif", "at most 512 MiB"),
        ("none.png", "cannot"),
    ] {
        assert_refused(dir.path(), &image(name, &[]), 3, &[name, word]);
    }
    let other = scan("turned.tif");
    let flat = scan("flat.png");
    let line = image(&other, &["--flat", &flat]);
    assert_refused(
        dir.path(),
        &line,
        3,
        &["turned.tif", "of the size of the uniform sheet"],
    );
}

#[test]
fn corners_by_hand_read_the_same_as_the_frame() {
    let dir = project();
    let straight = scan("straight.png");
    let crossing = [
        "--page",
        "p01",
        "--corners",
        "300,150 500,250 500,150 300,250",
    ];
    let wedge = "place,reflectance,x_px,y_px,side_px\n";
    // The frame's places times 4.2 px/mm and 25.2 px of margin, and the wedge of the fixture.
    let stated = fs::read_to_string(dir.path().join("p/wedge.csv")).unwrap();
    let places = fs::read_to_string(Path::new(SCANS).join("project/chart-scan-frame.csv")).unwrap();
    let px = |mm: f64| 4.2 * mm + 25.2;
    let centre = |name: &str| {
        let row = places
            .lines()
            .find(|l| l.starts_with(&format!("{name},")))
            .unwrap();
        let n: Vec<f64> = row.split(',').skip(1).map(|c| c.parse().unwrap()).collect();
        (px(n[0] + n[2] / 2.0), px(n[1] + n[3] / 2.0), n)
    };
    let rows: String = stated
        .lines()
        .skip(1)
        .map(|l| {
            let cells: Vec<&str> = l.split(',').collect();
            let (x, y, _) = centre(cells[0]);
            format!("{},{},{x:.2},{y:.2},16\n", cells[0], cells[1])
        })
        .collect();
    fs::write(dir.path().join("p/wedge.csv"), format!("{wedge}{rows}")).unwrap();
    assert_refused(
        dir.path(),
        &image(&straight, &crossing),
        3,
        &["300,150", "without crossing"],
    );
    let backwards = [
        "--page",
        "p01",
        "--corners",
        "500,150 300,150 300,250 500,250",
    ];
    assert_refused(dir.path(), &image(&straight, &backwards), 3, &["clockwise"]);
    let outside = [
        "--page",
        "p01",
        "--corners",
        "-5,150 300,150 300,250 -5,250",
    ];
    assert_refused(
        dir.path(),
        &image(&straight, &outside),
        3,
        &["inside the picture"],
    );
    let short = ["--page", "p01", "--corners", "1,2 3,4"];
    assert_refused(dir.path(), &image(&straight, &short), 2, &["four corners"]);
    let alone = ["--corners", "300,150 500,150 500,250 300,250"];
    assert_refused(dir.path(), &image(&straight, &alone), 2, &["--page"]);
    let (_, _, panel) = centre("panel");
    let (left, top) = (px(panel[0]), px(panel[1]));
    let (right, bottom) = (px(panel[0] + panel[2]), px(panel[1] + panel[3]));
    let corners = format!("{left},{top} {right},{top} {right},{bottom} {left},{bottom}");
    let by_hand = ["--page", "p01", "--corners", corners.as_str()];
    let output = run(dir.path(), &image(&straight, &by_hand));
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let truth = fs::read_to_string(Path::new(SCANS).join("truth.csv")).unwrap();
    let drawn: Vec<f64> = truth
        .lines()
        .filter(|l| l.starts_with("straight.png"))
        .map(|l| l.rsplit(',').next().unwrap().parse().unwrap())
        .collect();
    let scans = fs::read_to_string(dir.path().join("out/scans.csv")).unwrap();
    let read: Vec<f64> = scans
        .lines()
        .skip(1)
        .map(|l| l.split(',').nth(3).unwrap().parse().unwrap())
        .collect();
    assert_eq!(read.len(), 12);
    for (a, b) in read.iter().zip(&drawn) {
        let lstar = greyloom::tone::lstar_from_reflectance;
        assert!((lstar(*a) - lstar(*b)).abs() < 0.25, "{a} for {b}");
    }
}

#[test]
fn what_others_wrote_stays() {
    let dir = project();
    fs::create_dir(dir.path().join("mine")).unwrap();
    fs::write(dir.path().join("mine/intake.png"), "mine").unwrap();
    let straight = scan("straight.png");
    let line = [
        "intake",
        "image",
        &straight,
        "--project",
        "p",
        "--out",
        "mine/scans.csv",
    ];
    let output = run(dir.path(), &line);
    assert_eq!(output.status.code(), Some(3));
    assert!(said(&output).contains("not replaced"));
    assert_eq!(contents(&dir.path().join("mine")).len(), 1);
}

#[test]
fn the_picture_of_what_was_read_keeps_its_name() {
    let dir = project();
    let straight = scan("straight.png");
    let line = [
        "intake",
        "image",
        &straight,
        "--project",
        "p",
        "--out",
        "out/intake.png",
    ];
    assert_refused(
        dir.path(),
        &line,
        2,
        &["--out out/intake.png", "another name"],
    );
}

#[test]
fn spectra_become_readings() {
    let dir = project();
    let text = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/spectra/surfaces.txt"
    );
    let line = [
        "intake",
        "spectra",
        text,
        "--project",
        "p",
        "--out",
        "out/scans.csv",
    ];
    let output = run(dir.path(), &line);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let told = String::from_utf8(output.stdout.clone()).unwrap();
    for word in [
        "ISO 28178",
        "in percent",
        "380 to",
        "a*, b*",
        "repeatability",
    ] {
        assert!(told.contains(word), "no {word:?} in\n{told}");
    }
    assert!(said(&output).contains("drift in hue"));
    let scans = fs::read_to_string(dir.path().join("out/scans.csv")).unwrap();
    // Luminous reflectance of the flat spectrum is its own value.
    assert!(scans.contains("p01,q00,1,0.180000,"), "{scans}");
}

#[test]
fn huge_spectra_and_wedges_are_refused() {
    let dir = project();
    // Sparse: takes no room.
    let huge = |name: &str| {
        fs::File::create(dir.path().join(name))
            .unwrap()
            .set_len(2 << 30)
            .unwrap()
    };
    huge("huge.csv");
    huge("p/wedge.csv");
    let line = [
        "intake",
        "spectra",
        "huge.csv",
        "--project",
        "p",
        "--out",
        "out/scans.csv",
    ];
    assert_refused(dir.path(), &line, 3, &["huge.csv", "at most 64 MiB"]);
    let straight = scan("straight.png");
    assert_refused(
        dir.path(),
        &image(&straight, &[]),
        3,
        &["wedge.csv", "at most 64 MiB"],
    );
}

#[test]
fn ends_are_split_into_their_parts() {
    let dir = tempfile::tempdir().unwrap();
    let file = |text: &str| fs::write(dir.path().join("cell.csv"), text).unwrap();
    file("state,transmittance\nempty,0.9\nfilled,0.81\nclear,0.729\ndark,0.081\n");
    let output = run(dir.path(), &["intake", "ends", "cell.csv", "--json"]);
    let told: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    // By the product: 0.9, 0.9, 0.9 and 0.1.
    for (part, expected) in [
        ("window", 0.9),
        ("liquid", 0.9),
        ("open_aperture", 0.9),
        ("spread_pigment", 0.1),
        ("contrast", 9.0),
    ] {
        let found = told["ends"][part]["value"].as_f64().unwrap();
        assert!((found - expected).abs() < 1e-9, "{part}: {found}");
    }
    for (text, words) in [
        (
            "state,transmittance\nempty,0.9\nfilled,0.81\nclear,0.729\n",
            ["cell.csv", "`dark`"],
        ),
        (
            "state,transmittance\nempty,0.8\nfilled,0.9\nclear,0.7\ndark,0.1\n",
            ["line 3", "at most that of `empty`"],
        ),
        (
            "state,transmittance\nempty,90\nfilled,0.9\nclear,0.7\ndark,0.1\n",
            ["line 2", "from 0.0001 to 1"],
        ),
        (
            "state,transmittance\nfull,0.9\n",
            ["line 2", "empty, filled, clear or dark"],
        ),
    ] {
        file(text);
        assert_refused(dir.path(), &["intake", "ends", "cell.csv"], 3, &words);
    }
}

#[test]
fn a_frame_is_drawn_at_its_true_size() {
    let dir = project();
    let output = run(dir.path(), &["chart", "p", "--scan-frame"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    for name in [
        "chart-scan-frame.png",
        "chart-page-strips-01.png",
        "chart-scan-frame.csv",
    ] {
        // The sheets on which the synthetic scans were drawn.
        let shipped = fs::read(Path::new(SCANS).join("project").join(name)).unwrap();
        assert_eq!(
            fs::read(dir.path().join("p").join(name)).unwrap(),
            shipped,
            "{name}"
        );
    }
    let bytes = fs::read(dir.path().join("p/chart-scan-frame.png")).unwrap();
    let reader = png::Decoder::new(std::io::Cursor::new(&bytes))
        .read_info()
        .unwrap();
    let dots = reader.info().pixel_dims.unwrap();
    let width_mm = f64::from(reader.info().width) / f64::from(dots.xppu) * 1000.0;
    assert!((width_mm - 114.0).abs() < 0.1, "{width_mm}");
    let missing = tempfile::tempdir().unwrap();
    fs::create_dir(missing.path().join("p")).unwrap();
    fs::copy(
        dir.path().join("p/panel.toml"),
        missing.path().join("p/panel.toml"),
    )
    .unwrap();
    let output = run(missing.path(), &["chart", "p", "--scan-frame"]);
    assert_eq!(output.status.code(), Some(3));
    assert!(said(&output).contains("chart.csv"));
}
