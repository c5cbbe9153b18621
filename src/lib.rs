//! Greyloom designs the drive of a passive-matrix electrophoretic panel and calibrates its grey levels.
//!
//! The physics stands in three layers, each usable alone: [`drive`] (what the lines put on a pixel),
//! [`pigment`] (what the pigment does) and [`tone`] (what the eye sees). Everything else uses them.

pub mod cli;
pub mod design;
pub mod draw;
pub mod drive;
pub mod emit;
pub mod error;
pub mod intake;
pub mod output;
pub mod panel;
pub mod picture;
pub mod pigment;
pub mod planning;
pub mod project;
pub mod rehearsal;
pub mod report;
pub mod response;
pub mod tone;
pub mod trim;
pub mod waveforms;

pub use error::{Error, Result};
