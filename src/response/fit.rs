//! The fit: starts, strays, the ladder of models, and what the readings say of every parameter.

use super::crossval::{LeftOut, by_page, folds};
use super::differences::Differences;
use super::least_squares::{Ending, Options, Residuals, Solution, solve, solve_from};
use super::model::Response;
use super::parameters::{Parameter, Scene, build, parameters};
use super::problem::{Grain, ReadingProblem, Source};
use super::robust::{Stray, Weighted, strays};
use super::rung::Rung;
use crate::error::{Error, InputError, Result};
use crate::project::Project;
use nalgebra::DMatrix;

/// While starts are compared, in the fit itself, and for what is reported.
const ROUGH: Grain = Grain {
    rows: 1,
    classes: 3,
};
const FINE: Grain = Grain {
    rows: 3,
    classes: 5,
};
const REPORTED: Grain = Grain {
    rows: usize::MAX,
    classes: 5,
};
/// Starts of the first rungs, the prior's own middle among them.
const STARTS: usize = 3;
/// Times that the strays are named anew.
const STRAY_ROUNDS: usize = 5;
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
    /// Error on patches and trains left out, a tenth of every page at a time.
    pub left_out_rms_lstar: f64,
    /// Error on mirrored pages, each left out whole, where there are any.
    pub left_out_mirrored_rms_lstar: Option<f64>,
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
    parameters: Vec<Parameter>,
    solution: Solution,
    /// Squared errors of each fold when it is left out.
    left_out: Vec<f64>,
    strays: Vec<Stray>,
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
        let next = try_rung(project, rung, &scene, below);
        let better = best.is_none_or(|b| clearly_better(&next.left_out, &tried[b].left_out));
        tried.push(next);
        if better {
            best = Some(tried.len() - 1);
        }
    }
    let chosen = best.unwrap_or(0);
    progress(&format!("kept: {}", tried[chosen].fit.rung.name()));
    conclude(project, tried, chosen).ok_or_else(|| no_curve(project))
}

/// Fits the rung of an earlier fit again, from where that ended, to a project that has more readings.
pub fn refit(project: &Project, earlier: &Fit) -> Result<Fit> {
    let list = earlier.estimates.iter().map(|e| e.parameter).collect();
    let fine = ReadingProblem::new(project, earlier.rung, list, FINE);
    let tried = settle(project, &fine, &earlier.moved, Vec::new());
    conclude(project, vec![tried], 0).ok_or_else(|| no_curve(project))
}

/// The readings lead to reflectances that no response curve has.
fn no_curve(project: &Project) -> Error {
    Error::Input(InputError {
        file: project.folder.join("scans.csv"),
        line: None,
        field: None,
        value: Some(format!("{} readings", project.measured.readings.len())),
        expected: "readings that a panel between clear and dark can show; none of the models follows these".into(),
    })
}

/// Typical voltages and times of the pages.
fn scene(project: &Project) -> Scene {
    let pages = &project.measured.chart.pages;
    let firsts = || pages.iter().filter_map(|p| p.fields.first());
    Scene {
        on_v: median(firsts().map(|f| f.own_on_v().abs())),
        data_v: median(firsts().map(|f| f.data_v)),
        slot_s: median(firsts().map(|f| f64::from(f.slot_ticks) * f.tick_s())),
        erase_s: median(
            pages
                .iter()
                .map(|p| p.erase.strokes.iter().map(|s| s.ms * 1e-3).sum()),
        ),
    }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(1.0)
}

fn enough_readings(project: &Project, scene: &Scene) -> Result<()> {
    let needed = Rung::LADDER
        .iter()
        .map(|&r| parameters(r, scene).len())
        .max()
        .unwrap_or(0);
    let trains: usize = project.trains.iter().map(|t| t.readings_lstar.len()).sum();
    let readings = project.measured.readings.len() + trains;
    if readings > needed {
        return Ok(());
    }
    Err(Error::Input(InputError {
        file: project.folder.join("scans.csv"),
        line: None,
        field: None,
        value: Some(format!("{readings} readings")),
        expected: format!(
            "at least {} readings, one more than the richest model has parameters; measure more patches of the chart",
            needed + 1
        ),
    }))
}

/// Fits one rung: from where the best rung so far ended, or from the best of several starts; strays left out.
fn try_rung(project: &Project, rung: Rung, scene: &Scene, below: Option<&Tried>) -> Tried {
    let list = parameters(rung, scene);
    let coarse = ReadingProblem::new(project, rung, list.clone(), ROUGH);
    let fine = ReadingProblem::new(project, rung, list, FINE);
    let carried = below.map(|t| carry(t, &fine));
    let start = match carried {
        Some(carried) if !rung.opens_a_stage() => carried,
        carried => best_start(&coarse, carried),
    };
    let out = below.map_or(Vec::new(), |t| t.strays.iter().map(|s| s.index).collect());
    settle(project, &fine, &start, out)
}

/// The best point from `start`, the strays named anew until they stay the same; `out` holds those named so far.
fn settle(project: &Project, fine: &ReadingProblem, start: &[f64], mut out: Vec<usize>) -> Tried {
    let mut solution = solve_without(fine, &out, start, &fine_options());
    for _ in 0..STRAY_ROUNDS {
        let found = strays_of(fine, &solution);
        let indices: Vec<usize> = found.iter().map(|s| s.index).collect();
        if indices == out {
            break;
        }
        out = indices;
        solution = solve_without(fine, &out, &solution.parameters, &fine_options());
    }
    describe(project, fine, solution)
}

/// The readings that the solution names strays, whether or not they were left out of it.
fn strays_of(problem: &ReadingProblem, solution: &Solution) -> Vec<Stray> {
    let readings = problem.sources().len();
    let plain = problem.residuals(&solution.parameters).unwrap_or_default();
    strays(&plain[..readings.min(plain.len())])
}

fn solve_without(
    problem: &ReadingProblem,
    out: &[usize],
    start: &[f64],
    options: &Options,
) -> Solution {
    let weights: Vec<f64> = (0..problem.len())
        .map(|i| if out.contains(&i) { 0.0 } else { 1.0 })
        .collect();
    match Weighted::new(problem, &weights) {
        Some(weighted) if !out.is_empty() => solve(&weighted, start, options),
        _ => solve(problem, start, options),
    }
}

/// The start of a richer rung: what the simpler one found, priors for what is new.
fn carry(below: &Tried, problem: &ReadingProblem) -> Vec<f64> {
    let found = |p: &Parameter| {
        let at = below.parameters.iter().position(|q| q.symbol == p.symbol)?;
        Some(below.solution.parameters[at])
    };
    let prior = problem.prior();
    problem
        .parameters
        .iter()
        .zip(prior)
        .map(|(p, prior)| found(p).unwrap_or(prior))
        .collect()
}

/// The best of several rough descents, each on one row a patch.
fn best_start(problem: &ReadingProblem, carried: Option<Vec<f64>>) -> Vec<f64> {
    let prior = problem.prior();
    let mut starts: Vec<Vec<f64>> = carried.into_iter().collect();
    starts.extend((0..STARTS as u32).map(|k| scattered(problem, &prior, k)));
    let found = solve_from(problem, &starts, &rough_options());
    found
        .into_iter()
        .next()
        .map_or(prior, |best| best.parameters)
}

/// The prior's middle for `k` = 0, then points spread evenly within one prior deviation: the additive recurrence
/// of the plastic constants (M. Roberts, "The unreasonable effectiveness of quasirandom sequences", 2018).
fn scattered(problem: &ReadingProblem, prior: &[f64], k: u32) -> Vec<f64> {
    let dimension = prior.len();
    let mut root = 1.5f64;
    for _ in 0..60 {
        root = (1.0 + root).powf(1.0 / (dimension as f64 + 1.0));
    }
    let along = |i: usize| {
        let share = (0.5 + f64::from(k) * root.powi(-(i as i32 + 1))).fract();
        (share - 0.5) * 2.0
    };
    (0..dimension)
        .map(|i| {
            prior[i]
                + if k == 0 {
                    0.0
                } else {
                    along(i) * problem.parameters[i].prior_sigma
                }
        })
        .collect()
}

fn rough_options() -> Options {
    Options {
        max_evaluations: 15,
        ftol: 1e-2,
        xtol: 1e-3,
        finish: Differences::Forward,
        max_finish: 0,
        ..fine_options()
    }
}

fn fine_options() -> Options {
    Options {
        max_evaluations: 1500,
        ftol: 1e-4,
        xtol: 1e-4,
        gtol: 1e-6,
        step_bounds: vec![10.0],
        descent: Differences::Forward,
        finish: Differences::Forward,
        max_finish: 2,
        offset: 1e-2,
    }
}

fn describe(project: &Project, problem: &ReadingProblem, solution: Solution) -> Tried {
    let sigma = project.panel.instrument.repeatability_lstar;
    let readings = problem.sources().len();
    let strays = strays_of(problem, &solution);
    let squares: f64 = solution
        .residuals
        .iter()
        .take(readings)
        .map(|r| r * r)
        .sum();
    let out = LeftOut::of(&solution.jacobian, &solution.residuals);
    let left_out = out.squares(folds(problem.sources()));
    let left_out: Vec<f64> = left_out.into_iter().map(|(_, squares)| squares).collect();
    let pages = out.squares(by_page(problem.sources()));
    let used = readings - strays.len();
    let freedom = used.saturating_sub(problem.parameters.len()).max(1) as f64;
    let rms = |squares: f64| sigma * (squares / used.max(1) as f64).sqrt();
    Tried {
        parameters: problem.parameters.clone(),
        fit: RungFit {
            rung: problem.rung,
            parameters: problem.parameters.len(),
            reduced_chi_square: squares / freedom,
            rms_lstar: rms(squares),
            left_out_rms_lstar: rms(left_out.iter().sum()),
            left_out_mirrored_rms_lstar: mirrored_rms(project, problem, &pages).map(|r| sigma * r),
            ending: solution.ending,
        },
        solution,
        left_out,
        strays,
    }
}

/// Left-out error of the groups that are mirrored pages, in units of the readings' uncertainty.
fn mirrored_rms(
    project: &Project,
    problem: &ReadingProblem,
    groups: &[(Vec<usize>, f64)],
) -> Option<f64> {
    let pages = &project.measured.chart.pages;
    let mirrored = |row: usize| match problem.sources()[row] {
        Source::Patch { page, .. } => pages[page].fields.iter().any(|f| f.mirrored),
        Source::Train { .. } => false,
    };
    let (mut readings, mut sum) = (0, 0.0);
    for (rows, squares) in groups {
        if rows.first().is_some_and(|&row| mirrored(row)) {
            readings += rows.len();
            sum += squares;
        }
    }
    (readings > 0).then(|| (sum / readings as f64).sqrt())
}

/// Whether the richer rung predicts left-out groups better by more than the standard error of the difference.
fn clearly_better(richer: &[f64], simpler: &[f64]) -> bool {
    let known = |squares: &[f64]| squares.iter().sum::<f64>().is_finite();
    if !known(richer) || !known(simpler) {
        return known(richer);
    }
    let gains: Vec<f64> = simpler.iter().zip(richer).map(|(s, r)| s - r).collect();
    let n = gains.len() as f64;
    if n < 2.0 {
        return false;
    }
    let mean = gains.iter().sum::<f64>() / n;
    let variance = gains.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / (n - 1.0);
    mean > (variance / n).sqrt()
}

fn conclude(project: &Project, mut tried: Vec<Tried>, chosen: usize) -> Option<Fit> {
    let ladder = tried.iter().map(|t| t.fit.clone()).collect();
    let best = tried.swap_remove(chosen);
    let problem = ReadingProblem::new(project, best.fit.rung, best.parameters, REPORTED);
    let moved = best.solution.parameters.clone();
    let response = problem.response(&moved)?;
    let covariance = best.solution.covariance(false) * best.fit.reduced_chi_square.max(1.0);
    let estimate = |(i, p): (usize, &Parameter)| {
        let sigma = covariance[(i, i)].sqrt();
        Estimate {
            parameter: *p,
            value: p.scale.outward(moved[i]),
            sigma: sigma * p.scale.slope(moved[i]).abs(),
            undetermined: sigma > UNDETERMINED * p.prior_sigma,
        }
    };
    let predicted = problem.predicted_lstar(&response);
    let residual = |(i, (&source, predicted_lstar)): (usize, (&Source, f64))| Residual {
        source,
        measured_lstar: problem.measured_lstar(source),
        predicted_lstar,
        stray: best.strays.iter().any(|s| s.index == i),
    };
    Some(Fit {
        rung: best.fit.rung,
        estimates: problem
            .parameters
            .iter()
            .enumerate()
            .map(estimate)
            .collect(),
        residuals: problem
            .sources()
            .iter()
            .zip(predicted)
            .enumerate()
            .map(residual)
            .collect(),
        response,
        covariance,
        moved,
        strays: best.strays,
        reduced_chi_square: best.fit.reduced_chi_square,
        degrees_of_freedom: best.solution.degrees_of_freedom,
        ending: best.fit.ending,
        ladder,
    })
}

impl Fit {
    /// The response with the parameters moved to `moved`; `None` where no curve has them.
    pub fn response_at(&self, moved: &[f64]) -> Option<Response> {
        let values = self
            .estimates
            .iter()
            .zip(moved)
            .map(|(e, &x)| e.parameter.scale.outward(x));
        build(self.rung, &values.collect::<Vec<_>>(), REPORTED.classes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_model_that_cannot_be_judged_is_never_the_better_one() {
        let (good, fair, unknown) = ([1.0, 1.1, 0.9], [2.0, 2.1, 2.2], [f64::INFINITY; 3]);
        assert!(clearly_better(&good, &fair) && !clearly_better(&fair, &good));
        assert!(clearly_better(&fair, &unknown) && !clearly_better(&unknown, &fair));
        assert!(!clearly_better(&unknown, &unknown));
    }
}
