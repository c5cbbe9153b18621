//! `greyloom fit`: the main job, from readings to waveforms.

use super::emit::{TABLE_C, TABLE_H, stage_tables};
use super::finished::Description;
use super::pins::pins;
use super::preview::{RAMP, ramp};
use super::talk::Talk;
use super::{How, arguments, on_threads, tell, within_limits};
use crate::design::{
    Design, LadderShare, Manner, Request, barely_cleared, budget_holds_an_erase, design_in,
    quick_leaves_out,
};
use crate::draw::fit_png;
use crate::error::Result;
use crate::output::OutputFolder;
use crate::project::Project;
use crate::report::{FitReport, RequestReport, ResponseReport, levels_csv};
use crate::response;
use crate::response::fit::{fit, fit_quickly};
use crate::waveforms::{Band, Waveforms};
use std::path::PathBuf;

pub(super) const WAVEFORMS: &str = "waveforms.json";
pub(super) const RESPONSE: &str = "response.json";
const FIT_PLOT: &str = "fit.png";
const LEVELS: &str = "levels.csv";
const FILES: [&str; 7] = [
    FIT_PLOT, LEVELS, RAMP, RESPONSE, TABLE_C, TABLE_H, WAVEFORMS,
];

/// Warnings that are printed one by one.
const WARNINGS_MAX: usize = 10;

/// Fit the panel's response to its readings and design waveforms of even grey levels
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Folder with panel.toml, chart.csv, scans.csv; cell.csv and held-out pages where present
    #[arg(value_name = "PROJECT")]
    project: PathBuf,
    /// Grey levels, 2 to 256
    #[arg(long, value_name = "L", allow_negative_numbers = true, value_parser = arguments::levels)]
    levels: usize,
    /// Longest refresh, with its unit: 12s, 7.5s, 800ms
    #[arg(long, value_name = "TIME", allow_hyphen_values = true, value_parser = arguments::seconds)]
    budget: f64,
    /// Folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Design for this temperature alone, °C [default: bands over the panel's range]
    #[arg(long, value_name = "T", allow_negative_numbers = true, value_parser = arguments::temperature_c)]
    temperature: Option<f64>,
    /// One ladder of greys for all bands, or the widest in each
    #[arg(long, value_enum, default_value_t = Share::Common)]
    ladder: Share,
    /// Largest error of a level, in steps of the ladder: above 0, at most 0.5
    #[arg(long, value_name = "STEPS", default_value_t = arguments::TOLERANCE_STEPS, allow_negative_numbers = true, value_parser = arguments::tolerance_steps)]
    tolerance: f64,
    /// Fix a part of every scheme, hardware already chosen: field1.select_v=10; also erase, fields, and data_v, tick_us,
    /// slot_ticks, guard_ticks, mirrored of a field; several with commas or by repeating
    #[arg(long = "pin", value_name = "PART=VALUE", value_delimiter = ',')]
    pins: Vec<String>,
    /// Share of panels like this one, 0.5 to 0.99, on which the tolerance must hold; [spread] in panel.toml says how they differ
    #[arg(long, value_name = "P", allow_negative_numbers = true, value_parser = arguments::share)]
    assure: Option<f64>,
    /// A first answer in seconds: fewer models, fewer starts, one number of bands, no certificate; proved as ever
    #[arg(long)]
    quick: bool,
    /// Least contrast, reflectance of the lightest level over that of the darkest: 1 to 100, such as 6
    #[arg(long, value_name = "C", allow_negative_numbers = true, value_parser = arguments::contrast)]
    contrast: Option<f64>,
    #[command(flatten)]
    how: How,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Share {
    Common,
    PerBand,
}

/// What a quick run leaves out, in words.
fn left_out(quick: bool) -> Vec<String> {
    match quick {
        true => vec![response::fit::quick_leaves_out(), quick_leaves_out()],
        false => Vec::new(),
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    on_threads(arguments.how.threads, || fit_and_design(arguments))
}

fn fit_and_design(arguments: &Arguments) -> Result<()> {
    let talk = Talk::new();
    let progress = |what: &str| talk.step(what);
    let project = Project::read(&arguments.project)?;
    let request = request(arguments, &project)?;
    // Now rather than after the long run.
    budget_holds_an_erase(&project.panel, &request, &barely_cleared(&project.panel))?;
    let description = Description::of(&arguments.project, &arguments.out)?;
    let names = description.with(&FILES);
    let mut folder = OutputFolder::open(&arguments.out, arguments.how.force, &names)?;
    warn(&talk, arguments, &project);
    let manner = Manner {
        quick: arguments.quick,
        assure: arguments.assure,
    };
    let fit = match arguments.quick {
        true => fit_quickly(&project, &progress)?,
        false => fit(&project, &progress)?,
    };
    let response = ResponseReport::of(&project, &fit);
    let design = design_in(manner, &project, &fit, &request, &progress)?;
    progress("writing");
    stage(&mut folder, &request, &response, &design)?;
    description.stage(&mut folder)?;
    let paths = folder.commit()?;
    drop(talk);
    let report = FitReport {
        request: RequestReport::of(&request),
        left_out: left_out(arguments.quick),
        response,
        design: &design,
        limits: project.panel.limits,
        files: paths.iter().map(|p| p.display().to_string()).collect(),
    };
    tell(arguments.how.json, || report.to_json(), &report)
}

/// Errs where the panel is not made for the temperature asked for.
fn request(arguments: &Arguments, project: &Project) -> Result<Request> {
    let limits = &project.panel.limits;
    if let Some(t) = arguments.temperature {
        within_limits("--temperature", t, limits, &arguments.project)?;
    }
    Ok(Request {
        levels: arguments.levels,
        budget_s: arguments.budget.min(limits.refresh_s),
        tolerance_steps: arguments.tolerance,
        share: match arguments.ladder {
            Share::Common => LadderShare::Common,
            Share::PerBand => LadderShare::PerBand,
        },
        temperature_c: arguments.temperature,
        pins: pins(&arguments.pins, &project.panel, &arguments.project)?,
        contrast: arguments.contrast,
    })
}

fn warn(talk: &Talk, arguments: &Arguments, project: &Project) {
    let limit_s = project.panel.limits.refresh_s;
    if arguments.budget > limit_s {
        talk.warn(&format!(
            "--budget {} s: limits.refresh_s of panel.toml allows {limit_s} s, which is used",
            arguments.budget
        ));
    }
    let warnings = project.warnings();
    for warning in warnings.iter().take(WARNINGS_MAX) {
        talk.warn(&warning.to_string());
    }
    if warnings.len() > WARNINGS_MAX {
        talk.warn(&format!(
            "and {} more like these",
            warnings.len() - WARNINGS_MAX
        ));
    }
}

fn stage(
    folder: &mut OutputFolder,
    request: &Request,
    response: &ResponseReport,
    design: &Design,
) -> Result<()> {
    folder.stage(LEVELS, levels_csv(design))?;
    folder.stage(FIT_PLOT, fit_plot(response)?)?;
    stage_set(folder, request, response, &design.set)
}

/// What every finished set is written with: the response, the ramp and the table beside it.
pub(super) fn stage_set(
    folder: &mut OutputFolder,
    request: &Request,
    response: &ResponseReport,
    set: &Waveforms,
) -> Result<()> {
    // The picture and the table are made from what the file holds, so that they can be made again from it.
    let kept = set.rounded();
    let bands: Vec<&Band> = kept.bands.iter().collect();
    folder.stage(WAVEFORMS, set.to_json())?;
    folder.stage(RESPONSE, response.to_json())?;
    folder.stage(RAMP, ramp(&kept, &bands, request.tolerance_steps)?)?;
    stage_tables(folder, &kept)
}

fn fit_plot(response: &ResponseReport) -> Result<Vec<u8>> {
    let title = format!("{}: readings against the fitted response", response.panel);
    let held_out = response.holdout.as_ref().map_or(String::new(), |h| {
        format!(
            " Held out: rms {:.3} L*, largest {:.3} L*.",
            h.all.rms_lstar, h.all.max_lstar
        )
    });
    let caption = format!(
        "Model: {}. χ² per degree of freedom {:.2}; rms {:.3} L*.{held_out}",
        response.model, response.reduced_chi_square, response.rms_lstar
    );
    fit_png(&response.points, &title, &caption)
}
