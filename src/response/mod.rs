//! How the response is learnt from readings: least squares, its spread, strays.

pub mod differences;
pub mod factor;
pub mod least_squares;
pub mod robust;
pub mod solution;
