//! The finished set of waveforms and its file.

mod check;
mod file;
mod layout;
mod locate;
mod lookup;
mod set;

pub use check::LEVELS;
pub(crate) use layout::lay_out;
pub use set::*;
