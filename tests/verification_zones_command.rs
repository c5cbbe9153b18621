//! A controller of one field and an erase without priming, through the commands: `fit` meets the request with tables by zones
//! of rows, and every other command takes them.

mod refusals;

use refusals::{assert_refused, run};
use std::fs;
use std::path::Path;

/// Pages of the worked project's chart of one field after the plain erase.
const PAGES: [&str; 4] = ["a01", "a10", "a19", "a22"];

/// The worked project with these pages alone, the plain erase alone and one field.
fn bare() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    let read = |name: &str| fs::read_to_string(from.join(name)).unwrap();
    for name in ["chart.csv", "scans.csv"] {
        let text = read(name);
        let mut lines = text.lines();
        let mut kept = vec![lines.next().unwrap()];
        let page = |line: &str| PAGES.iter().any(|p| line.starts_with(&format!("{p},")));
        kept.extend(lines.filter(|line| page(line)));
        fs::write(dir.path().join(name), kept.join("\n") + "\n").unwrap();
    }
    fs::write(dir.path().join("cell.csv"), read("cell.csv")).unwrap();
    let panel = read("panel.toml").replace("fields_max = 2", "fields_max = 1");
    let (before, after) = panel.split_once("[[erase]]\nname = \"primed\"").unwrap();
    let (_, limits) = after.split_once("[limits]").unwrap();
    fs::write(
        dir.path().join("panel.toml"),
        format!("{before}[limits]{limits}"),
    )
    .unwrap();
    dir
}

fn text(bytes: Vec<u8>) -> String {
    String::from_utf8(bytes).unwrap()
}

#[test]
fn every_command_takes_tables_by_zones_of_rows() {
    let dir = bare();
    let done = |line: &str| -> String {
        let output = run(dir.path(), line);
        assert_eq!(
            output.status.code(),
            Some(0),
            "{line}: {}",
            text(output.stderr)
        );
        text(output.stdout)
    };
    const FIT: &str = "fit . --levels 16 --budget 8s --temperature 23";
    let summary = done(&format!("{FIT} --out out"));
    assert!(
        summary.contains("a table each for row 0 and rows 1 to 79"),
        "{summary}"
    );
    assert!(summary.contains("without zones of rows no design was found"));
    assert!(summary.contains("rest on the model's memory of the erase"));

    let levels = fs::read_to_string(dir.path().join("out/levels.csv")).unwrap();
    assert!(levels.lines().nth(1).unwrap().contains(" | "), "{levels}");

    let check = done("check out/waveforms.json");
    assert!(check.contains("2 zones of rows"), "{check}");
    let shown = done("preview out/waveforms.json --pattern text --temperature 23");
    assert!(shown.contains("net impulse"), "{shown}");
    done("emit out/waveforms.json --out firmware --form all --packed");
    let image = done("verify-image firmware/table.bin --waveforms out/waveforms.json");
    assert!(image.contains("band 1: row 0 and rows 1 to 79"), "{image}");
    done(
        "emit out/waveforms.json --out lab --form pwl --row 0 --column 3 --level 5 --temperature 23",
    );

    let chart = done("chart . --waveforms out/waveforms.json");
    assert!(chart.contains("row 0: tables of their own"), "{chart}");
    done(
        "rehearse . --chart verify-chart.csv --waveforms out/waveforms.json --out verify-scans.csv",
    );

    // A controller that holds one table.
    let panel = fs::read_to_string(dir.path().join("panel.toml")).unwrap();
    let one = panel.replace("fields_max = 1", "fields_max = 1\nzones_max = 1");
    fs::write(dir.path().join("panel.toml"), one).unwrap();
    assert_refused(dir.path(), &format!("{FIT} --out one"), 4, &["16 levels"]);
    assert!(!dir.path().join("one/waveforms.json").exists());
    // Zones that overlap.
    let file = dir.path().join("out/waveforms.json");
    let set = fs::read_to_string(&file).unwrap();
    fs::write(
        &file,
        set.replacen("\"row_first\": 1", "\"row_first\": 0", 1),
    )
    .unwrap();
    let words = [
        "waveforms.json",
        "bands[0].zones[1].row_first",
        "no gap, no overlap",
    ];
    assert_refused(dir.path(), "check out/waveforms.json", 3, &words);
    assert_refused(dir.path(), "emit out/waveforms.json --out more", 3, &words);
}
