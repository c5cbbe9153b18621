//! Line levels as a player's tick function sees them: codes of all lines, one tick after the other.

use super::lines::{Hold, Refresh, Selected, merged};
use super::tables::{Rail, Tables, period_16};

/// In place of a row: all of them, or none.
pub const ALL_ROWS: u16 = 0xFFFE;
pub const NO_ROW: u16 = 0xFFFF;

/// What the lines carry during one tick.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tick {
    /// 1/16 µs.
    pub period_16: u32,
    /// The selected row, or [`ALL_ROWS`] or [`NO_ROW`].
    pub row: u16,
    pub row_code: u16,
    pub columns: Vec<u16>,
}

impl Tick {
    /// The bytes that CRCs of test vectors run over: row, row's code, period, then each column's code; little-endian.
    pub fn put(&self, narrow_codes: bool, out: &mut Vec<u8>) {
        out.extend(self.row.to_le_bytes());
        out.extend(self.row_code.to_le_bytes());
        out.extend(self.period_16.to_le_bytes());
        if narrow_codes {
            out.extend(self.columns.iter().map(|c| *c as u8));
        } else {
            out.extend(self.columns.iter().flat_map(|c| c.to_le_bytes()));
        }
    }
}

/// Hands every tick of a refresh to `see`, with the codes of a table's rails and its stretch at `factor_4096`.
pub fn each_tick(refresh: &Refresh, tables: &Tables, factor_4096: u16, mut see: impl FnMut(&Tick)) {
    let columns = refresh.set.panel.columns;
    let mut cursors: Vec<Cursor> = (0..columns)
        .map(|c| Cursor::new(coded(&refresh.column(c), &tables.column_rails)))
        .collect();
    let mut tick = Tick {
        period_16: 0,
        row: NO_ROW,
        row_code: 0,
        columns: vec![0; columns],
    };
    for (selected, hold) in refresh.rows() {
        tick.period_16 = period_16(hold.tick_us, factor_4096);
        tick.row_code = code_of(hold.v, &tables.row_rails);
        tick.row = match selected {
            Selected::None => NO_ROW,
            Selected::All => ALL_ROWS,
            Selected::Row(row) => row as u16,
        };
        for _ in 0..hold.ticks {
            for (code, cursor) in tick.columns.iter_mut().zip(&mut cursors) {
                *code = cursor.next();
            }
            see(&tick);
        }
    }
}

/// A line run-length coded: code and ticks.
pub fn coded(holds: &[Hold], rails: &[Rail]) -> Vec<(u16, u32)> {
    let mut runs: Vec<(u16, u32)> = Vec::new();
    for hold in merged(holds) {
        let code = code_of(hold.v, rails);
        match runs.last_mut() {
            Some((last, ticks)) if *last == code => *ticks += hold.ticks,
            _ => runs.push((code, hold.ticks)),
        }
    }
    runs
}

/// The code of the rail that is nearest to a voltage, V.
fn code_of(v: f64, rails: &[Rail]) -> u16 {
    let distance = |r: &&Rail| (f64::from(r.mv) - 1000.0 * v).abs();
    let nearest = rails
        .iter()
        .min_by(|a, b| distance(a).total_cmp(&distance(b)));
    nearest.map_or(0, |r| r.code)
}

/// A run-length coded line, read tick by tick.
struct Cursor {
    runs: std::vec::IntoIter<(u16, u32)>,
    now: (u16, u32),
}

impl Cursor {
    fn new(runs: Vec<(u16, u32)>) -> Self {
        Cursor {
            runs: runs.into_iter(),
            now: (0, 0),
        }
    }

    fn next(&mut self) -> u16 {
        if self.now.1 == 0 {
            self.now = self.runs.next().unwrap_or((self.now.0, u32::MAX));
        }
        self.now.1 -= 1;
        self.now.0
    }
}
