//! `table.h`, compiled by a C compiler and read back entry by entry.

mod support;

use greyloom::emit::{c_table, crc32, parameter_hash};
use greyloom::waveforms::{Band, Waveforms};
use std::path::Path;
use std::process::Command;
use support::harbour_tile;

/// Half of the last digit, and the last bits of the product that was rounded.
const HALF_DIGIT: f64 = 0.5 + 1e-9;

/// Prints everything the table holds, a number a line, in the order of `expected`.
const PRINTER: &str = r#"
#include <stdio.h>
#include "table.h"
#include "table.h"
static void p(double x) { printf("%.0f\n", x); }
int main(void) {
    int b, i;
    printf("%lu\n", (unsigned long)PIER_PARAMETER_CRC32);
    p(PIER_LEVELS); p(PIER_ROWS); p(PIER_COLUMNS); p(PIER_BANDS);
    for (b = 0; b < PIER_BANDS; b++) {
        const struct pier_band *k = &pier_bands[b];
        p(k->low_16); p(k->design_16); p(k->high_16);
        p(k->strokes); p(k->fields); p(k->stretches); p(k->settle_us); p(k->rest_us); p(k->balance_mv);
        for (i = 0; i < k->strokes; i++) { p(k->stroke[i].pixel_mv); p(k->stroke[i].us); }
        for (i = 0; i < k->fields; i++) {
            const struct pier_field *f = &k->field[i];
            p(f->select_mv); p(f->data_mv); p(f->tick_us); p(f->slot_ticks); p(f->guard_ticks); p(f->mirrored);
        }
        for (i = 0; i < k->stretches; i++) { p(k->stretch[i].temperature_16); p(k->stretch[i].factor_4096); }
        for (i = 0; i < PIER_LEVELS * k->fields; i++) p(k->ticks[i]);
        for (i = 0; i < PIER_LEVELS; i++) { p(k->target_lstar_100[i]); p(k->lstar_100[i]); }
    }
    for (b = 0; b < PIER_BANDS; b++) p(pier_bands[b].refresh_ms);
    return 0;
}
"#;

/// Compiles a program beside its headers and gives what it prints.
fn compile_and_run(headers: &[(&str, &str)], program: &str) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    for (name, text) in headers {
        std::fs::write(path(name), text).expect("header written");
    }
    std::fs::write(path("main.c"), program).expect("program written");
    compile(folder.path());
    let run = Command::new(path("main")).output().expect("program starts");
    assert!(run.status.success(), "{run:?}");
    String::from_utf8(run.stdout).expect("digits")
}

fn compile(folder: &Path) {
    let cc = Command::new("cc")
        .args([
            "-std=c99",
            "-Wall",
            "-Wextra",
            "-Werror",
            "-pedantic",
            "main.c",
            "-o",
            "main",
        ])
        .current_dir(folder)
        .output()
        .expect("a C compiler named cc: install one to run this test");
    assert!(
        cc.status.success(),
        "{}",
        String::from_utf8_lossy(&cc.stderr)
    );
}

/// What the program must print: the set's numbers in the table's units, not yet rounded.
fn expected(set: &Waveforms) -> Vec<f64> {
    let mut all = vec![f64::from(parameter_hash(set))];
    let counts = [
        set.levels,
        set.panel.rows,
        set.panel.columns,
        set.bands.len(),
    ];
    all.extend(counts.map(|n| n as f64));
    for band in &set.bands {
        expected_band(set, band, &mut all);
    }
    all
}

fn expected_band(set: &Waveforms, band: &Band, all: &mut Vec<f64>) {
    let t = &band.temperature_c;
    all.extend([16.0 * t.low, 16.0 * t.design, 16.0 * t.high]);
    let counts = [
        band.erase.strokes.len(),
        band.fields.len(),
        band.stretch.len(),
    ];
    all.extend(counts.map(|n| n as f64));
    all.extend([
        1000.0 * set.panel.field_settle_ms,
        1000.0 * band.erase.rest_ms,
        1000.0 * band.resting_balance_v.unwrap_or(0.0),
    ]);
    all.extend(
        band.erase
            .strokes
            .iter()
            .flat_map(|s| [1000.0 * s.pixel_v, 1000.0 * s.ms]),
    );
    for f in &band.fields {
        all.extend([1000.0 * f.select_v, 1000.0 * f.data_v]);
        all.extend(
            [
                f.tick_us,
                f.slot_ticks,
                f.guard_ticks,
                u32::from(f.mirrored),
            ]
            .map(f64::from),
        );
    }
    all.extend(
        band.stretch
            .iter()
            .flat_map(|s| [16.0 * s.temperature_c, 4096.0 * s.factor]),
    );
    all.extend(band.ticks.iter().flatten().map(|t| f64::from(*t)));
    let lightness = band.targets(set).iter().zip(&band.predicted.lstar);
    all.extend(lightness.flat_map(|(t, p)| [100.0 * t, 100.0 * p]));
}

/// Compares, and gives how many numbers were compared.
fn compare(set: &Waveforms) -> usize {
    let set = &set.rounded();
    let table = c_table(set, "pier").expect("a table");
    let printed = compile_and_run(&[("table.h", &table)], PRINTER);
    let printed: Vec<f64> = printed.lines().map(|l| l.parse().expect(l)).collect();
    let expected = expected(set);
    assert_eq!(printed.len(), expected.len() + set.bands.len());
    for (i, (got, want)) in printed.iter().zip(&expected).enumerate() {
        assert!(
            (got - want).abs() <= HALF_DIGIT,
            "number {i}: {got}, not {want}"
        );
    }
    for (band, ms) in set.bands.iter().zip(&printed[expected.len()..]) {
        let early = 1000.0 * band.refresh_s - ms;
        assert!(
            (-1.0..=1e-3).contains(&early),
            "{ms} ms for {} s",
            band.refresh_s
        );
    }
    printed.len()
}

#[test]
fn every_number_of_the_table_is_that_of_the_set() {
    let numbers = compare(&harbour_tile());
    assert!(numbers > 3 * 32 * 4, "only {numbers} numbers were compared");
}

#[test]
fn a_bare_set_with_a_hostile_name_compiles_too() {
    let mut set = harbour_tile();
    set.panel.name = "tile */ #error ??/\n@data@ greyloom \\".into();
    set.bands.truncate(1);
    let band = &mut set.bands[0];
    band.stretch.clear();
    band.erase.strokes.clear();
    band.fields.truncate(1);
    band.fields[0].select_v = -12.5;
    band.fields[0].mirrored = true;
    band.ticks.iter_mut().for_each(|row| row.truncate(1));
    compare(&set);
}

#[test]
fn two_tables_live_in_one_program() {
    let set = harbour_tile();
    let [a, b] = ["Pier_2", "quay"].map(|prefix| c_table(&set, prefix).expect("a table"));
    let program = r#"
#include <stdio.h>
#include "a.h"
#include "b.h"
int main(void) { printf("%d %d\n", (int)Pier_2_bands[1].ticks[2], (int)quay_bands[1].ticks[2]); return 0; }
"#;
    assert_eq!(
        compile_and_run(&[("a.h", &a), ("b.h", &b)], program),
        "68 68\n"
    );
}

#[test]
fn the_header_tells_what_is_needed_to_play_it() {
    let set = harbour_tile();
    let table = c_table(&set, "pier").expect("a table");
    let hash = format!("0x{:08X}", crc32(set.to_json().as_bytes()));
    for said in [
        &hash,
        "greyloom-waveforms version 1",
        "ticks[level][field]",
        "to nearest, halves away from zero",
        "CAUTION",
        "local codes",
        "up to 18 V on a line and 18 V across a pixel",
    ] {
        assert!(table.contains(said), "no {said}");
    }
    assert!(table.is_ascii() && table.ends_with("#endif /* PIER_TABLE_H */\n"));
    assert!(
        !table.contains('@'),
        "a place of the template was not filled"
    );
    let from_file = c_table(&set.rounded(), "pier").expect("a table");
    assert_eq!(table, from_file, "the hash must tell the whole table");
}

/// The worst errors that the header states, found again from the set.
#[test]
fn the_stated_quantisation_error_is_the_real_one() {
    let set = harbour_tile().rounded();
    let table = c_table(&set, "pier").expect("a table");
    let worst = |values: &mut dyn Iterator<Item = f64>, per_unit: f64| {
        values
            .map(|x| (x - (x * per_unit).round() / per_unit).abs())
            .fold(0.0, f64::max)
    };
    let bands = || set.bands.iter();
    let lightness = bands()
        .flat_map(|b| b.targets(&set).iter().chain(&b.predicted.lstar))
        .copied();
    let factors = bands().flat_map(|b| &b.stretch).map(|s| s.factor);
    let strokes = bands()
        .flat_map(|b| &b.erase.strokes)
        .map(|s| 1000.0 * s.ms);
    for (name, value) in [
        ("lightness", worst(&mut { lightness }, 100.0)),
        ("stretch factor", worst(&mut { factors }, 4096.0)),
        ("duration", worst(&mut { strokes }, 1.0)),
        ("voltage", 0.0),
        ("temperature", 0.0),
    ] {
        let line = format!(" *   {name:<14} {value:.6} ");
        assert!(table.contains(&line), "no `{line}` in\n{}", &table[..1800]);
    }
}

#[test]
fn what_does_not_fit_or_is_no_name_is_refused() {
    let mut set = harbour_tile();
    assert_eq!(
        c_table(&set, "2nd").expect_err("no identifier").exit_code(),
        2
    );
    set.bands[1].fields[0].slot_ticks = 300;
    set.bands[1].ticks[4][0] = 256;
    let error = c_table(&set, "pier").expect_err("ticks above 8 bits");
    assert_eq!(error.exit_code(), 4);
    assert!(
        error.to_string().contains("bands[1].ticks[4][0] = 256"),
        "{error}"
    );
}

/// Check value of the CRC catalogue, entry CRC-32/ISO-HDLC.
#[test]
fn crc32_gives_the_catalogue_check_value() {
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
}
