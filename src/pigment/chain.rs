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
const PIECE_JUMPS: f64 = 0.125;
/// Terms after which the series of a piece is exact to rounding, also after thousands of pieces: 0.125¹¹/11! < 3e-18.
const TERMS: u32 = 10;

/// More than any physical rate needs; keeps a diverging fit from stepping for ever (its map is NaN, and refused).
const SQUARINGS_MAX: f64 = 60.0;

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
        let squarings = (jumps / PIECE_JUMPS)
            .log2()
            .ceil()
            .clamp(0.0, SQUARINGS_MAX) as u32;
        let t = seconds / f64::from(2u32).powi(squarings as i32);
        let jump = Map {
            rows: [
                [
                    (q - leave[0]) * t,
                    g.ready_to_store * t,
                    0.0,
                    g.store_to_ready * t,
                ],
                [
                    g.ready_to_crossed * t,
                    (q - leave[1]) * t,
                    g.crossed_to_ready * t,
                    0.0,
                ],
                [0.0, g.crossed_to_spread * t, (q - leave[2]) * t, 0.0],
            ],
        };
        let mut map = exponential_of_jumps(&jump, q * t);
        for _ in 0..squarings {
            map = map.then(&map);
        }
        map
    }
}

/// e^(−jumps) Σ Jⁿ/n! on states extended by the constant 1, whose own entry of J is `jumps`.
fn exponential_of_jumps(jump: &Map, jumps: f64) -> Map {
    let mut sum = Map::IDENTITY;
    let mut term = Map::IDENTITY;
    let mut driven = *jump;
    let mut constant = 1.0;
    for n in 1..=TERMS {
        let scale = 1.0 / f64::from(n);
        // The constant of the extended state is not 1 but this term's own.
        for (driven, jump) in driven.rows.iter_mut().zip(&jump.rows) {
            driven[3] = jump[3] * constant;
        }
        term = term.then(&driven);
        constant *= scale * jumps;
        for (sum, term) in sum.rows.iter_mut().zip(&mut term.rows) {
            for (sum, term) in sum.iter_mut().zip(term) {
                *term *= scale;
                *sum += *term;
            }
        }
    }
    let decay = (-jumps).exp();
    sum.rows
        .iter_mut()
        .flatten()
        .for_each(|entry| *entry *= decay);
    sum
}
