//! `greyloom sweep`: what levels, refresh time, contrast and voltage cost each other.

use super::talk::Talk;
use super::{How, arguments, on_threads, tell, within_limits};
use crate::design::sweep::{Step, Sweep, SweepRequest, sweep};
use crate::draw::{SweepPicture, sweep_png};
use crate::error::Result;
use crate::output::OutputFolder;
use crate::project::{Panel, Project};
use crate::report::{SweepReport, sweep_csv};
use crate::response::fit::fit;
use std::path::PathBuf;
use std::time::Instant;

const TABLE: &str = "sweep.csv";
const PICTURE: &str = "sweep.png";

/// Levels where none are asked for.
const LEVELS: (usize, usize) = (8, 64);
/// Numbers of levels that are mapped, beside the ends of the range.
const LEVELS_TRIED: [usize; 15] = [2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, 256];
/// Times in a range, at most, apart by 1, 2 or 5 times a power of ten.
const TIMES: f64 = 12.0;
/// Before this share of the work is done, how long it takes can't be told.
const TOLD_FROM: f64 = 0.05;

/// Map what trades against what: levels, refresh time, contrast and voltage
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Folder with panel.toml, chart.csv, scans.csv; cell.csv where present
    #[arg(value_name = "PROJECT")]
    project: PathBuf,
    /// Folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Grey levels, fewest..most, of 2 to 256 [default: 8..64]
    #[arg(long, value_name = "A..B", allow_negative_numbers = true, value_parser = arguments::level_range)]
    levels: Option<(usize, usize)>,
    /// Refresh times, shortest..longest, with their unit: 4s..20s [default: from the shortest that any design takes to
    /// limits.refresh_s of panel.toml]
    #[arg(long, value_name = "A..B", allow_hyphen_values = true, value_parser = arguments::second_range)]
    refresh: Option<(f64, f64)>,
    /// Design for this temperature alone, °C [default: bands over the panel's range]
    #[arg(long, value_name = "T", allow_negative_numbers = true, value_parser = arguments::temperature_c)]
    temperature: Option<f64>,
    /// Largest error of a level, in steps of the ladder: above 0, at most 0.5
    #[arg(long, value_name = "STEPS", default_value_t = arguments::TOLERANCE_STEPS, allow_negative_numbers = true, value_parser = arguments::tolerance_steps)]
    tolerance: f64,
    #[command(flatten)]
    how: How,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    on_threads(arguments.how.threads, || fit_and_map(arguments))
}

fn fit_and_map(arguments: &Arguments) -> Result<()> {
    let talk = Talk::new();
    let project = Project::read(&arguments.project)?;
    let limits = &project.panel.limits;
    if let Some(t) = arguments.temperature {
        within_limits("--temperature", t, limits, &arguments.project)?;
    }
    let request = request(arguments, &project.panel);
    // Now rather than after the fit.
    request.holds_an_erase(&project.panel)?;
    let mut folder = OutputFolder::open(&arguments.out, arguments.how.force, &[TABLE, PICTURE])?;
    let fit = fit(&project, &|what| talk.step(what))?;
    let begun = Instant::now();
    let map = sweep(&project, &fit, &request, &|step| {
        talk.step(&told(step, &begun))
    })?;
    let range = (limits.temperature_min_c, limits.temperature_max_c);
    let mut report = SweepReport {
        tolerance_steps: request.tolerance_steps,
        temperature_c: request.temperature_c.map_or(range, |t| (t, t)),
        ..SweepReport::of(&map, &project.panel.name, fit.rung.name(), limits.refresh_s)
    };
    folder.stage(TABLE, sweep_csv(&map.points))?;
    folder.stage(PICTURE, picture(&map, &report)?)?;
    let paths = folder.commit()?;
    drop(talk);
    report.files = paths.iter().map(|p| p.display().to_string()).collect();
    tell(arguments.how.json, || report.to_json(), &report)
}

/// What is being done, and how long the rest will take.
fn told(step: &Step, begun: &Instant) -> String {
    let percent = 100.0 * step.done;
    if step.done < TOLD_FROM {
        return format!("{} ({percent:.0} %)", step.what);
    }
    let left_s = begun.elapsed().as_secs_f64() * (1.0 - step.done) / step.done;
    format!("{} ({percent:.0} %, about {left_s:.0} s left)", step.what)
}

fn request(arguments: &Arguments, panel: &Panel) -> SweepRequest {
    let shortest_s = SweepRequest::shortest_s(panel);
    let limit_s = panel.limits.refresh_s;
    SweepRequest {
        levels: levels(arguments.levels.unwrap_or(LEVELS)),
        refresh_s: match arguments.refresh {
            Some((first, last)) => times(first, last, true),
            None => times(shortest_s.min(limit_s), limit_s, false),
        },
        tolerance_steps: arguments.tolerance,
        temperature_c: arguments.temperature,
    }
}

/// The ends and what lies between of the numbers that are mapped.
fn levels((first, last): (usize, usize)) -> Vec<usize> {
    let between = LEVELS_TRIED
        .iter()
        .copied()
        .filter(|l| (first + 1..last).contains(l));
    let mut all: Vec<usize> = [first].into_iter().chain(between).chain([last]).collect();
    all.dedup();
    all
}

/// Round times from a first to a last, the last among them, and the first too where it was `asked` for.
fn times(first: f64, last: f64, asked: bool) -> Vec<f64> {
    let step = round_step((last - first) / TIMES);
    if step <= 0.0 {
        return vec![last];
    }
    let low = (first / step - 1e-9).ceil() as i64;
    let high = (last / step + 1e-9).floor() as i64;
    let clean = |x: f64| (x * 1e6).round() / 1e6;
    let mut all: Vec<f64> = (low..=high).map(|k| clean(k as f64 * step)).collect();
    if asked && all.first().is_none_or(|&t| t > first) {
        all.insert(0, first);
    }
    if all.last().is_none_or(|&t| t < last) {
        all.push(last);
    }
    all
}

/// The least of 1, 2 and 5 times a power of ten that is no smaller; 0 for 0.
fn round_step(least: f64) -> f64 {
    if least <= 0.0 {
        return 0.0;
    }
    let tens = 10.0f64.powf(least.log10().floor());
    let round = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .find(|r| r * tens >= least * (1.0 - 1e-9));
    round.unwrap_or(10.0) * tens
}

fn picture(map: &Sweep, report: &SweepReport) -> Result<Vec<u8>> {
    let title = format!(
        "{}: what levels, time, contrast and voltage cost each other",
        report.panel
    );
    let sentences: Vec<String> = report.sentences().into_iter().map(|(_, s)| s).collect();
    sweep_png(&SweepPicture {
        title: &title,
        levels: &map.levels,
        points: &map.points,
        best: &map.best,
        knees: &map.knees,
        limit_s: report.limit_s,
        sentences: &sentences,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_round_and_keep_the_ends() {
        assert_eq!(
            times(2.3, 12.0, false),
            (3..=12).map(f64::from).collect::<Vec<_>>()
        );
        assert_eq!(times(4.0, 5.0, true).len(), 11);
        assert_eq!(
            times(2.3, 3.05, true),
            [2.3, 2.4, 2.5, 2.6, 2.7, 2.8, 2.9, 3.0, 3.05]
        );
        assert_eq!(times(5.0, 5.0, true), [5.0]);
    }

    #[test]
    fn levels_keep_the_ends() {
        assert_eq!(levels((8, 64)), [8, 12, 16, 24, 32, 48, 64]);
        assert_eq!(levels((10, 33)), [10, 12, 16, 24, 32, 33]);
        assert_eq!((levels((7, 7)), levels((2, 3))), (vec![7], vec![2, 3]));
    }

    #[test]
    fn steps_are_round() {
        for (least, step) in [
            (0.97, 1.0),
            (1.0, 1.0),
            (1.01, 2.0),
            (0.021, 0.05),
            (60.0, 100.0),
        ] {
            assert!((round_step(least) / step - 1.0).abs() < 1e-12, "{least}");
        }
    }
}
