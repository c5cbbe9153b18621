//! The finished set of waveforms and its file.

mod check;
mod file;
mod layout;
mod locate;
mod lookup;
mod set;

pub use check::LEVELS;
pub(crate) use layout::{LSTAR, lay_out, round};
pub use set::*;
