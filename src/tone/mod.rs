//! What the eye sees: coverage to reflectance, reflectance to lightness, spectra, ladders of targets.

pub mod curve;
pub mod gsdf;
pub mod ladder;
pub mod lightness;
pub mod pchip;
pub mod spectra;
pub mod srgb;

pub use curve::{CurveError, Knot, ResponseCurve};
pub use ladder::{Ladder, LadderError};
pub use lightness::{lstar_from_reflectance, lstar_slope, reflectance_from_lstar};
