//! What a binary table holds.

use super::lines::{Side, table};
use super::passages;
use super::words::{count, number};
use crate::emit::{BandTable, Rail, Tables};
use serde::Serialize;
use std::fmt;

/// What `greyloom verify-image` tells.
#[derive(Debug, Serialize)]
pub struct ImageReport<'a> {
    pub file: String,
    pub bytes: usize,
    /// The set that it was found to hold.
    pub waveforms: Option<String>,
    pub tables: &'a Tables,
    pub notes: &'a str,
}

impl ImageReport<'_> {
    /// One JSON document.
    pub fn to_json(&self) -> String {
        super::to_json(self)
    }

    fn head(&self) -> String {
        let t = self.tables;
        let matches = self.waveforms.as_ref().map_or_else(
            || "not compared; --waveforms W names the set that it should hold".to_owned(),
            |w| format!("every number is that of {w}"),
        );
        let header = format!(
            "version {}, {} bytes, both CRC-32 right, parameter hash 0x{:08X}",
            t.version(),
            self.bytes,
            t.parameter_hash
        );
        let panel = format!(
            "{}: {} × {} pixels, {} levels, {}, kept {} °C beyond their limits",
            t.panel,
            t.rows,
            t.columns,
            t.levels,
            count(t.bands.len(), "temperature band"),
            sixteenths(t.hysteresis_16 as i16)
        );
        let mut rows = vec![
            ("image", header),
            ("panel", panel),
            ("waveforms", matches),
            ("rows", codes(&t.row_rails)),
            ("columns", codes(&t.column_rails)),
        ];
        if t.zones_max().is_some() {
            rows.push(("zones", zones(t)));
        }
        format!("{}\n{}", self.file, passages(&rows))
    }

    fn bands(&self) -> String {
        let names = [
            "band",
            "°C",
            "refresh, s",
            "tick, ms",
            "strokes",
            "fields",
            "settle, ticks",
            "rest, ticks",
            "stretch",
            "balance, V",
        ];
        let mut rows = vec![names.map(str::to_owned).to_vec()];
        rows.extend(
            self.tables
                .bands
                .iter()
                .enumerate()
                .map(|(i, b)| self.band(i, b)),
        );
        table(&[Side::Right; 10], &rows, 2)
    }

    fn band(&self, i: usize, b: &BandTable) -> Vec<String> {
        let factors = b.stretch.iter().map(|s| f64::from(s.factor_4096) / 4096.0);
        let (low, high) = factors.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), f| {
            (low.min(f), high.max(f))
        });
        let stretch = if b.stretch.is_empty() {
            "1".to_owned()
        } else {
            format!("{}…{}", number(low, 3), number(high, 3))
        };
        let balance = b.balance.map_or("none".to_owned(), |x| {
            volts(self.tables.column_pair(x.column_pair).0.mv)
        });
        vec![
            (i + 1).to_string(),
            format!("{}…{}", sixteenths(b.low_16), sixteenths(b.high_16)),
            number(f64::from(b.refresh_ms) / 1e3, 3),
            milliseconds(b.tick_us),
            b.strokes.len().to_string(),
            b.fields.len().to_string(),
            b.settle_ticks.to_string(),
            b.rest_ticks.to_string(),
            stretch,
            balance,
        ]
    }

    fn fields(&self) -> String {
        let names = [
            "band",
            "field",
            "select, V",
            "data, V",
            "tick, ms",
            "slot",
            "guard",
            "mirrored",
            "ticks of a level",
        ];
        let mut rows = vec![names.map(str::to_owned).to_vec()];
        for (i, band) in self.tables.bands.iter().enumerate() {
            for (k, f) in band.fields.iter().enumerate() {
                let ticks = || band.tables().flatten().map(|t| t[k]);
                let (least, most) = (ticks().min().unwrap_or(0), ticks().max().unwrap_or(0));
                rows.push(vec![
                    (i + 1).to_string(),
                    (k + 1).to_string(),
                    volts(self.tables.row_rail(f.row_rail).mv),
                    volts(self.tables.column_pair(f.column_pair).0.mv),
                    milliseconds(f.tick_us),
                    f.slot_ticks.to_string(),
                    f.guard_ticks.to_string(),
                    if f.mirrored { "yes" } else { "no" }.to_owned(),
                    format!("{least}…{most}"),
                ]);
            }
        }
        table(&[Side::Right; 9], &rows, 2)
    }
}

impl fmt::Display for ImageReport<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}\n{}\n{}", self.head(), self.bands(), self.fields())?;
        if self.notes.is_empty() {
            return Ok(());
        }
        writeln!(f, "\nIts own description:")?;
        self.notes
            .lines()
            .try_for_each(|line| writeln!(f, "{}", format!("  {line}").trim_end()))
    }
}

/// Which rows of a band have a table of their own.
fn zones(t: &Tables) -> String {
    let band = |(i, b): (usize, &BandTable)| {
        let rows = b
            .zones
            .iter()
            .map(|z| (z.row_first.into(), z.row_last.into()));
        format!("band {}: {}", i + 1, super::words::row_zones(rows))
    };
    let zoned = t
        .bands
        .iter()
        .enumerate()
        .filter(|(_, b)| !b.zones.is_empty());
    let each: Vec<String> = zoned.map(band).collect();
    each.join("; ")
}

fn sixteenths(t: i16) -> String {
    number(f64::from(t) / 16.0, 4)
}

fn volts(mv: i32) -> String {
    number(f64::from(mv) / 1e3, 3)
}

fn milliseconds(us: u32) -> String {
    number(f64::from(us) / 1e3, 3)
}

/// `code 0 at 0 V, 1 at -18 V, …`.
fn codes(rails: &[Rail]) -> String {
    let each = rails
        .iter()
        .map(|r| format!("{} at {} V", r.code, volts(r.mv)));
    format!("code {}", each.collect::<Vec<_>>().join(", "))
}
