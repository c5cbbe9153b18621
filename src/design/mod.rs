//! Choosing the drive: what a scheme can reach, which ticks make which level, which scheme, which bands.

mod band_count;
pub mod certificate;
mod certify;
pub mod charge;
pub mod choice;
pub mod climate;
pub mod correction;
pub mod edges;
pub mod erases;
pub mod even;
mod figures;
mod known;
mod ladder;
pub mod middle;
mod outcome;
pub mod pins;
mod plan;
pub mod proof;
pub mod pull;
pub mod reach;
mod redesign;
mod request;
pub mod search;
mod side_by_side;
mod unmet;

pub use band_count::{BAND_GAIN_LSTAR, TEMPERATURE_SHARE};
pub use edges::EdgeError;
pub use erases::barely_cleared;
pub use known::{Known, ToldApart};
pub use outcome::{BandDesign, BandTrial, Content, Design, TrialOutcome, Worst};
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
    plan::Planner::new(&project.panel, fit, request, progress).design()
}
