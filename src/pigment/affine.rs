//! Affine maps of a class's state: what a stretch of constant voltage, a slot, a whole field does to it.

/// Stage shares in cumulative form: ready or further, crossed or further, spread; each 0…1, falling.
pub type State = [f64; 3];

/// All pigment packed in the store.
pub const PACKED: State = [0.0; 3];
/// All pigment spread over the window.
pub const SPREAD: State = [1.0; 3];

/// x → M·x + b. All entries are ≥ 0, so the map keeps the order of states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Map {
    pub m: [[f64; 3]; 3],
    pub b: [f64; 3],
}

impl Map {
    pub const IDENTITY: Map =
        Map { m: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], b: [0.0; 3] };

    #[inline]
    pub fn apply(&self, x: &State) -> State {
        let row = |i: usize| {
            let m = &self.m[i];
            m[0] * x[0] + m[1] * x[1] + m[2] * x[2] + self.b[i]
        };
        [row(0), row(1), row(2)]
    }

    /// This map first, then `next`.
    #[inline]
    pub fn then(&self, next: &Map) -> Map {
        let mut m = [[0.0; 3]; 3];
        for (to, n) in m.iter_mut().zip(&next.m) {
            for (j, entry) in to.iter_mut().enumerate() {
                *entry = n[0] * self.m[0][j] + n[1] * self.m[1][j] + n[2] * self.m[2][j];
            }
        }
        Map { m, b: next.apply(&self.b) }
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
