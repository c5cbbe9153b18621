//! The finished set of waveforms and its file.

mod certificate;
mod check;
mod check_certificate;
mod file;
mod lattice;
mod layout;
mod locate;
mod lookup;
mod set;

pub use certificate::{Certificate, RuledOut, RunnerUp, Tally, Why};
pub use check::LEVELS;
pub use lattice::{FIELDS_MAX, FieldAxes, FieldTiming, Frame, Kind, Lattice};
pub(crate) use layout::{LSTAR, lay_out, round};
pub use set::*;
