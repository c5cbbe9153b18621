//! The chain store ⇄ ready ⇄ crossed ⇄ spread of one class at a constant voltage.

use super::affine::{LANES, Lanes, Map, Number};
use multiversion::multiversion;
use std::array::from_fn;

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
    /// Of forward and backward rates: store ⇄ ready and crossed ⇄ spread, then ready ⇄ crossed; all times `speed`.
    pub(super) fn of(
        speed: f64,
        exchanges: &[(f64, f64); 2],
        (ready_to_crossed, crossed_to_ready): (f64, f64),
    ) -> Rates {
        let [
            (store_to_ready, ready_to_store),
            (crossed_to_spread, spread_to_crossed),
        ] = *exchanges;
        Rates {
            store_to_ready: speed * store_to_ready,
            ready_to_store: speed * ready_to_store,
            ready_to_crossed: speed * ready_to_crossed,
            crossed_to_ready: speed * crossed_to_ready,
            crossed_to_spread: speed * crossed_to_spread,
            spread_to_crossed: speed * spread_to_crossed,
        }
    }

    /// The map of `seconds` at these rates.
    ///
    /// In cumulative shares (r, c, p) the chain reads
    /// r' = up₁(1−r) − down₁(r−c), c' = up₂(r−c) − down₂(c−p), p' = up₃(c−p) − down₃·p,
    /// a system whose off-diagonal entries are ≥ 0. The exponential is taken by uniformisation
    /// (Jensen 1953): with q ≥ the fastest leaving rate, exp(Gt) = e^(−qt) Σ (G+q)ⁿtⁿ/n! has no
    /// negative term, so the map keeps order and bounds to the last bit.
    pub fn map(&self, seconds: f64) -> Map {
        let (leave, q) = self.leaving();
        let jumps = q * seconds;
        if jumps <= 0.0 {
            return Map::IDENTITY;
        }
        let squarings = squarings(jumps);
        let t = seconds / f64::from(2u32).powi(squarings as i32);
        let jump = Map {
            rows: self.jump(leave, q, t),
        };
        exponential(&jump, q * t, (-q * t).exp(), squarings)
    }

    /// The maps of several rates and seconds.
    pub fn maps(each: &[(Rates, f64); LANES]) -> Map<Lanes> {
        let leaving = each.map(|(rates, _)| rates.leaving());
        let jumps: [f64; LANES] = from_fn(|i| leaving[i].1 * each[i].1);
        let most = jumps.into_iter().fold(0.0, f64::max);
        if most <= 0.0 {
            return Map::IDENTITY;
        }
        let squarings = squarings(most);
        let part = f64::from(2u32).powi(squarings as i32);
        let jump: [[[f64; 4]; 3]; LANES] = from_fn(|i| {
            let ((leave, q), (rates, seconds)) = (leaving[i], each[i]);
            rates.jump(leave, q, seconds / part)
        });
        let lanes = |row: usize, column: usize| Lanes(from_fn(|i| jump[i][row][column]));
        let jump = Map {
            rows: from_fn(|row| from_fn(|column| lanes(row, column))),
        };
        let jumps = jumps.map(|jumps| jumps / part);
        let decay = jumps.map(|jumps| (-jumps).exp());
        exponential_side_by_side(&jump, Lanes(jumps), Lanes(decay), squarings)
    }

    /// Rates of leaving, and the fastest of them.
    fn leaving(&self) -> ([f64; 3], f64) {
        let g = self;
        let leave = [
            g.store_to_ready + g.ready_to_store,
            g.ready_to_crossed + g.crossed_to_ready,
            g.crossed_to_spread + g.spread_to_crossed,
        ];
        (leave, leave[0].max(leave[1]).max(leave[2]))
    }

    /// (G + q)·t.
    fn jump(&self, leave: [f64; 3], q: f64, t: f64) -> [[f64; 4]; 3] {
        let g = self;
        [
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
        ]
    }
}

/// How often the map of a piece is squared to make so many jumps.
fn squarings(jumps: f64) -> u32 {
    (jumps / PIECE_JUMPS)
        .log2()
        .ceil()
        .clamp(0.0, SQUARINGS_MAX) as u32
}

#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn exponential_side_by_side(
    jump: &Map<Lanes>,
    jumps: Lanes,
    decay: Lanes,
    squarings: u32,
) -> Map<Lanes> {
    exponential(jump, jumps, decay, squarings)
}

/// e^(−jumps) Σ Jⁿ/n! on states extended by the constant 1, whose own entry of J is `jumps`, squared so often; `decay` is
/// e^(−jumps).
#[inline(always)]
fn exponential<T: Number>(jump: &Map<T>, jumps: T, decay: T, squarings: u32) -> Map<T> {
    let mut sum = Map::IDENTITY;
    let mut term = Map::IDENTITY;
    let mut constant = T::ONE;
    for n in 1..=TERMS {
        let scale = T::of(1.0 / f64::from(n));
        term = jumped(&term, jump, constant);
        constant = constant * (scale * jumps);
        for (sum, term) in sum.rows.iter_mut().zip(&mut term.rows) {
            for (sum, term) in sum.iter_mut().zip(term) {
                *term = *term * scale;
                *sum = *sum + *term;
            }
        }
    }
    for entry in sum.rows.iter_mut().flatten() {
        *entry = *entry * decay;
    }
    for _ in 0..squarings {
        sum = sum.then(&sum);
    }
    sum
}

/// A jump after `term`, whose constant of the extended state is not 1 but its own. Only neighbours exchange, and the store
/// alone drives: what is zero of the jump is left out.
#[inline(always)]
fn jumped<T: Number>(term: &Map<T>, jump: &Map<T>, constant: T) -> Map<T> {
    let [a, b, c] = &term.rows;
    let [first, second, third] = &jump.rows;
    let ready = |i: usize| first[0] * a[i] + first[1] * b[i];
    let crossed = |i: usize| second[0] * a[i] + second[1] * b[i] + second[2] * c[i];
    let spread = |i: usize| third[1] * b[i] + third[2] * c[i];
    let driven = ready(3) + first[3] * constant;
    Map {
        rows: [
            [ready(0), ready(1), ready(2), driven],
            [crossed(0), crossed(1), crossed(2), crossed(3)],
            [spread(0), spread(1), spread(2), spread(3)],
        ],
    }
}
