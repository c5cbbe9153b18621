//! Tables to the bytes of an image.

use super::{HEADER, MAGIC, MIRRORED, STEPPED};
use crate::emit::bits::{by_steps, put_number, put_packed, put_signed, width_of};
use crate::emit::build::Built;
use crate::emit::describe::description;
use crate::emit::hash::crc32;
use crate::emit::tables::{BandTable, FieldTable, Rail, StretchTable, Tables};

/// The image of a table with its description in it.
pub fn image(built: &Built) -> Vec<u8> {
    with_notes(&built.tables, &description(built).join("\n"))
}

/// The image without its description, for a source file whose comments hold it.
pub fn packed_image(tables: &Tables) -> Vec<u8> {
    with_notes(tables, "")
}

pub(super) fn with_notes(tables: &Tables, notes: &str) -> Vec<u8> {
    let mut body = Vec::new();
    let erases = Erases::of(tables);
    let bands = tables.bands.iter().map(|b| band(tables, b, &erases));
    let sections = [
        tables.panel.as_bytes().to_vec(),
        notes.as_bytes().to_vec(),
        row_rails(&tables.row_rails),
        column_rails(&tables.column_rails),
        ladder(&tables.targets_lstar_100),
        erases.bytes(),
    ];
    for section in sections.into_iter().chain(bands) {
        put_section(&mut body, &section);
    }
    let mut out = header(tables, &body);
    out.extend(body);
    out
}

fn header(tables: &Tables, body: &[u8]) -> Vec<u8> {
    let total = (HEADER + body.len()) as u32;
    let mut out = MAGIC.to_vec();
    out.extend(tables.version().to_le_bytes());
    out.extend(tables.levels.to_le_bytes());
    out.extend(total.to_le_bytes());
    out.extend(tables.parameter_hash.to_le_bytes());
    let bands = tables.bands.len() as u16;
    for number in [tables.rows, tables.columns, bands, tables.hysteresis_16] {
        out.extend(number.to_le_bytes());
    }
    out.extend(crc32(body).to_le_bytes());
    out.extend(crc32(&out).to_le_bytes());
    out
}

fn put_section(out: &mut Vec<u8>, section: &[u8]) {
    put_number(out, section.len() as u32);
    out.extend(section);
}

fn row_rails(rails: &[Rail]) -> Vec<u8> {
    let mut out = Vec::new();
    for rail in rails {
        put_signed(&mut out, rail.mv);
        put_number(&mut out, rail.code.into());
    }
    out
}

/// The code of 0 V, then of each pair its voltage and both codes.
fn column_rails(rails: &[Rail]) -> Vec<u8> {
    let mut out = Vec::new();
    for (i, rail) in rails.iter().enumerate() {
        if i % 2 == 1 {
            put_number(&mut out, rail.mv.unsigned_abs());
        }
        put_number(&mut out, rail.code.into());
    }
    out
}

/// Every erase with its rest once, in the order in which bands have them.
struct Erases(Vec<Vec<u8>>);

impl Erases {
    fn of(tables: &Tables) -> Self {
        let mut each: Vec<Vec<u8>> = Vec::new();
        for erase in tables.bands.iter().map(erase) {
            if !each.contains(&erase) {
                each.push(erase);
            }
        }
        Erases(each)
    }

    fn index(&self, band: &BandTable) -> u32 {
        let own = erase(band);
        self.0.iter().position(|e| *e == own).unwrap_or(0) as u32
    }

    fn bytes(&self) -> Vec<u8> {
        let mut out = Vec::new();
        self.0.iter().for_each(|e| put_section(&mut out, e));
        out
    }
}

fn erase(band: &BandTable) -> Vec<u8> {
    let mut out = Vec::new();
    put_number(&mut out, band.rest_ticks);
    put_number(&mut out, band.strokes.len() as u32);
    for stroke in &band.strokes {
        put_number(&mut out, stroke.row_rail.into());
        put_number(&mut out, stroke.ticks);
    }
    out
}

fn band(tables: &Tables, band: &BandTable, erases: &Erases) -> Vec<u8> {
    let mut out = Vec::new();
    put_signed(&mut out, band.low_16.into());
    put_number(&mut out, rise(band.low_16, band.high_16));
    for number in [
        band.refresh_ms,
        band.tick_us,
        band.settle_ticks,
        erases.index(band),
    ] {
        put_number(&mut out, number);
    }
    put_number(&mut out, band.balance.map_or(0, |b| b.step));
    if let Some(balance) = band.balance {
        put_number(&mut out, balance.column_pair.into());
    }
    stretch(&mut out, &band.stretch);
    let own = band.targets_lstar_100.as_ref();
    put_section(&mut out, &own.map_or(Vec::new(), |t| ladder(t)));
    if tables.zones_max().is_some() {
        let rows = band.rows_of_tables(tables.rows);
        put_number(&mut out, rows.len() as u32);
        rows.iter()
            .for_each(|n| put_number(&mut out, u32::from(*n)));
    }
    put_number(&mut out, band.fields.len() as u32);
    for (i, f) in band.fields.iter().enumerate() {
        let of = |table: &[Vec<u16>]| table.iter().map(|t| t[i]).collect();
        let zones: Vec<Vec<u16>> = band.tables().map(of).collect();
        field(&mut out, f, &zones);
    }
    out
}

fn rise(from: i16, to: i16) -> u32 {
    (i32::from(to) - i32::from(from)) as u32
}

fn stretch(out: &mut Vec<u8>, entries: &[StretchTable]) {
    put_number(out, entries.len() as u32);
    let mut before = None;
    for entry in entries {
        match before {
            None => put_signed(out, entry.temperature_16.into()),
            Some(t) => put_number(out, rise(t, entry.temperature_16)),
        }
        put_number(out, entry.factor_4096.into());
        before = Some(entry.temperature_16);
    }
}

/// Rising numbers never differ by more than 16 bits.
fn ladder(targets: &[u16]) -> Vec<u8> {
    by_steps(targets).unwrap_or_default()
}

/// With the ticks of every level in each zone; one where all rows are alike.
fn field(out: &mut Vec<u8>, f: &FieldTable, zones: &[Vec<u16>]) {
    let mut zones = zones.iter().map(|ticks| zone(f, ticks));
    let (stepped, ticks) = zones.next().unwrap_or_default();
    let mirrored = if f.mirrored { MIRRORED } else { 0 };
    let stepped = if stepped { STEPPED } else { 0 };
    for number in [
        f.row_rail.into(),
        f.column_pair.into(),
        f.tick_us,
        f.slot_ticks.into(),
        f.guard_ticks.into(),
        mirrored | stepped,
        f.gain.unsigned_abs(),
    ] {
        put_number(out, number);
    }
    out.extend(ticks);
    for (stepped, ticks) in zones {
        put_number(out, stepped.into());
        out.extend(ticks);
    }
}

/// Ticks of every level in whichever way takes fewer bytes; whether by their steps.
fn zone(f: &FieldTable, ticks: &[u16]) -> (bool, Vec<u8>) {
    let mut each = Vec::new();
    put_packed(&mut each, width_of(f.slot_ticks), ticks.iter().copied());
    let steps = by_steps(ticks).filter(|s| s.len() < each.len());
    (steps.is_some(), steps.unwrap_or(each))
}
