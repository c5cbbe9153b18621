//! Tables for firmware, compiled and read back entry by entry.

mod emit_bench;
mod support;

use emit_bench::{STRICT, has, output, random_set, random_zoned_set};
use greyloom::emit::{
    Built, Form, Layout, TableOptions, c_table, crc32, parameter_hash, period_16,
};
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
static void mv(const struct pier_rail *rails, int count, int code) {
    int i;
    for (i = 0; i < count; i++) if (rails[i].code == code) p(rails[i].mv);
}
#define ROW(code) mv(pier_row_rails, (int)(sizeof pier_row_rails / sizeof pier_row_rails[0]), code)
#define COLUMN(code) mv(pier_column_rails, (int)(sizeof pier_column_rails / sizeof pier_column_rails[0]), code)
int main(void) {
    int b, i;
    printf("%lu\n", (unsigned long)PIER_PARAMETER_CRC32);
    p(PIER_LEVELS); p(PIER_ROWS); p(PIER_COLUMNS); p(PIER_BANDS); p(PIER_HYSTERESIS_16);
    ROW(PIER_ROW_ZERO); COLUMN(PIER_COLUMN_ZERO);
    for (b = 0; b < PIER_BANDS; b++) {
        const struct pier_band *k = &pier_bands[b];
        p(k->low_16); p(k->high_16); p(k->strokes); p(k->fields); p(k->stretches);
        p((double)k->settle_ticks * k->tick_us); p((double)k->rest_ticks * k->tick_us);
        if (k->balance_step) { COLUMN(k->balance_plus_code); COLUMN(k->balance_minus_code); }
        for (i = 0; i < k->strokes; i++) { ROW(k->stroke[i].row_code); p((double)k->stroke[i].ticks * k->tick_us); }
        for (i = 0; i < k->fields; i++) {
            const struct pier_field *f = &k->field[i];
            ROW(f->select_code); COLUMN(f->on_code); COLUMN(f->off_code);
            p(f->tick_us); p(f->slot_ticks); p(f->guard_ticks); p(f->mirrored);
            if (k->balance_step) p(1e3 * f->gain / k->balance_step);
        }
        for (i = 0; i < k->stretches; i++) { p(k->stretch[i].temperature_16); p(k->stretch[i].factor_4096); }
#ifdef PIER_ZONES
        int zones = 0;
        do p(k->zone_end[zones]); while (k->zone_end[zones++] < PIER_ROWS);
#else
        int zones = 1;
#endif
        for (i = 0; i < zones * PIER_LEVELS * k->fields; i++) p(k->ticks[i]);
        for (i = 0; i < PIER_LEVELS; i++) p(k->target_lstar_100[i]);
    }
    for (b = 0; b < PIER_BANDS; b++) p(pier_bands[b].refresh_ms);
    return 0;
}
"#;

fn built(set: &Waveforms) -> Built {
    Built::of(set, &TableOptions::default()).expect("tables")
}

/// Compiles a program beside its files and gives what it prints.
fn compile_and_run(files: &[(&str, &str)], sources: &[&str]) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).expect("written");
    }
    output(
        Command::new("cc")
            .args(STRICT)
            .args(sources)
            .args(["-o", "main"])
            .current_dir(folder.path()),
    );
    String::from_utf8(output(&mut Command::new(folder.path().join("main")))).expect("digits")
}

/// What the program must print: the set's numbers in the table's units, not yet rounded.
fn expected(set: &Waveforms) -> Vec<f64> {
    let counts = [
        set.levels,
        set.panel.rows,
        set.panel.columns,
        set.bands.len(),
    ];
    let mut all = vec![f64::from(parameter_hash(set))];
    all.extend(counts.map(|n| n as f64));
    all.extend([8.0, 0.0, 0.0]);
    for band in &set.bands {
        expected_band(set, band, &mut all);
    }
    all
}

/// A duration as whole ticks of the band play it, µs.
fn in_ticks(ms: f64, band: &Band) -> f64 {
    let tick_us = f64::from(
        band.fields
            .iter()
            .map(|f| f.tick_us)
            .min()
            .expect("a field"),
    );
    (1000.0 * ms / tick_us).round() * tick_us
}

fn expected_band(set: &Waveforms, band: &Band, all: &mut Vec<f64>) {
    let t = &band.temperature_c;
    let mv = |v: f64| 1000.0 * v;
    all.extend([16.0 * t.low, 16.0 * t.high]);
    all.extend(
        [
            band.erase.strokes.len(),
            band.fields.len(),
            band.stretch.len(),
        ]
        .map(|n| n as f64),
    );
    all.extend([
        in_ticks(set.panel.field_settle_ms, band),
        in_ticks(band.erase.rest_ms, band),
    ]);
    all.extend(
        band.resting_balance_v
            .iter()
            .flat_map(|v| [mv(*v), -mv(*v)]),
    );
    all.extend(
        band.erase
            .strokes
            .iter()
            .flat_map(|s| [mv(s.pixel_v), in_ticks(s.ms, band)]),
    );
    let base_us = band
        .fields
        .iter()
        .map(|f| f.tick_us)
        .min()
        .expect("a field");
    for f in &band.fields {
        let on_v = -f.other_on_v();
        all.extend([mv(f.select_v), mv(on_v), -mv(on_v)]);
        all.extend(
            [
                f.tick_us,
                f.slot_ticks,
                f.guard_ticks,
                u32::from(f.mirrored),
            ]
            .map(f64::from),
        );
        // What a tick leaves against what a tick of balance takes.
        let balance = band.resting_balance_v.map(|v| v * f64::from(base_us));
        let gain = if f.mirrored {
            0.0
        } else {
            f.other_on_v() * f64::from(f.tick_us)
        };
        all.extend(balance.map(|b| 1e3 * gain / b));
    }
    all.extend(
        band.stretch
            .iter()
            .flat_map(|s| [16.0 * s.temperature_c, 4096.0 * s.factor]),
    );
    if set.bands.iter().any(|b| b.zones.len() > 1) {
        let zones = band.row_ticks().parts(set.panel.rows);
        all.extend(zones.map(|(rows, _)| rows.end as f64));
    }
    let ticks = band.row_ticks().tables().flatten().flatten();
    all.extend(ticks.map(|t| f64::from(*t)));
    all.extend(band.targets(set).iter().map(|t| 100.0 * t));
}

/// Compares, and gives how many numbers were compared.
fn compare(set: &Waveforms) -> usize {
    let set = &set.rounded();
    let [(_, header), (_, source)] = c_table(&built(set), "pier", Layout::Plain).expect("a table");
    let files = [
        ("table.h", header.as_str()),
        ("table.c", &source),
        ("main.c", PRINTER),
    ];
    let printed = compile_and_run(&files, &["main.c", "table.c"]);
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
    if !has("cc", "numbers of the C table") {
        return;
    }
    let numbers = compare(&harbour_tile());
    assert!(numbers > 3 * 32 * 3, "only {numbers} numbers were compared");
    for set in (0..8).map(random_set).chain((0..4).map(random_zoned_set)) {
        assert!(compare(&set) > 20);
    }
}

#[test]
fn a_bare_set_with_a_hostile_name_compiles_too() {
    if !has("cc", "a bare C table") {
        return;
    }
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
    if !has("cc", "two C tables in a program") {
        return;
    }
    let built = built(&harbour_tile());
    let [a, b] =
        ["Pier_2", "quay"].map(|prefix| c_table(&built, prefix, Layout::Plain).expect("a table"));
    let program = r#"
#include <stdio.h>
#include "a.h"
#include "b.h"
int main(void) { printf("%d %d\n", (int)Pier_2_bands[1].ticks[2], (int)quay_bands[1].ticks[2]); return 0; }
"#;
    let [a_c, b_c] =
        [(&a, "a.h"), (&b, "b.h")].map(|(files, header)| files[1].1.replace("table.h", header));
    let files = [
        ("a.h", a[0].1.as_str()),
        ("b.h", &b[0].1),
        ("a.c", &a_c),
        ("b.c", &b_c),
        ("main.c", program),
    ];
    assert_eq!(
        compile_and_run(&files, &["main.c", "a.c", "b.c"]),
        "68 68\n"
    );
}

/// The Rust module in a crate without the standard library, and its numbers through one with it.
#[test]
fn the_rust_module_holds_the_same() {
    let rustc = std::env::var("RUSTC").unwrap_or_else(|_| "rustc".into());
    if !has(&rustc, "the Rust module") {
        return;
    }
    let built = [harbour_tile(), random_zoned_set(1)].map(|set| built(&set.rounded()));
    let cases = built
        .iter()
        .flat_map(|b| [(b, Layout::Plain), (b, Layout::Packed)]);
    for (built, layout) in cases {
        let folder = tempfile::tempdir().expect("a folder");
        let write = |name: &str, text: &str| {
            std::fs::write(folder.path().join(name), text).expect("written")
        };
        write("table.rs", &greyloom::emit::rust_table(built, layout));
        write(
            "bare.rs",
            "#![no_std]\n#![deny(warnings)]\npub mod table;\n",
        );
        let print = match layout {
            Layout::Plain if built.tables.version() > 1 => {
                "for b in &table::BANDS { print!(\"{} {} {} {:?} {:?} \", b.low_16, b.rest_ticks, b.balance_step, b.zone_end, b.ticks); for f in b.fields { print!(\"{} {} {} \", f.gain, f.on_code, f.mirrored); } for l in b.target_lstar_100 { print!(\"{l} \"); } }"
            }
            Layout::Plain => {
                "for b in &table::BANDS { print!(\"{} {} {} {:?} \", b.low_16, b.rest_ticks, b.balance_step, b.ticks); for f in b.fields { print!(\"{} {} {} \", f.gain, f.on_code, f.mirrored); } for l in b.target_lstar_100 { print!(\"{l} \"); } }"
            }
            Layout::Packed => "for b in &table::IMAGE { print!(\"{b} \"); }",
        };
        write(
            "main.rs",
            &format!("#![deny(warnings)]\nmod table;\nfn main() {{ {print} }}\n"),
        );
        output(
            Command::new(&rustc)
                .args(["--edition", "2021", "--crate-type", "lib", "bare.rs"])
                .current_dir(folder.path()),
        );
        output(
            Command::new(&rustc)
                .args(["--edition", "2021", "main.rs", "-o", "main"])
                .current_dir(folder.path()),
        );
        let printed =
            String::from_utf8(output(&mut Command::new(folder.path().join("main")))).expect("text");
        assert_eq!(printed, wanted(built, layout));
    }
}

fn wanted(built: &Built, layout: Layout) -> String {
    if layout == Layout::Packed {
        return greyloom::emit::packed_image(&built.tables)
            .iter()
            .map(|b| format!("{b} "))
            .collect();
    }
    let t = &built.tables;
    let band = |b: &greyloom::emit::BandTable| {
        let ticks: Vec<u16> = b.tables().flatten().flatten().copied().collect();
        let mut end = 0;
        let ends = b.rows_of_tables(t.rows).into_iter().map(|rows| {
            end += rows;
            end
        });
        let zones = match t.version() {
            1 => String::new(),
            _ => format!("{:?} ", ends.collect::<Vec<u16>>()),
        };
        let fields: String = b
            .fields
            .iter()
            .map(|f| format!("{} {} {} ", f.gain, t.on_off(f).0.code, f.mirrored))
            .collect();
        let targets = b.targets_lstar_100.as_ref().unwrap_or(&t.targets_lstar_100);
        let targets: String = targets.iter().map(|l| format!("{l} ")).collect();
        format!(
            "{} {} {} {zones}{ticks:?} {fields}{targets}",
            b.low_16,
            b.rest_ticks,
            b.balance.map_or(0, |x| x.step)
        )
    };
    t.bands.iter().map(band).collect()
}

/// `table.json` by a reader of JSON.
#[test]
fn the_json_holds_the_same_integers() {
    let set = harbour_tile();
    let built = built(&set);
    let files = Form::Json
        .files(&set, &built, "pier", Layout::Plain)
        .expect("json");
    let value: serde_json::Value = serde_json::from_slice(&files[0].1).expect("JSON");
    assert_eq!(value["format"], "greyloom-table");
    assert_eq!(
        value["table"],
        serde_json::to_value(&built.tables).expect("JSON")
    );
    assert_eq!(value["table"]["bands"][1]["ticks"][2][0], 66);
    let description = value["description"].as_array().expect("lines");
    assert!(
        description
            .iter()
            .any(|l| l.as_str().is_some_and(|l| l.starts_with("CAUTION")))
    );
}

#[test]
fn every_form_tells_what_is_needed_to_play_it() {
    let set = harbour_tile();
    let built = built(&set);
    let hash = format!("0x{:08X}", crc32(set.to_json().as_bytes()));
    let forms = [Form::C, Form::Rust, Form::Binary, Form::Json];
    let files = forms.map(|form| {
        form.files(&set, &built, "pier", Layout::Packed)
            .expect("files")
    });
    for (name, bytes) in files
        .iter()
        .flatten()
        .filter(|(name, _)| name.starts_with("table"))
    {
        let text = String::from_utf8_lossy(bytes);
        for said in [
            hash.as_str(),
            "Table version 1",
            "greyloom-waveforms version 1",
            "ticks[level][field]",
            "to nearest, halves away from zero",
            "Worst error in this table",
            "CAUTION",
            "local codes",
            "up to 18 V on a line and 18 V across a pixel",
        ] {
            assert!(text.contains(said), "{name}: no {said}");
        }
        assert!(
            *name == "table.bin" || !text.contains('@'),
            "{name}: a place of the template was not filled"
        );
    }
    let from_file = Built::of(&set.rounded(), &TableOptions::default()).expect("tables");
    assert_eq!(built, from_file, "the hash must tell the whole table");
}

/// A set without zones says nothing of them; one with zones is of another version, in every form.
#[test]
fn zones_are_told_where_there_are_some() {
    let (alike, zoned) = (harbour_tile(), random_zoned_set(1));
    for (set, version, told) in [(alike, 1, false), (zoned, 2, true)] {
        let built = built(&set);
        assert_eq!(built.tables.version(), version);
        for form in [Form::C, Form::Rust, Form::Binary, Form::Json] {
            let files = form
                .files(&set, &built, "pier", Layout::Plain)
                .expect("files");
            let (name, bytes) = &files[0];
            let text = String::from_utf8_lossy(bytes);
            assert_eq!(text.to_lowercase().contains("zone"), told, "{name}");
            assert!(text.contains(&format!("Table version {version}")), "{name}");
        }
    }
}

/// The worst errors that the header states, found again from the set.
#[test]
fn the_stated_quantisation_error_is_the_real_one() {
    let set = harbour_tile().rounded();
    let [(_, table), _] = c_table(&built(&set), "pier", Layout::Plain).expect("a table");
    let worst = |values: &mut dyn Iterator<Item = f64>, per_unit: f64| {
        values
            .map(|x| (x - (x * per_unit).round() / per_unit).abs())
            .fold(0.0, f64::max)
    };
    let bands = || set.bands.iter();
    let lightness = bands().flat_map(|b| b.targets(&set).iter()).copied();
    let factors = bands().flat_map(|b| &b.stretch).map(|s| s.factor);
    // All ticks of this set last 1 ms.
    let strokes = bands()
        .flat_map(|b| &b.erase.strokes)
        .map(|s| 1000.0 * s.ms);
    for (name, value) in [
        ("lightness", worst(&mut { lightness }, 100.0)),
        ("stretch factor", worst(&mut { factors }, 4096.0)),
        ("duration", worst(&mut { strokes }, 1e-3)),
        ("voltage", 0.0),
        ("temperature", 0.0),
    ] {
        let line = format!(" *   {name:<14} {value:.6} ");
        assert!(table.contains(&line), "no `{line}` in\n{}", &table[..1800]);
    }
}

/// Stretch as integers against the set's own, over every sixteenth of a degree.
#[test]
fn integer_stretch_follows_the_sets() {
    /// Half a unit of the factor each for both entries and the result, and the slope over half a unit of temperature.
    const ROUNDING: f64 = 1.5 / 4096.0;
    for set in (0..30).map(random_set).chain([harbour_tile()]) {
        let set = set.rounded();
        let tables = built(&set).tables;
        for (band, table) in set.bands.iter().zip(&tables.bands) {
            let slopes = band.stretch.windows(2).map(|p| {
                ((p[1].factor - p[0].factor) / (p[1].temperature_c - p[0].temperature_c)).abs()
            });
            let tolerance = ROUNDING + slopes.fold(0.0, f64::max) / 16.0;
            for t in table.low_16 - 20..=table.high_16 + 20 {
                let factor = table.factor_4096(t);
                let exact = band.stretch_factor(f64::from(t) / 16.0);
                let off = (f64::from(factor) / 4096.0 - exact).abs();
                assert!(off <= tolerance, "{t}/16 °C: {factor} for {exact}");
                let period = f64::from(period_16(1000, factor)) / 16.0;
                assert!((period - 1000.0 * f64::from(factor) / 4096.0).abs() <= 1.0 / 32.0);
            }
        }
    }
}

#[test]
fn what_does_not_fit_or_is_no_name_is_refused() {
    let mut set = harbour_tile();
    let error = c_table(&built(&set), "2nd", Layout::Plain).expect_err("no identifier");
    assert_eq!(error.exit_code(), 2);
    set.bands[1].fields[0].slot_ticks = 70_000;
    set.bands[1].ticks[4][0] = 69_000;
    let error = Built::of(&set, &TableOptions::default()).expect_err("ticks above 16 bits");
    assert_eq!(error.exit_code(), 4);
    assert!(
        error
            .to_string()
            .contains("bands[1].fields[0].slot_ticks = 70000"),
        "{error}"
    );
}

/// Check value of the CRC catalogue, entry CRC-32/ISO-HDLC.
#[test]
fn crc32_gives_the_catalogue_check_value() {
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
}

/// A table is not tied to where it is made.
#[test]
fn the_same_set_gives_the_same_bytes() {
    let set = harbour_tile();
    let file = Path::new("waveforms.json");
    let again = Waveforms::parse(file, set.to_json().as_bytes()).expect("a set");
    for form in Form::ALL {
        let [a, b] = [&set, &again].map(|s| {
            form.files(s, &built(s), "pier", Layout::Plain)
                .expect("files")
        });
        assert_eq!(a, b, "{form:?}");
    }
}
