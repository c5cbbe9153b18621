//! `greyloom chart`: what to measure.

use super::talk::Talk;
use super::{How, arguments, on_threads, set_of_panel, tell, within_limits};
use crate::draw::{Ground, chart_page_png};
use crate::drive::{Field, Timing};
use crate::error::{Error, Result};
use crate::output::OutputFolder;
use crate::planning::{Cost, Grid, PlanRequest, Planning};
use crate::project::{BAND_ERASE, Chart, Page, Panel, chart_csv, read_panel};
use crate::report::ChartReport;
use crate::trim::{rows_without_patches, verification_chart};
use std::path::{Path, PathBuf};

const FORCE: &str = "Replace files that this program did not write, or that were edited since, and a chart with its readings beside it";

/// Choose the patches that teach most, or those that verify a finished set
#[derive(Debug, clap::Args)]
#[command(mut_arg("force", |force| force.help(FORCE)))]
pub(super) struct Arguments {
    /// Folder with panel.toml
    #[arg(value_name = "PROJECT")]
    pub(super) project: PathBuf,
    /// Patches to measure, 20 to 2000 [default: 160]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = arguments::patches, conflicts_with = "waveforms")]
    patches: Option<usize>,
    /// Pages to drive [default: one for every 10 patches]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = arguments::pages, conflicts_with = "waveforms")]
    pages: Option<usize>,
    /// Temperatures to measure at, °C: 5,14,23,32,40 [default: 5, evenly over the panel's range]
    #[arg(long, value_name = "T,T", value_delimiter = ',', allow_hyphen_values = true, value_parser = arguments::temperature_c, conflicts_with = "waveforms")]
    temperatures: Vec<f64>,
    /// Finished set to verify: every level among dark, light and mixed neighbours, each patch within one zone of rows
    #[arg(long, value_name = "W")]
    pub(super) waveforms: Option<PathBuf>,
    /// Draw what scanning the chart that is there needs, in place of choosing one: a frame to lay the panel into, and strips with
    /// the pages' marks
    #[arg(long, conflicts_with_all = ["patches", "pages", "temperatures"])]
    scan_frame: bool,
    /// Chart to write, pictures of its pages beside it [default: chart.csv in PROJECT; with --waveforms, verify-chart.csv]
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
    #[command(flatten)]
    pub(super) how: How,
}

pub(super) const PLANNED: &str = "chart.csv";
pub(super) const VERIFYING: &str = "verify-chart.csv";
/// Readings of the planned chart.
const READ: &str = "scans.csv";
const PATCHES: usize = 160;
const PATCHES_A_PAGE: usize = 10;
const TEMPERATURES: usize = 5;

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    on_threads(arguments.how.threads, || chart(arguments))
}

fn chart(arguments: &Arguments) -> Result<()> {
    let panel_file = arguments.project.join("panel.toml");
    let panel = read_panel(&panel_file)?;
    if arguments.scan_frame {
        return super::scan_frame::run(arguments, &panel);
    }
    let grid = Grid::new(&panel, &panel_file)?;
    match &arguments.waveforms {
        Some(set) => verifying(arguments, &panel, grid, set),
        None => learning(arguments, &panel, grid),
    }
}

fn learning(arguments: &Arguments, panel: &Panel, grid: Grid) -> Result<()> {
    let talk = Talk::new();
    let request = request(arguments, panel, grid)?;
    let mut output = Output::open(arguments, PLANNED, request.pages)?;
    let progress = |what: &str| talk.step(what);
    let planning = Planning::new(panel, grid, &request, &progress)?;
    let plan = planning.plan(&progress);
    progress("writing");
    output.stage(&plan.chart, panel)?;
    let report = ChartReport::of_plan(panel, &plan).written(&output.folder.commit()?);
    drop(talk);
    tell(arguments.how.json, || report.to_json(), &report)
}

fn verifying(arguments: &Arguments, panel: &Panel, grid: Grid, file: &Path) -> Result<()> {
    let set = set_of_panel(file, panel, &arguments.project)?;
    let chart = verification_chart(&set, panel, grid)?;
    let mut output = Output::open(arguments, VERIFYING, chart.pages.len())?;
    output.stage(&chart, panel)?;
    let report = ChartReport::of(panel, &chart, Cost::of(&chart, panel));
    let report = report.unread(rows_without_patches(&set, panel, grid));
    let report = report.written(&output.folder.commit()?);
    tell(arguments.how.json, || report.to_json(), &report)
}

fn request(arguments: &Arguments, panel: &Panel, grid: Grid) -> Result<PlanRequest> {
    let temperatures_c = temperatures(arguments, panel)?;
    let patches = arguments.patches.unwrap_or(PATCHES);
    let capacity = grid.down * grid.across;
    let fewest = patches.div_ceil(capacity).max(temperatures_c.len());
    let usual = patches.div_ceil(PATCHES_A_PAGE.min(capacity)).max(fewest);
    let pages = arguments.pages.unwrap_or(usual);
    if !(fewest..=patches).contains(&pages) {
        return Err(Error::Usage(format!(
            "--pages {pages}: expected {fewest} to {patches} pages for {patches} patches at {} temperatures; a page of this \
             panel holds {capacity} patches of {} × {} pixels",
            temperatures_c.len(),
            grid.side,
            grid.side
        )));
    }
    Ok(PlanRequest {
        patches,
        pages,
        temperatures_c,
    })
}

/// Rising, inside the panel's limits, none twice.
fn temperatures(arguments: &Arguments, panel: &Panel) -> Result<Vec<f64>> {
    let (low, high) = (
        panel.limits.temperature_min_c,
        panel.limits.temperature_max_c,
    );
    let mut temperatures = arguments.temperatures.clone();
    if temperatures.is_empty() {
        let at = |k: usize| low + (high - low) * k as f64 / (TEMPERATURES - 1) as f64;
        temperatures = (0..TEMPERATURES)
            .map(|k| (at(k) * 10.0).round() / 10.0)
            .map(|t| t.clamp(low, high))
            .collect();
        temperatures.dedup();
    }
    temperatures.sort_by(f64::total_cmp);
    if let Some(twice) = temperatures.windows(2).find(|t| t[0] == t[1]) {
        return Err(Error::Usage(format!(
            "--temperatures: {} °C stands there twice; expected each once",
            twice[0]
        )));
    }
    let within = |&t: &f64| within_limits("--temperatures", t, &panel.limits, &arguments.project);
    temperatures.iter().try_for_each(within)?;
    Ok(temperatures)
}

/// The chart's file and the pictures beside it.
struct Output {
    folder: OutputFolder,
    chart: String,
    pictures: Vec<String>,
}

impl Output {
    fn open(arguments: &Arguments, usual: &str, pages: usize) -> Result<Self> {
        let own = || arguments.project.join(usual);
        let path = arguments.out.clone().unwrap_or_else(own);
        let Some(chart) = path.file_name().and_then(|n| n.to_str()) else {
            return Err(Error::Usage(format!(
                "--out {}: expected the name of a file",
                path.display()
            )));
        };
        let digits = pages.to_string().len().max(2);
        let stem = chart.strip_suffix(".csv").unwrap_or(chart);
        let pictures: Vec<String> = (1..=pages)
            .map(|k| format!("{stem}-page-{k:0digits$}.png"))
            .collect();
        let mut names = pictures.clone();
        names.push(chart.to_owned());
        let dir = path.parent().unwrap_or(Path::new(""));
        if !arguments.how.force && chart == PLANNED && path.exists() && dir.join(READ).exists() {
            return Err(Error::InTheWay {
                why: format!(
                    "{READ} beside it holds its readings; choose another place or pass --force"
                ),
                path,
            });
        }
        Ok(Output {
            folder: OutputFolder::open(dir, arguments.how.force, &names)?,
            chart: chart.to_owned(),
            pictures,
        })
    }

    fn stage(&mut self, chart: &Chart, panel: &Panel) -> Result<()> {
        self.folder.stage(&self.chart, chart_csv(chart))?;
        for (name, page) in self.pictures.iter().zip(&chart.pages) {
            self.folder.stage(name, picture(page, panel)?)?;
        }
        Ok(())
    }
}

fn picture(page: &Page, panel: &Panel) -> Result<Vec<u8>> {
    let ground = Ground {
        rows: panel.rows,
        columns: panel.columns,
        pixel_pitch_um: panel.pixel_pitch_um,
        aperture_mm: panel.instrument.aperture_mm,
    };
    let title = format!(
        "{}: page {} at {} °C",
        panel.name, page.name, page.temperature_c
    );
    chart_page_png(page, &ground, &title, &caption(page, panel))
}

fn caption(page: &Page, panel: &Panel) -> String {
    let settle_ms = panel.drivers.field_settle_ms;
    let seconds =
        page.stretch * Timing::of(&page.erase, &page.fields, panel.rows, settle_ms).total_s();
    let fields: Vec<String> = page.fields.iter().map(Field::in_words).collect();
    let pulses = page.patches.iter().any(|p| p.name.starts_with('F'));
    let pulses = if pulses && page.erase.name == BAND_ERASE {
        " L: a level, from 0; F: ticks of one field alone."
    } else {
        ""
    };
    let fill: Vec<String> = page.fill_ticks.iter().map(u32::to_string).collect();
    format!(
        "{} erase; {}. Refresh {seconds:.1} s from a fully dark panel. Under each name its ticks, one a field; all other pixels {}.{pulses} \
         Circle: the instrument's aperture, {} mm.",
        page.erase.name,
        fields.join("; then "),
        fill.join(" · "),
        panel.instrument.aperture_mm
    )
}
