//! The shipped project is read as it stands, `write_demo` writes it out, and no damage to its files makes reading panic.

use greyloom::project::{Project, read_chart, read_panel, read_scans, read_trains, write_demo};
use greyloom::{Error, drive::Stroke};
use proptest::prelude::*;
use std::fs;
use std::path::Path;

const SHIPPED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/calibration/harbour-tile");
/// L*; the table of check values gives four decimals.
const TABLE_TOLERANCE_LSTAR: f64 = 5e-5;

fn shipped() -> Project {
    Project::read(Path::new(SHIPPED)).unwrap()
}

#[test]
fn the_shipped_project_is_read_whole() {
    let project = shipped();
    let holdout = project.holdout.as_ref().unwrap();
    let patches = |chart: &greyloom::project::Chart| {
        chart.pages.iter().map(|p| p.patches.len()).sum::<usize>()
    };
    assert_eq!(project.measured.chart.pages.len(), 30);
    assert_eq!(patches(&project.measured.chart), 360);
    assert_eq!(project.measured.readings.len(), 360);
    assert_eq!(holdout.chart.pages.len(), 10);
    assert_eq!(
        (patches(&holdout.chart), holdout.readings.len()),
        (120, 120)
    );
    assert_eq!(project.trains.len(), 96);
    assert_eq!(project.warnings(), []);
    assert_eq!((project.panel.rows, project.panel.columns), (80, 120));
    assert_eq!(
        project
            .panel
            .drivers
            .stretch
            .map(|s| (s.min, s.max, s.step)),
        Some((0.5, 2.0, 0.01))
    );
}

/// Against the lines of the files, read by eye.
#[test]
fn cells_come_out_where_they_belong() {
    let project = shipped();
    let page = &project.measured.chart.pages[1];
    assert_eq!(
        (
            page.name.as_str(),
            page.temperature_c,
            page.erase.name.as_str()
        ),
        ("a02", 5.0, "plain")
    );
    assert_eq!(
        page.erase.strokes[1],
        Stroke {
            pixel_v: -18.0,
            ms: 1100.0
        }
    );
    assert_eq!(page.fill_ticks, [16, 7]);
    let field = page.fields[1];
    assert_eq!(
        (field.select_v, field.data_v, field.tick_us),
        (6.5, 3.5, 500)
    );
    assert_eq!(
        (field.slot_ticks, field.guard_ticks, field.mirrored),
        (16, 4, false)
    );
    let patch = &page.patches[1];
    assert_eq!(
        (patch.name.as_str(), patch.line, patch.ticks.as_slice()),
        ("p01", 16, [40, 3].as_slice())
    );
    assert_eq!(
        (
            patch.row_first,
            patch.row_last,
            patch.column_first,
            patch.column_last
        ),
        (27, 52, 0, 29)
    );
    let reading = project.measured.readings[13];
    assert_eq!(
        (reading.page, reading.patch, reading.repeat, reading.line),
        (1, 1, 1, 15)
    );
    let train = &project.trains[26];
    assert_eq!(
        (train.name.as_str(), train.temperature_c, train.line),
        ("c027", 5.0, 28)
    );
    let volts_ms: Vec<(f64, f64)> = train.steps.iter().map(|s| (s.pixel_v, s.ms)).collect();
    assert_eq!(volts_ms, [(15.0, 20.0), (-15.0, 10.0), (0.0, 1000.0)]);
    assert!(
        project
            .measured
            .chart
            .pages
            .iter()
            .any(|p| p.fields[0].mirrored)
    );
}

/// L* of luminous reflectances in per cent; CIE 15, CIE 1976 L*, values computed with colour-science 0.4.7.
#[test]
fn reflectance_becomes_lightness() {
    let table = [
        (1, 8.9914),
        (5, 26.7348),
        (10, 37.8424),
        (18, 49.4961),
        (50, 76.0693),
        (80, 91.6849),
    ];
    let dir = tempfile::tempdir().unwrap();
    let rows: String = table
        .iter()
        .map(|(percent, _)| format!("c{percent},25,15:20,1,0.{percent:02}\n"))
        .collect();
    let path = dir.path().join("cell.csv");
    fs::write(
        &path,
        format!("train,temperature_c,steps,repeat,reflectance\n{rows}"),
    )
    .unwrap();
    let trains = read_trains(&path).unwrap();
    assert_eq!(trains.len(), table.len());
    for (train, (percent, lstar)) in trains.iter().zip(table) {
        let error = (train.readings_lstar[0] - lstar).abs();
        assert!(error < TABLE_TOLERANCE_LSTAR, "{percent} %: off by {error}");
    }
}

#[test]
fn repeats_of_a_train_are_merged() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("cell.csv");
    fs::write(
        &path,
        "train,temperature_c,steps,repeat,lstar\na,5,9:1,1,50\nb,5,9:2,1,60\na,5,9.0:1,2,51\n",
    )
    .unwrap();
    let trains = read_trains(&path).unwrap();
    assert_eq!(
        trains
            .iter()
            .map(|t| t.readings_lstar.clone())
            .collect::<Vec<_>>(),
        [vec![50.0, 51.0], vec![60.0]]
    );
}

#[test]
fn the_parts_can_be_read_alone() {
    let dir = Path::new(SHIPPED);
    let panel = read_panel(&dir.join("panel.toml")).unwrap();
    let chart = read_chart(&dir.join("holdout-chart.csv"), &panel).unwrap();
    let readings = read_scans(&dir.join("holdout-scans.csv"), &chart).unwrap();
    assert_eq!(
        Some((chart, readings)),
        shipped().holdout.map(|h| (h.chart, h.readings))
    );
}

#[test]
fn the_demo_is_the_shipped_project() {
    let dir = tempfile::tempdir().unwrap();
    let demo = dir.path().join("pier");
    let paths = write_demo(&demo, false).unwrap();
    let mut shipped_names: Vec<_> = fs::read_dir(SHIPPED)
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    shipped_names.sort();
    assert_eq!(
        paths
            .iter()
            .map(|p| p.file_name().unwrap().to_owned())
            .collect::<Vec<_>>(),
        shipped_names
    );
    for path in &paths {
        assert_eq!(
            fs::read(path).unwrap(),
            fs::read(Path::new(SHIPPED).join(path.file_name().unwrap())).unwrap()
        );
    }
    let read = Project {
        folder: shipped().folder,
        ..Project::read(&demo).unwrap()
    };
    assert_eq!(read, shipped());
    write_demo(&demo, false).unwrap();
    fs::write(demo.join("panel.toml"), "rows = 81").unwrap();
    assert!(matches!(
        write_demo(&demo, false),
        Err(Error::InTheWay { .. })
    ));
    assert_eq!(
        fs::read_to_string(demo.join("panel.toml")).unwrap(),
        "rows = 81"
    );
}

/// One change of one byte.
#[derive(Debug, Clone)]
enum Damage {
    Replace(usize, u8),
    Insert(usize, u8),
    Remove(usize),
    Cut(usize),
}

impl Damage {
    fn apply(&self, bytes: &mut Vec<u8>) {
        let at = |place: usize| place % bytes.len().max(1);
        match *self {
            _ if bytes.is_empty() => {}
            Damage::Replace(place, byte) => {
                let at = at(place);
                bytes[at] = byte;
            }
            Damage::Insert(place, byte) => bytes.insert(at(place), byte),
            Damage::Remove(place) => drop(bytes.remove(at(place))),
            Damage::Cut(place) => bytes.truncate(at(place)),
        }
    }
}

fn damage() -> impl Strategy<Value = Damage> {
    // Mostly bytes that mean something in these files.
    let byte = prop_oneof![
        4 => prop::sample::select(b",.:;-+eE_=[]{}\"'#\n\r\t 0123456789naif".to_vec()),
        1 => any::<u8>(),
    ];
    prop_oneof![
        6 => (any::<usize>(), byte.clone()).prop_map(|(place, byte)| Damage::Replace(place, byte)),
        4 => (any::<usize>(), byte).prop_map(|(place, byte)| Damage::Insert(place, byte)),
        4 => any::<usize>().prop_map(Damage::Remove),
        1 => any::<usize>().prop_map(Damage::Cut),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(1000) })]

    /// Reading damaged files ends in a project or in a list of wrong places of the damaged file, or of the one that
    /// depends on it.
    #[test]
    fn damaged_files_never_panic(
        name in prop::sample::select(vec![
            "panel.toml", "panel.toml", "chart.csv", "scans.csv", "cell.csv", "holdout-chart.csv", "holdout-scans.csv",
        ]),
        damages in prop::collection::vec(damage(), 1..6),
    ) {
        let dir = tempfile::tempdir().unwrap();
        write_demo(dir.path(), false).unwrap();
        let path = dir.path().join(name);
        let mut bytes = fs::read(&path).unwrap();
        damages.iter().for_each(|damage| damage.apply(&mut bytes));
        fs::write(&path, bytes).unwrap();
        match Project::read(dir.path()) {
            Ok(project) => prop_assert!(project.warnings().len() <= 480 + 40),
            Err(Error::Inputs(places)) => {
                prop_assert!(!places.is_empty() && places.len() <= 21);
                prop_assert!(places.iter().all(|p| p.file.starts_with(dir.path()) && !p.expected.is_empty()));
            }
            Err(other) => prop_assert!(false, "{other}"),
        }
    }
}
