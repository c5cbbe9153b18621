//! Choosing the drive: what a scheme can reach, which ticks make which level, which scheme, which bands.

pub mod choice;
pub mod climate;
mod outcome;
pub mod reach;
mod request;
pub mod search;

pub use outcome::{BandDesign, Content, Design, Worst};
pub use request::{LadderShare, Request};

use crate::error::{Error, Result, Unmet};
use crate::project::Project;
use crate::response::fit::Fit;

/// Designs the waveforms of `request` for the panel of `project` with the fitted response.
pub fn design(
    _project: &Project,
    _fit: &Fit,
    request: &Request,
    _progress: &dyn Fn(&str),
) -> Result<Design> {
    Err(Error::Unmet(Unmet {
        request: format!("{} levels", request.levels),
        binding: String::new(),
        would_do: vec![],
    }))
}
