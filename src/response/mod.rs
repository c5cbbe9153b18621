//! How the response is learnt from readings: parameters, least squares, the ladder of models, its spread, strays.

pub mod beta;
pub mod crossval;
pub mod differences;
pub mod factor;
pub mod fit;
pub mod holdout;
pub mod least_squares;
mod model;
mod pages;
pub mod parameters;
mod problem;
pub mod propagation;
mod read;
pub mod robust;
mod rung;
mod solution;
mod trial;

pub use model::{COVERAGE_ROW, Response, coverage_of, rest_map, strokes_map};
pub use pages::{PagePlan, pages_lstar};
pub use problem::{Grain, ReadingProblem, Source};
pub use read::{FORMAT, VERSION, read_response};
pub use rung::Rung;
