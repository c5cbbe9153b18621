//! `greyloom rehearse`: a chart as the test panel would show it.

use super::talk::Talk;
use super::{How, arguments, chart_of, on_threads, tell};
use crate::error::{Error, Result};
use crate::output;
use crate::project::{Chart, Panel, read_panel, scans_csv};
use crate::rehearsal::{Instrument, Start, TestPanel};
use crate::report::RehearsalReport;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

const SCANS: &str = "scans.csv";

const FORCE: &str = "Replace a file that this program did not write, or that was edited since";

/// Read a chart as a built-in numerical test panel would show it
#[derive(Debug, clap::Args)]
#[command(mut_arg("force", |force| force.help(FORCE)))]
pub(super) struct Arguments {
    /// Folder with panel.toml, and with chart.csv unless --chart names another
    #[arg(value_name = "PROJECT")]
    project: PathBuf,
    /// Chart to rehearse [default: chart.csv of PROJECT]
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
    /// Finished set that the chart verifies: gives pages with erase `band` their strokes and stretch
    #[arg(long, value_name = "W")]
    waveforms: Option<PathBuf>,
    /// Scans to write [default: beside the chart, `scans` for `chart` in its name]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Seed of the instrument's noise
    #[arg(
        long,
        value_name = "N",
        default_value_t = 1,
        allow_negative_numbers = true,
        conflicts_with = "exact"
    )]
    seed: u64,
    /// Readings of each patch, 1 to 1000
    #[arg(long, value_name = "N", default_value_t = 1, allow_negative_numbers = true, value_parser = arguments::repeats)]
    repeats: u32,
    /// Readings without noise
    #[arg(long)]
    exact: bool,
    /// What each page starts from: the fully dark panel, or what the page before it left
    #[arg(long, value_enum, default_value_t = StartFrom::Dark)]
    start: StartFrom,
    /// Another test panel [default: the one that ships, calibration/test-panel.toml]
    #[arg(long, value_name = "FILE")]
    panel: Option<PathBuf>,
    #[command(flatten)]
    how: How,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum StartFrom {
    Dark,
    Last,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    on_threads(arguments.how.threads, || rehearse(arguments))
}

fn rehearse(arguments: &Arguments) -> Result<()> {
    let talk = Talk::new();
    let panel = read_panel(&arguments.project.join("panel.toml"))?;
    let test_panel = match &arguments.panel {
        Some(file) => TestPanel::read(file)?,
        None => TestPanel::shipped()?,
    };
    let file = chart_file(arguments);
    let chart = chart_of(&file, &panel, arguments.waveforms.as_deref())?;
    let out = out(arguments, &file)?;
    output::check_file(&out, arguments.how.force)?;
    warn(&talk, arguments, &out);
    let start = match arguments.start {
        StartFrom::Dark => Start::Dark,
        StartFrom::Last => Start::Last,
    };
    let lstar = show(&talk, &test_panel, &panel, &chart, start);
    let instrument = instrument(arguments, &panel);
    let readings = instrument.read(&lstar);
    output::write_file(&out, scans_csv(&chart, &readings), arguments.how.force)?;
    drop(talk);
    let report = RehearsalReport::of(
        &panel.name,
        &test_panel,
        &chart,
        &readings,
        (start, &instrument),
        out.display().to_string(),
    );
    tell(arguments.how.json, || report.to_json(), &report)
}

fn chart_file(arguments: &Arguments) -> PathBuf {
    let own = || arguments.project.join("chart.csv");
    arguments.chart.clone().unwrap_or_else(own)
}

/// `chart.csv` → `scans.csv`, `holdout-chart.csv` → `holdout-scans.csv`, `pages.csv` → `pages-scans.csv`. Errs where it
/// would be the chart itself.
fn out(arguments: &Arguments, chart: &Path) -> Result<PathBuf> {
    let out = arguments.out.clone().unwrap_or_else(|| {
        let name = chart.file_name().and_then(OsStr::to_str);
        chart.with_file_name(name.map_or(SCANS.to_owned(), scans_name))
    });
    let same = |a: &Path, b: &Path| {
        a == b || matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
    };
    if same(&out, chart) {
        return Err(Error::Usage(format!(
            "--out {}: expected another file than the chart",
            out.display()
        )));
    }
    Ok(out)
}

fn scans_name(chart: &str) -> String {
    match chart.rsplit_once("chart") {
        Some((before, after)) => format!("{before}scans{after}"),
        None => format!("{}-{SCANS}", chart.trim_end_matches(".csv")),
    }
}

/// A fit takes in all readings of a folder, also those that are another panel's.
fn warn(talk: &Talk, arguments: &Arguments, out: &Path) {
    let own = |name: &str| arguments.project.join(name);
    let others = ["cell.csv", "holdout-scans.csv"].map(own);
    for other in others.iter().filter(|o| out == own(SCANS) && o.exists()) {
        talk.warn(&format!(
            "{}: not the test panel's; a fit of this folder would mix both, so move it away first",
            other.display()
        ));
    }
}

fn instrument(arguments: &Arguments, panel: &Panel) -> Instrument {
    Instrument {
        repeatability_lstar: if arguments.exact {
            0.0
        } else {
            panel.instrument.repeatability_lstar
        },
        seed: arguments.seed,
        repeats: arguments.repeats,
    }
}

fn show(
    talk: &Talk,
    test_panel: &TestPanel,
    panel: &Panel,
    chart: &Chart,
    start: Start,
) -> Vec<Vec<f64>> {
    let (pages, done) = (chart.pages.len(), AtomicUsize::new(0));
    talk.step(&format!("rehearsing {pages} pages"));
    test_panel.lstar(panel, chart, start, &|_| {
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        talk.progress(&format!("rehearsing: {done} of {pages} pages"));
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scans_are_named_after_their_chart() {
        for (chart, scans) in [
            ("chart.csv", "scans.csv"),
            ("holdout-chart.csv", "holdout-scans.csv"),
            ("verify-chart-2.csv", "verify-scans-2.csv"),
            ("pages.csv", "pages-scans.csv"),
            ("pages", "pages-scans.csv"),
        ] {
            assert_eq!(scans_name(chart), scans);
        }
    }
}
