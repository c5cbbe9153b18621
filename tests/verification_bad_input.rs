//! Every kind of wrong input is refused with its file, line, field, value and what was expected.

mod slips;
mod small_project;

use greyloom::Error;
use greyloom::project::{Project, Warning};
use slips::*;
use small_project::*;
use std::fs;
use std::path::Path;

/// Cases one a line: passage, what takes its place, then line, field, value and a word of the expectation. A line end in
/// a passage is written ⏎, a control character ␇.
fn assert_cases(file: &str, cases: &str) {
    for case in cases.trim().lines() {
        let cells: Vec<&str> = case.split('|').map(|cell| cell.trim_matches(' ')).collect();
        let [from, to, line, field, value, word] = cells[..] else {
            panic!("{case}")
        };
        let text = |cell: &str| cell.replace('⏎', "\n").replace('␇', "\u{7}");
        let bytes = edited(file, &text(from), &text(to));
        assert_place(
            file,
            bytes.as_bytes(),
            line.parse().unwrap(),
            field,
            value,
            word,
        );
    }
}

#[test]
fn the_small_project_is_right() {
    let project = read_with("scans.csv", SCANS.as_bytes()).unwrap();
    assert_eq!(project.warnings(), []);
    assert_eq!(project.measured.chart.pages.len(), 2);
    assert_eq!(project.trains.len(), 2);
}

#[test]
fn wrong_panels_are_refused() {
    assert_cases(
        "panel.toml",
        r#"
rows = 10⏎ |  | 1 | rows |  | this key
row_ohm = 9000.0⏎ |  | 5 | lines.row_ohm |  | this key
max = 20.0,  |  | 11 | drivers.select_v.max |  | this key
rows = 10 | rows = 10⏎rows = 11 | 3 | rows | rows | TOML
rows = 10 | rows = 10⏎sheets = 3 | 3 | sheets | sheets | only the keys name, rows
driver_ohm | lag = 1⏎driver_ohm | 9 | lines.lag | lag | driver_ohm
step = 0.5 | step = 0.5, to = 1 | 11 | drivers.select_v.to | to | min, max, step
ms = 150.0 | ms = 150.0, s = 1 | 21 | erase[1].strokes[1].s | s | pixel_v, ms
rows = 10 | rows = 0 | 2 | rows | 0 | from 1 to 4096
rows = 10 | rows = 10.0 | 2 | rows | 10.0 | whole number
rows = 10 | rows = "ten" | 2 | rows | "ten" | whole number
columns = 12 | columns = -1 | 3 | columns | -1 | from 1 to 4096
500.0 | nan | 4 | pixel_pitch_um | nan | number
aperture_mm = 4.0 | aperture_mm = 4.0⏎[spread]⏎speed = 0.6 | 38 | spread.speed | 0.6 | from 0 to 0.5
aperture_mm = 4.0 | aperture_mm = 4.0⏎[spread]⏎threshold_v = -0.001 | 38 | spread.threshold_v | -0.001 | from 0 to 0.5
aperture_mm = 4.0 | aperture_mm = 4.0⏎[spread]⏎ageing = 0.1 | 38 | spread.ageing | ageing | threshold_v, speed
9000.0 | inf | 6 | lines.row_ohm | inf | number
9000.0 | 1e999 | 6 | lines.row_ohm | 1e999 | number
9000.0 | -9000.0 | 6 | lines.row_ohm | -9000.0 | from 0 to
6000.0 | -0.1 | 7 | lines.column_ohm | -0.1 | from 0 to
2.0e-12 | -2.0e-12 | 8 | lines.pixel_f | -2.0e-12 | from 0 to
1500.0 | true | 9 | lines.driver_ohm | true | number
min = 4.0 | min = 21.0 | 11 | drivers.select_v.min | 21.0 | at most max, which is 20
min = 4.0, max = 20.0 | min = 0.0, max = 0.0 | 11 | drivers.select_v.max | 0.0 | a voltage other than 0
min = 4.0, max = 20.0 | min = 0.0, max = 0.4 | 11 | drivers.select_v.max | 0.4 | a voltage other than 0
step = 0.5 | step = 0 | 11 | drivers.select_v.step | 0 | 0.001
step = 0.25 | step = -0.25 | 12 | drivers.data_v.step | -0.25 | 0.001
step = 0.5 | step = 0.01 | 11 | drivers.select_v.step | 0.01 | 1001 values
[500, 1000] | [] | 13 | drivers.tick_us | [] | list with 1 to 16
[500, 1000] | [500, 0] | 13 | drivers.tick_us[2] | 0 | from 1
[500, 1000] | [500, 500] | 13 | drivers.tick_us | [500, 500] | each tick once
slot_ticks_max = 127 | slot_ticks_max = 0 | 14 | drivers.slot_ticks_max | 0 | from 1
fields_max = 2 | fields_max = 0 | 16 | drivers.fields_max | 0 | from 1
fields_max = 2 | fields_max = 2⏎zones_max = 0 | 17 | drivers.zones_max | 0 | from 1 to 16
fields_max = 2 | fields_max = 2⏎zones_max = 17 | 17 | drivers.zones_max | 17 | from 1 to 16
field_settle_ms = 2.0 | field_settle_ms = -2.0 | 17 | drivers.field_settle_ms | -2.0 | from 0
field_settle_ms = 2.0 | field_settle_ms = 2.0⏎resting_balance = 1 | 18 | drivers.resting_balance | 1 | true or false
min = 0.5 | min = 2.5 | 18 | drivers.stretch.min | 2.5 | at most max, which is 2
, step = 0.01 |  | 18 | drivers.stretch.step |  | this key
"primed" | "plain" | 24 | erase[2].name | "plain" | name of its own
"primed" | "band" | 24 | erase[2].name | "band" | finished set
"plain" | "" | 20 | erase[1].name |  | letters
"bollard" | "a*/b" | 1 | name | a*/b | letters
[{ pixel_v = -17.0, ms = 1200.0 }] | [] | 25 | erase[2].strokes | [] | list with 1 to 64
ms = 1100.0 | ms = 0.0 | 21 | erase[1].strokes[2].ms | 0.0 | 0.001
pixel_v = 18.0 | pixel_v = nan | 21 | erase[1].strokes[1].pixel_v | nan | number
rest_ms = 1000.0 | rest_ms = -1 | 22 | erase[1].rest_ms | -1 | from 0
refresh_s = 12.0 | refresh_s = 0 | 28 | limits.refresh_s | 0 | 0.001
{ min = 5.0, max = 40.0 } | { min = 45.0, max = 40.0 } | 31 | limits.temperature_c.min | 45.0 | at most max
"D50" | "A" | 34 | instrument.illuminant | "A" | D50 or D65
0.15 | 0.0 | 35 | instrument.repeatability_lstar | 0.0 | 0.001
rows = 10 | rows =  | 2 | rows |  | TOML
max = 6.0 | max = 6.0.1 | 12 | drivers.data_v | .1 | TOML
"#,
    );
    let no_erase = PANEL.split("[[erase]]").next().unwrap().to_owned()
        + PANEL.split("rest_ms = 900.0").nth(1).unwrap();
    assert_place(
        "panel.toml",
        no_erase.as_bytes(),
        1,
        "erase",
        "",
        "list with 1 to 16",
    );
    assert_place(
        "panel.toml",
        format!("erase = []\n{no_erase}").as_bytes(),
        1,
        "erase",
        "[]",
        "list with 1 to 16",
    );
}

#[test]
fn wrong_charts_are_refused() {
    assert_cases(
        "chart.csv",
        r#"
mirrored,ticks, | mirrored, | 1 | ticks |  | missing
ticks,fill_ticks⏎ | ticks,fill_ticks,fill_ticks⏎ | 1 | fill_ticks | fill_ticks | doubled
ticks,fill_ticks⏎ | ticks,fill_ticks,colour⏎ | 1 | colour | colour | only the columns page, patch
42,17⏎ | 42⏎ | 2 |  | 16 cells | 17 cells
42,17⏎ | 42,17,3⏎ | 2 |  | 18 cells | 17 cells
42,17⏎ | nan,17⏎ | 2 | ticks | nan | whole number
42,17⏎ | 49,17⏎ | 2 | ticks | 49 | from 0 to 48, the slot_ticks
42,17⏎ | -1,17⏎ | 2 | ticks | -1 | from 0 to 48
true,30,20⏎ | true,30,33⏎ | 6 | fill_ticks | 33 | from 0 to 32, the slot_ticks
a,q,5,9, | a,q,5,10, | 4 | row_last | 10 | from 0 to 9, inside the panel of 10 rows
6,11, | 6,12, | 4 | column_last | 12 | inside the panel of 12 columns
a,q,5,9, | a,q,-1,9, | 4 | row_first | -1 | from 0 to 9
b,p,1,4, | b,p,5,4, | 6 | row_first | 5 | at most row_last, which is 4
b,p,1,4,0,5 | b,p,1,4,6,5 | 6 | column_first | 6 | at most column_last
0,5,23,plain,2 | 0,5,24,plain,2 | 3 | temperature_c | 24 | 23, as in line 2: one page
0,5,23,plain,2 | 0,5,23,primed,2 | 3 | erase | primed | plain, as in line 2
11,23,plain,1,13.5 | 11,23,plain,1,13 | 4 | select_v | 13 | 13.5, as in line 2
11,23,plain,2,8.5,3.25 | 11,23,plain,2,8.5,3 | 5 | data_v | 3 | 3.25, as in line 3
500,48,4,false,41 | 1000,48,4,false,41 | 4 | tick_us | 1000 | 500, as in line 2
48,4,false,41 | 49,4,false,41 | 4 | slot_ticks | 49 | 48, as in line 2
48,4,false,41 | 48,5,false,41 | 4 | guard_ticks | 5 | 4, as in line 2
false,41,17 | true,41,17 | 4 | mirrored | true | false, as in line 2
false,41,17 | false,41,18 | 4 | fill_ticks | 18 | 17, as in line 2
a,p,1,4,0,5,23,plain,2 | a,p,1,3,0,5,23,plain,2 | 3 | row_last | 3 | 4, as in line 2: one patch
32,primed | 32,rinsed | 6 | erase | rinsed | plain, primed
32,primed | 32,band | 6 | erase | band | erase `band` belongs to a chart that verifies
32,primed | cold,primed | 6 | temperature_c | cold | number from -60
a,p,1,4,0,5,23,plain,2,8.5,3.25,1000,16,0,true,9,7⏎ |  | 2 | field | 1 | fields 1 to 2
plain,2,8.5,3.25,1000,16,0,true,9,7 | plain,1,13.5,2.75,500,48,4,false,9,17 | 3 | field | 1 | once
primed,1 | primed,2 | 6 | field | 2 | fields 1 to 2
primed,1 | primed,3 | 6 | field | 3 | from 1 to 2, the fields_max
primed,1 | primed,0 | 6 | field | 0 | from 1 to 2
-9.5 | 0 | 6 | select_v | 0 | other than 0
-9.5 | NaN | 6 | select_v | NaN | number
4.25 | inf | 6 | data_v | inf | number
4.25 | 0 | 6 | data_v | 0 | number from 0.01
1000,32 | 0,32 | 6 | tick_us | 0 | from 1
1000,32 | 0.5,32 | 6 | tick_us | 0.5 | whole number
true,30 | yes,30 | 6 | mirrored | yes | true or false
b,p,1 | b,,1 | 6 | patch |  | a name of
b,p,1 | b,p␇x,1 | 6 | patch | p\u{7}x | a name of
"#,
    );
    // Both fields of the patch move, so that the overlap is the only thing wrong.
    let overlapping = CHART.replace("a,q,5,9,6,11", "a,q,4,9,5,11");
    assert_place(
        "chart.csv",
        overlapping.as_bytes(),
        4,
        "patch",
        "q",
        "overlaps `p` of line 2",
    );
    let touching = CHART.replace("a,q,5,9,6,11", "a,q,4,9,6,11");
    assert!(read_with("chart.csv", touching.as_bytes()).is_ok());
    let semicolons = CHART.replace(',', ";");
    let places = wrong_places(read_with("chart.csv", semicolons.as_bytes()), "semicolons");
    assert!(places[0].expected.contains("commas"), "{}", places[0]);
}

#[test]
fn wrong_scans_are_refused() {
    assert_cases(
        "scans.csv",
        r#"
reflectance | reflectance,grey | 1 | grey | grey | only the columns page, patch, repeat, reflectance, lstar
repeat, |  | 1 | repeat |  | missing
repeat,reflectance | repeat | 1 | reflectance/lstar |  | exactly one of
repeat,reflectance | repeat,reflectance,lstar | 1 | reflectance/lstar | reflectance, lstar | exactly one of
reflectance | reflectance,reflectance | 1 | reflectance | reflectance | doubled
0.25 | nan | 2 | reflectance | nan | from 0 to 1.2
0.25 | -0.001 | 2 | reflectance | -0.001 | from 0 to 1.2
0.35 | 1.2001 | 4 | reflectance | 1.2001 | from 0 to 1.2
0.35 |  | 4 | reflectance |  | from 0 to 1.2
0.35 | white | 4 | reflectance | white | number
b,p | c,p | 5 | page | c | page of the chart
b,p | b,q | 5 | patch | q | page `b`
a,p,2 | a,p,1 | 3 | repeat | 1 | line 2
a,p,2 | a,p,0 | 3 | repeat | 0 | from 1 to 1000
"#,
    );
}

#[test]
fn wrong_trains_are_refused() {
    assert_cases(
        "cell.csv",
        r#"
steps, |  | 1 | steps |  | missing
8:30 | 8-30 | 4 | steps | 8-30 | volts:milliseconds
8:30 |  | 4 | steps |  | 1 to 64 steps
8:30 | 8:-30 | 4 | steps | 8:-30 | from 0.001
8:30 | 8:0 | 4 | steps | 8:0 | from 0.001
8:30 | nan:30 | 4 | steps | nan:30 | number
8:30 | 8:inf | 4 | steps | 8:inf | number
c1,25,15:20 0:50,2 | c1,26,15:20 0:50,2 | 3 | temperature_c | 26 | 25, as in line 2
c1,25,15:20 0:50,2 | c1,25,15:20 0:51,2 | 3 | steps | 15:20 0:51 | line 2
c1,25,15:20 0:50,2 | c1,25,15:20 0:50,1 | 3 | repeat | 1 | once
0.61 | -0.61 | 4 | reflectance | -0.61 | from 0 to 1.2
"#,
    );
}

#[test]
fn files_that_hold_no_text_are_refused() {
    for (file, _) in FILES {
        for empty in ["", "\n", "\u{feff}", " \r\n\r\n"] {
            assert_place(file, empty.as_bytes(), 1, "", "", "empty file");
        }
        assert_place(file, b"name\n\xff\xfe\n", 2, "", "byte 0xFF", "UTF-8");
    }
    for (file, text) in FILES.into_iter().filter(|(name, _)| name.ends_with(".csv")) {
        let header = text.lines().next().unwrap();
        assert_place(file, header.as_bytes(), 1, "", "", "rows below the header");
    }
}

#[test]
fn missing_files_are_named_with_their_purpose() {
    for (file, purpose) in [
        ("panel.toml", "panel"),
        ("chart.csv", "patches"),
        ("scans.csv", "readings"),
    ] {
        let dir = tempfile::tempdir().unwrap();
        write_project(dir.path());
        fs::remove_file(dir.path().join(file)).unwrap();
        let error = Project::read(dir.path()).unwrap_err();
        let text = error.to_string();
        assert!(
            matches!(error, Error::File { .. }) && text.contains(file) && text.contains(purpose),
            "{text}"
        );
        assert_eq!(error.exit_code(), 3);
    }
    let error = Project::read(Path::new("no/such/folder")).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("no/such/folder: cannot read the project folder"),
        "{error}"
    );
}

#[test]
fn held_out_pages_need_both_files() {
    for (there, text, missing) in [
        ("holdout-chart.csv", CHART, "holdout-scans.csv"),
        ("holdout-scans.csv", SCANS, "holdout-chart.csv"),
    ] {
        let places = wrong_places(read_with(there, text.as_bytes()), there);
        assert_eq!(places[0].file.file_name().unwrap(), missing);
        assert!(places[0].expected.contains(there), "{}", places[0]);
    }
}

#[test]
fn all_wrong_places_are_listed_up_to_twenty() {
    let several = SCANS
        .replace("0.25", "-1")
        .replace("0.35", "2")
        .replace("b,p", "z,p");
    let places = wrong_places(read_with("scans.csv", several.as_bytes()), "three slips");
    assert_eq!(
        places.iter().map(|p| p.line).collect::<Vec<_>>(),
        [Some(2), Some(4), Some(5)]
    );
    let many: String = (1..=32)
        .map(|repeat| format!("a,p,{repeat},-1\n"))
        .collect();
    let places = wrong_places(
        read_with(
            "scans.csv",
            format!("page,patch,repeat,reflectance\n{many}").as_bytes(),
        ),
        "many",
    );
    assert_eq!(places.len(), 21);
    assert!(
        places[20].expected.contains("20 places") && places[20].expected.contains("and 12 more"),
        "{}",
        places[20]
    );
    let panel = PANEL
        .replace("rows = 10", "rows = 0")
        .replace("step = 0.25", "step = 0")
        .replace("\"D50\"", "\"C\"");
    let places = wrong_places(read_with("panel.toml", panel.as_bytes()), "three slips");
    assert_eq!(
        places.iter().map(|p| p.line).collect::<Vec<_>>(),
        [Some(2), Some(12), Some(34)]
    );
}

#[test]
fn oddities_are_warned_of() {
    let project = read_with("scans.csv", SCANS.replace("a,q,1,0.35\n", "").as_bytes()).unwrap();
    assert_eq!(
        (
            project.unread[0].page.as_str(),
            project.unread[0].patch.as_str()
        ),
        ("a", "q")
    );
    assert_eq!(
        project.warnings(),
        [Warning::Unread(project.unread[0].clone())]
    );
    for (temperature, warned) in [("4.9", 1), ("5", 0), ("40", 0), ("40.1", 1)] {
        let chart = CHART.replace(",32,primed", &format!(",{temperature},primed"));
        let warnings = read_with("chart.csv", chart.as_bytes()).unwrap().warnings();
        assert_eq!(warnings.len(), warned, "{temperature} °C");
        assert!(warnings.iter().all(|w| w.to_string().contains(temperature)));
    }
}

#[test]
fn line_ends_marks_quotes_and_order_of_columns_do_not_matter() {
    let plain = read_with("scans.csv", SCANS.as_bytes()).unwrap();
    for (file, text) in FILES {
        let dressed = format!("\u{feff}{}", text.replace('\n', "\r\n"));
        assert_eq!(
            read_with(file, dressed.as_bytes()).unwrap(),
            plain,
            "{file}"
        );
    }
    let quoted = CELL.replace("15:20 0:50", "\"15:20 0:50\"");
    assert_eq!(read_with("cell.csv", quoted.as_bytes()).unwrap(), plain);
    let turned: String = SCANS
        .lines()
        .map(|l| l.rsplit(',').collect::<Vec<_>>().join(",") + "\n")
        .collect();
    assert_eq!(read_with("scans.csv", turned.as_bytes()).unwrap(), plain);
}

#[test]
fn lines_are_counted_over_blank_lines_and_carriage_returns() {
    let gaps = SCANS
        .replace('\n', "\r\n")
        .replace("a,q,1,0.35", "\r\n\r\na,q,1,-0.35");
    assert_place(
        "scans.csv",
        gaps.as_bytes(),
        6,
        "reflectance",
        "-0.35",
        "from 0 to 1.2",
    );
    let quoted = SCANS.replace("a,q,1,0.35", "\"a\nb\",q,1,0.35");
    assert_place(
        "scans.csv",
        quoted.as_bytes(),
        4,
        "page",
        "a\\nb",
        "page of the chart",
    );
}
