//! The certificate: nothing better on a stated grid, or by how much it could be.

pub mod bound;
pub mod branch;
pub mod exact;
pub mod holds;
mod places;
pub mod recheck;
pub mod region;
pub mod stated;
mod windows;
