//! What the lines put on a pixel: strokes, fields, timing, charge, energy, lines.

mod caution;
mod charge;
mod energy;
pub mod flash;
mod lines;
mod scheme;
mod slot;
mod timing;

pub use caution::{
    EXTRA_LOW_AC_V, EXTRA_LOW_DC_V, flash_caution, largest_line_difference_v, voltage_caution,
};
pub use charge::{
    WorstImpulse, balanced_impulse_vs, other_impulse_vs, own_impulse_vs, strokes_impulse_vs,
    worst_net_impulse_vs,
};
pub use energy::{Energy, PanelLoad};
pub use lines::{Line, Matrix, Mode, StepResponse};
pub use scheme::{Erase, Field, Stroke};
pub use slot::{Piece, Pieces};
pub use timing::Timing;
