//! The whole panel: every pixel of a picture, the worst of all pictures, and the figures that a set is accepted by.

mod maps;
mod picture_run;

pub use maps::Played;
pub use picture_run::{Before, Lag, Levels, PictureRun};
