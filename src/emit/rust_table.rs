//! A set as constants of a Rust module without the standard library.

use super::build::Built;
use super::c_table::{Layout, table_bytes, zone_ends};
use super::c_text::{comma_separated, number_rows};
use super::describe::description;
use super::image::packed_image;
use super::tables::{BandTable, FieldTable, Rail, Tables};
use std::fmt::Write;

const TYPES: &str = include_str!("rust/types.rs");
const NUMBERS_A_LINE: usize = 12;
/// What a band says of its ticks, and what it says of them by zones of rows.
const TICKS: &str = "    /// Level by level, darkest first, one number a field in turn.\n";
const ZONED_TICKS: &str = "    /// Of each zone of rows the row after its last.\n    pub zone_end: &'static [u16],\n    \
                           /// Zone by zone, level by level, darkest first, one number a field in turn.\n";

/// `table.rs`: a module to be named in a crate, `mod table;`.
pub fn rust_table(built: &Built, layout: Layout) -> String {
    let t = &built.tables;
    let mut out: String = description(built)
        .iter()
        .map(|l| format!("//! {l}").trim_end().to_owned() + "\n")
        .collect();
    let _ = write!(
        out,
        "#![allow(dead_code)]\n\n\
         pub const TABLE_VERSION: u16 = {};\n\
         pub const LEVELS: usize = {};\npub const ROWS: usize = {};\npub const COLUMNS: usize = {};\n\
         /// A band is kept for so much beyond its limits, 1/16 degree Celsius.\n\
         pub const HYSTERESIS_16: u16 = {};\n\
         pub const PARAMETER_CRC32: u32 = 0x{:08X};\n\
         /// Of constants.\n\
         pub const TABLE_BYTES: usize = {};\n\n",
        t.version(),
        t.levels,
        t.rows,
        t.columns,
        t.hysteresis_16,
        t.parameter_hash,
        match layout {
            Layout::Packed => table_bytes(t, layout).to_string(),
            Layout::Plain => bytes_of(t),
        }
    );
    match layout {
        Layout::Packed => packed(t, &mut out),
        Layout::Plain => plain(t, &mut out),
    }
    out
}

/// Bytes of all constants on the machine that compiles them.
fn bytes_of(t: &Tables) -> String {
    let all = |count: fn(&BandTable) -> usize| t.bands.iter().map(count).sum::<usize>();
    let common = if t.common_ladder() {
        t.targets_lstar_100.len()
    } else {
        0
    };
    let numbers = common
        + all(BandTable::tick_count)
        + t.zones_max().map_or(0, |_| all(|b| b.tables().count()))
        + all(|b| b.targets_lstar_100.as_ref().map_or(0, Vec::len));
    let counts = [
        (t.bands.len(), "Band"),
        (t.row_rails.len() + t.column_rails.len(), "Rail"),
        (all(|b| b.strokes.len()), "Stroke"),
        (all(|b| b.fields.len()), "Field"),
        (all(|b| b.stretch.len()), "Stretch"),
        (numbers, "u16"),
    ];
    let each = counts.map(|(n, of)| format!("{n} * core::mem::size_of::<{of}>()"));
    each.join("\n    + ")
}

fn packed(t: &Tables, out: &mut String) {
    let bytes = packed_image(t);
    let hex: Vec<String> = bytes.iter().map(|b| format!("0x{b:02X}")).collect();
    let _ = writeln!(
        out,
        "/// The binary image without its notes.\npub static IMAGE: [u8; TABLE_BYTES] = [\n{}];",
        lines(&number_rows(&hex, NUMBERS_A_LINE))
    );
}

fn lines(rows: &[String]) -> String {
    rows.iter().map(|r| format!("    {r},\n")).collect()
}

fn plain(t: &Tables, out: &mut String) {
    match t.zones_max() {
        None => out.push_str(TYPES),
        Some(_) => out.push_str(&TYPES.replace(TICKS, ZONED_TICKS)),
    }
    for (name, rails) in [
        ("ROW_RAILS", &t.row_rails),
        ("COLUMN_RAILS", &t.column_rails),
    ] {
        let rows: Vec<String> = rails.iter().map(rail).collect();
        let _ = writeln!(
            out,
            "\npub static {name}: [Rail; {}] = [\n{}];",
            rows.len(),
            lines(&rows)
        );
    }
    if t.common_ladder() {
        let _ = writeln!(
            out,
            "\nstatic TARGETS: [u16; LEVELS] = [\n{}];",
            lines(&number_rows(&t.targets_lstar_100, NUMBERS_A_LINE))
        );
    }
    let bands: Vec<String> = t.bands.iter().map(|b| band(t, b)).collect();
    let _ = write!(
        out,
        "\npub static BANDS: [Band; {}] = [\n{}];\n",
        bands.len(),
        bands.concat()
    );
}

fn rail(r: &Rail) -> String {
    format!("Rail {{ mv: {}, code: {} }}", r.mv, r.code)
}

fn band(t: &Tables, b: &BandTable) -> String {
    let zero = t.column_rails[0].code;
    let (step, plus, minus) = b.balance.map_or((0, zero, zero), |x| {
        let (plus, minus) = t.column_pair(x.column_pair);
        (x.step, plus.code, minus.code)
    });
    let strokes = b.strokes.iter().map(|s| {
        let code = t.row_rail(s.row_rail).code;
        format!("Stroke {{ ticks: {}, row_code: {code} }}", s.ticks)
    });
    let stretch = b.stretch.iter().map(|s| {
        let (temperature, factor) = (s.temperature_16, s.factor_4096);
        format!("Stretch {{ temperature_16: {temperature}, factor_4096: {factor} }}")
    });
    let ticks = b.tables().flatten().map(|row| comma_separated(row));
    let zone_end = match t.zones_max() {
        Some(_) => number_rows(&zone_ends(t, b), NUMBERS_A_LINE),
        None => Vec::new(),
    };
    let targets = b
        .targets_lstar_100
        .as_ref()
        .map_or("&TARGETS".to_owned(), |own| {
            format!(
                "&[\n{}        ]",
                indented(&number_rows(own, NUMBERS_A_LINE))
            )
        });
    let mut out = format!(
        "    Band {{\n        low_16: {},\n        high_16: {},\n        refresh_ms: {},\n        tick_us: {},\n        \
         settle_ticks: {},\n        rest_ticks: {},\n        balance_step: {step},\n        balance_plus_code: {plus},\n        \
         balance_minus_code: {minus},\n",
        b.low_16, b.high_16, b.refresh_ms, b.tick_us, b.settle_ticks, b.rest_ticks
    );
    for (name, rows) in [
        ("strokes", strokes.collect()),
        (
            "fields",
            b.fields.iter().map(|f| field(t, f)).collect::<Vec<_>>(),
        ),
        ("stretch", stretch.collect()),
        ("zone_end", zone_end),
        ("ticks", ticks.collect()),
    ] {
        if name == "zone_end" && t.zones_max().is_none() {
            continue;
        }
        let _ = writeln!(out, "        {name}: &[\n{}        ],", indented(&rows));
    }
    let _ = writeln!(out, "        target_lstar_100: {targets},\n    }},");
    out
}

fn indented(rows: &[String]) -> String {
    rows.iter().map(|r| format!("            {r},\n")).collect()
}

fn field(t: &Tables, f: &FieldTable) -> String {
    let (select, (on, off)) = (t.row_rail(f.row_rail), t.on_off(f));
    format!(
        "Field {{ tick_us: {}, gain: {}, slot_ticks: {}, guard_ticks: {}, select_code: {}, on_code: {}, off_code: {}, mirrored: {} }}",
        f.tick_us, f.gain, f.slot_ticks, f.guard_ticks, select.code, on.code, off.code, f.mirrored
    )
}
