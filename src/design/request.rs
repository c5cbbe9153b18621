//! What is asked of a design.

use super::pins::Pins;

/// Whether all bands show the same lightness for a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LadderShare {
    /// One ladder that every band can show.
    Common,
    /// The widest span in each band.
    PerBand,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// 2…256.
    pub levels: usize,
    /// Longest refresh at any temperature.
    pub budget_s: f64,
    /// Worst error allowed, in steps of the ladder; above 0, at most 0.5.
    pub tolerance_steps: f64,
    pub share: LadderShare,
    /// One temperature alone; absent: the panel's whole range.
    pub temperature_c: Option<f64>,
    /// What of every band's scheme is given.
    pub pins: Pins,
    /// Least contrast, reflectance of the lightest target over that of the darkest; at least 1.
    pub contrast: Option<f64>,
}
