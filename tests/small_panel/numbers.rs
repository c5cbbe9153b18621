//! Numbers from a seed.

/// Evenly spread numbers from a seed: SplitMix64 (Steele, Lea & Flood 2014).
pub struct Numbers(pub u64);

impl Numbers {
    pub fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// 0…n − 1.
    pub fn below(&mut self, n: usize) -> usize {
        ((self.share() * n as f64) as usize).min(n - 1)
    }
}
