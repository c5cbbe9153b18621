//! What a design comes to.

use super::assurance::Assured;
use super::charge::Charge;
use super::edges::EdgeError;
use super::known::Known;
use super::polish::Polish;
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
    /// Strokes of the shortest erase that the limit on ghosts and the readings allow in the band, before stretching, s.
    pub shortest_erase_s: f64,
    pub charge: Charge,
    pub worst: Worst,
    /// Lightest less darkest target.
    pub span_lstar: f64,
    /// Reflectance of the lightest target over that of the darkest.
    pub contrast: f64,
    /// The widest span this band would reach with a ladder of its own.
    pub span_alone_lstar: f64,
    /// Schemes evaluated for the band.
    pub evaluated: usize,
    /// Largest distance of a level from the line between the outer two in an ordinary picture, in steps: mixed content,
    /// middle row, design temperature.
    pub uneven_steps: f64,
    /// How uneven that may well be; see [`Even`](super::even::Even).
    pub expected_steps: f64,
    /// Largest difference of one level between two rows in an ordinary picture, in steps.
    pub shading_steps: f64,
    /// What zones of rows win, where the band has some.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub zones: Option<ZoneGain>,
    /// How well the predicted levels are known.
    pub known: Known,
    /// Errors at the band's low edge, design temperature and high edge.
    pub edges: Vec<EdgeError>,
}

/// What zones of rows win against one table for all rows with the same scheme on the same ladder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ZoneGain {
    /// First and last row of each zone.
    pub rows: Vec<(usize, usize)>,
    /// The worst error and the shading that one table would have, in steps.
    pub alike_error_steps: f64,
    pub alike_shading_steps: f64,
}

/// The design without zones of rows, where there is one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WithoutZones {
    /// Of the narrowest band.
    pub span_lstar: f64,
    /// Of the worst band.
    pub worst_error_steps: f64,
    pub shading_steps: f64,
}

/// What came of a number of bands that was considered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TrialOutcome {
    /// Temperature alone would take too much of the tolerance: no scheme was looked for.
    TooWide,
    /// Schemes were looked for in the coldest band.
    Searched,
    /// The same, but all bands together have no ladder.
    NotTogether,
}

/// A number of bands that was considered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandTrial {
    pub bands: usize,
    /// On every duration at the design temperature.
    pub factor: f64,
    /// How far the coldest band's edges alone move one of its greys from the middle, in steps, stretching included.
    pub temperature_steps: f64,
    /// Widest ladder found for the coldest band, L*.
    pub span_lstar: Option<f64>,
    pub outcome: TrialOutcome,
}

impl Design {
    /// Lightest less darkest target of the narrowest band, L*.
    pub fn span_lstar(&self) -> f64 {
        let spans = self.bands.iter().map(|b| b.span_lstar);
        spans.fold(f64::INFINITY, f64::min)
    }
}

/// A finished set with what a person wants to know of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Design {
    pub set: Waveforms,
    /// In the order of `set.bands`.
    pub bands: Vec<BandDesign>,
    /// The numbers of bands that were considered, fewest first; none for one temperature, or where the schemes stood.
    pub bands_tried: Vec<BandTrial>,
    /// What panels like this one show, where that was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assured: Option<Assured>,
    /// What polishing did, where a rail has no step.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub polish: Option<Polish>,
    /// Where bands have zones of rows: what was reached without; absent where nothing was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub without_zones: Option<WithoutZones>,
    /// Warnings in plain words: a limit that the design can't keep by itself, a safety caution.
    pub notes: Vec<String>,
}
