//! The one way from a set to the integers of its table.

use super::hash::parameter_hash;
use super::quantise::{Kind, Quantiser, count, refused};
use super::rails::{DriverMap, coded, millivolts, rails_of};
use super::tables::{
    BalanceTable, BandTable, FieldTable, Rail, StretchTable, StrokeTable, Tables, ZoneTable,
};
use crate::drive::{Field, Zone};
use crate::error::Result;
use crate::waveforms::{Band, Waveforms};

const US_PER_MS: f64 = 1000.0;
const US_PER_S: f64 = 1e6;
/// A column's charge stays below this in size, so that the player can add in 32 bits, with room for rounding.
const CHARGE_MAX: i64 = 1 << 29;
/// Share by which rounding may change what a tick leaves of charge.
const CHARGE_ERROR_MAX: f64 = 1e-3;

/// How tables are made of a set.
#[derive(Debug, Clone, PartialEq)]
pub struct TableOptions {
    /// A band is kept for so much beyond its limits, °C.
    pub hysteresis_c: f64,
    /// Codes of the drivers; without it rails are numbered.
    pub codes: Option<DriverMap>,
}

/// Where none is given, °C: a sensor's noise doesn't move the panel to and fro between bands (common practice, no source).
pub const HYSTERESIS_C: f64 = 0.5;

impl Default for TableOptions {
    fn default() -> Self {
        TableOptions {
            hysteresis_c: HYSTERESIS_C,
            codes: None,
        }
    }
}

/// Tables of a set, and what rounding did to it in lines of text.
#[derive(Debug, Clone, PartialEq)]
pub struct Built {
    pub tables: Tables,
    pub rounding: Vec<String>,
}

impl Built {
    /// The integers of a set as its file holds it.
    ///
    /// # Errors
    /// [`Error::Unmet`](crate::Error::Unmet) when a number does not fit its integer,
    /// [`Error::Inputs`](crate::Error::Inputs) when the driver map lacks a voltage.
    pub fn of(set: &Waveforms, options: &TableOptions) -> Result<Self> {
        // The hash then tells the whole table.
        let set = &set.rounded();
        let mut q = Quantiser::default();
        let (mut row_rails, mut column_rails) = rails_of(set, &mut q)?;
        if let Some(map) = &options.codes {
            coded(map, &mut row_rails, &mut column_rails)?;
        }
        let mut builder = Builder {
            set,
            rows: &row_rails,
            columns: &column_rails,
            q: &mut q,
        };
        let bands = set.bands.iter().enumerate();
        let bands = bands
            .map(|(i, b)| builder.band(&format!("bands[{i}]"), b))
            .collect::<Result<_>>()?;
        let targets_lstar_100 = builder.lightness("targets_lstar", &set.targets_lstar)?;
        let hysteresis_16 = q.integer(Kind::Temperature, options.hysteresis_c, "hysteresis")?;
        let tables = Tables {
            panel: set.panel.name.clone(),
            rows: count(set.panel.rows as u64, "panel.rows")?,
            columns: count(set.panel.columns as u64, "panel.columns")?,
            levels: count(set.levels as u64, "levels")?,
            parameter_hash: parameter_hash(set),
            hysteresis_16,
            row_rails,
            column_rails,
            targets_lstar_100,
            bands,
        };
        tables
            .fault()
            .map_or(Ok(()), |fault| Err(refused(fault, "another set".into())))?;
        Ok(Built {
            tables,
            rounding: q.report(),
        })
    }
}

struct Builder<'a> {
    set: &'a Waveforms,
    rows: &'a [Rail],
    columns: &'a [Rail],
    q: &'a mut Quantiser,
}

impl Builder<'_> {
    fn band(&mut self, path: &str, band: &Band) -> Result<BandTable> {
        let t = &band.temperature_c;
        let tick_us = band.fields.iter().map(|f| f.tick_us).min().unwrap_or(0);
        let charge = self.charge(path, band, tick_us)?;
        let settle_us = self.set.panel.field_settle_ms * US_PER_MS;
        let rest_us = band.erase.rest_ms * US_PER_MS;
        let mut table = BandTable {
            low_16: self.degrees(t.low, format!("{path}.temperature_c.low"))?,
            high_16: self.degrees(t.high, format!("{path}.temperature_c.high"))?,
            refresh_ms: refresh_ms(path, band)?,
            tick_us,
            settle_ticks: self.q.ticks(settle_us, tick_us, "panel.field_settle_ms")?,
            rest_ticks: (self.q).ticks(rest_us, tick_us, format_args!("{path}.erase.rest_ms"))?,
            balance: charge.balance,
            stretch: self.stretch(path, band)?,
            targets_lstar_100: match &band.targets_lstar {
                Some(own) => Some(self.lightness(&format!("{path}.targets_lstar"), own)?),
                None => None,
            },
            strokes: self.strokes(path, band, tick_us)?,
            fields: self.fields(path, band, &charge.gains)?,
            ticks: Vec::new(),
            zones: Vec::new(),
        };
        (table.ticks, table.zones) = tables(path, band)?;
        Ok(table)
    }

    fn degrees(&mut self, t: f64, path: String) -> Result<i16> {
        self.q.integer(Kind::Temperature, t, path)
    }

    fn lightness(&mut self, path: &str, lstar: &[f64]) -> Result<Vec<u16>> {
        let each = lstar.iter().enumerate();
        each.map(|(i, x)| {
            self.q
                .integer(Kind::Lightness, *x, format_args!("{path}[{i}]"))
        })
        .collect()
    }

    fn stretch(&mut self, path: &str, band: &Band) -> Result<Vec<StretchTable>> {
        let mut entries = Vec::new();
        for (i, s) in band.stretch.iter().enumerate() {
            let at = format!("{path}.stretch[{i}]");
            entries.push(StretchTable {
                temperature_16: self.degrees(s.temperature_c, format!("{at}.temperature_c"))?,
                factor_4096: (self.q).integer(Kind::Factor, s.factor, format!("{at}.factor"))?,
            });
        }
        Ok(entries)
    }

    fn strokes(&mut self, path: &str, band: &Band, tick_us: u32) -> Result<Vec<StrokeTable>> {
        let mut strokes = Vec::new();
        for (i, s) in band.erase.strokes.iter().enumerate() {
            let at = format!("{path}.erase.strokes[{i}]");
            strokes.push(StrokeTable {
                row_rail: self.row_rail(s.pixel_v, format!("{at}.pixel_v"))?,
                ticks: (self.q).ticks(s.ms * US_PER_MS, tick_us, format!("{at}.ms"))?,
            });
        }
        Ok(strokes)
    }

    fn row_rail(&mut self, v: f64, path: String) -> Result<u16> {
        let mv = millivolts(v, path, self.q)?;
        Ok(self.rows.iter().position(|r| r.mv == mv).unwrap_or(0) as u16)
    }

    /// Which pair of column rails stands at ±v.
    fn column_pair(&mut self, v: f64, path: String) -> Result<u16> {
        let mv = millivolts(v, path, self.q)?;
        let rail = self.columns.iter().position(|r| r.mv == mv).unwrap_or(0);
        Ok(rail.div_ceil(2) as u16)
    }

    fn fields(&mut self, path: &str, band: &Band, gains: &[i32]) -> Result<Vec<FieldTable>> {
        let mut fields = Vec::new();
        for (i, (f, &gain)) in band.fields.iter().zip(gains).enumerate() {
            let at = format!("{path}.fields[{i}]");
            fields.push(FieldTable {
                row_rail: self.row_rail(f.select_v, format!("{at}.select_v"))?,
                column_pair: self.column_pair(f.data_v, format!("{at}.data_v"))?,
                tick_us: f.tick_us,
                slot_ticks: count(f.slot_ticks.into(), format_args!("{at}.slot_ticks"))?,
                guard_ticks: count(f.guard_ticks.into(), format_args!("{at}.guard_ticks"))?,
                mirrored: f.mirrored,
                gain,
            });
        }
        Ok(fields)
    }

    /// What a tick of each field leaves on a column and a tick of balance takes back, in the largest unit that is
    /// exact and lets the player add up in 32 bits; where none is, in the smallest that lets it.
    fn charge(&mut self, path: &str, band: &Band, tick_us: u32) -> Result<Charge> {
        let none = Charge {
            gains: vec![0; band.fields.len()],
            balance: None,
        };
        let Some(balance_v) = band.resting_balance_v else {
            return Ok(none);
        };
        let place = format!("{path}.resting_balance_v");
        let column_pair = self.column_pair(balance_v, place.clone())?;
        let step = i64::from(millivolts(balance_v, place.clone(), self.q)?) * i64::from(tick_us);
        let mut gains = Vec::new();
        for f in &band.fields {
            gains.push(self.gain_mv_us(&place, f)?);
        }
        let slots = band.fields.iter().zip(&gains);
        let column: i64 = slots
            .map(|(f, g)| g.abs().saturating_mul(2 * i64::from(f.slot_ticks)))
            .fold(step, i64::saturating_add)
            .saturating_mul(self.set.panel.rows as i64);
        let exact = gains.iter().fold(step, |a, b| gcd(a, b.abs()));
        let unit = exact.max(column / CHARGE_MAX + 1);
        let error = |mv_us: i64, units: i64| {
            mv_us != 0 && ((units * unit - mv_us) as f64 / mv_us as f64).abs() > CHARGE_ERROR_MAX
        };
        let rounded: Vec<i64> = gains.iter().map(|g| self.q.charge(*g, unit)).collect();
        let units = self.q.charge(step, unit);
        if step <= 0 || error(step, units) || gains.iter().zip(&rounded).any(|(g, r)| error(*g, *r))
        {
            return Err(refused(
                format!("the charge of a column at {place} = {balance_v} V does not fit 32 bits"),
                "voltages with fewer digits, fewer rows, or another resting balance".into(),
            ));
        }
        Ok(Charge {
            gains: rounded.iter().map(|g| *g as i32).collect(),
            balance: Some(BalanceTable {
                column_pair,
                step: units as u32,
            }),
        })
    }

    /// Charge that a tick on leaves on a pixel of another row, mV·µs.
    fn gain_mv_us(&mut self, path: &str, f: &Field) -> Result<i64> {
        if f.mirrored {
            return Ok(0);
        }
        let mv = millivolts(f.other_on_v(), path.to_owned(), self.q)?;
        Ok(i64::from(mv) * i64::from(f.tick_us))
    }
}

struct Charge {
    gains: Vec<i32>,
    balance: Option<BalanceTable>,
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a.max(1) } else { gcd(b, a % b) }
}

/// Rounded up: a player may wait for it.
fn refresh_ms(path: &str, band: &Band) -> Result<u32> {
    let us = (band.refresh_s * US_PER_S).round();
    count(
        (us / US_PER_MS).ceil() as u64,
        format_args!("{path}.refresh_s in ms"),
    )
}

/// One table for all rows, or zones; one zone alone is a table for all rows.
fn tables(path: &str, band: &Band) -> Result<(Vec<Vec<u16>>, Vec<ZoneTable>)> {
    match &band.zones[..] {
        [] => Ok((ticks(&format!("{path}.ticks"), &band.ticks)?, Vec::new())),
        [whole] => Ok((
            ticks(&format!("{path}.zones[0].ticks"), &whole.ticks)?,
            Vec::new(),
        )),
        several => Ok((Vec::new(), zones(path, several)?)),
    }
}

fn zones(path: &str, zones: &[Zone]) -> Result<Vec<ZoneTable>> {
    let zone = |(i, z): (usize, &Zone)| {
        let at = format!("{path}.zones[{i}]");
        Ok(ZoneTable {
            row_first: count(z.row_first as u64, format_args!("{at}.row_first"))?,
            row_last: count(z.row_last as u64, format_args!("{at}.row_last"))?,
            ticks: ticks(&format!("{at}.ticks"), &z.ticks)?,
        })
    };
    zones.iter().enumerate().map(zone).collect()
}

fn ticks(path: &str, table: &[Vec<u32>]) -> Result<Vec<Vec<u16>>> {
    let mut levels = Vec::new();
    for (level, row) in table.iter().enumerate() {
        let narrow =
            |(f, t): (usize, &u32)| count((*t).into(), format_args!("{path}[{level}][{f}]"));
        levels.push(row.iter().enumerate().map(narrow).collect::<Result<_>>()?);
    }
    Ok(levels)
}
