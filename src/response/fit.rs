//! The fit: the ladder of models, and what the readings say of every parameter.

use super::crossval::{clearly_better, shared};
use super::least_squares::Ending;
use super::model::Response;
use super::parameters::{Parameter, Scene, build, parameters};
use super::problem::{Grain, ReadingProblem, Source};
use super::robust::Stray;
use super::rung::Rung;
use super::trial::{Starts, Tried, try_again, try_rung};
use crate::error::{Error, InputError, Result};
use crate::project::Project;
use nalgebra::DMatrix;

/// For what is reported.
const REPORTED: Grain = Grain {
    rows: usize::MAX,
    classes: 5,
};
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
    /// Left out: by itself, or with its whole page.
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
    /// Pages of the chart, by index, that the response can't follow: left out whole.
    pub odd_pages: Vec<usize>,
    pub strays: Vec<Stray>,
    pub reduced_chi_square: f64,
    pub degrees_of_freedom: usize,
    pub ending: Ending,
    /// Every rung that was tried, simplest first.
    pub ladder: Vec<RungFit>,
}

/// Fits the ladder of models to the readings of `project` and keeps the rung that cross-validation picks.
///
/// `progress` is told what is being done. Errs where there are fewer readings than parameters.
pub fn fit(project: &Project, progress: &dyn Fn(&str)) -> Result<Fit> {
    climb(project, &Rung::LADDER, Starts::WHOLE, progress)
}

/// The same in a fraction of the time: begun with all stages, from fewer points of the prior, and of the laws above it only
/// that of temperature; see [`Rung::QUICK`].
pub fn fit_quickly(project: &Project, progress: &dyn Fn(&str)) -> Result<Fit> {
    climb(project, &Rung::QUICK, Starts::QUICK, progress)
}

/// What [`fit_quickly`] leaves out, in words.
pub fn quick_leaves_out() -> String {
    let left = Rung::LADDER.iter().filter(|r| !Rung::QUICK.contains(r));
    let names: Vec<String> = left.map(|r| r.name()).collect();
    let (whole, quick) = (Starts::WHOLE, Starts::QUICK);
    format!(
        "response: not fitted are the models {}; all stages are begun at once, from {} of {} points of the prior in place of {} of {}",
        names.join(", "),
        quick.descents,
        quick.drawn,
        whole.descents,
        whole.drawn
    )
}

fn climb(
    project: &Project,
    ladder: &[Rung],
    starts: Starts,
    progress: &dyn Fn(&str),
) -> Result<Fit> {
    let scene = scene(project);
    enough_readings(project, &scene)?;
    let mut tried: Vec<Tried> = Vec::new();
    let mut best: Option<usize> = None;
    for &rung in ladder {
        progress(&format!("fitting: {}", rung.name()));
        let below = best.map(|b| &tried[b]);
        let next = try_rung(project, rung, &scene, below, starts);
        let better = best.is_none_or(|b| better(&next, &tried[b]));
        tried.push(next);
        if better {
            best = Some(tried.len() - 1);
        }
    }
    let chosen = best.unwrap_or(0);
    progress(&format!("kept: {}", tried[chosen].fit.rung.name()));
    conclude(project, tried, chosen).ok_or_else(|| no_curve(project))
}

/// Whether the richer rung predicts what was left out clearly better, or follows pages that the simpler one can't and
/// predicts the others no worse.
fn better(richer: &Tried, simpler: &Tried) -> bool {
    let (rich, simple) = shared(&richer.left_out, &simpler.left_out);
    let (odd, odd_before) = (&richer.out.pages, &simpler.out.pages);
    let follows_more =
        odd.len() < odd_before.len() && odd.iter().all(|page| odd_before.contains(page));
    clearly_better(&rich, &simple) || follows_more && !clearly_better(&simple, &rich)
}

/// Fits the rung of an earlier fit again, from where that ended, to a project that has more readings.
pub fn refit(project: &Project, earlier: &Fit) -> Result<Fit> {
    let tried = try_again(project, earlier);
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
    let not_used = best.out.rows();
    let residual = |(i, (&source, predicted_lstar)): (usize, (&Source, f64))| Residual {
        source,
        measured_lstar: problem.measured_lstar(source),
        predicted_lstar,
        stray: not_used.contains(&i),
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
        odd_pages: best.out.pages,
        strays: best.out.strays,
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
