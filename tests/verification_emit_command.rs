//! `greyloom emit` and `greyloom verify-image` as a person runs them, with wrong input too.

mod refusals;
mod support;

use refusals::{assert_refused, run};
use std::fs;
use std::path::Path;
use support::harbour_tile;

/// A folder with a finished set in it.
fn with_set() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("w.json"), harbour_tile().to_json()).unwrap();
    dir
}

/// Runs well and gives what it prints.
fn done(dir: &Path, line: &str) -> String {
    let output = run(dir, line);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(
        (output.status.code(), said.as_str()),
        (Some(0), ""),
        "{line}"
    );
    String::from_utf8(output.stdout).unwrap()
}

/// Refused, and nothing was written.
fn refused(dir: &Path, line: &str, exit: i32, words: &[&str]) {
    assert_refused(dir, line, exit, words);
    assert!(!dir.join("out").exists(), "{line}: left an `out`");
}

fn names(dir: &Path) -> Vec<String> {
    let entries = fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = entries.filter(|n| !n.starts_with('.')).collect();
    names.sort();
    names
}

#[test]
fn emit_writes_the_forms_that_were_asked_for() {
    let dir = with_set();
    let told = done(dir.path(), "emit w.json --out c --prefix harbour");
    assert!(
        told.starts_with("harbour-tile: 32 levels, 3 temperature bands, parameter hash 0x"),
        "{told}"
    );
    assert!(
        told.contains(" bytes as a plain table, ") && told.contains("written  c/table.h\n"),
        "{told}"
    );
    assert_eq!(
        names(&dir.path().join("c")),
        ["player.c", "player.h", "read.h", "table.c", "table.h"]
    );
    let header = fs::read_to_string(dir.path().join("c/table.h")).unwrap();
    assert!(header.contains("HARBOUR_LEVELS 32") && !header.contains("GREYLOOM"));
    done(dir.path(), "emit w.json --out two --form binary,rust");
    assert_eq!(names(&dir.path().join("two")), ["table.bin", "table.rs"]);
    done(
        dir.path(),
        "emit w.json --out all --form all --packed --flash 1KiB",
    );
    let all = [
        "player.c",
        "player.h",
        "read.h",
        "selftest.c",
        "table.bin",
        "table.c",
        "table.h",
        "table.json",
        "table.rs",
        "vectors.h",
        "vectors.json",
    ];
    assert_eq!(names(&dir.path().join("all")), all);
    let told = done(
        dir.path(),
        "emit w.json --out lab --form vcd,pwl,samples --row 3,79 --column 119 --level 4 --temperature 20",
    );
    assert!(!told.contains("flash"), "{told}");
    assert_eq!(
        names(&dir.path().join("lab")),
        ["lines.cir", "lines.csv", "lines.vcd", "samples.csv"]
    );
}

#[test]
fn a_driver_map_puts_its_codes_everywhere() {
    let dir = with_set();
    let codes = "row = [ { v = 0, code = 128 }, { v = 18, code = 255 }, { v = -18, code = 1 }, { v = -2, code = 0x70 }, { v = 9, code = 200 }, { v = 5.5, code = 180 }, { v = 7, code = 9 } ]\ncolumn = [ { v = 0, code = 300 }, { v = 3.0, code = 301 }, { v = -3, code = 302 }, { v = 2.25, code = 303 }, { v = -2.25, code = 304 }, { v = 1.5, code = 305 }, { v = -1.5, code = 306 } ]\n";
    fs::write(dir.path().join("codes.toml"), codes).unwrap();
    done(
        dir.path(),
        "emit w.json --out fw --codes codes.toml --form all",
    );
    let header = fs::read_to_string(dir.path().join("fw/table.h")).unwrap();
    for said in [
        "GREYLOOM_ROW_ZERO 128",
        "GREYLOOM_COLUMN_ZERO 300",
        "typedef uint16_t greyloom_code_t",
    ] {
        assert!(header.contains(said), "{said}");
    }
    let told = done(dir.path(), "verify-image fw/table.bin --waveforms w.json");
    assert!(
        told.contains("112 at -2 V") && told.contains("304 at -2.25 V"),
        "{told}"
    );
    let lacking = codes
        .replace("{ v = -18, code = 1 }, ", "")
        .replace(", { v = 1.5, code = 305 }", "");
    fs::write(dir.path().join("codes.toml"), lacking).unwrap();
    let words = [
        "codes.toml, field `row`: expected an entry for -18 V",
        "field `column`: expected an entry for 1.5 V",
    ];
    refused(
        dir.path(),
        "emit w.json --out out --codes codes.toml",
        3,
        &words,
    );
}

/// The set, the driver map and the project's own claim of sizes, as the README tells them.
#[test]
fn the_shipped_set_goes_through_the_shipped_driver_map() {
    let dir = tempfile::tempdir().unwrap();
    let shipped = concat!(env!("CARGO_MANIFEST_DIR"), "/waveforms/harbour-tile");
    let told = done(
        dir.path(),
        &format!(
            "emit {shipped}/waveforms.json --out fw --form all --packed --codes {shipped}/codes.toml"
        ),
    );
    assert!(told.contains("written  fw/vectors.json"), "{told}");
    let table = fs::read_to_string(dir.path().join("fw/table.json")).unwrap();
    let value: serde_json::Value = serde_json::from_str(&table).unwrap();
    let rails = value["table"]["row_rails"].as_array().unwrap();
    assert!(
        rails.len() > 3
            && rails
                .iter()
                .all(|r| r["code"] == 128 + 6 * r["mv"].as_i64().unwrap() / 1000)
    );
}

#[test]
fn a_wrong_driver_map_is_named_line_by_line() {
    let dir = with_set();
    for (codes, words) in [
        (
            "row = [ { v = 0, code = 70000 } ]\ncolumn = []",
            [
                "codes.toml, line 1",
                "row[1].code",
                "`70000`",
                "0 to 65535",
                "column",
                "1 to 4096",
            ]
            .as_slice(),
        ),
        (
            "row = [ { v = 0, code = 1 } ]\ncolumn = [\n { v = 0, code = 1 },\n { v = 0.0001, code = 2 } ]",
            &["line 4", "column[2].v", "no entry before has"],
        ),
        (
            "row = [ { v = 0, code = 1 }, { v = 1, code = 1 } ]\ncolumn = [ { v = 0, code = 1 } ]",
            &["row[2].code", "no entry before has"],
        ),
        (
            "row = [ { v = 0 } ]\ncolumn = [ { v = 0, code = 1, note = 2 } ]",
            &["row[1].code", "this key", "note", "only the keys"],
        ),
        ("row = \n", &["line 1", "valid TOML"]),
        ("", &["empty file"]),
    ] {
        fs::write(dir.path().join("codes.toml"), codes).unwrap();
        refused(
            dir.path(),
            "emit w.json --out out --codes codes.toml",
            3,
            words,
        );
    }
    refused(
        dir.path(),
        "emit w.json --out out --codes none.toml",
        3,
        &["none.toml", "cannot read the driver map"],
    );
}

#[test]
fn wrong_use_of_emit_is_told() {
    let dir = with_set();
    let long = format!("emit w.json --out out --prefix {}", "p".repeat(33));
    for (line, exit, words) in [
        (
            "emit w.json --out out --prefix 9x",
            2,
            ["`9x`", "C identifier"].as_slice(),
        ),
        (
            "emit w.json --out out --form rust --prefix a-b",
            2,
            &["`a-b`"],
        ),
        (&long, 2, &["1 to 32 letters"]),
        (
            "emit w.json --out out --form hex",
            2,
            &["hex", "binary", "vcd"],
        ),
        ("emit w.json --out out --flash none", 2, &["none", "8KiB"]),
        ("emit w.json --out out --flash 0", 2, &["above 0"]),
        (
            "emit w.json --out out --hysteresis 11",
            2,
            &["from 0 to 10 °C"],
        ),
        (
            "emit w.json --out out --hysteresis -1",
            2,
            &["from 0 to 10 °C"],
        ),
        (
            "emit w.json --out out --form vcd --row 80",
            2,
            &["--row 80", "0 to 79"],
        ),
        (
            "emit w.json --out out --form vcd --row 2,2",
            2,
            &["--row 2", "each line once"],
        ),
        (
            "emit w.json --out out --form pwl --column 120",
            2,
            &["--column 120", "0 to 119"],
        ),
        (
            "emit w.json --out out --form pwl --level 32",
            2,
            &["--level 32", "0 to 31"],
        ),
        (
            "emit w.json --out out --form pwl --pattern pull",
            2,
            &["pull", "greyloom preview"],
        ),
        (
            "emit w.json --out out --form vcd --temperature 45",
            2,
            &["--temperature 45", "5 to 40 °C"],
        ),
        (
            "emit w.json --out out --form samples --rate 10",
            2,
            &["with its unit"],
        ),
        (
            "emit w.json --out out --form samples --rate 100Hz",
            4,
            &["shortest tick lasts 1.000 ms", "--rate 1000"],
        ),
        (
            "emit w.json --out out --form samples --full-scale 12",
            4,
            &["up to 18 V", "--full-scale 18"],
        ),
        (
            "emit w.json --out out --form samples --samples 5000",
            4,
            &["more than 5000", "would do"],
        ),
        (
            "emit w.json --out out --form vcd --picture none.png",
            3,
            &["none.png"],
        ),
        ("emit nothing.json --out out", 3, &["nothing.json"]),
    ] {
        refused(dir.path(), line, exit, words);
    }
}

#[test]
fn a_flash_limit_tells_by_how_much_and_what_would_do() {
    let dir = with_set();
    let told = done(dir.path(), "emit w.json --out fw");
    let flash = told
        .lines()
        .find(|l| l.trim_start().starts_with("flash"))
        .unwrap();
    let numbers: Vec<usize> = flash
        .split(|c: char| !c.is_ascii_digit())
        .filter_map(|n| n.parse().ok())
        .collect();
    let (plain, packed) = (numbers[0], numbers[1]);
    done(dir.path(), &format!("emit w.json --out fw --flash {plain}"));
    let line = format!("emit w.json --out out --flash {}", plain - 1);
    let words = [
        format!("takes {plain} bytes, 1 too many"),
        format!("--packed, which takes {packed} bytes"),
        format!("--flash {plain}"),
    ];
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    refused(dir.path(), &line, 4, &words);
    let line = format!("emit w.json --out out --packed --flash {}", packed - 1);
    refused(dir.path(), &line, 4, &["the packed table", "1 too many"]);
}

#[test]
fn levels_above_256_are_refused() {
    let dir = with_set();
    let text = harbour_tile()
        .to_json()
        .replace("\"levels\": 32", "\"levels\": 257");
    fs::write(dir.path().join("w.json"), text).unwrap();
    refused(
        dir.path(),
        "emit w.json --out out",
        3,
        &["w.json, line 5, field `levels`", "257", "2 to 256 levels"],
    );
}

#[test]
fn nothing_that_others_wrote_is_replaced() {
    let dir = with_set();
    fs::create_dir(dir.path().join("fw")).unwrap();
    fs::write(dir.path().join("fw/player.c"), "mine").unwrap();
    assert_refused(
        dir.path(),
        "emit w.json --out fw",
        3,
        &["fw/player.c", "not replaced", "--force"],
    );
    assert_eq!(names(&dir.path().join("fw")), ["player.c"]);
    done(dir.path(), "emit w.json --out fw --force");
    assert_eq!(names(&dir.path().join("fw")).len(), 5);
}

#[test]
fn a_panel_that_no_memory_holds_is_refused() {
    let dir = with_set();
    let text = harbour_tile().to_json().replace(
        "\"rows\": 80, \"columns\": 120",
        "\"rows\": 65000, \"columns\": 65000",
    );
    fs::write(dir.path().join("w.json"), text).unwrap();
    for form in ["vectors", "vcd", "samples", "pwl"] {
        refused(
            dir.path(),
            &format!("emit w.json --out out --form {form}"),
            4,
            &["65000 × 65000", "would do"],
        );
    }
}

#[test]
fn verify_image_tells_what_is_in_it() {
    let dir = with_set();
    done(
        dir.path(),
        "emit w.json --out fw --form binary --hysteresis 1.25",
    );
    let told = done(dir.path(), "verify-image fw/table.bin --waveforms w.json");
    for said in [
        "harbour-tile: 80 × 120 pixels, 32 levels, 3 temperature bands",
        "1.25 °C beyond",
        "every number is that of w.json",
        "both CRC-32 right",
        "CAUTION",
    ] {
        assert!(told.contains(said), "no {said} in\n{told}");
    }
    let told = done(dir.path(), "verify-image fw/table.bin");
    assert!(told.contains("not compared"), "{told}");
    let json = done(dir.path(), "verify-image fw/table.bin --json");
    let value: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(value["tables"]["bands"][1]["ticks"][2][0], 66);
}

#[test]
fn verify_image_refuses_damage_and_other_waveforms() {
    let dir = with_set();
    done(dir.path(), "emit w.json --out fw --form binary");
    let whole = fs::read(dir.path().join("fw/table.bin")).unwrap();
    let mut flipped = whole.clone();
    flipped[200] ^= 4;
    let mut header = whole.clone();
    header[16] ^= 1;
    for (bytes, words) in [
        (
            flipped.as_slice(),
            ["bad.bin", "body's CRC-32", "damaged"].as_slice(),
        ),
        (&header, &["header's CRC-32", "damaged"]),
        (&whole[..100], &["found `100 bytes`", "its end is missing"]),
        (&whole[..10], &["found `10 bytes`", "at least the 32"]),
        (b"", &["found `0 bytes`"]),
        (
            b"{ \"format\": \"greyloom-waveforms\", \"version\": 1 }",
            &["first bytes of a greyloom image"],
        ),
    ] {
        fs::write(dir.path().join("bad.bin"), bytes).unwrap();
        assert_refused(dir.path(), "verify-image bad.bin", 3, words);
    }
    let mut other = harbour_tile();
    other.bands[2].ticks[3][1] = 20;
    fs::write(dir.path().join("other.json"), other.to_json()).unwrap();
    let words = [
        "fw/table.bin, field `bands[2].ticks[3][1]`: found `21`: expected 20, as other.json makes it",
        "parameter_hash",
    ];
    assert_refused(
        dir.path(),
        "verify-image fw/table.bin --waveforms other.json",
        3,
        &words,
    );
    assert_refused(
        dir.path(),
        "verify-image none.bin",
        3,
        &["none.bin", "cannot read the image"],
    );
    assert_refused(dir.path(), "verify-image fw", 3, &["fw"]);
}

/// A balance of hours is no test vector.
#[test]
fn a_refresh_that_takes_hours_gets_no_vectors() {
    let dir = with_set();
    let mut set = harbour_tile();
    set.bands[0].erase.rest_ms = 1e8;
    fs::write(dir.path().join("w.json"), set.to_json()).unwrap();
    let words = ["a refresh of bands[0] takes up to", "that test vectors may"];
    refused(
        dir.path(),
        "emit w.json --out out --form vectors",
        4,
        &words,
    );
    let mut set = harbour_tile();
    set.bands[0].fields[0].data_v = 2000.0;
    set.bands[0].resting_balance_v = Some(0.25);
    fs::write(dir.path().join("w.json"), set.to_json()).unwrap();
    refused(
        dir.path(),
        "emit w.json --out out --form vectors",
        4,
        &words,
    );
    done(dir.path(), "emit w.json --out fw --form c,binary");
}
