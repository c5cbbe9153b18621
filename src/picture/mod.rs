//! Pictures for the panel: any picture file as luminance, scaled to the pixels of the panel, turned into levels; and the
//! patterns that show faults.

mod levels;
mod patterns;
mod read;
mod scale;

pub use levels::{Dither, LevelPicture, bayer, to_levels, wanted_lstar};
pub use patterns::Pattern;
pub(crate) use read::decoded_picture;
pub use read::{PIXELS_MAX, read_picture};
pub use scale::{Fitting, scaled};

/// Relative luminance in linear light, 0 black … 1 white, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Luminance {
    pub width: usize,
    pub height: usize,
    /// width × height values.
    pub values: Vec<f32>,
}
