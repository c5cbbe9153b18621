//! Affine maps of a class's state: what a stretch of constant voltage, a slot, a whole field does to it.

/// Stage shares in cumulative form: ready or further, crossed or further, spread; each 0…1, falling.
pub type State = [f64; 3];

/// All pigment packed in the store.
pub const PACKED: State = [0.0; 3];
/// All pigment spread over the window.
pub const SPREAD: State = [1.0; 3];

/// An affine function of a state, its constant last.
#[inline(always)]
pub fn value(of: &[f64; 4], x: &State) -> f64 {
    of[0] * x[0] + of[1] * x[1] + of[2] * x[2] + of[3]
}

/// x → M·x + b, with b as the fourth column of M. All entries are ≥ 0, so the map keeps the order of states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Map {
    pub rows: [[f64; 4]; 3],
}

impl Map {
    pub const IDENTITY: Map = Map {
        rows: [
            [1.0, 0.0, 0.0, 0.0],
            [0.0, 1.0, 0.0, 0.0],
            [0.0, 0.0, 1.0, 0.0],
        ],
    };

    /// M·x + b.
    #[inline]
    pub fn apply(&self, x: &State) -> State {
        let [a, b, c] = &self.rows;
        [value(a, x), value(b, x), value(c, x)]
    }

    /// This map first, then `next`.
    #[inline]
    pub fn then(&self, next: &Map) -> Map {
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
    pub fn pulled_back(&self, row: &[f64; 4]) -> [f64; 4] {
        let [a, b, c] = &self.rows;
        [
            row[0] * a[0] + row[1] * b[0] + row[2] * c[0],
            row[0] * a[1] + row[1] * b[1] + row[2] * c[1],
            row[0] * a[2] + row[1] * b[2] + row[2] * c[2],
            row[0] * a[3] + row[1] * b[3] + row[2] * c[3] + row[3],
        ]
    }

    /// This map `n` times.
    pub fn power(&self, n: usize) -> Map {
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

    /// The powers 0…n.
    pub fn powers(&self, n: usize) -> Vec<Map> {
        let mut all = Vec::with_capacity(n + 1);
        all.push(Map::IDENTITY);
        for k in 0..n {
            all.push(all[k].then(self));
        }
        all
    }
}
