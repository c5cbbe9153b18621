//! The integers of a firmware table, each once: every form is written from these.

use serde::Serialize;

/// A set of waveforms as integers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Tables {
    pub panel: String,
    pub rows: u16,
    pub columns: u16,
    /// 2…256.
    pub levels: u16,
    /// CRC-32/ISO-HDLC of the set's JSON.
    pub parameter_hash: u32,
    /// A band is kept for so much beyond its limits, 1/16 °C.
    pub hysteresis_16: u16,
    /// Voltages of row lines; the first is 0.
    pub row_rails: Vec<Rail>,
    /// Voltages of column lines: 0, then pairs of +v and −v.
    pub column_rails: Vec<Rail>,
    /// The common ladder, 1/100 L*, darkest first.
    pub targets_lstar_100: Vec<u16>,
    /// Coldest first.
    pub bands: Vec<BandTable>,
}

/// A voltage of a line and the code that its driver takes for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Rail {
    pub mv: i32,
    pub code: u16,
}

/// What serves one interval of temperature: low ≤ t < high; the last band serves its high end too.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BandTable {
    /// 1/16 °C.
    pub low_16: i16,
    pub high_16: i16,
    /// The longest in the band, stretch included, rounded up.
    pub refresh_ms: u32,
    /// Tick of strokes, settling, rest and balance: the shortest of the fields'.
    pub tick_us: u32,
    /// All lines at 0 after each field.
    pub settle_ticks: u32,
    /// All lines at 0 after the last field.
    pub rest_ticks: u32,
    pub balance: Option<BalanceTable>,
    /// Factor on every tick, linear between entries, clamped at the ends; empty means 1.
    pub stretch: Vec<StretchTable>,
    /// The band's own ladder, 1/100 L*, where it has one.
    pub targets_lstar_100: Option<Vec<u16>>,
    pub strokes: Vec<StrokeTable>,
    pub fields: Vec<FieldTable>,
    /// `[level][field]`, level 0 darkest; none where rows have their ticks by zones.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ticks: Vec<Vec<u16>>,
    /// In place of `ticks`: zones that cover all rows in order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<ZoneTable>,
}

/// Neighbouring rows with ticks of their own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ZoneTable {
    pub row_first: u16,
    pub row_last: u16,
    /// `[level][field]`, level 0 darkest.
    pub ticks: Vec<Vec<u16>>,
}

/// The resting balance: rows at 0, each column at ± this voltage until it has taken its data's charge back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct BalanceTable {
    /// Pair of column rails: +v is rail 2·pair − 1, −v rail 2·pair.
    pub column_pair: u16,
    /// Charge that one tick takes back, in the unit of [`FieldTable::gain`]; above 0.
    pub step: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct StretchTable {
    /// 1/16 °C.
    pub temperature_16: i16,
    /// 4096 is 1.
    pub factor_4096: u16,
}

/// One voltage on all rows at once, columns at 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct StrokeTable {
    pub row_rail: u16,
    pub ticks: u32,
}

/// One pass over all rows, a slot each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct FieldTable {
    /// Of the selected row; below 0 where the field lightens.
    pub row_rail: u16,
    /// Pair of column rails: on is −v, off is +v; swapped where the field lightens.
    pub column_pair: u16,
    pub tick_us: u32,
    /// Ticks for which one row is selected.
    pub slot_ticks: u16,
    /// Then all lines at 0 for so many ticks.
    pub guard_ticks: u16,
    /// After each slot its column waveform inverted, no row selected.
    pub mirrored: bool,
    /// Charge that a tick on leaves on a column's pixels, and a tick off takes, in a unit common to the band; 0
    /// where mirrored or not balanced.
    pub gain: i32,
}

impl Tables {
    pub fn row_rail(&self, rail: u16) -> Rail {
        self.row_rails[usize::from(rail)]
    }

    /// +v and −v of a pair of column rails.
    pub fn column_pair(&self, pair: u16) -> (Rail, Rail) {
        let minus = 2 * usize::from(pair);
        (self.column_rails[minus - 1], self.column_rails[minus])
    }

    /// Column rails of a field while on, and while off.
    pub fn on_off(&self, field: &FieldTable) -> (Rail, Rail) {
        let (plus, minus) = self.column_pair(field.column_pair);
        if self.row_rail(field.row_rail).mv < 0 {
            (plus, minus)
        } else {
            (minus, plus)
        }
    }

    /// Version of the table's layout: 2 where a band has zones of rows, which a player of version 1 would not know, else 1.
    pub fn version(&self) -> u16 {
        if self.zones_max().is_some() { 2 } else { 1 }
    }

    /// The most zones of any band; `None` where no band has zones.
    pub fn zones_max(&self) -> Option<usize> {
        let zones = self.bands.iter().map(|b| b.zones.len());
        zones.max().filter(|&most| most > 0)
    }

    /// Whether some band has the common ladder.
    pub fn common_ladder(&self) -> bool {
        self.bands.iter().any(|b| b.targets_lstar_100.is_none())
    }

    /// Whether 8 bits hold every code.
    pub fn narrow_codes(&self) -> bool {
        let all = self.row_rails.iter().chain(&self.column_rails);
        all.map(|r| r.code).max().unwrap_or(0) <= u16::from(u8::MAX)
    }

    /// The most ticks that any level is on in one slot.
    pub fn most_ticks(&self) -> u16 {
        let tables = self.bands.iter().flat_map(BandTable::tables);
        let all = tables.flatten().flatten();
        all.copied().max().unwrap_or(0)
    }
}

impl BandTable {
    /// Ticks `[level][field]`: of all rows, or of each zone in the order of rows.
    pub fn tables(&self) -> impl Iterator<Item = &[Vec<u16>]> {
        let alone = self.zones.is_empty().then_some(&self.ticks[..]);
        alone
            .into_iter()
            .chain(self.zones.iter().map(|z| &z.ticks[..]))
    }

    /// How many rows each of these tables serves on a panel of `rows` rows.
    pub fn rows_of_tables(&self, rows: u16) -> Vec<u16> {
        if self.zones.is_empty() {
            return vec![rows];
        }
        let each = self.zones.iter();
        each.map(|z| z.row_last.saturating_sub(z.row_first).saturating_add(1))
            .collect()
    }

    /// How many numbers its ticks are.
    pub fn tick_count(&self) -> usize {
        self.tables().map(|t| t.len() * self.fields.len()).sum()
    }

    /// Factor on every tick at a temperature, 1/4096: linear between entries, to nearest with halves away from zero,
    /// clamped at the ends; `temperature_16` in 1/16 °C.
    pub fn factor_4096(&self, temperature_16: i16) -> u16 {
        let Some(first) = self.stretch.first() else {
            return 4096;
        };
        let mut factor = first.factor_4096;
        for pair in self.stretch.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            if temperature_16 < a.temperature_16 {
                break;
            }
            let [from, to] = [a, b].map(|s| i64::from(s.temperature_16));
            let over = (to - from).max(1);
            let rise = (i64::from(b.factor_4096) - i64::from(a.factor_4096))
                * (i64::from(temperature_16).min(to) - from);
            let rounded = (2 * rise.abs() + over) / (2 * over) * rise.signum();
            factor = (i64::from(a.factor_4096) + rounded) as u16;
        }
        factor
    }
}

/// How long a tick lasts once stretched, 1/16 µs, to nearest with halves up.
pub fn period_16(tick_us: u32, factor_4096: u16) -> u32 {
    ((u64::from(tick_us) * u64::from(factor_4096) + 128) >> 8) as u32
}
