//! Test vectors: pictures, and what every line must carry when they are played.

use super::c_table::{File, prefixed};
use super::c_text::{array, check_prefix, number_rows};
use super::hash::{Crc32, crc32};
use super::lines::{Refresh, check_size};
use super::quantise::refused;
use super::stream::{coded, each_tick};
use super::tables::{BandTable, FieldTable, Tables};
use super::vector_pictures::{Picture, pictures};
use crate::error::Result;
use crate::panel::Levels;
use crate::waveforms::{Waveforms, lay_out};
use serde::Serialize;

const HEADER: &str = include_str!("c/vectors.h.in");
const SELFTEST: &str = include_str!("c/selftest.c");
const NUMBERS_A_LINE: usize = 24;

/// What a set's player must do, in the order in which it is to be asked.
#[derive(Debug, Serialize)]
pub struct Vectors {
    format: &'static str,
    version: u16,
    about: [&'static str; 7],
    parameter_hash: String,
    rows: u16,
    columns: u16,
    levels: u16,
    code_bytes: u8,
    pictures: Vec<Picture>,
    vectors: Vec<Vector>,
}

const ABOUT: [&str; 7] = [
    "Play each vector's picture at its temperature (1/16 degree Celsius); before one that is fresh, initialise the player.",
    "A picture is run-length coded row by row: pixels and level in turn.",
    "ticks: how often the lines are put, the last of them all at 0 V.",
    "crc32: CRC-32/ISO-HDLC over every tick, little-endian: row (2 bytes; 0xFFFE all, 0xFFFF none), the row's code (2),",
    "period in 1/16 us (4), then each column's code (code_bytes each).",
    "rows, columns: CRC-32/ISO-HDLC of each line alone over its codes, 2 bytes a tick, little-endian.",
    "lines: some lines, run-length coded: code and ticks in turn.",
];

/// Most ticks of a refresh: hours, and still seconds of work.
const TICKS_MAX: u64 = 20_000_000;

fn check_ticks(tables: &Tables) -> Result<()> {
    for (i, band) in tables.bands.iter().enumerate() {
        let ticks = longest_ticks(band, u64::from(tables.rows));
        if ticks > TICKS_MAX {
            return Err(refused(
                format!(
                    "a refresh of bands[{i}] takes up to {ticks} ticks, more than the {TICKS_MAX} that test vectors may"
                ),
                "another form, or a set of shorter refreshes".into(),
            ));
        }
    }
    Ok(())
}

/// At most: every slot mirrored, and the column that asks for the longest balance.
fn longest_ticks(band: &BandTable, rows: u64) -> u64 {
    let strokes: u64 = band.strokes.iter().map(|s| u64::from(s.ticks)).sum();
    let slot = |f: &FieldTable| 2 * u64::from(f.slot_ticks) + u64::from(f.guard_ticks);
    let slots: u64 = band.fields.iter().map(slot).sum();
    let pauses = u64::from(band.settle_ticks) * band.fields.len() as u64;
    let charge = |f: &FieldTable| u64::from(f.gain.unsigned_abs()) * u64::from(f.slot_ticks);
    let column = rows * band.fields.iter().map(charge).sum::<u64>();
    let balance = band.balance.map_or(0, |b| column / u64::from(b.step));
    strokes + rows * slots + pauses + u64::from(band.rest_ticks) + balance
}

/// One refresh.
#[derive(Debug, Clone, Serialize)]
pub struct Vector {
    pub picture: String,
    pub temperature_16: i16,
    pub balance: bool,
    /// Whether the player knows no band from before.
    pub fresh: bool,
    pub band: usize,
    pub factor_4096: u16,
    pub ticks: u32,
    pub crc32: String,
    rows: Vec<String>,
    columns: Vec<String>,
    lines: Vec<Line>,
}

#[derive(Debug, Clone, Serialize)]
struct Line {
    line: String,
    /// Code and ticks in turn.
    runs: Vec<u32>,
}

/// A picture at a temperature, and what the player knows.
struct Case<'a> {
    picture: &'a Picture,
    temperature_16: i16,
    balance: bool,
    fresh: bool,
    band: usize,
}

impl Vectors {
    /// Vectors of a set and its tables: every picture in the coldest band, two in each other one, and where there are two
    /// bands a temperature that hysteresis leaves with the first and one that it doesn't.
    ///
    /// # Errors
    /// [`Error::Unmet`](crate::Error::Unmet) where a panel or a refresh is too large to be played out.
    pub fn of(set: &Waveforms, tables: &Tables) -> Result<Self> {
        let set = &set.rounded();
        check_size(set)?;
        check_ticks(tables)?;
        let pictures = pictures(set);
        let cases = cases(tables, &pictures);
        Ok(Vectors {
            format: "greyloom-vectors",
            version: 1,
            about: ABOUT,
            parameter_hash: hex(tables.parameter_hash),
            rows: tables.rows,
            columns: tables.columns,
            levels: tables.levels,
            code_bytes: if tables.narrow_codes() { 1 } else { 2 },
            vectors: cases.iter().map(|c| vector(set, tables, c)).collect(),
            pictures,
        })
    }

    /// `vectors.json`.
    pub fn to_json(&self) -> String {
        // Numbers, strings and lists only: serialising can't fail.
        lay_out(&serde_json::to_string(self).unwrap_or_default())
    }

    /// `vectors.h` with the same pictures, tick counts and CRCs, and `selftest.c`, which plays them on the target.
    ///
    /// # Errors
    /// As [`super::c_table`].
    pub fn to_c(&self, prefix: &str) -> Result<[File; 2]> {
        check_prefix(prefix)?;
        let mut data = String::new();
        for picture in &self.pictures {
            let bytes = picture.bytes();
            let rows = number_rows(&bytes, NUMBERS_A_LINE);
            let name = format!("picture_{}", picture.name);
            data += &array("static const uint8_t", &name, bytes.len(), &rows);
        }
        let rows: Vec<String> = self.vectors.iter().map(c_row).collect();
        data += &array("static const struct vector", "vectors", rows.len(), &rows);
        let header = HEADER
            .replace("@count@", &self.vectors.len().to_string())
            .replace("@hash@", &self.parameter_hash)
            .replace("@data@", data.trim_end());
        Ok([
            ("vectors.h", prefixed(&header, prefix)),
            ("selftest.c", prefixed(SELFTEST, prefix)),
        ])
    }

    /// In the order in which they are to be played.
    pub fn all(&self) -> &[Vector] {
        &self.vectors
    }
}

fn c_row(v: &Vector) -> String {
    format!(
        "{{ picture_{}, {}, {}, {}, {}u, {}u }}",
        v.picture,
        v.temperature_16,
        u8::from(v.balance),
        u8::from(v.fresh),
        v.ticks,
        v.crc32
    )
}

fn hex(crc: u32) -> String {
    format!("0x{crc:08X}")
}

fn cases<'a>(tables: &Tables, pictures: &'a [Picture]) -> Vec<Case<'a>> {
    let mut cases = Vec::new();
    for (band, b) in tables.bands.iter().enumerate() {
        let middle = ((i32::from(b.low_16) + i32::from(b.high_16)) / 2) as i16;
        let shown = if band == 0 { pictures.len() } else { 2 };
        for (i, picture) in pictures.iter().take(shown).enumerate() {
            cases.push(Case {
                picture,
                temperature_16: if i == 0 { b.low_16 } else { middle },
                balance: i > 0,
                fresh: true,
                band,
            });
        }
    }
    if let [first, second, ..] = &tables.bands[..] {
        let (edge, beyond) = (first.high_16, tables.hysteresis_16 as i16);
        let past = edge
            .saturating_add(beyond)
            .saturating_add(1)
            .min(second.high_16);
        let cross = |temperature_16, fresh, band| Case {
            picture: &pictures[0],
            temperature_16,
            balance: false,
            fresh,
            band,
        };
        cases.push(cross(first.low_16, true, 0));
        cases.push(cross(edge.saturating_add(beyond), false, 0));
        // A band narrower than the hysteresis is never left within itself.
        if past > edge.saturating_add(beyond) && past < second.high_16 {
            cases.push(cross(past, false, 1));
        }
    }
    cases
}

fn vector(set: &Waveforms, tables: &Tables, case: &Case) -> Vector {
    let levels = case.picture.levels();
    let picture = Levels {
        columns: set.panel.columns,
        levels: &levels,
    };
    let refresh = Refresh::new(set, &set.bands[case.band], picture, case.balance);
    let factor_4096 = tables.bands[case.band].factor_4096(case.temperature_16);
    let (ticks, crc) = all_ticks(&refresh, tables, factor_4096);
    let row = |r: usize| coded(&refresh.row(r), &tables.row_rails);
    let column = |c: usize| coded(&refresh.column(c), &tables.column_rails);
    let (rows, columns) = (set.panel.rows, set.panel.columns);
    Vector {
        picture: case.picture.name.to_owned(),
        temperature_16: case.temperature_16,
        balance: case.balance,
        fresh: case.fresh,
        band: case.band,
        factor_4096,
        ticks,
        crc32: hex(crc),
        rows: (0..rows).map(|r| hex(line_crc32(&row(r)))).collect(),
        columns: (0..columns).map(|c| hex(line_crc32(&column(c)))).collect(),
        lines: (some_lines("row", rows, row).into_iter())
            .chain(some_lines("column", columns, column))
            .collect(),
    }
}

/// How many ticks, and the CRC over them.
fn all_ticks(refresh: &Refresh, tables: &Tables, factor_4096: u16) -> (u32, u32) {
    let (mut crc, mut ticks, mut bytes) = (Crc32::new(), 0, Vec::new());
    each_tick(refresh, tables, factor_4096, |tick| {
        bytes.clear();
        tick.put(tables.narrow_codes(), &mut bytes);
        crc.update(&bytes);
        ticks += 1;
    });
    (ticks, crc.value())
}

/// The first, the middle and the last of `count` lines.
fn some_lines(name: &str, count: usize, runs: impl Fn(usize) -> Vec<(u16, u32)>) -> Vec<Line> {
    let mut chosen = vec![0, count / 2, count - 1];
    chosen.dedup();
    let flat = |i: usize| {
        runs(i)
            .into_iter()
            .flat_map(|(code, ticks)| [code.into(), ticks])
    };
    let line = |i: usize| Line {
        line: format!("{name} {i}"),
        runs: flat(i).collect(),
    };
    chosen.into_iter().map(line).collect()
}

/// Of a line's codes tick by tick, 2 bytes each.
fn line_crc32(runs: &[(u16, u32)]) -> u32 {
    let mut bytes = Vec::new();
    for (code, ticks) in runs {
        let code = code.to_le_bytes();
        bytes.extend(std::iter::repeat_n(code, *ticks as usize).flatten());
    }
    crc32(&bytes)
}
