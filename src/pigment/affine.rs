//! Affine maps of a class's state: what a stretch of constant voltage, a slot, a whole field does to it.

use std::ops::{Add, Mul};

/// What maps are made of: one number, or several side by side.
pub trait Number: Copy + Add<Output = Self> + Mul<Output = Self> {
    const ZERO: Self;
    const ONE: Self;
    /// In every lane.
    fn of(number: f64) -> Self;
}

impl Number for f64 {
    const ZERO: f64 = 0.0;
    const ONE: f64 = 1.0;
    #[inline(always)]
    fn of(number: f64) -> f64 {
        number
    }
}

/// How many numbers stand side by side.
pub const LANES: usize = 8;

/// The same quantity of several maps or states, which don't feel each other.
///
/// Aligned so that no load of one crosses a line of the cache.
#[derive(Debug, Clone, Copy, PartialEq)]
#[repr(align(64))]
pub struct Lanes(pub [f64; LANES]);

impl Default for Lanes {
    fn default() -> Self {
        Lanes::all(0.0)
    }
}

impl Lanes {
    /// The same number in every lane.
    #[inline(always)]
    pub const fn all(number: f64) -> Lanes {
        Lanes([number; LANES])
    }
}

impl Number for Lanes {
    const ZERO: Lanes = Lanes::all(0.0);
    const ONE: Lanes = Lanes::all(1.0);
    #[inline(always)]
    fn of(number: f64) -> Lanes {
        Lanes::all(number)
    }
}

impl Add for Lanes {
    type Output = Lanes;
    #[inline(always)]
    fn add(self, other: Lanes) -> Lanes {
        Lanes(std::array::from_fn(|i| self.0[i] + other.0[i]))
    }
}

impl Mul for Lanes {
    type Output = Lanes;
    #[inline(always)]
    fn mul(self, other: Lanes) -> Lanes {
        Lanes(std::array::from_fn(|i| self.0[i] * other.0[i]))
    }
}

/// Stage shares in cumulative form: ready or further, crossed or further, spread; each 0…1, falling.
pub type State<T = f64> = [T; 3];

/// All pigment packed in the store.
pub const PACKED: State = [0.0; 3];
/// All pigment spread over the window.
pub const SPREAD: State = [1.0; 3];

/// An affine function of a state, its constant last.
#[inline(always)]
pub fn value<T: Number>(of: &[T; 4], x: &State<T>) -> T {
    of[0] * x[0] + of[1] * x[1] + of[2] * x[2] + of[3]
}

/// x → M·x + b, with b as the fourth column of M. All entries are ≥ 0, so the map keeps the order of states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Map<T = f64> {
    pub rows: [[T; 4]; 3],
}

impl<T: Number> Map<T> {
    pub const IDENTITY: Map<T> = Map {
        rows: [
            [T::ONE, T::ZERO, T::ZERO, T::ZERO],
            [T::ZERO, T::ONE, T::ZERO, T::ZERO],
            [T::ZERO, T::ZERO, T::ONE, T::ZERO],
        ],
    };

    /// M·x + b.
    #[inline(always)]
    pub fn apply(&self, x: &State<T>) -> State<T> {
        let [a, b, c] = &self.rows;
        [value(a, x), value(b, x), value(c, x)]
    }

    /// This map first, then `next`.
    #[inline(always)]
    pub fn then(&self, next: &Map<T>) -> Map<T> {
        Map {
            rows: [
                self.pulled_back(&next.rows[0]),
                self.pulled_back(&next.rows[1]),
                self.pulled_back(&next.rows[2]),
            ],
        }
    }

    /// The affine function `row` of the state after this map (last entry: its constant), as one of the state before.
    #[inline(always)]
    pub fn pulled_back(&self, row: &[T; 4]) -> [T; 4] {
        let [a, b, c] = &self.rows;
        [
            row[0] * a[0] + row[1] * b[0] + row[2] * c[0],
            row[0] * a[1] + row[1] * b[1] + row[2] * c[1],
            row[0] * a[2] + row[1] * b[2] + row[2] * c[2],
            row[0] * a[3] + row[1] * b[3] + row[2] * c[3] + row[3],
        ]
    }

    /// This map `n` times.
    #[inline(always)]
    pub fn power(&self, n: usize) -> Map<T> {
        let (mut result, mut square, mut n) = (Map::IDENTITY, *self, n);
        while n > 0 {
            if n & 1 == 1 {
                result = result.then(&square);
            }
            n >>= 1;
            if n > 0 {
                square = square.then(&square);
            }
        }
        result
    }

    /// The powers 1, 2, 4, … as far as the `n`-th needs them, at least the first.
    #[inline(always)]
    pub fn squares(&self, n: usize) -> Vec<Map<T>> {
        let mut all = vec![*self];
        add_squares(&mut all, n);
        all
    }

    /// The powers 0…n.
    #[inline(always)]
    pub fn powers(&self, n: usize) -> Vec<Map<T>> {
        let mut all = Vec::with_capacity(n + 1);
        all.push(Map::IDENTITY);
        for k in 0..n {
            all.push(all[k].then(self));
        }
        all
    }
}

/// Squares behind a map as far as its `n`-th power needs them.
#[inline(always)]
pub fn add_squares<T: Number>(all: &mut Vec<Map<T>>, n: usize) {
    while n >> all.len() > 0 {
        let last = &all[all.len() - 1];
        all.push(last.then(last));
    }
}

/// The squares whose exponents make up `n`.
#[inline(always)]
pub fn bits<T>(squares: &[Map<T>], n: usize) -> impl Iterator<Item = &Map<T>> {
    let squares = squares.iter().enumerate();
    squares.filter_map(move |(bit, square)| (n >> bit & 1 == 1).then_some(square))
}

/// The `n`-th power of the map that has these squares.
#[inline(always)]
pub fn composed<T: Number>(squares: &[Map<T>], n: usize) -> Map<T> {
    let mut bits = bits(squares, n);
    let mut power = bits.next().copied().unwrap_or(Map::IDENTITY);
    for square in bits {
        power = power.then(square);
    }
    power
}
