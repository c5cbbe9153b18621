//! What integers must hold so that any player can trust them.

use super::tables::{BandTable, Rail, StretchTable, Tables, ZoneTable};
use crate::drive::ZONES_MAX;
use crate::waveforms::LEVELS;

/// Most bands, and most strokes, fields or stretch entries of one.
pub(super) const LIST_MAX: usize = 256;
/// Beyond it nobody means a hysteresis.
const HYSTERESIS_MAX_16: u16 = 100 * 16;
/// Highest magnitude of a rail: three bytes, far above any driver.
const MV_MAX: u32 = 1 << 23;
/// Longest tick that the player's arithmetic takes, µs.
const TICK_US_MAX: u32 = (1 << 24) - 1;
/// Largest charge of a column, in units of the table.
const CHARGE_MAX: u64 = 1 << 30;

impl Tables {
    /// The first thing that can't be, in words.
    pub fn fault(&self) -> Option<String> {
        self.check().err()
    }

    fn check(&self) -> Result<(), String> {
        let (rows, columns) = (self.rows, self.columns);
        // The two highest numbers of a row mean none and all.
        want((1..0xFFFE).contains(&rows) && columns > 0, || {
            format!(
                "the panel has {rows} rows and {columns} columns: expected 1 to 65533 rows and at least one column"
            )
        })?;
        want(LEVELS.contains(&usize::from(self.levels)), || {
            format!("{} levels: expected 2 to 256", self.levels)
        })?;
        want(self.hysteresis_16 <= HYSTERESIS_MAX_16, || {
            format!("a hysteresis of {}/16 degree Celsius", self.hysteresis_16)
        })?;
        rails("row", &self.row_rails)?;
        rails("column", &self.column_rails)?;
        let pairs = self.column_rails[1..].chunks(2);
        want(pairs.into_iter().all(is_pair), || {
            "column rails after 0 are not pairs of +v and -v".into()
        })?;
        self.ladder("targets", &self.targets_lstar_100)?;
        want((1..=LIST_MAX).contains(&self.bands.len()), || {
            format!("{} bands: expected 1 to {LIST_MAX}", self.bands.len())
        })?;
        for (i, band) in self.bands.iter().enumerate() {
            self.band(&format!("band {i}"), band)?;
        }
        let wide = |b: &BandTable| b.low_16 < b.high_16;
        want(self.bands.len() == 1 || self.bands.iter().all(wide), || {
            "a band of less than 1/16 degree Celsius".into()
        })?;
        let meets = |pair: &[BandTable]| pair[0].high_16 == pair[1].low_16;
        want(self.bands.windows(2).all(meets), || {
            "bands do not meet: each begins where the one before ends".into()
        })
    }

    fn ladder(&self, name: &str, targets: &[u16]) -> Result<(), String> {
        want(targets.len() == usize::from(self.levels), || {
            format!(
                "{name}: {} entries for {} levels",
                targets.len(),
                self.levels
            )
        })?;
        want(targets.is_sorted(), || format!("{name} fall"))
    }

    fn band(&self, at: &str, band: &BandTable) -> Result<(), String> {
        want(band.low_16 <= band.high_16, || {
            format!("{at}: low is above high")
        })?;
        tick(at, band.tick_us)?;
        if let Some(own) = &band.targets_lstar_100 {
            self.ladder(&format!("{at}: targets"), own)?;
        }
        let lists = [band.stretch.len(), band.strokes.len(), band.fields.len()];
        want(lists.iter().all(|n| *n <= LIST_MAX), || {
            format!("{at}: more than {LIST_MAX} strokes, fields or stretch entries")
        })?;
        stretch(at, &band.stretch)?;
        let rails = self.row_rails.len();
        for stroke in &band.strokes {
            let holds = usize::from(stroke.row_rail) < rails && stroke.ticks > 0;
            want(holds, || {
                format!("{at}: a stroke without a rail or without ticks")
            })?;
        }
        want(!band.fields.is_empty(), || format!("{at}: no field"))?;
        for field in &band.fields {
            tick(at, field.tick_us)?;
            want(field.slot_ticks > 0, || format!("{at}: a slot of no ticks"))?;
            let row = (1..rails).contains(&usize::from(field.row_rail));
            want(row, || format!("{at}: a field without a rail of its rows"))?;
            self.pair(at, field.column_pair)?;
            let sign = self.row_rail(field.row_rail).mv.signum();
            let driven = field.gain == 0 || (!field.mirrored && field.gain.signum() == sign);
            want(
                driven && (band.balance.is_some() || field.gain == 0),
                || format!("{at}: charge of a field that leaves none or another sign"),
            )?;
        }
        self.balance(at, band)?;
        self.zones(at, band)?;
        band.tables()
            .try_for_each(|table| self.ticks(at, band, table))
    }

    fn pair(&self, at: &str, pair: u16) -> Result<(), String> {
        let holds = pair > 0 && 2 * usize::from(pair) < self.column_rails.len();
        want(holds, || format!("{at}: column rails {pair} are not there"))
    }

    /// A column's charge adds up in 32 bits.
    fn balance(&self, at: &str, band: &BandTable) -> Result<(), String> {
        let Some(balance) = band.balance else {
            return Ok(());
        };
        self.pair(at, balance.column_pair)?;
        let slots = band.fields.iter();
        let slot = slots.map(|f| u64::from(f.gain.unsigned_abs()) * 2 * u64::from(f.slot_ticks));
        let column = slot.fold(u64::from(balance.step), u64::saturating_add);
        let fits = column.saturating_mul(u64::from(self.rows)) <= CHARGE_MAX;
        want(balance.step > 0 && fits, || {
            format!("{at}: the charge of a column does not fit 32 bits")
        })
    }

    /// None, or so many that they cover all rows in order.
    fn zones(&self, at: &str, band: &BandTable) -> Result<(), String> {
        if band.zones.is_empty() {
            return Ok(());
        }
        want(band.ticks.is_empty(), || {
            format!("{at}: ticks beside zones of rows")
        })?;
        want(band.zones.len() <= ZONES_MAX, || {
            format!(
                "{at}: {} zones: expected 1 to {ZONES_MAX}",
                band.zones.len()
            )
        })?;
        let mut next = 0;
        for ZoneTable {
            row_first,
            row_last,
            ..
        } in &band.zones
        {
            let meets = u32::from(*row_first) == next && row_first <= row_last;
            want(meets, || format!("{at}: zones of rows do not meet"))?;
            next = u32::from(*row_last) + 1;
        }
        want(next == u32::from(self.rows), || {
            format!("{at}: zones of {next} rows, not {}", self.rows)
        })
    }

    fn ticks(&self, at: &str, band: &BandTable, table: &[Vec<u16>]) -> Result<(), String> {
        want(table.len() == usize::from(self.levels), || {
            format!("{at}: ticks of {} levels, not {}", table.len(), self.levels)
        })?;
        for (level, row) in table.iter().enumerate() {
            let fields = band.fields.iter();
            let within = fields.zip(row).all(|(f, t)| *t <= f.slot_ticks);
            want(row.len() == band.fields.len() && within, || {
                format!("{at}: ticks of level {level} beyond the slot")
            })?;
        }
        Ok(())
    }
}

fn want(holds: bool, fault: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(fault()) }
}

fn rails(line: &str, rails: &[Rail]) -> Result<(), String> {
    let zero = rails.first().is_some_and(|r| r.mv == 0);
    want(zero, || format!("the first {line} rail is not 0 V"))?;
    let known = rails.iter().all(|r| r.mv.unsigned_abs() <= MV_MAX);
    want(known, || format!("a {line} rail beyond {MV_MAX} mV"))
}

fn is_pair(pair: &[Rail]) -> bool {
    pair.len() == 2 && pair[0].mv > 0 && pair[1].mv == -pair[0].mv
}

fn tick(at: &str, tick_us: u32) -> Result<(), String> {
    want((1..=TICK_US_MAX).contains(&tick_us), || {
        format!("{at}: a tick of {tick_us} us: expected 1 to {TICK_US_MAX}")
    })
}

/// Rising, and so near that the player interpolates in 32 bits.
fn stretch(at: &str, entries: &[StretchTable]) -> Result<(), String> {
    let factors = entries.iter().all(|s| s.factor_4096 > 0);
    want(factors, || format!("{at}: a stretch factor of 0"))?;
    let near = |pair: &[StretchTable]| {
        let over = i64::from(pair[1].temperature_16) - i64::from(pair[0].temperature_16);
        let rise = i64::from(pair[1].factor_4096) - i64::from(pair[0].factor_4096);
        over >= 0 && 2 * over * rise.abs() + over < i64::from(i32::MAX)
    };
    want(entries.windows(2).all(near), || {
        format!("{at}: stretch entries fall, or are too far apart for 32 bits")
    })
}
