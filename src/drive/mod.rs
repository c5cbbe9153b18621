//! What the lines put on a pixel: strokes, fields, timing, charge.

mod scheme;

pub use scheme::{Erase, Field, Stroke};
