//! Choosing the drive: what a scheme can reach, which ticks make which level, which scheme, which bands.

pub mod assurance;
mod assuring;
mod band_count;
mod by_zones;
pub mod certificate;
mod certify;
pub mod charge;
pub mod choice;
pub mod climate;
mod contrast;
pub mod correction;
pub mod edges;
pub mod erases;
pub mod even;
mod farthest;
mod figures;
mod known;
mod ladder;
pub mod middle;
mod outcome;
pub mod pins;
mod plan;
pub mod polish;
mod pool;
pub mod proof;
pub mod pull;
mod rank_maps;
pub mod reach;
mod redesign;
mod relax;
mod request;
pub mod search;
pub mod shading;
mod side_by_side;
pub mod spans;
mod spare;
pub mod sweep;
mod together;
mod unmet;
mod warm;
pub mod zones;

pub use assurance::{Assurance, Assured};
pub use band_count::{BAND_GAIN_LSTAR, TEMPERATURE_SHARE};
pub use edges::EdgeError;
pub use erases::barely_cleared;
pub use known::{Known, ToldApart};
pub use outcome::{
    BandDesign, BandTrial, Content, Design, TrialOutcome, WithoutZones, Worst, ZoneGain,
};
pub use redesign::{Standing, redesign};
pub use request::{LadderShare, Request};
pub use unmet::budget_holds_an_erase;

use crate::error::Result;
use crate::project::Project;
use crate::response::fit::Fit;

/// Designs the waveforms of `request` for the panel of `project` with the fitted response.
///
/// `progress` is told what is being done. Errs with [`crate::Error::Unmet`] where no scheme does.
pub fn design(
    project: &Project,
    fit: &Fit,
    request: &Request,
    progress: &dyn Fn(&str),
) -> Result<Design> {
    design_in(Manner::default(), project, fit, request, progress)
}

/// What a quick design leaves out, in words.
pub fn quick_leaves_out() -> String {
    plan::brief_leaves_out()
}

/// How a design is looked for, and for whom.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Manner {
    /// In a fraction of the time: fewer ascents, of the numbers of bands only the first that serves, bands other than the
    /// coldest only for the ladder that the bands before leave, no grid gone through, nothing polished. The proof is whole. Where that finds none, the whole search follows.
    pub quick: bool,
    /// The share of panels like this one on which the tolerance holds, 0.5…0.99; see [`assurance`].
    pub assure: Option<f64>,
}

/// The same in another manner.
pub fn design_in(
    manner: Manner,
    project: &Project,
    fit: &Fit,
    request: &Request,
    progress: &dyn Fn(&str),
) -> Result<Design> {
    let (spread, tolerance_steps) = (project.panel.spread, request.tolerance_steps);
    let assurance = manner
        .assure
        .map(|share| Assurance::new(fit, spread, share, tolerance_steps));
    plan::Planner {
        effort: match manner.quick {
            true => plan::Effort::Brief,
            false => plan::Effort::Full,
        },
        assurance: assurance.as_ref(),
        ..plan::Planner::new(&project.panel, fit, request, progress)
    }
    .design()
}
