//! Closing the loop: the chart that verifies a finished set, and the set corrected from what the panel then showed.

mod chart;
mod correct;
mod samples;
mod shown;
mod smooth;

pub use chart::{rows_without_patches, verification_chart};
pub use correct::{Another, BandTrim, LevelChange, Trimmed, trim};
pub use samples::Verification;
pub use shown::read_figures;
pub use smooth::{Character, Sample, smooth, smooth_with};
