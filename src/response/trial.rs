//! How one rung of the ladder is fitted: starts, odd pages and strays, and how well it predicts what was left out.

use super::crossval::{LeftOut, by_page, folds};
use super::differences::Differences;
use super::fit::{Fit, RungFit};
use super::least_squares::{Options, Residuals, Solution, solve, solve_from};
use super::parameters::{Parameter, Scene, parameters};
use super::problem::{Grain, ReadingProblem, Source};
use super::robust::{Lenient, Stray, Weighted, odd_groups, strays};
use super::rung::Rung;
use crate::project::Project;
use rayon::prelude::*;

/// While starts are compared, and in the fit itself.
const ROUGH: Grain = Grain {
    rows: 1,
    classes: 3,
};
const FINE: Grain = Grain {
    rows: 3,
    classes: 5,
};
/// Where a rung that opens a stage is looked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Starts {
    /// Points of the prior that are looked at.
    pub drawn: u32,
    /// Rough descents from the best of them.
    pub descents: usize,
    /// Those that are followed.
    pub followed: usize,
}

impl Starts {
    pub const WHOLE: Starts = Starts {
        drawn: 200,
        descents: 6,
        followed: 2,
    };
    pub const QUICK: Starts = Starts {
        drawn: 64,
        descents: 3,
        followed: 1,
    };
}

/// Draws lie evenly within this many standard deviations of the prior: the even distribution of variance 1.
const REACH: f64 = 1.732;
/// Rms residual of a page, in standard deviations, from which it begins to lose its pull on the start.
const LENIENT: f64 = 4.0;
/// Times that the strays are named anew.
const STRAY_ROUNDS: usize = 5;

/// A rung's solution with the squared left-out errors of each group.
pub(super) struct Tried {
    pub parameters: Vec<Parameter>,
    pub solution: Solution,
    /// Squared errors of the readings of each fold when it is left out; `None` for those that the fit doesn't use.
    pub left_out: Vec<Vec<Option<f64>>>,
    pub out: Out,
    pub fit: RungFit,
}

/// Fits one rung: from where the best rung so far ended, or from the best of several starts; odd pages and strays left out.
pub(super) fn try_rung(
    project: &Project,
    rung: Rung,
    scene: &Scene,
    below: Option<&Tried>,
    starts: Starts,
) -> Tried {
    let list = parameters(rung, scene);
    let fine = ReadingProblem::new(project, rung, list.clone(), FINE);
    let carried = below.map(|t| carry(t, &fine));
    if let (Some(carried), false) = (&carried, rung.opens_a_stage()) {
        let out = below.map_or(Out::default(), |t| t.out.clone());
        return settle(project, &fine, carried, None, out);
    }
    let coarse = ReadingProblem::new(project, rung, list, ROUGH);
    let start = best_start(&coarse, carried, starts);
    let out = Out::of(&fine, &start, None);
    settle(project, &fine, &start, None, out)
}

/// The rung of an earlier fit again, from where that ended; its odd pages stay out and no other becomes odd.
pub(super) fn try_again(project: &Project, earlier: &Fit) -> Tried {
    let list = earlier.estimates.iter().map(|e| e.parameter).collect();
    let fine = ReadingProblem::new(project, earlier.rung, list, FINE);
    let stand = Some(earlier.odd_pages.as_slice());
    let out = Out::of(&fine, &earlier.moved, stand);
    settle(project, &fine, &earlier.moved, stand, out)
}

/// What is left out of a fit.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Out {
    /// Pages that the model can't follow.
    pub pages: Vec<usize>,
    /// Their readings, by place in the residuals.
    of_pages: Vec<usize>,
    pub strays: Vec<Stray>,
}

impl Out {
    /// What a fit that stands at `parameters` leaves out, whether or not it was left out of it; `stand` are the odd pages
    /// where they are known.
    fn of(problem: &ReadingProblem, parameters: &[f64], stand: Option<&[usize]>) -> Self {
        let readings = problem.sources().len();
        let Some(mut plain) = problem.residuals(parameters) else {
            return Out::default();
        };
        plain.truncate(readings);
        let pages = pages(problem.sources());
        let rows: Vec<Vec<usize>> = pages.iter().map(|(_, rows)| rows.clone()).collect();
        let odd = match stand {
            Some(stand) => (0..pages.len())
                .filter(|&g| stand.contains(&pages[g].0))
                .collect(),
            None => odd_groups(&plain, &rows),
        };
        let of_pages: Vec<usize> = odd.iter().flat_map(|&g| rows[g].clone()).collect();
        let kept: Vec<usize> = (0..readings).filter(|i| !of_pages.contains(i)).collect();
        let among: Vec<f64> = kept.iter().map(|&i| plain[i]).collect();
        let strays = strays(&among).into_iter().map(|s| Stray {
            index: kept[s.index],
            ..s
        });
        Out {
            pages: odd.iter().map(|&g| pages[g].0).collect(),
            strays: strays.collect(),
            of_pages,
        }
    }

    pub fn rows(&self) -> Vec<usize> {
        let strays = self.strays.iter().map(|s| s.index);
        self.of_pages.iter().copied().chain(strays).collect()
    }
}

/// Every page that was read, by index, with the places of its readings.
fn pages(sources: &[Source]) -> Vec<(usize, Vec<usize>)> {
    let page = |rows: Vec<usize>| match sources[*rows.first()?] {
        Source::Patch { page, .. } => Some((page, rows)),
        Source::Train { .. } => None,
    };
    by_page(sources).into_iter().filter_map(page).collect()
}

/// The best point from `start`; strays, and odd pages unless they `stand`, are named anew until they stay the same. `out`
/// holds those named so far.
fn settle(
    project: &Project,
    fine: &ReadingProblem,
    start: &[f64],
    stand: Option<&[usize]>,
    mut out: Out,
) -> Tried {
    let mut solution = solve_without(fine, &out.rows(), start, &fine_options());
    for _ in 0..STRAY_ROUNDS {
        let found = Out::of(fine, &solution.parameters, stand);
        let same = found.rows() == out.rows();
        out = found;
        if same {
            break;
        }
        solution = solve_without(fine, &out.rows(), &solution.parameters, &fine_options());
    }
    describe(project, fine, solution, out)
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

/// The best of several descents on one row a patch, in which no page pulls without bound: rough ones from the most
/// promising points of the prior, finer ones from where the best of these ended.
fn best_start(problem: &ReadingProblem, carried: Option<Vec<f64>>, looked: Starts) -> Vec<f64> {
    let prior = problem.prior();
    let pages = pages(problem.sources());
    let groups: Vec<Vec<usize>> = pages.into_iter().map(|(_, rows)| rows).collect();
    let lenient = Lenient::new(problem, &groups, LENIENT);
    let drawn: Vec<Vec<f64>> = (0..looked.drawn)
        .map(|k| scattered(problem, &prior, k))
        .collect();
    let height = |at: Vec<f64>| {
        let squares = lenient
            .residuals(&at)
            .map(|r| r.iter().map(|r| r * r).sum());
        (squares.unwrap_or(f64::INFINITY), at)
    };
    let mut ranked: Vec<(f64, Vec<f64>)> = drawn.into_par_iter().map(height).collect();
    ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut starts: Vec<Vec<f64>> = carried.into_iter().collect();
    starts.extend(ranked.into_iter().take(looked.descents).map(|(_, at)| at));
    let rough = solve_from(&lenient, &starts, &rough_options());
    let starts: Vec<Vec<f64>> = rough
        .into_iter()
        .take(looked.followed)
        .map(|s| s.parameters)
        .collect();
    let options = Options {
        max_finish: 0,
        ..fine_options()
    };
    let found = solve_from(&lenient, &starts, &options);
    found
        .into_iter()
        .next()
        .map_or(prior, |best| best.parameters)
}

/// The prior's middle for `k` = 0, then points spread evenly over the prior: the additive recurrence
/// of the plastic constants (M. Roberts, "The unreasonable effectiveness of quasirandom sequences", 2018).
fn scattered(problem: &ReadingProblem, prior: &[f64], k: u32) -> Vec<f64> {
    let dimension = prior.len();
    let mut root = 1.5f64;
    for _ in 0..60 {
        root = (1.0 + root).powf(1.0 / (dimension as f64 + 1.0));
    }
    let along = |i: usize| {
        let share = (0.5 + f64::from(k) * root.powi(-(i as i32 + 1))).fract();
        (share - 0.5) * 2.0 * REACH
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

fn describe(project: &Project, problem: &ReadingProblem, solution: Solution, out: Out) -> Tried {
    let sigma = problem.usual_sigma_lstar();
    let readings = problem.sources().len();
    // Of each reading's uncertainty to the usual one: 1 where no reading states its own.
    let weights: Vec<f64> = problem
        .sources()
        .iter()
        .map(|s| problem.sigma_lstar(*s) / sigma)
        .collect();
    let weighed = |of: fn(f64, f64) -> f64| -> f64 {
        let residuals = solution.residuals.iter().take(readings);
        residuals.zip(&weights).map(|(r, w)| of(*r, *w)).sum()
    };
    let squares = weighed(|r, _| r * r);
    let squares_lstar = weighed(|r, w| (r * w) * (r * w));
    let judged = LeftOut::of(&solution.jacobian, &solution.residuals);
    let not_used = out.rows();
    let used_only = |(rows, errors): (Vec<usize>, Vec<f64>)| {
        let used = rows.iter().zip(errors);
        used.map(|(row, error)| (!not_used.contains(row)).then_some(error * error))
            .collect()
    };
    let errors = judged.errors(folds(problem.sources()));
    let left_out_lstar: f64 = errors
        .iter()
        .flat_map(|(rows, errors)| rows.iter().zip(errors))
        .filter(|(row, _)| !not_used.contains(row))
        .map(|(row, e)| (e * weights[*row]) * (e * weights[*row]))
        .sum();
    let left_out: Vec<Vec<Option<f64>>> = errors.into_iter().map(used_only).collect();
    let pages = judged.squares(by_page(problem.sources()));
    let used = readings - not_used.len();
    let freedom = used.saturating_sub(problem.parameters.len()).max(1) as f64;
    let rms = |squares: f64| sigma * (squares / used.max(1) as f64).sqrt();
    Tried {
        parameters: problem.parameters.clone(),
        fit: RungFit {
            rung: problem.rung,
            parameters: problem.parameters.len(),
            reduced_chi_square: squares / freedom,
            rms_lstar: rms(squares_lstar),
            left_out_rms_lstar: rms(left_out_lstar),
            left_out_mirrored_rms_lstar: mirrored_rms(project, problem, &pages, &out.pages)
                .map(|r| sigma * r),
            ending: solution.ending,
        },
        solution,
        left_out,
        out,
    }
}

/// Left-out error of the groups that are mirrored pages, in units of the readings' uncertainty.
fn mirrored_rms(
    project: &Project,
    problem: &ReadingProblem,
    groups: &[(Vec<usize>, f64)],
    odd: &[usize],
) -> Option<f64> {
    let pages = &project.measured.chart.pages;
    let mirrored = |row: usize| match problem.sources()[row] {
        Source::Patch { page, .. } => {
            !odd.contains(&page) && pages[page].fields.iter().any(|f| f.mirrored)
        }
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
