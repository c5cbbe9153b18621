//! What a design comes to.

use crate::drive::Timing;
use crate::waveforms::Waveforms;
use serde::Serialize;

/// What the other rows of a pixel's column show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Content {
    /// All other rows on for the whole slot (off in a lightening field): the darkest neighbours.
    AllOn,
    /// All other rows off for the whole slot (on in a lightening field): the lightest neighbours.
    AllOff,
}

/// Where the worst error of a band sits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Worst {
    pub level: usize,
    pub content: Content,
    /// Row from 0.
    pub row: usize,
    pub temperature_c: f64,
    pub target_lstar: f64,
    /// What the pixel shows there.
    pub lstar: f64,
}

/// One band, beside what `waveforms.json` says of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandDesign {
    /// Before stretching.
    pub timing: Timing,
    /// The largest stretch factor in the band; the refresh takes `timing` times this there.
    pub longest_stretch: f64,
    pub worst: Worst,
    /// Lightest less darkest target.
    pub span_lstar: f64,
    /// Reflectance of the lightest target over that of the darkest.
    pub contrast: f64,
    /// The widest span this band would reach with a ladder of its own.
    pub span_alone_lstar: f64,
    /// Schemes evaluated for the band.
    pub evaluated: usize,
}

/// A finished set with what a person wants to know of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Design {
    pub set: Waveforms,
    /// In the order of `set.bands`.
    pub bands: Vec<BandDesign>,
    /// Warnings in plain words: a limit that the design can't keep by itself, a safety caution.
    pub notes: Vec<String>,
}
