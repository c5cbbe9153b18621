//! Numbers, lists and files of a project are held to the ends of their intervals: just inside, at, just outside.

mod slips;
mod small_project;

use greyloom::Error;
use greyloom::project::Project;
use slips::*;
use small_project::*;
use std::fs;

/// File, passage with `#` before the number, values just inside and at the ends, values just outside.
#[test]
fn intervals_are_held_to_their_ends() {
    let cases = r#"
panel.toml | pixel_pitch_um = #500.0 | 1 1.001 99999 1e5 | 0.999 100000.1
panel.toml | rows = #10 | 10 4095 4096 | 0 4097
panel.toml | columns = #12 | 12 4095 4096 | 0 4097
panel.toml | row_ohm = #9000.0 | 0 1 1e9 | -1e-9 1.0001e9
panel.toml | pixel_f = #2.0e-12 | 0 1e-15 1e-6 | -1e-15 1.01e-6
panel.toml | select_v = { min = #4.0 | -200 -199 20 | -200.1 20.01
panel.toml | data_v = { min = #1.5 | 0.01 0.02 6 | 0.009 0 6.01
panel.toml | step = #0.5 } | 0.016 0.02 200 | 0.0159 0 200.1
panel.toml | tick_us = [#500 | 1 2 1_000_000 | 0 1_000_001
panel.toml | slot_ticks_max = #127 | 1 2 4096 | 0 4097
panel.toml | guard_ticks_max = #16 | 0 1 4096 | -1 4097
panel.toml | fields_max = #2 | 2 7 8 | 0 9
panel.toml | field_settle_ms = #2.0 | 0 0.1 600000 | -0.1 600000.1
panel.toml | stretch = { min = #0.5 | 0.01 0.011 1 | 0.0099 1.01
panel.toml | max = #2.0, step = 0.01 | 1 99 100 | 0.99 100.1
panel.toml | step = #0.01 | 0.0001 0.0002 100 | 0.00009 101
panel.toml | ms = #150.0 | 0.001 0.002 600000 | 0.0009 600000.1
panel.toml | rest_ms = #1000.0 | 0 0.1 600000 | -0.1 600000.1
panel.toml | refresh_s = #12.0 | 0.001 0.002 3600 | 0.0009 3600.1
panel.toml | ghost_lstar = #0.5 | 0.001 0.002 100 | 0.0009 100.1
panel.toml | net_impulse_vs = #25.0 | 0 0.1 1e6 | -0.1 1000001
panel.toml | max = #40.0 | 5 119.9 120 | 4.9 120.1
panel.toml | repeatability_lstar = #0.15 | 0.001 0.002 10 | 0.0009 10.1
panel.toml | aperture_mm = #4.0 | 0.1 0.2 100 | 0.09 100.1
chart.csv | 5,#32,primed | -60 -59.9 120 | -60.1 120.1
chart.csv | primed,1,#-9.5 | -200 -0.001 200 | -200.1 0 200.1
chart.csv | #4.25,1000,32 | 0.01 0.02 200 | 0.009 200.1
chart.csv | #1000,32 | 1 2 1000000 | 0 1000001
chart.csv | 1000,#32,8 | 30 4095 4096 | 29 4097
chart.csv | 32,#8,true | 0 1 4096 | -1 4097
chart.csv | true,#30,20 | 0 1 31 32 | -1 33
chart.csv | true,30,#20 | 0 1 31 32 | -1 33
chart.csv | b,p,1,#4 | 1 8 9 | 0 10
chart.csv | b,p,1,4,0,#5 | 0 10 11 | -1 12
chart.csv | a,p,1,4,0,5,23,plain,#1 | 1 | 0 2 3
scans.csv | a,p,1,#0.25 | 0 -0 0.001 1.1999 1.2 | -0.001 1.2001
scans.csv | b,p,#1 | 1 2 1000 | 0 1001
cell.csv | c2,#5 | -60 120 | -60.1 120.1
cell.csv | c2,5,#8 | -200 0 200 | -200.1 200.1
cell.csv | 8:#30 | 0.001 600000 | 0.0009 600000.1
"#;
    for case in cases.trim().lines() {
        let cells: Vec<&str> = case.split('|').map(str::trim).collect();
        let [file, passage, inside, outside] = cells[..] else {
            panic!("{case}")
        };
        let read = |value| {
            let text = edited(
                file,
                &passage.replace('#', ""),
                &with_number(passage, value),
            );
            read_with(file, text.as_bytes())
        };
        for value in inside.split(' ') {
            assert!(
                read(value).is_ok(),
                "{case}: {value}: {}",
                read(value).unwrap_err()
            );
        }
        for value in outside.split(' ') {
            let places = wrong_places(read(value), &format!("{case}: {value}"));
            assert_eq!(places[0].file.file_name().unwrap(), file);
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
fn zones_of_rows_may_be_told_or_not() {
    let read = |zones: &str| {
        let more = format!("fields_max = 2\n{zones}");
        let panel = PANEL.replacen("fields_max = 2\n", &more, 1);
        read_with("panel.toml", panel.as_bytes())
    };
    let most = |zones: &str| read(zones).unwrap().panel.drivers.zones_max;
    assert_eq!(most(""), 4);
    for zones in [1, 2, 15, 16] {
        assert_eq!(most(&format!("zones_max = {zones}\n")), zones);
    }
    for zones in ["0", "17", "1.5"] {
        assert!(read(&format!("zones_max = {zones}\n")).is_err(), "{zones}");
    }
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

/// A panel of 4096 × 4096 pixels whose only page has this many patches of one pixel.
fn read_with_patches(number: usize) -> Result<Project, Error> {
    let dir = tempfile::tempdir().unwrap();
    let panel = PANEL
        .replace("rows = 10", "rows = 4096")
        .replace("columns = 12", "columns = 4096");
    let patch = |i: usize| {
        let (row, column) = (i / 4096, i % 4096);
        format!("a,p{i},{row},{row},{column},{column},23,plain,1,9,3,500,48,4,false,1,1\n")
    };
    let rows: String = (0..number).map(patch).collect();
    fs::write(dir.path().join("panel.toml"), panel).unwrap();
    fs::write(
        dir.path().join("chart.csv"),
        format!("{}\n{rows}", CHART.lines().next().unwrap()),
    )
    .unwrap();
    fs::write(
        dir.path().join("scans.csv"),
        "page,patch,repeat,reflectance\na,p0,1,0.5\n",
    )
    .unwrap();
    Project::read(dir.path())
}

#[test]
fn patches_of_a_page_are_limited() {
    for number in [9_999, 10_000] {
        assert_eq!(read_with_patches(number).unwrap().unread.len(), number - 1);
    }
    let places = wrong_places(read_with_patches(10_001), "10001 patches");
    assert_eq!(
        (places[0].line, places[0].value.as_deref()),
        (Some(10_002), Some("p10000"))
    );
    assert!(
        places[0].expected.contains("at most 10000 patches"),
        "{}",
        places[0]
    );
}

#[test]
fn files_of_any_size_are_refused_or_read_in_bounded_memory() {
    for (file, mebibytes) in [("panel.toml", 1), ("chart.csv", 64)] {
        let text = FILES.iter().find(|(name, _)| *name == file).unwrap().1;
        let padded = |over: usize| {
            [
                text.as_bytes(),
                &vec![b'\n'; (mebibytes << 20) + over - text.len()],
            ]
            .concat()
        };
        assert!(read_with(file, &padded(0)).is_ok(), "{file}");
        let places = wrong_places(read_with(file, &padded(1)), file);
        assert!(
            places[0]
                .expected
                .contains(&format!("at most {mebibytes} MiB")),
            "{}",
            places[0]
        );
    }
    // A large table in the place of the panel's description ends in a list, not in a search without end.
    let places = wrong_places(
        read_with("panel.toml", "a,p,1,0.25\n".repeat(80_000).as_bytes()),
        "a table",
    );
    assert_eq!(places.len(), 21);
}

/// `number` entries of a list.
fn list(entry: impl Fn(usize) -> String, number: usize) -> String {
    (0..number).map(entry).collect::<Vec<_>>().join(", ")
}

#[test]
fn lists_and_names_are_held_to_their_lengths() {
    let ticks = |n| edited("panel.toml", "500, 1000", &list(|i| (i + 1).to_string(), n));
    let strokes = |n| {
        edited(
            "panel.toml",
            "{ pixel_v = -17.0, ms = 1200.0 }",
            &list(|_| "{ pixel_v = 1, ms = 1 }".into(), n),
        )
    };
    let name = |n| edited("panel.toml", "bollard", &"ö".repeat(n));
    let steps = |n| {
        edited(
            "cell.csv",
            "8:30",
            &list(|_| "8:1".into(), n).replace(',', ""),
        )
    };
    let erase = |i| {
        format!("[[erase]]\nname = \"e{i}\"\nstrokes = [{{ pixel_v = 1, ms = 1 }}]\nrest_ms = 0\n")
    };
    let erases = |n| {
        edited(
            "panel.toml",
            "[limits]",
            &((2..n).map(erase).collect::<String>() + "[limits]"),
        )
    };
    assert_lengths("panel.toml", ticks, &[1, 2, 16], &[0, 17]);
    assert_lengths("panel.toml", strokes, &[1, 2, 64], &[0, 65]);
    assert_lengths("panel.toml", name, &[1, 2, 64], &[0, 65]);
    assert_lengths("panel.toml", erases, &[2, 15, 16], &[17]);
    assert_lengths("cell.csv", steps, &[1, 2, 64], &[0, 65]);
}

fn assert_lengths(file: &str, text: impl Fn(usize) -> String, right: &[usize], wrong: &[usize]) {
    for &n in right {
        assert!(read_with(file, text(n).as_bytes()).is_ok(), "{file}, {n}");
    }
    for &n in wrong {
        assert_eq!(
            wrong_places(read_with(file, text(n).as_bytes()), file).len(),
            1,
            "{file}, {n}"
        );
    }
}
