//! The file of a set: it comes back as it was written, and every bad edit is named.

mod row_zones;
mod support;

use greyloom::Error;
use greyloom::emit::{Built, Layout, TableOptions, c_table, image, read_image};
use greyloom::error::InputError;
use greyloom::waveforms::Waveforms;
use proptest::prelude::*;
use row_zones::zones;
use std::path::Path;
use support::harbour_tile;

const FILE: &str = "pier/waveforms.json";

fn parse(text: &[u8]) -> Result<Waveforms, Error> {
    Waveforms::parse(Path::new(FILE), text)
}

fn errors(text: &str) -> Vec<InputError> {
    match parse(text.as_bytes()) {
        Err(Error::Input(e)) => vec![e],
        Err(Error::Inputs(list)) => list,
        other => panic!("not an input error: {other:?}"),
    }
}

#[test]
fn a_set_comes_back_as_it_was_written() {
    let set = harbour_tile();
    let text = set.to_json();
    let back = parse(text.as_bytes()).expect("its own file");
    assert_eq!(back, set.rounded());
    assert_eq!(back.to_json(), text);
    assert_ne!(back, set, "the made-up set has digits to round");
    assert!(text.ends_with("}\n") && text.lines().any(|l| l.trim() == "[70, 0],"));
}

#[test]
fn rounding_moves_no_number_by_more_than_half_its_last_digit() {
    /// Half of the fourth decimal of L*, with room for the last bit of the product.
    const HALF_DIGIT_LSTAR: f64 = 0.5e-4 + 1e-12;
    let (set, rounded) = (harbour_tile(), harbour_tile().rounded());
    for (a, b) in set.bands.iter().zip(&rounded.bands) {
        for (x, y) in a.predicted.lstar.iter().zip(&b.predicted.lstar) {
            assert!((x - y).abs() <= HALF_DIGIT_LSTAR, "{x} became {y}");
        }
    }
}

#[test]
fn read_names_a_file_that_is_not_there() {
    let missing = Path::new("pier/no-such-folder/waveforms.json");
    let error = Waveforms::read(missing).expect_err("no such file");
    assert!(matches!(error, Error::File { .. }), "{error:?}");
    assert_eq!(error.exit_code(), 3);
}

#[test]
fn read_gives_what_to_json_wrote() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("waveforms.json");
    std::fs::write(&path, harbour_tile().to_json()).expect("written");
    assert_eq!(
        Waveforms::read(&path).expect("read"),
        harbour_tile().rounded()
    );
}

/// One edit of the good file and what its error must say.
struct Edit {
    /// First occurrence is replaced; the error must name its line.
    find: &'static str,
    put: &'static str,
    field: &'static str,
    value: &'static str,
    expected: &'static str,
}

const fn edit(
    find: &'static str,
    put: &'static str,
    field: &'static str,
    value: &'static str,
    expected: &'static str,
) -> Edit {
    Edit {
        find,
        put,
        field,
        value,
        expected,
    }
}

const EDITS: &[Edit] = &[
    edit(
        "\"greyloom-waveforms\"",
        "\"tide-table\"",
        "format",
        "\"tide-table\"",
        "\"greyloom-waveforms\"",
    ),
    edit(
        "\"greyloom-waveforms\"",
        "7",
        "format",
        "7",
        "\"greyloom-waveforms\"",
    ),
    edit("\"version\": 1", "\"version\": 2", "version", "2", "newer"),
    edit("\"version\": 1", "\"version\": 0", "version", "0", "1"),
    edit("\"version\": 1", "\"version\": -1", "version", "-1", "1"),
    edit(
        "\"levels\": 32",
        "\"levels\": 1",
        "levels",
        "1",
        "2 to 256 levels",
    ),
    edit(
        "\"levels\": 32",
        "\"levels\": 257",
        "levels",
        "257",
        "2 to 256 levels",
    ),
    edit(
        "\"levels\": 32",
        "\"levels\": 32.5",
        "levels",
        "32.5",
        "a whole number, 0 or more",
    ),
    edit(
        "\"levels\": 32",
        "\"levels\": \"32\"",
        "levels",
        "\"32\"",
        "a whole number",
    ),
    edit(
        "\"rows\": 80",
        "\"rows\": 0",
        "panel.rows",
        "0",
        "at least one row",
    ),
    edit(
        "\"rows\": 80",
        "\"rows\": -3",
        "panel.rows",
        "-3",
        "a whole number, 0 or more",
    ),
    edit(
        "\"columns\": 120",
        "\"columns\": 0",
        "panel.columns",
        "0",
        "at least one column",
    ),
    edit(
        "\"columns\": 120",
        "\"collums\": 120",
        "panel.collums",
        "collums",
        "one of name, rows, columns",
    ),
    edit(
        "\"rows\": 80",
        "\"rows\": 80, \"rows\": 81",
        "panel.rows",
        "",
        "once, not twice",
    ),
    edit(
        "\"field_settle_ms\": 2.0",
        "\"field_settle_ms\": -2",
        "panel.field_settle_ms",
        "-2",
        "0 ms or more",
    ),
    edit(
        "\"resting_balance_v\": 1.5",
        "\"resting_balance_v\": 0",
        "bands[0].resting_balance_v",
        "0",
        "a voltage above 0",
    ),
    edit(
        "\"targets_lstar\": [37.0, 38.5484",
        "\"targets_lstar\": [37.0, 37.0",
        "targets_lstar[1]",
        "37",
        "above 37",
    ),
    edit(
        "\"targets_lstar\": [37.0,",
        "\"targets_lstar\": [-37.0,",
        "targets_lstar[0]",
        "-37",
        "from 0 to 110",
    ),
    edit(
        "\"targets_lstar\": [37.0,",
        "\"targets_lstar\": [null,",
        "targets_lstar[0]",
        "null",
        "a number",
    ),
    edit(
        "\"targets_lstar\": [37.0,",
        "\"targets_lstar\": [",
        "targets_lstar",
        "31 entries",
        "32 entries, one a level",
    ),
    edit(
        "{ \"low\": 5.0, \"design\": 10.0",
        "{ \"low\": 5.0, \"design\": 4.0",
        "bands[0].temperature_c.design",
        "4",
        "from 5 to 14",
    ),
    edit(
        "{ \"low\": 14.0,",
        "{ \"low\": 15.0,",
        "bands[1].temperature_c.low",
        "15",
        "14 °C, where the band before ends",
    ),
    edit(
        "{ \"low\": 14.0,",
        "{ \"low\": 13.0,",
        "bands[1].temperature_c.low",
        "13",
        "no overlap",
    ),
    edit(
        "{ \"low\": 14.0, \"design\": 20.0, \"high\": 25.0",
        "{ \"low\": 14, \"design\": 14, \"high\": 14",
        "bands[1].temperature_c.high",
        "14",
        "above 14",
    ),
    edit(
        "\"high\": 40.0",
        "\"high\": 20.0",
        "bands[2].temperature_c.high",
        "20",
        "25 °C or more",
    ),
    edit(
        "\"refresh_s\": 13.311285",
        "\"refresh_s\": 0",
        "bands[0].refresh_s",
        "0",
        "a time above 0",
    ),
    edit(
        "\"refresh_s\": 13.311285",
        "\"refresh_s\": \"13 s\"",
        "bands[0].refresh_s",
        "\"13 s\"",
        "a number",
    ),
    edit(
        "{ \"temperature_c\": 10.0, \"factor\"",
        "{ \"temperature_c\": 5.0, \"factor\"",
        "bands[0].stretch[1].temperature_c",
        "5",
        "above 5",
    ),
    edit(
        "\"factor\": 0.856667",
        "\"factor\": 0.0",
        "bands[0].stretch[2].factor",
        "0",
        "a factor above 0",
    ),
    edit(
        "\"ms\": 300.0",
        "\"ms\": 0",
        "bands[0].erase.strokes[0].ms",
        "0",
        "ms above 0",
    ),
    edit(
        "\"ms\": 300.0",
        "\"s\": 300.0",
        "bands[0].erase.strokes[0].s",
        "s",
        "pixel_v or ms",
    ),
    edit(
        "\"rest_ms\": 2000.0",
        "\"rest_ms\": -1",
        "bands[0].erase.rest_ms",
        "-1",
        "0 ms or more",
    ),
    edit(
        "\"select_v\": 9.0",
        "\"select_v\": 0",
        "bands[0].fields[0].select_v",
        "0",
        "a voltage other than 0",
    ),
    edit(
        "\"data_v\": 2.25",
        "\"data_v\": -2.25",
        "bands[0].fields[1].data_v",
        "-2.25",
        "a voltage above 0",
    ),
    edit(
        "\"tick_us\": 1000",
        "\"tick_us\": 0",
        "bands[0].fields[0].tick_us",
        "0",
        "at least 1",
    ),
    edit(
        "\"tick_us\": 1000",
        "\"tick_us\": 5000000000",
        "bands[0].fields[0].tick_us",
        "5000000000",
        "0 to 4294967295",
    ),
    edit(
        "\"slot_ticks\": 70",
        "\"slot_ticks\": 0",
        "bands[0].fields[0].slot_ticks",
        "0",
        "at least 1",
    ),
    edit(
        "\"mirrored\": false",
        "\"mirrored\": 1",
        "bands[0].fields[0].mirrored",
        "1",
        "true or false",
    ),
    edit(
        "[64, 21]",
        "[71, 21]",
        "bands[0].ticks[3][0]",
        "71",
        "0 to 70 ticks, the slot of field 0",
    ),
    edit(
        "[64, 21]",
        "[64, 33]",
        "bands[0].ticks[3][1]",
        "33",
        "0 to 32 ticks, the slot of field 1",
    ),
    edit(
        "[64, 21]",
        "[64]",
        "bands[0].ticks[3]",
        "1 numbers",
        "2 numbers, one a field",
    ),
    edit(
        "[64, 21]",
        "[64, 21.5]",
        "bands[0].ticks[3][1]",
        "21.5",
        "a whole number",
    ),
    edit("[64, 21]", "64", "bands[0].ticks[3]", "64", "a list"),
    edit(
        "\"lstar\": [37.0,",
        "\"lstar\": [",
        "bands[0].predicted.lstar",
        "31 entries",
        "32 entries",
    ),
    edit(
        "\"lstar\": [37.0, 38.6674",
        "\"lstar\": [37.0, 36.9",
        "bands[0].predicted.lstar[1]",
        "36.9",
        "above 37",
    ),
    edit(
        "\"low_lstar\": [36.77,",
        "\"low_lstar\": [37.1,",
        "bands[0].predicted.low_lstar[0]",
        "37.1",
        "37 or less",
    ),
    edit(
        "\"high_lstar\": [37.23,",
        "\"high_lstar\": [36.9,",
        "bands[0].predicted.high_lstar[0]",
        "36.9",
        "37 or more",
    ),
    edit(
        "\"expanded_u_lstar\": [0.11,",
        "\"expanded_u_lstar\": [-0.11,",
        "bands[0].predicted.expanded_u_lstar[0]",
        "-0.11",
        "0 L* or more",
    ),
    edit(
        "\"step_lstar\": 1.5484",
        "\"step_lstar\": 0",
        "bands[0].figures.step_lstar",
        "0",
        "L* above 0",
    ),
    edit(
        "\"energy_mj\": 4.75",
        "\"energy_mj\": -4.75",
        "bands[0].figures.energy_mj",
        "-4.75",
        "0 mJ or more",
    ),
    edit(
        "\"figures\": {",
        "\"figures\": { \"shine\": 1,",
        "bands[0].figures.shine",
        "shine",
        "one of step_lstar",
    ),
    edit(
        "\"energy_mj\": 4.75",
        "\"net_impulse_vs\": 1",
        "bands[0].figures.net_impulse_vs",
        "",
        "once, not twice",
    ),
    edit(
        ", \"energy_mj\": 4.75",
        "",
        "bands[0].figures.energy_mj",
        "",
        "this key, which is missing",
    ),
    edit(
        ", \"rows\": 80",
        "",
        "panel.rows",
        "",
        "this key, which is missing",
    ),
    edit(
        "\"refresh_s\": 13.311285",
        "\"refresh_s\": 1e999",
        "",
        "",
        "number out of range",
    ),
    edit(
        "\"refresh_s\": 13.311285",
        "\"refresh_s\": NaN",
        "",
        "",
        "JSON",
    ),
    edit("\"levels\": 32,", "\"levels\": 32", "", "", "JSON"),
];

/// The good set with three zones of rows in its first band: 0 to 2, 3 to 39, 40 to 79.
fn with_zones() -> Waveforms {
    let mut set = harbour_tile();
    let table = std::mem::take(&mut set.bands[0].ticks);
    set.bands[0].zones = zones(80, &[3, 40], || table.clone());
    set
}

const ZONE_EDITS: &[Edit] = &[
    edit(
        "\"row_first\": 0",
        "\"row_first\": 1",
        "bands[0].zones[0].row_first",
        "1",
        "0, the panel's first row",
    ),
    edit(
        "\"row_first\": 3",
        "\"row_first\": 2",
        "bands[0].zones[1].row_first",
        "2",
        "3, the row after the zone before",
    ),
    edit(
        "\"row_first\": 3",
        "\"row_first\": 4",
        "bands[0].zones[1].row_first",
        "4",
        "no gap, no overlap",
    ),
    edit(
        "\"row_last\": 39",
        "\"row_last\": 2",
        "bands[0].zones[1].row_last",
        "2",
        "a row from 3 to 79",
    ),
    edit(
        "\"row_last\": 79",
        "\"row_last\": 80",
        "bands[0].zones[2].row_last",
        "80",
        "a row from 40 to 79",
    ),
    edit(
        "\"row_last\": 79",
        "\"row_last\": 78",
        "bands[0].zones[2].row_last",
        "78",
        "79, the panel's last row",
    ),
    edit(
        "\"row_last\": 79",
        "\"row_last\": -1",
        "bands[0].zones[2].row_last",
        "-1",
        "0 or more",
    ),
    edit(
        "[64, 21]",
        "[71, 21]",
        "bands[0].zones[0].ticks[3][0]",
        "71",
        "0 to 70 ticks, the slot of field 0",
    ),
    edit(
        "[64, 21]",
        "[64]",
        "bands[0].zones[0].ticks[3]",
        "1 numbers",
        "2 numbers, one a field",
    ),
    edit(
        "\"zones\": [",
        "\"ticks\": [[70, 0]], \"zones\": [",
        "bands[0].ticks",
        "1 entries",
        "no ticks beside zones",
    ),
    edit(
        "\"row_first\": 0",
        "\"row_from\": 0",
        "bands[0].zones[0].row_from",
        "row_from",
        "one of row_first",
    ),
];

#[test]
fn every_bad_edit_of_zones_is_named_with_line_and_field() {
    let good = with_zones().to_json();
    let back = Waveforms::parse(Path::new("w.json"), good.as_bytes()).expect("zones");
    assert_eq!(back, with_zones().rounded());
    assert_eq!(back.bands[0].row_ticks().zone_of(39), 1);
    assert_bad_edits(&good, ZONE_EDITS);
    // A band with neither, and one with more zones than a band may have.
    let mut set = harbour_tile();
    set.bands[0].ticks.clear();
    for (set, field, expected) in [
        (set, "bands[0].ticks", "32 entries, one a level"),
        (
            {
                let mut set = with_zones();
                set.bands[0].zones[0].ticks.pop();
                set
            },
            "bands[0].zones[0].ticks",
            "32 entries, one a level",
        ),
        (
            {
                let mut set = with_zones();
                let table = set.bands[0].zones[0].ticks.clone();
                let cuts: Vec<usize> = (0..17).collect();
                set.bands[0].zones = zones(80, &cuts, || table.clone());
                set
            },
            "bands[0].zones",
            "1 to 16 zones",
        ),
    ] {
        let error = Waveforms::parse(Path::new("w.json"), set.to_json().as_bytes());
        let told = error.expect_err(field).to_string();
        assert!(told.contains(field) && told.contains(expected), "{told}");
    }
}

#[test]
fn every_bad_edit_is_named_with_line_and_field() {
    assert_bad_edits(&harbour_tile().to_json(), EDITS);
}

fn assert_bad_edits(good: &str, edits: &[Edit]) {
    for e in edits {
        let (before, after) = good
            .split_once(e.find)
            .unwrap_or_else(|| panic!("no {}", e.find));
        let bad = format!("{before}{}{after}", e.put);
        let list = errors(&bad);
        let field = Some(e.field).filter(|f| !f.is_empty());
        let hit = list.iter().find(|x| x.field.as_deref() == field);
        let hit = hit.unwrap_or_else(|| panic!("{}: {list:?}", e.put));
        // A comma that is missing is noticed at the next line's key.
        let late = usize::from(e.put == "\"levels\": 32");
        assert_eq!(
            hit.line,
            Some(before.lines().count().max(1) + late),
            "{}: {hit}",
            e.put
        );
        assert_eq!(
            hit.value.as_deref().unwrap_or_default(),
            e.value,
            "{}: {hit}",
            e.put
        );
        assert!(hit.expected.contains(e.expected), "{}: {hit}", e.put);
        assert_eq!(hit.file, Path::new(FILE));
    }
}

#[test]
fn a_missing_part_is_named_at_the_line_of_what_should_hold_it() {
    let good = harbour_tile().to_json();
    let start = good.find("      \"erase\"").expect("an erase");
    let end = good.find("      \"fields\"").expect("fields");
    let bad = [&good[..start], &good[end..]].concat();
    let [error] = &errors(&bad)[..] else {
        panic!("one error")
    };
    assert_eq!(error.field.as_deref(), Some("bands[0].erase"));
    let band = 1 + good[..good.find("    {").expect("a band")]
        .matches('\n')
        .count();
    assert_eq!(error.line, Some(band));
    let shown = error.to_string();
    assert_eq!(
        shown,
        format!("{FILE}, line {band}, field `bands[0].erase`: expected this key, which is missing")
    );
}

#[test]
fn what_is_no_set_at_all_is_refused() {
    for (bytes, line, expected) in [
        (&b""[..], 1, "not an empty file"),
        (b" \n\n", 1, "not an empty file"),
        (b"page,patch\n", 1, "JSON"),
        (b"[]", 1, "\"greyloom-waveforms\""),
        (b"{}", 1, "\"greyloom-waveforms\""),
        (b"{\n\xff", 2, "UTF-8 text"),
    ] {
        let all = match parse(bytes) {
            Err(Error::Input(e)) => vec![e],
            Err(Error::Inputs(list)) => list,
            other => panic!("{other:?}"),
        };
        assert_eq!(all[0].line, Some(line), "{bytes:?}");
        assert!(all[0].expected.contains(expected), "{}", all[0]);
    }
    let no_bands = format!(
        "{}\"bands\": []}}",
        harbour_tile()
            .to_json()
            .split("\"bands\"")
            .next()
            .expect("text")
    );
    assert_eq!(errors(&no_bands)[0].expected, "at least one band");
}

#[test]
fn many_faults_are_named_together() {
    let bad = harbour_tile().to_json().replace("[64, 21]", "[99, 99]");
    assert_eq!(errors(&bad).len(), 6, "two fields in three bands");
}

#[test]
fn the_band_and_its_stretch_follow_the_temperature() {
    let set = harbour_tile();
    let low = |t: f64| set.band_at(t).map(|b| b.temperature_c.low);
    assert_eq!(low(4.9), None);
    assert_eq!(low(5.0), Some(5.0));
    assert_eq!(low(14.0), Some(14.0));
    assert_eq!(low(40.0), Some(25.0));
    assert_eq!(low(40.1), None);
    assert_eq!(low(f64::NAN), None);
    assert_eq!(set.bands[1].targets(&set)[0], 36.2);
    assert_eq!(set.bands[0].targets(&set)[0], 37.0);
}

#[test]
fn stretch_is_linear_between_entries_and_clamped_beyond() {
    /// A few units in the last place of a factor near 1.
    const TOLERANCE: f64 = 1e-14;
    let mut band = harbour_tile().bands.remove(1);
    let [a, b, c] = [1.0 + 0.31 / 3.0, 1.0, 1.0 - 0.43 / 3.0];
    for (temperature_c, factor) in [
        (-40.0, a),
        (14.0, a),
        (15.5, 0.75 * a + 0.25 * b),
        (20.0, b),
        (22.5, 0.5 * (b + c)),
        (25.0, c),
        (90.0, c),
    ] {
        let got = band.stretch_factor(temperature_c);
        assert!(
            (got - factor).abs() <= TOLERANCE,
            "{temperature_c} °C: {got}, not {factor}"
        );
    }
    band.stretch.truncate(1);
    assert_eq!(
        [band.stretch_factor(-5.0), band.stretch_factor(60.0)],
        [a, a]
    );
    band.stretch.clear();
    assert_eq!(band.stretch_factor(60.0), 1.0);
}

/// Pieces that a slip of the hand or a bad merge may leave in the file.
const PIECES: &[&str] = &[
    "",
    "-",
    "0",
    "9",
    "1e308",
    "-0.0",
    "null",
    "true",
    "[]",
    "{}",
    "[",
    "]",
    "{",
    "}",
    ",",
    ":",
    "\"",
    "\\",
    "é",
    "\u{0}",
    "[[[[[[[[",
    "\"bands\"",
    "\n",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_mangled_file_never_panics(
        edits in prop::collection::vec((0usize..20_000, 0usize..12, 0usize..PIECES.len()), 1..4),
        zoned in any::<bool>(),
    ) {
        let set = if zoned { with_zones() } else { harbour_tile() };
        let mut bytes = set.to_json().into_bytes();
        for (at, cut, piece) in edits {
            let at = at % bytes.len();
            let end = (at + cut).min(bytes.len());
            bytes.splice(at..end, PIECES[piece].bytes());
        }
        match parse(&bytes) {
            Ok(set) => {
                let text = set.to_json();
                prop_assert!(!text.is_empty());
                let factor = set.bands[0].stretch_factor(20.0);
                prop_assert!(factor > 0.0);
                match Built::of(&set, &TableOptions::default()) {
                    Ok(built) => {
                        prop_assert!(c_table(&built, "pier", Layout::Plain).is_ok());
                        let read = read_image(&image(&built)).map(|(tables, _)| tables);
                        prop_assert_eq!(read, Ok(built.tables));
                    }
                    Err(e) => prop_assert_eq!(e.exit_code(), 4),
                }
            }
            Err(e) => prop_assert_eq!(e.exit_code(), 3),
        }
    }
}
