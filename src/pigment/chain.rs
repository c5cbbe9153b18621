//! The chain store ⇄ ready ⇄ crossed ⇄ spread of one class at a constant voltage.

use super::affine::Map;

/// Transition rates, 1/s, all ≥ 0.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Rates {
    pub store_to_ready: f64,
    pub ready_to_store: f64,
    pub ready_to_crossed: f64,
    pub crossed_to_ready: f64,
    pub crossed_to_spread: f64,
    pub spread_to_crossed: f64,
}

/// Mean number of jumps in one piece of the series; small enough for few terms, large enough for few squarings.
const PIECE_JUMPS: f64 = 0.5;
/// Terms after which the series of a piece is exact to rounding: 0.5^13/13! < 2e-14.
const TERMS: usize = 13;

impl Rates {
    /// The map of `seconds` at these rates.
    ///
    /// In cumulative shares (r, c, p) the chain reads
    /// r' = up₁(1−r) − down₁(r−c), c' = up₂(r−c) − down₂(c−p), p' = up₃(c−p) − down₃·p,
    /// a system whose off-diagonal entries are ≥ 0. The exponential is taken by uniformisation
    /// (Jensen 1953): with q ≥ the fastest leaving rate, exp(Gt) = e^(−qt) Σ (G+q)ⁿtⁿ/n! has no
    /// negative term, so the map keeps order and bounds to the last bit.
    pub fn map(&self, seconds: f64) -> Map {
        let g = self;
        let leave = [
            g.store_to_ready + g.ready_to_store,
            g.ready_to_crossed + g.crossed_to_ready,
            g.crossed_to_spread + g.spread_to_crossed,
        ];
        let q = leave[0].max(leave[1]).max(leave[2]);
        let jumps = q * seconds;
        if jumps <= 0.0 {
            return Map::IDENTITY;
        }
        let squarings = (jumps / PIECE_JUMPS).log2().ceil().max(0.0) as u32;
        let t = seconds / f64::from(2u32).powi(squarings as i32);
        let jump = Map {
            m: [
                [(q - leave[0]) * t, g.ready_to_store * t, 0.0],
                [g.ready_to_crossed * t, (q - leave[1]) * t, g.crossed_to_ready * t],
                [0.0, g.crossed_to_spread * t, (q - leave[2]) * t],
            ],
            b: [g.store_to_ready * t, 0.0, 0.0],
        };
        let mut map = exponential_of_jumps(&jump, q * t);
        for _ in 0..squarings {
            map = map.then(&map);
        }
        map
    }
}

/// e^(−jumps) Σ Jⁿ/n! on states extended by the constant 1, whose own entry of J is `jumps`.
fn exponential_of_jumps(j: &Map, jumps: f64) -> Map {
    let mut sum = Map::IDENTITY;
    let mut term = Map::IDENTITY;
    let mut constant = 1.0;
    for n in 1..=TERMS {
        let scale = 1.0 / n as f64;
        let mut next = Map { m: [[0.0; 3]; 3], b: [0.0; 3] };
        for i in 0..3 {
            for k in 0..3 {
                next.m[i][k] =
                    scale * (j.m[i][0] * term.m[0][k] + j.m[i][1] * term.m[1][k] + j.m[i][2] * term.m[2][k]);
            }
            next.b[i] = scale
                * (j.m[i][0] * term.b[0] + j.m[i][1] * term.b[1] + j.m[i][2] * term.b[2] + j.b[i] * constant);
        }
        constant *= scale * jumps;
        term = next;
        for i in 0..3 {
            for k in 0..3 {
                sum.m[i][k] += term.m[i][k];
            }
            sum.b[i] += term.b[i];
        }
    }
    let decay = (-jumps).exp();
    for i in 0..3 {
        for k in 0..3 {
            sum.m[i][k] *= decay;
        }
        sum.b[i] *= decay;
    }
    sum
}
