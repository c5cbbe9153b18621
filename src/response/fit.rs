//! The fit: starts, strays, the ladder of models, and what the readings say of every parameter.

use super::crossval::left_out_squares;
use super::differences::Differences;
use super::least_squares::{Ending, Options, Residuals, Solution, solve, solve_from};
use super::model::Response;
use super::parameters::{Parameter, Rung, Scene, parameters};
use super::problem::{ReadingProblem, Source};
use super::robust::{Stray, Weighted, strays};
use crate::error::{Error, InputError, Result};
use crate::project::Project;
use nalgebra::DMatrix;

/// Rows that stand for a patch: while starts are compared, and in the fit itself.
const ROWS_COARSE: usize = 1;
const ROWS_FINE: usize = 3;
/// Starts of the first rungs, the prior's own middle among them.
const STARTS: usize = 4;
/// A parameter whose spread the readings leave above this share of its prior's is called undetermined.
const UNDETERMINED: f64 = 0.8;

/// A rung as the fit found it.
#[derive(Debug, Clone)]
pub struct RungFit {
    pub rung: Rung,
    pub parameters: usize,
    /// χ² of the readings over readings less parameters.
    pub reduced_chi_square: f64,
    pub rms_lstar: f64,
    /// Error on pages and trains left out one at a time.
    pub left_out_rms_lstar: f64,
    pub ending: Ending,
}

/// A parameter with its spread.
#[derive(Debug, Clone)]
pub struct Estimate {
    pub parameter: Parameter,
    pub value: f64,
    /// Standard deviation, in the parameter's unit.
    pub sigma: f64,
    /// The readings leave it as wide as it was before them: it stands near its prior.
    pub undetermined: bool,
}

/// A reading against the fitted response.
#[derive(Debug, Clone, Copy)]
pub struct Residual {
    pub source: Source,
    pub measured_lstar: f64,
    pub predicted_lstar: f64,
    pub stray: bool,
}

/// What the readings say.
#[derive(Debug, Clone)]
pub struct Fit {
    pub rung: Rung,
    pub response: Response,
    pub estimates: Vec<Estimate>,
    /// Covariance of the parameters as the fit moves them; widened by χ² per degree of freedom where that is above 1.
    pub covariance: DMatrix<f64>,
    /// The parameters as the fit moves them.
    pub moved: Vec<f64>,
    pub residuals: Vec<Residual>,
    pub strays: Vec<Stray>,
    pub reduced_chi_square: f64,
    pub degrees_of_freedom: usize,
    pub ending: Ending,
    /// Every rung that was tried, simplest first.
    pub ladder: Vec<RungFit>,
}

/// A rung's solution with the squared left-out errors of each group.
struct Tried {
    problem_parameters: Vec<Parameter>,
    solution: Solution,
    left_out: Vec<f64>,
    fit: RungFit,
}

/// Fits the ladder of models to the readings of `project` and keeps the rung that cross-validation picks.
///
/// `progress` is told what is being done. Errs where there are fewer readings than parameters.
pub fn fit(project: &Project, progress: &dyn Fn(&str)) -> Result<Fit> {
    let scene = scene(project);
    enough_readings(project, &scene)?;
    let mut tried: Vec<Tried> = Vec::new();
    let mut best: Option<usize> = None;
    for rung in Rung::LADDER {
        progress(&format!("fitting: {}", rung.name()));
        let below = best.map(|b| &tried[b]);
        let weights = strays_weights(below);
        let next = try_rung(project, rung, &scene, below, &weights);
        let better = best.is_none_or(|b| clearly_better(&next.left_out, &tried[b].left_out));
        tried.push(next);
        if better {
            best = Some(tried.len() - 1);
        }
    }
    let chosen = best.unwrap_or(0);
    progress(&format!("kept: {}", tried[chosen].fit.rung.name()));
    Ok(conclude(project, tried, chosen))
}

/// Typical voltages and times of the pages.
fn scene(project: &Project) -> Scene {
    let pages = &project.measured.chart.pages;
    let firsts = || pages.iter().filter_map(|p| p.fields.first());
    Scene {
        on_v: median(firsts().map(|f| f.own_on_v().abs())),
        data_v: median(firsts().map(|f| f.data_v)),
        slot_s: median(firsts().map(|f| f64::from(f.slot_ticks) * f.tick_s())),
        erase_s: median(pages.iter().map(|p| p.erase.strokes.iter().map(|s| s.ms * 1e-3).sum())),
    }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(1.0)
}

fn enough_readings(project: &Project, scene: &Scene) -> Result<()> {
    let needed = Rung::LADDER.iter().map(|&r| parameters(r, scene).len()).max().unwrap_or(0);
    let trains: usize = project.trains.iter().map(|t| t.readings_lstar.len()).sum();
    let readings = project.measured.readings.len() + trains;
    if readings > needed {
        return Ok(());
    }
    Err(Error::Input(InputError {
        file: "scans.csv".into(),
        line: None,
        field: None,
        value: Some(format!("{readings} readings")),
        expected: format!(
            "at least {} readings, one more than the richest model has parameters; measure more patches of the chart",
            needed + 1
        ),
    }))
}

/// Weights of the next rung's residuals, from the strays of the best one so far; empty means all 1.
fn strays_weights(below: Option<&Tried>) -> Vec<usize> {
    below.map_or(Vec::new(), |t| {
        strays(&t.solution.residuals).into_iter().map(|s| s.index).collect()
    })
}

fn try_rung(project: &Project, rung: Rung, scene: &Scene, below: Option<&Tried>, out: &[usize]) -> Tried {
    let list = parameters(rung, scene);
    let coarse = ReadingProblem::new(project, rung, list.clone(), ROWS_COARSE);
    let fine = ReadingProblem::new(project, rung, list.clone(), ROWS_FINE);
    let carried = below.map(|t| carry(t, &list));
    let start = match carried {
        Some(carried) if rung.store && rung.window => carried,
        carried => best_start(&coarse, carried, out),
    };
    let mut solution = weighted(&fine, out, |p| solve(p, &start, &fine_options()));
    let found: Vec<usize> =
        strays(readings_of(&fine, &solution)).into_iter().map(|s| s.index).collect();
    if found != out {
        let start = solution.parameters.clone();
        solution = weighted(&fine, &found, |p| solve(p, &start, &fine_options()));
    }
    describe(project, &fine, solution, &found)
}
