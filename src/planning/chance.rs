//! Numbers by chance that are the same in every run.

use rand_xoshiro::SplitMix64;
use rand_xoshiro::rand_core::{RngCore, SeedableRng};

/// SplitMix64 (Steele, Lea & Flood, OOPSLA 2014).
#[derive(Debug, Clone)]
pub struct Chance(SplitMix64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Chance(SplitMix64::seed_from_u64(seed))
    }

    /// At least 0, below 1.
    pub fn share(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Even between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// Even in the logarithm, both > 0.
    pub fn between_log(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// Below `n`; 0 for n = 0.
    pub fn below(&mut self, n: usize) -> usize {
        (self.share() * n as f64) as usize
    }

    /// One of a few, `None` where there are none.
    pub fn of<T: Copy>(&mut self, few: &[T]) -> Option<T> {
        few.get(self.below(few.len())).copied()
    }

    /// Happens so often.
    pub fn happens(&mut self, share: f64) -> bool {
        self.share() < share
    }

    /// Standard normal: the transform of Box & Muller (Ann. Math. Stat. 29, 610, 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.share()).cos()
    }
}
