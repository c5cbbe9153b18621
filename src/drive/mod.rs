//! What the lines put on a pixel: strokes, fields, timing, charge.

mod scheme;
mod slot;
mod timing;

pub use scheme::{Erase, Field, Stroke};
pub use slot::{Piece, Pieces};
pub use timing::Timing;
