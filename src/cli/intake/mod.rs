//! `greyloom intake`: scans and spectra to readings.

mod images;
mod spectra;

use super::{How, chart_of, tell};
use crate::error::{Error, Result};
use crate::intake::ends::read_transmission;
use crate::intake::session::Session;
use crate::project::{Chart, Panel, read_panel};
use crate::report::EndsReport;
use std::path::{Path, PathBuf};

/// Turn scans of driven pages, or spectra of their patches, into readings with their uncertainty
#[derive(Debug, clap::Args)]
#[command(arg_required_else_help = true)]
pub(super) struct Arguments {
    #[command(subcommand)]
    from: From,
}

#[derive(Debug, clap::Subcommand)]
enum From {
    Image(images::Arguments),
    Spectra(spectra::Arguments),
    Ends(EndsArguments),
}

/// Split the white and the dark end into window, liquid and pigment, from transmission readings of a cell
#[derive(Debug, clap::Args)]
struct EndsArguments {
    /// CSV with state,transmittance and optionally transmittance_u; states empty, filled (clear liquid), clear and dark
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Print one JSON document in place of the summary
    #[arg(long)]
    json: bool,
}

/// Where readings belong, and where they go.
#[derive(Debug, clap::Args)]
struct Place {
    /// Folder with panel.toml, and with chart.csv unless --chart names another
    #[arg(long, value_name = "P")]
    project: PathBuf,
    /// Chart that was driven [default: chart.csv of the project]
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
    /// Finished set that the chart verifies
    #[arg(long, value_name = "W")]
    waveforms: Option<PathBuf>,
    /// Scans to write
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    #[command(flatten)]
    how: How,
}

impl Place {
    /// The panel, and the chart that was driven on it.
    fn read(&self) -> Result<(Panel, Chart)> {
        let panel = read_panel(&self.project.join("panel.toml"))?;
        let own = || self.project.join("chart.csv");
        let file = self.chart.clone().unwrap_or_else(own);
        let chart = chart_of(&file, &panel, self.waveforms.as_deref())?;
        Ok((panel, chart))
    }

    /// The folder of `--out`, and the file's name in it.
    fn named(&self) -> Result<(&Path, &str)> {
        let name = self.out.file_name().and_then(|n| n.to_str());
        let dir = self.out.parent().unwrap_or(Path::new(""));
        let wrong = || {
            Error::Usage(format!(
                "--out {}: expected the name of a file",
                self.out.display()
            ))
        };
        name.map(|name| (dir, name)).ok_or_else(wrong)
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    match &arguments.from {
        From::Image(image) => images::run(image),
        From::Spectra(spectra) => spectra::run(spectra),
        From::Ends(ends) => {
            let transmission = read_transmission(&ends.file)?;
            let report = EndsReport::of(ends.file.display().to_string(), transmission);
            tell(ends.json, || report.to_json(), &report)
        }
    }
}

/// Pages that were read in part.
fn unread(session: &Session, chart: &Chart) -> Vec<String> {
    let pages: std::collections::BTreeSet<usize> = session.merged.iter().map(|m| m.page).collect();
    let missing = chart.pages.len() - pages.len();
    if missing == 0 {
        return Vec::new();
    }
    let names: Vec<&str> = (0..chart.pages.len())
        .filter(|p| !pages.contains(p))
        .map(|p| chart.pages[p].name.as_str())
        .take(8)
        .collect();
    let more = if missing > names.len() { ", …" } else { "" };
    vec![format!(
        "{missing} of {} pages of the chart have no reading: {}{more}",
        chart.pages.len(),
        names.join(", ")
    )]
}
