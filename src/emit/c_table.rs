//! A set as constants for C99: a header and a source, plain or packed, and the reference player.

use super::build::Built;
use super::c_text::{array, check_prefix, comma_separated, number_rows};
use super::describe::description;
use super::image::packed_image;
use super::tables::{BandTable, FieldTable, Rail, StretchTable, StrokeTable, Tables};
use crate::error::Result;

const HEADER: &str = include_str!("c/table.h.in");
const PLAIN: &str = include_str!("c/plain.h.in");
const PACKED: &str = include_str!("c/packed.h.in");
const READ_PLAIN: &str = include_str!("c/read_plain.h");
const READ_PACKED: &str = include_str!("c/read_packed.h");
const PLAYER_H: &str = include_str!("c/player.h");
const PLAYER_C: &str = include_str!("c/player.c");

const NUMBERS_A_LINE: usize = 12;

/// How a table lies in memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// Arrays of structures.
    Plain,
    /// The bytes of an image.
    Packed,
}

/// Name and content of a file.
pub type File = (&'static str, String);

/// `table.h` and `table.c` of a set; `prefix` begins every name.
///
/// # Errors
/// [`Error::Usage`](crate::Error::Usage) when `prefix` is not a C identifier of at most 32 letters, digits and underscores
/// that begins with a letter.
pub fn c_table(built: &Built, prefix: &str, layout: Layout) -> Result<[File; 2]> {
    check_prefix(prefix)?;
    let t = &built.tables;
    let (declarations, data) = match layout {
        Layout::Plain => (declarations(t), plain(t)),
        Layout::Packed => (PACKED.to_owned(), packed(t)),
    };
    let about = comment(&description(built));
    let code_bits = if t.narrow_codes() { 8 } else { 16 };
    let tick_bits = if t.most_ticks() < 256 { 8 } else { 16 };
    let header = HEADER
        .replace("@declarations@\n", &declarations)
        .replace("@version@", &t.version().to_string())
        .replace("@packed@", if layout == Layout::Packed { "1" } else { "0" })
        .replace("@levels@", &t.levels.to_string())
        .replace("@rows@", &t.rows.to_string())
        .replace("@columns@", &t.columns.to_string())
        .replace("@bands@", &bands_and_zones(t))
        .replace("@hysteresis@", &t.hysteresis_16.to_string())
        .replace("@crc32@", &format!("0x{:08X}u", t.parameter_hash))
        .replace("@bytes@", &format!("{}u", table_bytes(t, layout)))
        .replace("@row_zero@", &t.row_rail(0).code.to_string())
        .replace("@column_zero@", &t.column_rails[0].code.to_string())
        .replace("@code_t@", &format!("uint{code_bits}_t"))
        .replace("@ticks_t@", &format!("uint{tick_bits}_t"))
        .replace("@row_rails@", &t.row_rails.len().to_string())
        .replace("@column_rails@", &t.column_rails.len().to_string());
    let source = format!("#include \"table.h\"\n\n{}\n", data.trim_end());
    let named = |text: String| about.clone() + &prefixed(&text, prefix);
    Ok([("table.h", named(header)), ("table.c", named(source))])
}

/// `read.h`, `player.h` and `player.c`, which play a table of the same prefix and layout beside them.
///
/// # Errors
/// As [`c_table`].
pub fn c_player(prefix: &str, layout: Layout) -> Result<[File; 3]> {
    check_prefix(prefix)?;
    let read = match layout {
        Layout::Plain => READ_PLAIN,
        Layout::Packed => READ_PACKED,
    };
    let files = [
        ("read.h", read),
        ("player.h", PLAYER_H),
        ("player.c", PLAYER_C),
    ];
    Ok(files.map(|(name, text)| (name, prefixed(text, prefix))))
}

/// Every name with another beginning.
pub(super) fn prefixed(text: &str, prefix: &str) -> String {
    text.replace("GREYLOOM", &prefix.to_ascii_uppercase())
        .replace("greyloom", prefix)
}

/// Bytes of constants on a machine whose pointers have 4 bytes and whose numbers lie at multiples of their size.
pub fn table_bytes(t: &Tables, layout: Layout) -> usize {
    if layout == Layout::Packed {
        return packed_image(t).len();
    }
    const RAIL: usize = 8;
    const BAND: usize = 56;
    const POINTER: usize = 4;
    const STROKE: usize = 8;
    const FIELD: usize = 20;
    const STRETCH: usize = 4;
    const NUMBER: usize = 2;
    let band = |b: &BandTable| {
        let ticks = b.tick_count() * NUMBER;
        let own = b.targets_lstar_100.as_ref().map_or(0, Vec::len) * NUMBER;
        let lists = b.strokes.len() * STROKE + b.fields.len() * FIELD + b.stretch.len() * STRETCH;
        let zones = t
            .zones_max()
            .map_or(0, |_| POINTER + b.tables().count() * NUMBER);
        BAND + zones + lists + ticks + own
    };
    let rails = t.row_rails.len() + t.column_rails.len();
    let targets = if t.common_ladder() {
        t.targets_lstar_100.len() * NUMBER
    } else {
        0
    };
    rails * RAIL + targets + t.bands.iter().map(band).sum::<usize>()
}

/// The structures of a plain table.
fn declarations(t: &Tables) -> String {
    match t.zones_max() {
        None => PLAIN.to_owned(),
        Some(_) => PLAIN.replace(
            "/* [level][field], level 0 darkest */\n",
            "/* [zone][level][field], level 0 darkest */\n    const uint16_t *zone_end;         /* [zone], the row after its last */\n",
        ),
    }
}

/// How many bands, and beside it how many zones of rows the player has to know.
fn bands_and_zones(t: &Tables) -> String {
    let bands = t.bands.len();
    t.zones_max().map_or(bands.to_string(), |most| {
        format!("{bands}\n#define GREYLOOM_ZONES {most} /* of rows in a band, at most; each has ticks of its own */")
    })
}

fn comment(lines: &[String]) -> String {
    let body: String = lines
        .iter()
        .map(|l| format!(" * {l}").trim_end().to_owned() + "\n")
        .collect();
    format!("/*\n{body} */\n")
}

fn packed(t: &Tables) -> String {
    let bytes = packed_image(t);
    let hex: Vec<String> = bytes.iter().map(|b| format!("0x{b:02X}")).collect();
    array(
        "const uint8_t",
        "greyloom_image",
        "GREYLOOM_TABLE_BYTES",
        &number_rows(&hex, NUMBERS_A_LINE),
    )
}

/// Every array, then the bands that point to them.
fn plain(t: &Tables) -> String {
    let rail = "const struct greyloom_rail";
    let rails = |name: &str, rails: &[Rail]| {
        let rows: Vec<String> = rails.iter().map(rail_row).collect();
        array(rail, name, rows.len(), &rows)
    };
    let mut out = rails("greyloom_row_rails", &t.row_rails);
    out += &rails("greyloom_column_rails", &t.column_rails);
    if t.common_ladder() {
        out += &lightness("targets", &t.targets_lstar_100);
    }
    for (i, band) in t.bands.iter().enumerate() {
        out += &arrays(t, i, band);
    }
    let bands = t.bands.iter().enumerate();
    let rows: Vec<String> = bands.map(|(i, b)| band_row(t, i, b)).collect();
    out + &array(
        "const struct greyloom_band",
        "greyloom_bands",
        "GREYLOOM_BANDS",
        &rows,
    )
}

fn rail_row(r: &Rail) -> String {
    format!("{{ {}, {} }}", r.mv, r.code)
}

fn lightness(name: &str, lstar_100: &[u16]) -> String {
    let rows = number_rows(lstar_100, NUMBERS_A_LINE);
    array("static const uint16_t", name, lstar_100.len(), &rows)
}

fn arrays(t: &Tables, i: usize, band: &BandTable) -> String {
    let celsius = |sixteenths: i16| f64::from(sixteenths) / 16.0;
    let mut out = format!(
        "/* Band {i}: {} to {} degree Celsius. */\n",
        celsius(band.low_16),
        celsius(band.high_16)
    );
    let structs = |what: &str, rows: Vec<String>| {
        let c_type = format!("static const struct greyloom_{what}");
        array(&c_type, &format!("band{i}_{what}"), rows.len(), &rows)
    };
    out += &structs("stroke", each(&band.strokes, |s| stroke_row(t, s)));
    out += &structs("field", each(&band.fields, |f| field_row(t, f)));
    out += &structs("stretch", each(&band.stretch, stretch_row));
    let ticks = band.tables().flatten().map(|t| comma_separated(t));
    let ticks: Vec<String> = ticks.collect();
    let numbers = |what: &str, count: usize, rows: &[String]| {
        array(
            "static const uint16_t",
            &format!("band{i}_{what}"),
            count,
            rows,
        )
    };
    out += &numbers("ticks", band.tick_count(), &ticks);
    if t.zones_max().is_some() {
        let ends = zone_ends(t, band);
        let rows = number_rows(&ends, NUMBERS_A_LINE);
        out += &numbers("zone_end", ends.len(), &rows);
    }
    if let Some(own) = &band.targets_lstar_100 {
        out += &lightness(&format!("band{i}_targets"), own);
    }
    out
}

/// The row after each zone's last.
pub(super) fn zone_ends(t: &Tables, band: &BandTable) -> Vec<u16> {
    let mut end = 0;
    let rows = band.rows_of_tables(t.rows).into_iter();
    rows.map(|n| {
        end += n;
        end
    })
    .collect()
}

fn each<T>(entries: &[T], row: impl Fn(&T) -> String) -> Vec<String> {
    entries.iter().map(row).collect()
}

fn stroke_row(t: &Tables, s: &StrokeTable) -> String {
    let rail = t.row_rail(s.row_rail);
    format!("{{ {}u, {} /* {} mV */ }}", s.ticks, rail.code, rail.mv)
}

fn field_row(t: &Tables, f: &FieldTable) -> String {
    let (select, (on, off)) = (t.row_rail(f.row_rail), t.on_off(f));
    format!(
        "{{ {}u, {}, {}, {}, {} /* {} mV */, {} /* {} mV */, {} /* {} mV */, {} }}",
        f.tick_us,
        f.gain,
        f.slot_ticks,
        f.guard_ticks,
        select.code,
        select.mv,
        on.code,
        on.mv,
        off.code,
        off.mv,
        u8::from(f.mirrored)
    )
}

fn stretch_row(s: &StretchTable) -> String {
    format!("{{ {}, {} }}", s.temperature_16, s.factor_4096)
}

fn band_row(t: &Tables, i: usize, band: &BandTable) -> String {
    let zero = t.column_rails[0].code;
    let balance = band.balance.map_or((0, zero, zero), |b| {
        let (plus, minus) = t.column_pair(b.column_pair);
        (b.step, plus.code, minus.code)
    });
    let or_null = |what: &str, empty: bool| match empty {
        true => "0".to_owned(),
        false => format!("band{i}_{what}"),
    };
    let zone_end = match t.zones_max() {
        Some(_) => format!(" band{i}_zone_end,"),
        None => String::new(),
    };
    let targets = match band.targets_lstar_100 {
        Some(_) => format!("band{i}_targets"),
        None => "targets".to_owned(),
    };
    format!(
        "{{ {}, {}, {}u, {}u, {}u, {}u, {}, {}, {}, {}, {}, {},\n      {}, {}, {}, band{i}_ticks,{zone_end} {targets} }}",
        band.low_16,
        band.high_16,
        band.refresh_ms,
        band.tick_us,
        band.settle_ticks,
        band.rest_ticks,
        balance.0,
        balance.1,
        balance.2,
        band.strokes.len(),
        band.fields.len(),
        band.stretch.len(),
        or_null("stroke", band.strokes.is_empty()),
        or_null("field", band.fields.is_empty()),
        or_null("stretch", band.stretch.is_empty()),
    )
}
