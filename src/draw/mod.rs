//! Plots and pictures as PNG: no installed font, the same bytes for the same data.

mod axes;
mod fit;
mod grey;
mod histogram;
mod marks;
mod pen;
mod ramp;
mod residuals;
mod sheet;
mod text;

pub use fit::{FitPoint, PointKind, fit_png};
pub use ramp::{RampBand, RampLevel, ramp_png};
