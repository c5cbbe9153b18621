//! Scans drawn by a general imaging library (OpenCV 5.0.0; tests/data/scans/README.md), read back.

use greyloom::error::Error;
use greyloom::intake::flat::Flat;
use greyloom::intake::frame::{Frame, Point};
use greyloom::intake::projection::Projection;
use greyloom::intake::scan::{Scan, Setting, read_scan};
use greyloom::intake::wedge_file::{Step, read_wedge};
use greyloom::project::{Chart, Panel, read_chart, read_panel};
use greyloom::tone::lstar_from_reflectance;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

const SCANS: &str = "tests/data/scans";
/// Largest error of a patch, L*: the resolution of 16 and of 8 bits, with the wedge's own error of 0.08 L*.
const ERROR_16_LSTAR: f64 = 0.25;
const ERROR_8_LSTAR: f64 = 0.5;
/// The marks of a scan lie within this of where the drawing put them, mm: OpenCV counts from the middle of a pixel, half a pixel of the
/// drawing and of the scan each, 0.15 mm.
const PLACE_MM: f64 = 0.2;

struct Fixture {
    panel: Panel,
    chart: Chart,
    wedge_file: PathBuf,
    steps: Vec<Step>,
}

impl Fixture {
    fn read() -> Self {
        let project = Path::new(SCANS).join("project");
        let panel = read_panel(&project.join("panel.toml")).unwrap();
        let chart = read_chart(&project.join("chart.csv"), &panel).unwrap();
        let wedge_file = project.join("wedge.csv");
        let steps = read_wedge(&wedge_file, Some(&Frame::of(&panel)), 0.15).unwrap();
        Fixture {
            panel,
            chart,
            wedge_file,
            steps,
        }
    }

    fn setting<'a>(&'a self, flat: Option<&'a Flat>) -> Setting<'a> {
        Setting {
            panel: &self.panel,
            chart: &self.chart,
            wedge_file: &self.wedge_file,
            steps: &self.steps,
            flat,
            corners: None,
            page: None,
        }
    }

    fn scan(&self, name: &str) -> Result<Scan, Error> {
        let file = Path::new(SCANS).join(name);
        if name == "with-flat.png" {
            let flat = Flat::read(&Path::new(SCANS).join("flat.png")).unwrap();
            return read_scan(&file, &self.setting(Some(&flat)));
        }
        read_scan(&file, &self.setting(None))
    }
}

/// Lines of a table without its header, cells apart.
fn table(name: &str) -> Vec<Vec<String>> {
    let text = fs::read_to_string(Path::new(SCANS).join(name)).unwrap();
    let cells = |l: &str| l.split(',').map(str::to_owned).collect();
    text.lines().skip(1).map(cells).collect()
}

fn numbers(cells: &[String]) -> Vec<f64> {
    cells.iter().map(|c| c.parse().unwrap()).collect()
}

/// A map given row by row, at a place.
fn mapped(h: &[f64], (x, y): Point) -> Point {
    let z = h[6] * x + h[7] * y + h[8];
    (
        (h[0] * x + h[1] * y + h[2]) / z,
        (h[3] * x + h[4] * y + h[5]) / z,
    )
}

#[test]
fn every_scan_is_found_and_read_as_it_was_drawn() {
    let fixture = Fixture::read();
    let mut truth: BTreeMap<String, BTreeMap<(String, String), f64>> = BTreeMap::new();
    for row in table("truth.csv") {
        let lstar = lstar_from_reflectance(row[3].parse().unwrap());
        let patch = (row[1].clone(), row[2].clone());
        truth
            .entry(row[0].clone())
            .or_default()
            .insert(patch, lstar);
    }
    assert!(truth.len() >= 12);
    let maps: BTreeMap<String, Vec<f64>> = table("maps.csv")
        .into_iter()
        .map(|r| (r[0].clone(), numbers(&r[1..])))
        .collect();
    let (mut inside, mut all) = (0, 0);
    for (name, patches) in &truth {
        let scan = fixture.scan(name).unwrap_or_else(|e| panic!("{name}: {e}"));
        let page = &fixture.chart.pages[scan.page];
        for corner in Frame::of(&fixture.panel).panel.corners() {
            let drawn = mapped(&maps[name], corner);
            let found = scan.found.from_picture.at(drawn);
            let off = (found.0 - corner.0).hypot(found.1 - corner.1);
            assert!(off <= PLACE_MM, "{name}: {corner:?} found {off} mm off");
        }
        let error = if scan.bits == 16 {
            ERROR_16_LSTAR
        } else {
            ERROR_8_LSTAR
        };
        assert!(scan.patches.len() + scan.unread.len() == 12, "{name}");
        assert!(scan.patches.len() >= 11, "{name}: {:?}", scan.unread);
        for patch in &scan.patches {
            let key = (page.name.clone(), page.patches[patch.patch].name.clone());
            let drawn = patches
                .get(&key)
                .unwrap_or_else(|| panic!("{name}: page {}", page.name));
            let off = patch.lstar - drawn;
            assert!(off.abs() <= error, "{name} {key:?}: {off:+.3} L* off");
            all += 1;
            inside += usize::from(off.abs() <= 2.0 * patch.u.combined());
        }
    }
    let share = f64::from(inside as u32) / f64::from(all as u32);
    assert!(
        (0.90..=0.99).contains(&share),
        "{inside} of {all} within k = 2"
    );
}

#[test]
fn scans_that_cannot_be_read_are_refused_with_the_reason() {
    let fixture = Fixture::read();
    for (name, found, expected) in [
        ("mirrored.png", "mirrored", "switch mirroring off"),
        ("two.png", "2 scan frames", "one panel"),
        ("none.png", "0 of 4", "corner marks"),
        ("cut-off.png", "2 of 4", "no disc with 2"),
        ("saturated.png", "upper end", "exposure"),
        ("too-dark.png", "L* apart", "16 bits"),
        ("blurred.png", "mm wide", "sharp"),
    ] {
        let Err(error) = fixture.scan(name) else {
            panic!("{name} was read");
        };
        assert_eq!(error.exit_code(), 3, "{name}");
        let said = error.to_string();
        for word in [name, found, expected] {
            assert!(said.contains(word), "{name}: no {word:?} in {said}");
        }
    }
}

/// Dust, scratches and glare were drawn on these alone.
#[test]
fn spots_are_left_out_where_dirt_was_drawn() {
    let fixture = Fixture::read();
    let spots = |name: &str| -> usize {
        let scan = fixture.scan(name).unwrap();
        scan.patches.iter().map(|p| p.reading.left.len()).sum()
    };
    assert!(spots("dusty.png") >= 10);
    assert!(spots("dusty-8.png") >= 10);
    assert!(spots("straight.png") <= 2);
}

/// Four points give OpenCV's getPerspectiveTransform itself; it works on single precision.
#[test]
fn four_corners_give_the_map_of_the_library() {
    const RELATIVE: f64 = 1e-5;
    let square: [Point; 4] = [(8.0, 8.0), (106.0, 8.0), (106.0, 73.0), (8.0, 73.0)];
    for row in table("maps.csv") {
        let h = numbers(&row[1..]);
        let to = square.map(|p| mapped(&h, p));
        let found = Projection::through(&square, &to).unwrap().elements();
        for (a, b) in found.iter().zip(&h) {
            let scale = b.abs().max(1e-3);
            assert!((a - b).abs() <= RELATIVE * scale, "{}: {a} for {b}", row[0]);
        }
    }
}

/// Twelve noisy points: least squares here in the points' own plane, in OpenCV's findHomography refined in the picture.
#[test]
fn many_points_give_the_least_squares_map_of_the_library() {
    /// Pixels; the points scatter by 0.3.
    const APART_PX: f64 = 0.05;
    let text = fs::read_to_string(Path::new(SCANS).join("homography.csv")).unwrap();
    let (mut from, mut to, mut h) = (Vec::new(), Vec::new(), Vec::new());
    for line in text.lines().skip(1) {
        let cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        if cells[0] == "map" {
            h = numbers(&cells[1..]);
        } else {
            let n = numbers(&cells);
            from.push((n[0], n[1]));
            to.push((n[2], n[3]));
        }
    }
    assert_eq!(from.len(), 12);
    let found = Projection::through(&from, &to).unwrap();
    for p in &from {
        let (a, b) = (found.at(*p), mapped(&h, *p));
        assert!(
            (a.0 - b.0).hypot(a.1 - b.1) <= APART_PX,
            "{p:?}: {a:?} for {b:?}"
        );
    }
}
