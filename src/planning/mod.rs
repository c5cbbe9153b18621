//! Planning the measurements: which pages and patches teach most of the greys that will be used.

mod candidates;
mod chance;
mod choose;
mod cost;
mod drives;
mod grid;
mod knowledge;
mod misfit;
mod model;
mod plan;
mod uses;

pub use chance::Chance;
pub use cost::{Cost, HANDLING_MIN, READING_S, SOAK_MIN};
pub use grid::Grid;
pub use knowledge::{Aim, Knowledge, Uses, exchange};
pub use plan::{CURVE, CurvePoint, Foreseen, Plan, PlanRequest, Planning, place_name};
