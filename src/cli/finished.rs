//! A finished set with what stands beside its file: the panel's description and the fitted response.

use super::fit::RESPONSE;
use crate::error::{Error, InputError, Result};
use crate::output::OutputFolder;
use crate::panel::{BELONGS_LSTAR, SetOnPanel};
use crate::project::{Panel, read_panel};
use crate::response::{Response, read_response};
use crate::waveforms::Waveforms;
use std::path::{Path, PathBuf};

pub(super) const PANEL: &str = "panel.toml";

/// The panel's description, which goes beside every finished set so that the set can be checked without its project.
pub(super) struct Description(Option<Vec<u8>>);

impl Description {
    /// That of a project; none is written where the set goes into the project itself.
    pub fn of(project: &Path, out: &Path) -> Result<Self> {
        let same = out.canonicalize().ok().zip(project.canonicalize().ok());
        if same.is_some_and(|(out, project)| out == project) {
            return Ok(Description(None));
        }
        let file = project.join(PANEL);
        let bytes = std::fs::read(&file).map_err(|e| Error::file(&file, "read", e))?;
        Ok(Description(Some(bytes)))
    }

    /// Names of files to write, with its own.
    pub fn with<'a>(&self, names: &[&'a str]) -> Vec<&'a str> {
        let own = self.0.as_ref().map(|_| PANEL);
        names.iter().copied().chain(own).collect()
    }

    pub fn stage(self, folder: &mut OutputFolder) -> Result<()> {
        self.0.map_or(Ok(()), |bytes| folder.stage(PANEL, bytes))
    }
}

/// A set, its panel and its response.
pub(super) struct FinishedSet {
    pub file: PathBuf,
    pub set: Waveforms,
    pub panel: Panel,
    response: Response,
}

impl FinishedSet {
    /// Reads `file` and, beside it, response.json and panel.toml; the panel from a project where one is given. Errs where
    /// one of them is missing or wrong, or the panel has another size.
    pub fn read(file: &Path, project: Option<&Path>) -> Result<Self> {
        let beside = file.parent().unwrap_or(Path::new(""));
        let folder = project.unwrap_or(beside);
        let panel_file = folder.join(PANEL);
        let panel = read_panel(&panel_file).map_err(|e| {
            let or = ", or in the folder that --project names";
            missing(e, &panel_file, or)
        })?;
        let set = super::set_of_panel(file, &panel, folder)?;
        let response_file = beside.join(RESPONSE);
        let response = read_response(&response_file, &set.panel.name)
            .map_err(|e| missing(e, &response_file, ""))?;
        Ok(FinishedSet {
            file: file.to_owned(),
            set,
            panel,
            response,
        })
    }

    /// The set proved on its panel. Errs where set and response don't belong together.
    pub fn standing(&self) -> Result<SetOnPanel<'_>> {
        let standing = SetOnPanel::new(&self.set, &self.panel, &self.response);
        let apart = standing.largest_added_lstar();
        if apart <= BELONGS_LSTAR {
            return Ok(standing);
        }
        Err(Error::Input(InputError {
            file: self.file.with_file_name(RESPONSE),
            line: None,
            field: Some("response".into()),
            value: Some(format!("levels up to {apart:.1} L* from those of the set")),
            expected: format!(
                "the response that {} was designed with; its levels agree to {BELONGS_LSTAR} L*",
                self.file.display()
            ),
        }))
    }
}

/// A file that isn't there: what writes it.
fn missing(e: Error, file: &Path, or: &str) -> Error {
    match e {
        Error::File { source, .. } if source.kind() == std::io::ErrorKind::NotFound => {
            Error::Input(InputError {
                file: file.to_owned(),
                line: None,
                field: None,
                value: None,
                expected: format!(
                    "this file beside the waveforms, as `greyloom fit` and `greyloom trim` write it{or}"
                ),
            })
        }
        e => e,
    }
}
