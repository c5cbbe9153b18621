//! A panel whose lines' lag is felt, small enough to be followed pixel by pixel.

use greyloom::drive::{Lag, Matrix};

pub const MATRIX: Matrix = Matrix {
    rows: 20,
    columns: 24,
    row_ohm: 40e3,
    column_ohm: 24e3,
    pixel_f: 10e-12,
    driver_ohm: 4e3,
};
/// The pixel farthest from both drivers.
pub const FAR: (usize, usize) = (19, 23);

pub fn lag() -> Lag {
    Lag::of(&MATRIX).unwrap()
}
