//! What the pigment does under a pixel voltage: classes of particles, each a chain of places.

mod abreast;
mod affine;
mod chain;
mod classes;
mod column;
mod kinetics;
mod slots;
mod temperature;

pub use abreast::Ranks;
pub use affine::{LANES, Lanes, Map, Number, PACKED, SPREAD, State, add_squares, composed, value};
pub use chain::Rates;
pub use classes::{Class, Spread, gauss_hermite};
pub use column::{Around, Column, Run};
pub(crate) use kinetics::bernoulli;
pub use kinetics::{Crossing, Exchange, Kinetics};
pub use slots::{Mover, SlotMaps, step_pieces};
pub use temperature::{REFERENCE_C, TemperatureLaw};
