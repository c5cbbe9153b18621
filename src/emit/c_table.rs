//! `table.h`: a set as constants for C99 firmware.

use super::c_text::{array, check_prefix, comma_separated, comment_text, number_rows};
use super::hash::parameter_hash;
use super::quantise::{Kind, Quantiser, count};
use crate::drive::{Erase, Field};
use crate::error::Result;
use crate::waveforms::{Band, FORMAT, StretchAt, VERSION, Waveforms};
use std::fmt::Write;

/// Guard, types and the places where the data go; `greyloom` stands for the prefix.
const TEMPLATE: &str = include_str!("table.h.in");

const US_PER_MS: f64 = 1000.0;
const MV_PER_V: f64 = 1000.0;
const US_PER_S: f64 = 1e6;
const NUMBERS_A_LINE: usize = 8;

/// The C table of a set.
///
/// Voltages in mV, durations in µs, temperatures in 1/16 °C, stretch factors in 1/4096, lightness in
/// 1/100 L*, ticks as 8-bit numbers. The comment on top tells format, version, CRC-32 of the set's
/// JSON, units, axes and the worst rounding error. No time stamp: one set gives the same bytes.
///
/// `prefix` begins every name; `<prefix>_bands` is the table.
///
/// # Errors
/// [`Error::Usage`](crate::Error::Usage) when `prefix` is not a C identifier,
/// [`Error::Unmet`](crate::Error::Unmet) when a number does not fit its integer.
pub fn c_table(set: &Waveforms, prefix: &str) -> Result<String> {
    check_prefix(prefix)?;
    // As its file holds it: the hash then tells the whole table.
    let set = &set.rounded();
    let mut quantiser = Quantiser::default();
    let data = Data { set, prefix }.all(&mut quantiser)?;
    let sized = TEMPLATE
        .replace("GREYLOOM", &prefix.to_ascii_uppercase())
        .replace("greyloom", prefix)
        .replace("@levels@", &set.levels.to_string())
        .replace("@rows@", &set.panel.rows.to_string())
        .replace("@columns@", &set.panel.columns.to_string())
        .replace("@bands@", &set.bands.len().to_string())
        .replace("@crc32@", &format!("0x{:08X}u", parameter_hash(set)))
        .replace("@data@", &data);
    Ok(header(set, &quantiser) + &sized)
}

/// The comment that lets the file explain itself.
fn header(set: &Waveforms, quantiser: &Quantiser) -> String {
    let name = comment_text(&set.panel.name);
    let (line_v, pixel_v) = highest_voltages(set);
    let lines = [
        format!(
            "Waveforms of panel \"{name}\": {} levels, {}.",
            set.levels,
            bands_in_words(set)
        ),
        format!("Written by greyloom from {FORMAT} version {VERSION}; do not edit."),
        format!(
            "Parameter hash 0x{:08X}: CRC-32/ISO-HDLC of the set's waveforms.json.",
            parameter_hash(set)
        ),
        String::new(),
        "Units: mV, us, 1/16 degree Celsius, stretch factor 1/4096, 1/100 L*.".into(),
        "Signs: pixel voltage is row minus column; positive darkens.".into(),
        "Axes: ticks[level][field]; level 0 is darkest; fields in the order of play.".into(),
        "Play: strokes, then each field (rows 0 to last, settle after it), then rest;".into(),
        "  every duration times the stretch factor of the temperature, which the clock".into(),
        "  rounds to the nearest of its steps, counted from 1.".into(),
        "Rounding: to nearest, halves away from zero. Worst error in this table:".into(),
    ];
    let caution = [
        String::new(),
        format!(
            "CAUTION. These numbers put up to {line_v} V on a line and {pixel_v} V across a pixel."
        ),
        "Where people can touch the circuit, or an erase makes large areas flash,".into(),
        "follow the local codes for electrical safety and for flashing light, and have".into(),
        "licensed practice review the installation. This table does not replace that.".into(),
    ];
    let all = lines.into_iter().chain(quantiser.report()).chain(caution);
    let body: String = all
        .map(|l| format!(" * {l}").trim_end().to_owned() + "\n")
        .collect();
    format!("/*\n{body} */\n")
}

/// `1 temperature band`, `4 temperature bands`.
pub fn bands_in_words(set: &Waveforms) -> String {
    match set.bands.len() {
        1 => "1 temperature band".to_owned(),
        n => format!("{n} temperature bands"),
    }
}

/// Highest magnitude on a line, and across a pixel, V.
fn highest_voltages(set: &Waveforms) -> (f64, f64) {
    let fields = || set.bands.iter().flat_map(|b| &b.fields);
    let strokes = set
        .bands
        .iter()
        .flat_map(|b| &b.erase.strokes)
        .map(|s| s.pixel_v.abs());
    let erase_v = strokes.fold(0.0, f64::max);
    let line = fields()
        .map(|f| f.select_v.abs().max(f.data_v.abs()))
        .fold(erase_v, f64::max);
    let pixel = fields()
        .map(|f| f.select_v.abs() + f.data_v.abs())
        .fold(erase_v, f64::max);
    (line, pixel)
}

struct Data<'a> {
    set: &'a Waveforms,
    prefix: &'a str,
}

impl Data<'_> {
    /// Every array, then the bands that point to them.
    fn all(&self, q: &mut Quantiser) -> Result<String> {
        let mut out = self.lightness("targets", "targets_lstar", &self.set.targets_lstar, q)?;
        let mut rows = Vec::new();
        for (i, band) in self.set.bands.iter().enumerate() {
            out += &self.arrays(i, band, q)?;
            rows.push(self.band(i, band, q)?);
        }
        let (prefix, length) = (self.prefix, rows.len());
        out += &array(
            &format!("struct {prefix}_band"),
            &format!("{prefix}_bands"),
            length,
            &rows,
        );
        Ok(out.trim_end().to_owned() + "\n")
    }

    fn name(&self, band: usize, what: &str) -> String {
        format!("{}_band{band}_{what}", self.prefix)
    }

    fn arrays(&self, i: usize, band: &Band, q: &mut Quantiser) -> Result<String> {
        let path = format!("bands[{i}]");
        let t = &band.temperature_c;
        let mut out = String::new();
        let _ = writeln!(
            out,
            "/* Band {i}: {} to {} degree Celsius. */",
            t.low, t.high
        );
        out += &self.structs(i, "stroke", strokes(&path, &band.erase, q)?);
        out += &self.structs(i, "field", fields(&path, &band.fields, q)?);
        out += &self.structs(i, "stretch", stretches(&path, &band.stretch, q)?);
        out += &self.ticks(i, band)?;
        if let Some(own) = &band.targets_lstar {
            let place = format!("{path}.targets_lstar");
            out += &self.lightness(&format!("band{i}_targets"), &place, own, q)?;
        }
        let place = format!("{path}.predicted.lstar");
        out += &self.lightness(&format!("band{i}_lstar"), &place, &band.predicted.lstar, q)?;
        Ok(out)
    }

    fn structs(&self, band: usize, what: &str, rows: Vec<String>) -> String {
        let c_type = format!("struct {}_{what}", self.prefix);
        array(&c_type, &self.name(band, what), rows.len(), &rows)
    }

    fn ticks(&self, i: usize, band: &Band) -> Result<String> {
        let mut rows = Vec::new();
        for (level, row) in band.ticks.iter().enumerate() {
            let narrow = |(f, t): (usize, &u32)| {
                count::<u8>((*t).into(), format_args!("bands[{i}].ticks[{level}][{f}]"))
            };
            let row: Vec<u8> = row.iter().enumerate().map(narrow).collect::<Result<_>>()?;
            rows.push(comma_separated(&row));
        }
        let length = band.ticks.iter().map(Vec::len).sum();
        Ok(array("uint8_t", &self.name(i, "ticks"), length, &rows))
    }

    fn lightness(
        &self,
        name: &str,
        path: &str,
        lstar: &[f64],
        q: &mut Quantiser,
    ) -> Result<String> {
        let mut numbers: Vec<u16> = Vec::new();
        for (level, x) in lstar.iter().enumerate() {
            numbers.push(q.integer(Kind::Lightness, *x, format_args!("{path}[{level}]"))?);
        }
        let rows = number_rows(&numbers, NUMBERS_A_LINE);
        Ok(array(
            "uint16_t",
            &format!("{}_{name}", self.prefix),
            numbers.len(),
            &rows,
        ))
    }

    fn band(&self, i: usize, band: &Band, q: &mut Quantiser) -> Result<String> {
        let path = format!("bands[{i}]");
        let t = &band.temperature_c;
        let mut degrees = Vec::new();
        for (key, x) in [("low", t.low), ("design", t.design), ("high", t.high)] {
            let place = format_args!("{path}.temperature_c.{key}");
            degrees.push(q.integer::<i16>(Kind::Temperature, x, place)?);
        }
        let counts = [
            band.erase.strokes.len(),
            band.fields.len(),
            band.stretch.len(),
        ];
        let counts: Vec<u16> = counts
            .iter()
            .map(|n| count(*n as u64, format_args!("entries of a list of {path}")))
            .collect::<Result<_>>()?;
        let settle: u32 = q.integer(
            Kind::Duration,
            self.set.panel.field_settle_ms * US_PER_MS,
            "panel.field_settle_ms",
        )?;
        let rest: u32 = q.integer(
            Kind::Duration,
            band.erase.rest_ms * US_PER_MS,
            format_args!("{path}.erase.rest_ms"),
        )?;
        let refresh_ms = refresh_ms(&path, band)?;
        let balance: i32 = q.integer(
            Kind::Voltage,
            band.resting_balance_v.unwrap_or(0.0) * MV_PER_V,
            format_args!("{path}.resting_balance_v"),
        )?;
        Ok(format!(
            "{{ {}, {}, {settle}u, {rest}u, {refresh_ms}u, {balance},\n      {} }}",
            comma_separated(&degrees),
            comma_separated(&counts),
            self.pointers(i, band).join(", ")
        ))
    }

    /// The arrays of a band, 0 for one that has no entries.
    fn pointers(&self, i: usize, band: &Band) -> [String; 6] {
        let or_null = |what: &str, empty: bool| {
            if empty {
                "0".to_owned()
            } else {
                self.name(i, what)
            }
        };
        let own = band.targets_lstar.is_some();
        let targets = if own {
            self.name(i, "targets")
        } else {
            format!("{}_targets", self.prefix)
        };
        [
            or_null("stroke", band.erase.strokes.is_empty()),
            or_null("field", band.fields.is_empty()),
            or_null("stretch", band.stretch.is_empty()),
            self.name(i, "ticks"),
            targets,
            self.name(i, "lstar"),
        ]
    }
}

/// Rounded up: a player may wait for it.
fn refresh_ms(path: &str, band: &Band) -> Result<u32> {
    let us = (band.refresh_s * US_PER_S).round();
    count(
        (us / US_PER_MS).ceil() as u64,
        format_args!("{path}.refresh_s in ms"),
    )
}

fn strokes(path: &str, erase: &Erase, q: &mut Quantiser) -> Result<Vec<String>> {
    let mut rows = Vec::new();
    for (i, s) in erase.strokes.iter().enumerate() {
        let at = format!("{path}.erase.strokes[{i}]");
        let mv: i32 = q.integer(
            Kind::Voltage,
            s.pixel_v * MV_PER_V,
            format_args!("{at}.pixel_v"),
        )?;
        let us: u32 = q.integer(Kind::Duration, s.ms * US_PER_MS, format_args!("{at}.ms"))?;
        rows.push(format!("{{ {mv}, {us}u }}"));
    }
    Ok(rows)
}

fn fields(path: &str, fields: &[Field], q: &mut Quantiser) -> Result<Vec<String>> {
    let mut rows = Vec::new();
    for (i, f) in fields.iter().enumerate() {
        let at = format!("{path}.fields[{i}]");
        let select: i32 = q.integer(
            Kind::Voltage,
            f.select_v * MV_PER_V,
            format_args!("{at}.select_v"),
        )?;
        let data: i32 = q.integer(
            Kind::Voltage,
            f.data_v * MV_PER_V,
            format_args!("{at}.data_v"),
        )?;
        let slot: u16 = count(f.slot_ticks.into(), format_args!("{at}.slot_ticks"))?;
        let guard: u16 = count(f.guard_ticks.into(), format_args!("{at}.guard_ticks"))?;
        let (tick, mirrored) = (f.tick_us, u8::from(f.mirrored));
        rows.push(format!(
            "{{ {select}, {data}, {tick}u, {slot}, {guard}, {mirrored} }}"
        ));
    }
    Ok(rows)
}

fn stretches(path: &str, entries: &[StretchAt], q: &mut Quantiser) -> Result<Vec<String>> {
    let mut rows = Vec::new();
    for (i, s) in entries.iter().enumerate() {
        let at = format!("{path}.stretch[{i}]");
        let t: i16 = q.integer(
            Kind::Temperature,
            s.temperature_c,
            format_args!("{at}.temperature_c"),
        )?;
        let factor: u16 = q.integer(Kind::Factor, s.factor, format_args!("{at}.factor"))?;
        rows.push(format!("{{ {t}, {factor} }}"));
    }
    Ok(rows)
}
