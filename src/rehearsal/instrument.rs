//! Readings of a chart by an instrument whose repeats scatter.

use crate::project::Reading;
use crate::project::limits::LSTAR;
use rand_xoshiro::SplitMix64;
use rand_xoshiro::rand_core::{RngCore, SeedableRng};
use std::f64::consts::TAU;

/// How patches are read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Instrument {
    /// Standard deviation of a repeated reading, L*; 0 reads exactly.
    pub repeatability_lstar: f64,
    pub seed: u64,
    /// Readings of each patch.
    pub repeats: u32,
}

impl Instrument {
    /// Readings of patches that show `lstar` (pages × patches), in the order of the chart, within what scans may hold.
    ///
    /// The noise of a reading depends on the seed, its page, patch and repeat alone.
    pub fn read(&self, lstar: &[Vec<f64>]) -> Vec<Reading> {
        let mut readings = Vec::new();
        for (page, patches) in lstar.iter().enumerate() {
            for (patch, shown) in patches.iter().enumerate() {
                for repeat in 1..=self.repeats {
                    let noise = self.repeatability_lstar * normal(self.seed, page, patch, repeat);
                    readings.push(Reading {
                        page,
                        patch,
                        repeat,
                        lstar: (shown + noise).clamp(LSTAR.min, LSTAR.max),
                        u_lstar: None,
                        line: readings.len() + 2,
                    });
                }
            }
        }
        readings
    }
}

/// A standard normal number for one reading: SplitMix64 (Steele, Lea & Flood, OOPSLA 2014), reseeded with its own output
/// for each part of the reading's address, then the transform of Box & Muller (Ann. Math. Stat. 29, 610, 1958).
fn normal(seed: u64, page: usize, patch: usize, repeat: u32) -> f64 {
    let address = [page as u64, patch as u64, u64::from(repeat)];
    let mixed = address.iter().fold(seed, |mixed, part| {
        SplitMix64::seed_from_u64(mixed).next_u64() ^ part
    });
    let mut generator = SplitMix64::seed_from_u64(mixed);
    // 53 bits, above 0 and at most 1.
    let mut share = || ((generator.next_u64() >> 11) + 1) as f64 / (1u64 << 53) as f64;
    let (radius, turn) = (share(), share());
    (-2.0 * radius.ln()).sqrt() * (TAU * turn).cos()
}
