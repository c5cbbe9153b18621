//! Plots and pictures as PNG: no installed font, the same bytes for the same data.

mod axes;
mod chart_page;
mod fit;
mod grey;
mod histogram;
mod intake;
mod marks;
mod pen;
mod picture;
mod ramp;
mod residuals;
mod scan_frame;
mod sheet;
mod sweep;
mod sweep_voltage;
mod text;
mod trim;

pub use chart_page::{Ground, chart_page_png};
pub use fit::{FitPoint, PointKind, fit_png};
pub use intake::{PatchWords, intake_png};
pub use picture::{Shown, picture_png};
pub use ramp::{RampBand, RampLevel, ramp_png};
pub use scan_frame::{page_strips_png, scan_frame_png, strips_on_a_sheet};
pub use sweep::{SweepPicture, sweep_png};
pub use trim::{TrimBand, TrimLevel, trim_png};
