//! A response known beyond doubt.

use greyloom::response::parameters::build;
use greyloom::response::{Response, Rung};

pub const RUNG: Rung = Rung {
    store: true,
    window: true,
    independent_spread: false,
    vft: false,
};

/// In the order of the parameters of RUNG, those of the store and the window last; near what the shipped readings ask
/// for.
pub const PLANTED: [f64; 18] = [
    0.73, 0.03, 0.25, 3.8, 6.5, 0.5, 2.5, 5.7, 0.5, -0.0075, 0.3, 0.6, 12.0, 60.0, 15.0, 3.0, 2.5,
    -6.0,
];

/// A response of `rung` (Arrhenius), with so many classes along the spread of mobility.
pub fn response(rung: Rung, classes: usize) -> Response {
    build(rung, &PLANTED, classes).expect("a curve")
}
