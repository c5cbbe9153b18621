//! The pictures of test vectors, run-length coded row by row.

use crate::picture::Pattern;
use crate::waveforms::Waveforms;
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{RngCore, SeedableRng};
use serde::Serialize;

const SEED: u64 = 7;
/// Longest run of the mixed picture; no more than a byte holds.
const RUN_MAX: usize = 30;

/// A picture in levels.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Picture {
    pub name: &'static str,
    /// Pixels and level in turn, pixels no more than a byte holds.
    pub rows: Vec<Vec<u16>>,
}

/// A departures board, runs of any level, dark, light and a ramp, for the panel of a set.
pub(super) fn pictures(set: &Waveforms) -> Vec<Picture> {
    let (rows, columns, levels) = (set.panel.rows, set.panel.columns, set.levels);
    let pattern = |p: Pattern| p.drawn(rows, columns, levels).levels;
    let even = |level: usize| vec![level as u16; rows * columns];
    [
        ("board", pattern(Pattern::Text)),
        ("mixed", mixed(rows, columns, levels)),
        ("dark", even(0)),
        ("light", even(levels - 1)),
        ("ramp", pattern(Pattern::Ramp)),
    ]
    .map(|(name, levels)| Picture {
        name,
        rows: levels.chunks(columns.max(1)).map(runs).collect(),
    })
    .to_vec()
}

/// Runs of random lengths and levels.
fn mixed(rows: usize, columns: usize, levels: usize) -> Vec<u16> {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let mut below = |n: usize| (random.next_u32() as usize) % n;
    let mut picture = Vec::with_capacity(rows * columns + RUN_MAX);
    for row in 0..rows {
        while picture.len() < (row + 1) * columns {
            let (length, level) = (1 + below(RUN_MAX), below(levels) as u16);
            picture.extend(std::iter::repeat_n(level, length));
        }
        picture.truncate((row + 1) * columns);
    }
    picture
}

fn runs(row: &[u16]) -> Vec<u16> {
    let mut runs: Vec<u16> = Vec::new();
    for &level in row {
        match runs.last_chunk_mut() {
            Some([pixels, last]) if *last == level && *pixels < u16::from(u8::MAX) => *pixels += 1,
            _ => runs.extend([1, level]),
        }
    }
    runs
}

impl Picture {
    /// Row by row.
    pub fn levels(&self) -> Vec<u16> {
        let runs = self.rows.iter().flat_map(|row| row.chunks_exact(2));
        runs.flat_map(|run| std::iter::repeat_n(run[1], usize::from(run[0])))
            .collect()
    }

    /// Pixels and level in turn; levels are below 256.
    pub fn bytes(&self) -> Vec<u8> {
        self.rows.iter().flatten().map(|n| *n as u8).collect()
    }
}
