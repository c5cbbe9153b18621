//! The finished set of waveforms and its file.

mod set;

pub use set::*;
