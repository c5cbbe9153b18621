//! The map of a constant voltage held for a time, as a matrix, and its powers.

use super::transport::Transport;
use nalgebra::{DMatrix, DVector};

/// Amounts of one population in the cells.
pub type Amounts = DVector<f64>;

/// A matrix whose columns sum to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagator(DMatrix<f64>);

impl Propagator {
    /// `seconds` at the rates of `transport`, in 2ᵏ equal steps of at most `step_s`.
    pub fn hold(transport: &Transport, seconds: f64, step_s: f64) -> Self {
        let doublings = doublings(seconds, step_s);
        let stepper = transport.stepper(seconds / f64::from(2u32).powi(doublings as i32));
        let n = transport.cells();
        let mut matrix = DMatrix::identity(n, n);
        for mut column in matrix.column_iter_mut() {
            stepper.step(column.as_mut_slice());
        }
        let once = Propagator(matrix).conserving();
        (0..doublings).fold(once, |map, _| map.then(&map))
    }

    /// This map, then `next`.
    pub fn then(&self, next: &Self) -> Self {
        Propagator(&next.0 * &self.0).conserving()
    }

    pub fn apply(&self, amounts: &Amounts) -> Amounts {
        &self.0 * amounts
    }

    /// Takes the rounding out of the columns' sums, which squaring would double each time.
    fn conserving(mut self) -> Self {
        for mut column in self.0.column_iter_mut() {
            let sum = column.sum();
            column /= sum;
        }
        self
    }
}

/// Doublings of a step of at most `step_s` to `seconds`.
pub(super) fn doublings(seconds: f64, step_s: f64) -> u32 {
    (seconds / step_s).log2().ceil().max(0.0) as u32
}

/// A map to the powers 1, 2, 4, … as far as needed.
#[derive(Debug, Clone)]
pub struct Powers(Vec<Propagator>);

impl Powers {
    /// For powers up to `largest`.
    pub fn new(map: Propagator, largest: usize) -> Self {
        let mut squares = vec![map];
        while (1usize << squares.len()) <= largest {
            let last = &squares[squares.len() - 1];
            squares.push(last.then(last));
        }
        Powers(squares)
    }

    /// The map `times` over.
    pub fn apply(&self, times: usize, amounts: Amounts) -> Amounts {
        let bits = self.0.iter().enumerate();
        bits.filter(|(bit, _)| times >> bit & 1 == 1)
            .fold(amounts, |x, (_, square)| square.apply(&x))
    }

    /// The map `times` over, as one; `None` for none at all.
    pub fn power(&self, times: usize) -> Option<Propagator> {
        let bits = self.0.iter().enumerate();
        bits.filter(|(bit, _)| times >> bit & 1 == 1).fold(
            None,
            |done: Option<Propagator>, (_, square)| {
                Some(done.map_or_else(|| square.clone(), |d| d.then(square)))
            },
        )
    }
}
