//! Every kind of wrong input is refused with its file, line, field, value and what was expected; intervals are held to
//! their ends.

use greyloom::Error;
use greyloom::error::InputError;
use greyloom::project::{Project, Warning};
use std::fs;
use std::path::Path;

const PANEL: &str = r#"name = "bollard"
rows = 10
columns = 12
pixel_pitch_um = 500.0
[lines]
row_ohm = 9000.0
column_ohm = 6000.0
pixel_f = 2.0e-12
driver_ohm = 1500.0
[drivers]
select_v = { min = 4.0, max = 20.0, step = 0.5 }
data_v = { min = 1.5, max = 6.0, step = 0.25 }
tick_us = [500, 1000]
slot_ticks_max = 127
guard_ticks_max = 16
fields_max = 2
field_settle_ms = 2.0
stretch = { min = 0.5, max = 2.0, step = 0.01 }
[[erase]]
name = "plain"
strokes = [{ pixel_v = 18.0, ms = 150.0 }, { pixel_v = -18.0, ms = 1100.0 }]
rest_ms = 1000.0
[[erase]]
name = "primed"
strokes = [{ pixel_v = -17.0, ms = 1200.0 }]
rest_ms = 900.0
[limits]
refresh_s = 12.0
ghost_lstar = 0.5
net_impulse_vs = 25.0
temperature_c = { min = 5.0, max = 40.0 }
[instrument]
geometry = "45:0"
illuminant = "D50"
repeatability_lstar = 0.15
"#;
const CHART: &str = "\
page,patch,row_first,row_last,column_first,column_last,temperature_c,erase,field,select_v,data_v,tick_us,slot_ticks,guard_ticks,mirrored,ticks,fill_ticks
a,p,1,4,0,5,23,plain,1,13.5,2.75,500,48,4,false,42,17
a,p,1,4,0,5,23,plain,2,8.5,3.25,1000,16,0,true,9,7
a,q,5,9,6,11,23,plain,1,13.5,2.75,500,48,4,false,41,17
a,q,5,9,6,11,23,plain,2,8.5,3.25,1000,16,0,true,8,7
b,p,1,4,0,5,32,primed,1,-9.5,4.25,1000,32,8,true,30,20
";
const SCANS: &str =
    "page,patch,repeat,reflectance\na,p,1,0.25\na,p,2,0.26\na,q,1,0.35\nb,p,1,0.45\n";
const CELL: &str = "train,temperature_c,steps,repeat,reflectance\nc1,25,15:20 0:50,1,0.41\nc1,25,15:20 0:50,2,0.42\nc2,5,8:30,1,0.61\n";
const FILES: [(&str, &str); 4] = [
    ("panel.toml", PANEL),
    ("chart.csv", CHART),
    ("scans.csv", SCANS),
    ("cell.csv", CELL),
];

fn write_project(dir: &Path) {
    for (name, text) in FILES {
        fs::write(dir.join(name), text).unwrap();
    }
}

/// Reads the small project with one file replaced.
fn read_with(file: &str, bytes: &[u8]) -> Result<Project, Error> {
    let dir = tempfile::tempdir().unwrap();
    write_project(dir.path());
    fs::write(dir.path().join(file), bytes).unwrap();
    Project::read(dir.path())
}

/// A file of the small project with one passage changed.
fn edited(file: &str, from: &str, to: &str) -> String {
    let text = FILES.iter().find(|(name, _)| *name == file).unwrap().1;
    assert!(text.contains(from), "{file} holds no {from:?}");
    text.replacen(from, to, 1)
}

fn wrong_places(result: Result<Project, Error>, case: &str) -> Vec<InputError> {
    match result {
        Err(Error::Inputs(places)) => places,
        Err(other) => panic!("{case}: {other}"),
        Ok(_) => panic!("{case}: accepted"),
    }
}

fn assert_place(file: &str, bytes: &[u8], line: usize, field: &str, value: &str, word: &str) {
    let case = format!("{file} line {line} {field} {value:?}");
    let result = read_with(file, bytes);
    assert_eq!(
        result.as_ref().err().map(Error::exit_code),
        Some(3),
        "{case}"
    );
    let places = wrong_places(result, &case);
    let found = &places[0];
    let listed = places
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("\n");
    assert_eq!(found.file.file_name().unwrap(), file, "{case}\n{listed}");
    assert_eq!(found.line, Some(line), "{case}\n{listed}");
    assert_eq!(
        found.field.as_deref().unwrap_or(""),
        field,
        "{case}\n{listed}"
    );
    assert_eq!(
        found.value.as_deref().unwrap_or(""),
        value,
        "{case}\n{listed}"
    );
    assert!(
        found.expected.contains(word),
        "{case}: no {word:?} in\n{listed}"
    );
    assert_eq!(places.len(), 1, "{case}: one slip, one message\n{listed}");
}

/// Passage, what takes its place, then line, field, value and a word of the expectation.
type Case = (
    &'static str,
    &'static str,
    usize,
    &'static str,
    &'static str,
    &'static str,
);

fn assert_cases(file: &str, cases: &[Case]) {
    for &(from, to, line, field, value, word) in cases {
        assert_place(
            file,
            edited(file, from, to).as_bytes(),
            line,
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
        &[
            ("rows = 10\n", "", 1, "rows", "", "this key"),
            ("row_ohm = 9000.0\n", "", 5, "lines.row_ohm", "", "this key"),
            (
                "max = 20.0, ",
                "",
                11,
                "drivers.select_v.max",
                "",
                "this key",
            ),
            (
                "rows = 10",
                "rows = 10\nrows = 11",
                3,
                "rows",
                "rows",
                "TOML",
            ),
            (
                "rows = 10",
                "rows = 10\nsheets = 3",
                3,
                "sheets",
                "sheets",
                "only the keys name, rows",
            ),
            (
                "driver_ohm",
                "lag = 1\ndriver_ohm",
                9,
                "lines.lag",
                "lag",
                "driver_ohm",
            ),
            (
                "step = 0.5",
                "step = 0.5, to = 1",
                11,
                "drivers.select_v.to",
                "to",
                "min, max, step",
            ),
            (
                "ms = 150.0",
                "ms = 150.0, s = 1",
                21,
                "erase[1].strokes[1].s",
                "s",
                "pixel_v, ms",
            ),
            ("rows = 10", "rows = 0", 2, "rows", "0", "from 1 to 4096"),
            (
                "rows = 10",
                "rows = 10.0",
                2,
                "rows",
                "10.0",
                "whole number",
            ),
            (
                "rows = 10",
                "rows = \"ten\"",
                2,
                "rows",
                "\"ten\"",
                "whole number",
            ),
            (
                "columns = 12",
                "columns = -1",
                3,
                "columns",
                "-1",
                "from 1 to 4096",
            ),
            ("500.0", "nan", 4, "pixel_pitch_um", "nan", "number"),
            ("9000.0", "inf", 6, "lines.row_ohm", "inf", "number"),
            ("9000.0", "1e999", 6, "lines.row_ohm", "1e999", "number"),
            (
                "9000.0",
                "-9000.0",
                6,
                "lines.row_ohm",
                "-9000.0",
                "from 0 to",
            ),
            ("6000.0", "-0.1", 7, "lines.column_ohm", "-0.1", "from 0 to"),
            (
                "2.0e-12",
                "-2.0e-12",
                8,
                "lines.pixel_f",
                "-2.0e-12",
                "from 0 to",
            ),
            ("1500.0", "true", 9, "lines.driver_ohm", "true", "number"),
            (
                "min = 4.0",
                "min = 21.0",
                11,
                "drivers.select_v.min",
                "21.0",
                "at most max, which is 20",
            ),
            (
                "step = 0.5",
                "step = 0",
                11,
                "drivers.select_v.step",
                "0",
                "0.001",
            ),
            (
                "step = 0.25",
                "step = -0.25",
                12,
                "drivers.data_v.step",
                "-0.25",
                "0.001",
            ),
            (
                "step = 0.5",
                "step = 0.01",
                11,
                "drivers.select_v.step",
                "0.01",
                "1001 values",
            ),
            (
                "[500, 1000]",
                "[]",
                13,
                "drivers.tick_us",
                "[]",
                "list with 1 to 16",
            ),
            (
                "[500, 1000]",
                "[500, 0]",
                13,
                "drivers.tick_us[2]",
                "0",
                "from 1",
            ),
            (
                "[500, 1000]",
                "[500, 500]",
                13,
                "drivers.tick_us",
                "[500, 500]",
                "each tick once",
            ),
            (
                "slot_ticks_max = 127",
                "slot_ticks_max = 0",
                14,
                "drivers.slot_ticks_max",
                "0",
                "from 1",
            ),
            (
                "fields_max = 2",
                "fields_max = 0",
                16,
                "drivers.fields_max",
                "0",
                "from 1",
            ),
            (
                "field_settle_ms = 2.0",
                "field_settle_ms = -2.0",
                17,
                "drivers.field_settle_ms",
                "-2.0",
                "from 0",
            ),
            (
                "min = 0.5",
                "min = 2.5",
                18,
                "drivers.stretch.min",
                "2.5",
                "at most max, which is 2",
            ),
            (
                ", step = 0.01",
                "",
                18,
                "drivers.stretch.step",
                "",
                "this key",
            ),
            (
                "\"primed\"",
                "\"plain\"",
                24,
                "erase[2].name",
                "\"plain\"",
                "name of its own",
            ),
            (
                "\"primed\"",
                "\"band\"",
                24,
                "erase[2].name",
                "\"band\"",
                "finished set",
            ),
            ("\"plain\"", "\"\"", 20, "erase[1].name", "", "letters"),
            ("\"bollard\"", "\"a*/b\"", 1, "name", "a*/b", "letters"),
            (
                "[{ pixel_v = -17.0, ms = 1200.0 }]",
                "[]",
                25,
                "erase[2].strokes",
                "[]",
                "list with 1 to 64",
            ),
            (
                "ms = 1100.0",
                "ms = 0.0",
                21,
                "erase[1].strokes[2].ms",
                "0.0",
                "0.001",
            ),
            (
                "pixel_v = 18.0",
                "pixel_v = nan",
                21,
                "erase[1].strokes[1].pixel_v",
                "nan",
                "number",
            ),
            (
                "rest_ms = 1000.0",
                "rest_ms = -1",
                22,
                "erase[1].rest_ms",
                "-1",
                "from 0",
            ),
            (
                "refresh_s = 12.0",
                "refresh_s = 0",
                28,
                "limits.refresh_s",
                "0",
                "0.001",
            ),
            (
                "{ min = 5.0, max = 40.0 }",
                "{ min = 45.0, max = 40.0 }",
                31,
                "limits.temperature_c.min",
                "45.0",
                "at most max",
            ),
            (
                "\"D50\"",
                "\"A\"",
                34,
                "instrument.illuminant",
                "\"A\"",
                "D50 or D65",
            ),
            (
                "0.15",
                "0.0",
                35,
                "instrument.repeatability_lstar",
                "0.0",
                "0.001",
            ),
            ("rows = 10", "rows = ", 2, "rows", "", "TOML"),
            (
                "max = 6.0",
                "max = 6.0.1",
                12,
                "drivers.data_v",
                ".1",
                "TOML",
            ),
        ],
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
        &[
            ("mirrored,ticks,", "mirrored,", 1, "ticks", "", "missing"),
            (
                "ticks,fill_ticks\n",
                "ticks,fill_ticks,fill_ticks\n",
                1,
                "fill_ticks",
                "fill_ticks",
                "doubled",
            ),
            (
                "ticks,fill_ticks\n",
                "ticks,fill_ticks,colour\n",
                1,
                "colour",
                "colour",
                "only the columns page, patch",
            ),
            ("42,17\n", "42\n", 2, "", "16 cells", "17 cells"),
            ("42,17\n", "42,17,3\n", 2, "", "18 cells", "17 cells"),
            ("42,17\n", "nan,17\n", 2, "ticks", "nan", "whole number"),
            (
                "42,17\n",
                "49,17\n",
                2,
                "ticks",
                "49",
                "from 0 to 48, the slot_ticks",
            ),
            ("42,17\n", "-1,17\n", 2, "ticks", "-1", "from 0 to 48"),
            (
                "true,30,20\n",
                "true,30,33\n",
                6,
                "fill_ticks",
                "33",
                "from 0 to 32, the slot_ticks",
            ),
            (
                "a,q,5,9,",
                "a,q,5,10,",
                4,
                "row_last",
                "10",
                "from 0 to 9, inside the panel of 10 rows",
            ),
            (
                "6,11,",
                "6,12,",
                4,
                "column_last",
                "12",
                "inside the panel of 12 columns",
            ),
            ("a,q,5,9,", "a,q,-1,9,", 4, "row_first", "-1", "from 0 to 9"),
            (
                "b,p,1,4,",
                "b,p,5,4,",
                6,
                "row_first",
                "5",
                "at most row_last, which is 4",
            ),
            (
                "b,p,1,4,0,5",
                "b,p,1,4,6,5",
                6,
                "column_first",
                "6",
                "at most column_last",
            ),
            (
                "0,5,23,plain,2",
                "0,5,24,plain,2",
                3,
                "temperature_c",
                "24",
                "23, as in line 2: one page",
            ),
            (
                "0,5,23,plain,2",
                "0,5,23,primed,2",
                3,
                "erase",
                "primed",
                "plain, as in line 2",
            ),
            (
                "11,23,plain,1,13.5",
                "11,23,plain,1,13",
                4,
                "select_v",
                "13",
                "13.5, as in line 2",
            ),
            (
                "11,23,plain,2,8.5,3.25",
                "11,23,plain,2,8.5,3",
                5,
                "data_v",
                "3",
                "3.25, as in line 3",
            ),
            (
                "500,48,4,false,41",
                "1000,48,4,false,41",
                4,
                "tick_us",
                "1000",
                "500, as in line 2",
            ),
            (
                "48,4,false,41",
                "49,4,false,41",
                4,
                "slot_ticks",
                "49",
                "48, as in line 2",
            ),
            (
                "48,4,false,41",
                "48,5,false,41",
                4,
                "guard_ticks",
                "5",
                "4, as in line 2",
            ),
            (
                "false,41,17",
                "true,41,17",
                4,
                "mirrored",
                "true",
                "false, as in line 2",
            ),
            (
                "false,41,17",
                "false,41,18",
                4,
                "fill_ticks",
                "18",
                "17, as in line 2",
            ),
            (
                "a,p,1,4,0,5,23,plain,2",
                "a,p,1,3,0,5,23,plain,2",
                3,
                "row_last",
                "3",
                "4, as in line 2: one patch",
            ),
            (
                "32,primed",
                "32,rinsed",
                6,
                "erase",
                "rinsed",
                "plain, primed",
            ),
            (
                "32,primed",
                "32,band",
                6,
                "erase",
                "band",
                "erase `band` belongs to a chart that verifies",
            ),
            (
                "32,primed",
                "cold,primed",
                6,
                "temperature_c",
                "cold",
                "number from -60",
            ),
            (
                "a,p,1,4,0,5,23,plain,2,8.5,3.25,1000,16,0,true,9,7\n",
                "",
                2,
                "field",
                "1",
                "fields 1 to 2",
            ),
            (
                "plain,2,8.5,3.25,1000,16,0,true,9,7",
                "plain,1,13.5,2.75,500,48,4,false,9,17",
                3,
                "field",
                "1",
                "once",
            ),
            ("primed,1", "primed,2", 6, "field", "2", "fields 1 to 2"),
            (
                "primed,1",
                "primed,3",
                6,
                "field",
                "3",
                "from 1 to 2, the fields_max",
            ),
            ("primed,1", "primed,0", 6, "field", "0", "from 1 to 2"),
            ("-9.5", "0", 6, "select_v", "0", "other than 0"),
            ("-9.5", "NaN", 6, "select_v", "NaN", "number"),
            ("4.25", "inf", 6, "data_v", "inf", "number"),
            ("4.25", "0", 6, "data_v", "0", "number from 0.01"),
            ("1000,32", "0,32", 6, "tick_us", "0", "from 1"),
            ("1000,32", "0.5,32", 6, "tick_us", "0.5", "whole number"),
            ("true,30", "yes,30", 6, "mirrored", "yes", "true or false"),
            ("b,p,1", "b,,1", 6, "patch", "", "a name of"),
            ("b,p,1", "b,p\u{7}x,1", 6, "patch", "p\\u{7}x", "a name of"),
        ],
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
        &[
            (
                "reflectance",
                "reflectance,grey",
                1,
                "grey",
                "grey",
                "only the columns page, patch, repeat, reflectance, lstar",
            ),
            ("repeat,", "", 1, "repeat", "", "missing"),
            (
                "repeat,reflectance",
                "repeat",
                1,
                "reflectance/lstar",
                "",
                "exactly one of",
            ),
            (
                "repeat,reflectance",
                "repeat,reflectance,lstar",
                1,
                "reflectance/lstar",
                "reflectance, lstar",
                "exactly one of",
            ),
            (
                "reflectance",
                "reflectance,reflectance",
                1,
                "reflectance",
                "reflectance",
                "doubled",
            ),
            ("0.25", "nan", 2, "reflectance", "nan", "from 0 to 1.2"),
            (
                "0.25",
                "-0.001",
                2,
                "reflectance",
                "-0.001",
                "from 0 to 1.2",
            ),
            (
                "0.35",
                "1.2001",
                4,
                "reflectance",
                "1.2001",
                "from 0 to 1.2",
            ),
            ("0.35", "", 4, "reflectance", "", "from 0 to 1.2"),
            ("0.35", "white", 4, "reflectance", "white", "number"),
            ("b,p", "c,p", 5, "page", "c", "page of the chart"),
            ("b,p", "b,q", 5, "patch", "q", "page `b`"),
            ("a,p,2", "a,p,1", 3, "repeat", "1", "line 2"),
            ("a,p,2", "a,p,0", 3, "repeat", "0", "from 1 to 1000"),
        ],
    );
}

#[test]
fn wrong_trains_are_refused() {
    assert_cases(
        "cell.csv",
        &[
            ("steps,", "", 1, "steps", "", "missing"),
            ("8:30", "8-30", 4, "steps", "8-30", "volts:milliseconds"),
            ("8:30", "", 4, "steps", "", "1 to 64 steps"),
            ("8:30", "8:-30", 4, "steps", "8:-30", "from 0.001"),
            ("8:30", "8:0", 4, "steps", "8:0", "from 0.001"),
            ("8:30", "nan:30", 4, "steps", "nan:30", "number"),
            ("8:30", "8:inf", 4, "steps", "8:inf", "number"),
            (
                "c1,25,15:20 0:50,2",
                "c1,26,15:20 0:50,2",
                3,
                "temperature_c",
                "26",
                "25, as in line 2",
            ),
            (
                "c1,25,15:20 0:50,2",
                "c1,25,15:20 0:51,2",
                3,
                "steps",
                "15:20 0:51",
                "line 2",
            ),
            (
                "c1,25,15:20 0:50,2",
                "c1,25,15:20 0:50,1",
                3,
                "repeat",
                "1",
                "once",
            ),
            ("0.61", "-0.61", 4, "reflectance", "-0.61", "from 0 to 1.2"),
        ],
    );
}

/// File, passage with `#` for the number, values just inside and at the ends, values just outside.
type Ends = (
    &'static str,
    &'static str,
    &'static [&'static str],
    &'static [&'static str],
);

#[test]
fn intervals_are_held_to_their_ends() {
    let cases: &[Ends] = &[
        (
            "panel.toml",
            "pixel_pitch_um = #500.0",
            &["1", "1.001", "99999", "1e5"],
            &["0.999", "100000.1"],
        ),
        (
            "panel.toml",
            "rows = #10",
            &["10", "4095", "4096"],
            &["0", "4097"],
        ),
        (
            "panel.toml",
            "columns = #12",
            &["12", "4095", "4096"],
            &["0", "4097"],
        ),
        (
            "panel.toml",
            "row_ohm = #9000.0",
            &["0", "1", "1e9"],
            &["-1e-9", "1.0001e9"],
        ),
        (
            "panel.toml",
            "pixel_f = #2.0e-12",
            &["0", "1e-15", "1e-6"],
            &["-1e-15", "1.01e-6"],
        ),
        (
            "panel.toml",
            "select_v = { min = #4.0",
            &["-200", "-199", "20"],
            &["-200.1", "20.01"],
        ),
        (
            "panel.toml",
            "data_v = { min = #1.5",
            &["0.01", "0.02", "6"],
            &["0.009", "0", "6.01"],
        ),
        (
            "panel.toml",
            "step = #0.5 }",
            &["0.016", "0.02", "200"],
            &["0.0159", "0", "200.1"],
        ),
        (
            "panel.toml",
            "tick_us = [#500",
            &["1", "2", "1_000_000"],
            &["0", "1_000_001"],
        ),
        (
            "panel.toml",
            "slot_ticks_max = #127",
            &["1", "2", "4096"],
            &["0", "4097"],
        ),
        (
            "panel.toml",
            "guard_ticks_max = #16",
            &["0", "1", "4096"],
            &["-1", "4097"],
        ),
        (
            "panel.toml",
            "fields_max = #2",
            &["2", "7", "8"],
            &["0", "9"],
        ),
        (
            "panel.toml",
            "field_settle_ms = #2.0",
            &["0", "0.1", "600000"],
            &["-0.1", "600000.1"],
        ),
        (
            "panel.toml",
            "stretch = { min = #0.5",
            &["0.01", "0.011", "2"],
            &["0.0099", "2.01"],
        ),
        (
            "panel.toml",
            "max = #2.0, step = 0.01",
            &["0.5", "99", "100"],
            &["0.49", "100.1"],
        ),
        (
            "panel.toml",
            "step = #0.01",
            &["0.0001", "0.0002", "100"],
            &["0.00009", "101"],
        ),
        (
            "panel.toml",
            "ms = #150.0",
            &["0.001", "0.002", "600000"],
            &["0.0009", "600000.1"],
        ),
        (
            "panel.toml",
            "rest_ms = #1000.0",
            &["0", "0.1", "600000"],
            &["-0.1", "600000.1"],
        ),
        (
            "panel.toml",
            "refresh_s = #12.0",
            &["0.001", "0.002", "3600"],
            &["0.0009", "3600.1"],
        ),
        (
            "panel.toml",
            "ghost_lstar = #0.5",
            &["0.001", "0.002", "100"],
            &["0.0009", "100.1"],
        ),
        (
            "panel.toml",
            "net_impulse_vs = #25.0",
            &["0", "0.1", "1e6"],
            &["-0.1", "1000001"],
        ),
        (
            "panel.toml",
            "max = #40.0",
            &["5", "119.9", "120"],
            &["4.9", "120.1"],
        ),
        (
            "panel.toml",
            "repeatability_lstar = #0.15",
            &["0.001", "0.002", "10"],
            &["0.0009", "10.1"],
        ),
        (
            "chart.csv",
            "5,#32,primed",
            &["-60", "-59.9", "120"],
            &["-60.1", "120.1"],
        ),
        (
            "chart.csv",
            "primed,1,#-9.5",
            &["-200", "-0.001", "200"],
            &["-200.1", "0", "200.1"],
        ),
        (
            "chart.csv",
            "#4.25,1000,32",
            &["0.01", "0.02", "200"],
            &["0.009", "200.1"],
        ),
        (
            "chart.csv",
            "#1000,32",
            &["1", "2", "1000000"],
            &["0", "1000001"],
        ),
        (
            "chart.csv",
            "1000,#32,8",
            &["30", "4095", "4096"],
            &["29", "4097"],
        ),
        (
            "chart.csv",
            "32,#8,true",
            &["0", "1", "4096"],
            &["-1", "4097"],
        ),
        (
            "chart.csv",
            "true,#30,20",
            &["0", "1", "31", "32"],
            &["-1", "33"],
        ),
        (
            "chart.csv",
            "true,30,#20",
            &["0", "1", "31", "32"],
            &["-1", "33"],
        ),
        ("chart.csv", "b,p,1,#4", &["1", "8", "9"], &["0", "10"]),
        (
            "chart.csv",
            "b,p,1,4,0,#5",
            &["0", "10", "11"],
            &["-1", "12"],
        ),
        (
            "chart.csv",
            "a,p,1,4,0,5,23,plain,#1",
            &["1"],
            &["0", "2", "3"],
        ),
        (
            "scans.csv",
            "a,p,1,#0.25",
            &["0", "-0", "0.001", "1.1999", "1.2"],
            &["-0.001", "1.2001"],
        ),
        ("scans.csv", "b,p,#1", &["1", "2", "1000"], &["0", "1001"]),
        ("cell.csv", "c2,#5", &["-60", "120"], &["-60.1", "120.1"]),
        (
            "cell.csv",
            "c2,5,#8",
            &["-200", "0", "200"],
            &["-200.1", "200.1"],
        ),
        (
            "cell.csv",
            "8:#30",
            &["0.001", "600000"],
            &["0.0009", "600000.1"],
        ),
    ];
    for (file, passage, inside, outside) in cases {
        let from = passage.replace('#', "");
        let at = |value: &str| edited(file, &from, &with_number(passage, value));
        for value in *inside {
            let result = read_with(file, at(value).as_bytes());
            assert!(
                result.is_ok(),
                "{file} {passage} {value}: {}",
                result.unwrap_err()
            );
        }
        for value in *outside {
            let places = wrong_places(
                read_with(file, at(value).as_bytes()),
                &format!("{file} {passage} {value}"),
            );
            assert_eq!(places[0].file.file_name().unwrap(), *file);
        }
    }
}

/// The passage with the number behind `#` replaced.
fn with_number(passage: &str, value: &str) -> String {
    let (before, rest) = passage.split_once('#').unwrap();
    let end = rest
        .find(|c: char| !c.is_ascii_digit() && !".-e".contains(c))
        .unwrap_or(rest.len());
    format!("{before}{value}{}", &rest[end..])
}

#[test]
fn lightness_may_stand_for_reflectance() {
    let scans =
        |lstar: &str| format!("page,patch,repeat,lstar\na,p,1,{lstar}\na,q,1,50\nb,p,1,60\n");
    for lstar in ["0", "0.1", "106.9", "107"] {
        let project = read_with("scans.csv", scans(lstar).as_bytes()).unwrap();
        assert_eq!(
            project.measured.readings[0].lstar,
            lstar.parse::<f64>().unwrap()
        );
    }
    for lstar in ["-0.1", "107.1", "nan"] {
        assert_place(
            "scans.csv",
            scans(lstar).as_bytes(),
            2,
            "lstar",
            lstar,
            "from 0 to 107",
        );
    }
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
