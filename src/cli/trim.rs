//! `greyloom trim`: a finished set corrected from readings of its levels.

use super::emit::{TABLE_C, TABLE_H};
use super::finished::Description;
use super::fit::{RESPONSE, WAVEFORMS, stage_set};
use super::preview::RAMP;
use super::talk::Talk;
use super::{How, arguments, on_threads, set_of_panel, tell};
use crate::design::pins::Pins;
use crate::design::{LadderShare, Request};
use crate::draw::trim_png;
use crate::error::Result;
use crate::output::OutputFolder;
use crate::project::Project;
use crate::report::{ResponseReport, TrimReport};
use crate::trim::{Trimmed, Verification, trim};
use crate::waveforms::Waveforms;
use std::path::PathBuf;

const LEVELS: &str = "trim.csv";
const PLOT: &str = "trim.png";
const FILES: [&str; 7] = [RAMP, RESPONSE, TABLE_C, TABLE_H, LEVELS, PLOT, WAVEFORMS];

/// Correct a finished set of waveforms from readings of its levels
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The waveforms.json whose levels were read
    #[arg(value_name = "W")]
    waveforms: PathBuf,
    /// Project that the set was made from, with the readings of its first fit
    #[arg(long, value_name = "PROJECT")]
    project: PathBuf,
    /// Chart that was read, as `greyloom chart PROJECT --waveforms W` writes it
    #[arg(long, value_name = "FILE")]
    chart: PathBuf,
    /// Readings of that chart
    #[arg(long, value_name = "FILE")]
    scans: PathBuf,
    /// Folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Longest refresh, with its unit [default: the panel's limit]
    #[arg(long, value_name = "TIME", allow_hyphen_values = true, value_parser = arguments::seconds)]
    budget: Option<f64>,
    /// Largest error of a level, in steps of the ladder: above 0, at most 0.5 [default: 0.25, or as little more as even greys take]
    #[arg(long, value_name = "STEPS", allow_negative_numbers = true, value_parser = arguments::tolerance_steps)]
    tolerance: Option<f64>,
    #[command(flatten)]
    how: How,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    on_threads(arguments.how.threads, || correct(arguments))
}

fn correct(arguments: &Arguments) -> Result<()> {
    let talk = Talk::new();
    let progress = |what: &str| talk.step(what);
    let project = Project::read(&arguments.project)?;
    let set = set_of_panel(&arguments.waveforms, &project.panel, &arguments.project)?;
    let verification =
        Verification::read(&arguments.chart, &arguments.scans, &project.panel, &set)?;
    warn(&talk, &verification, &project);
    let description = Description::of(&arguments.project, &arguments.out)?;
    let names = description.with(&FILES);
    let mut folder = OutputFolder::open(&arguments.out, arguments.how.force, &names)?;
    let request = request(arguments, &set, &project);
    let trimmed = trim(
        &project,
        &set,
        &verification,
        &request,
        arguments.tolerance.is_none(),
        &progress,
    )?;
    progress("writing");
    let report = TrimReport::of(&project, &set, &verification, &trimmed);
    stage(&mut folder, &request, &report, &trimmed)?;
    description.stage(&mut folder)?;
    let files = folder.commit()?;
    drop(talk);
    let report = report.written(&files);
    tell(arguments.how.json, || report.to_json(), &report)
}

fn warn(talk: &Talk, verification: &Verification, project: &Project) {
    let scans = verification.scans_file.display().to_string();
    let measured = &verification.measured;
    for warning in measured.repeats_apart(&scans, &project.panel.instrument) {
        talk.warn(&warning.to_string());
    }
}

fn request(arguments: &Arguments, set: &Waveforms, project: &Project) -> Request {
    let limit_s = project.panel.limits.refresh_s;
    let own = set.bands.iter().any(|b| b.targets_lstar.is_some());
    Request {
        levels: set.levels,
        budget_s: arguments.budget.unwrap_or(limit_s).min(limit_s),
        tolerance_steps: arguments.tolerance.unwrap_or(arguments::TOLERANCE_STEPS),
        share: if own {
            LadderShare::PerBand
        } else {
            LadderShare::Common
        },
        temperature_c: None,
        pins: Pins::NONE,
        contrast: None,
    }
}

fn stage(
    folder: &mut OutputFolder,
    request: &Request,
    report: &TrimReport,
    trimmed: &Trimmed,
) -> Result<()> {
    let response = ResponseReport::of(&trimmed.joined, &trimmed.fit);
    folder.stage(LEVELS, report.levels_csv())?;
    folder.stage(PLOT, plot(report)?)?;
    stage_set(folder, request, &response, &trimmed.design.set)
}

fn plot(report: &TrimReport) -> Result<Vec<u8>> {
    let title = format!("{}: levels before and after trimming", report.panel);
    let caption = "Distance of each level from the even ladder between the outer two, in steps, in an ordinary picture: mixed content, middle row, the band's design temperature.";
    trim_png(&report.drawn(), &title, caption)
}
