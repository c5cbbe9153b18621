//! Nonlinear least squares: the descent, its ending, and the spread of what it found.
//!
//! The descent is the MINPACK Levenberg–Marquardt of the crate `levenberg-marquardt`. Round it stand what a fit to
//! readings needs: points where the model can't be evaluated push the step back and don't stop the fit, a Gauss–Newton
//! finish reaches the digits at which the descent gives up, and the covariance comes from the singular
//! value decomposition of the scaled Jacobian.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt, TerminationReason};
use nalgebra::{DMatrix, DVector, Dyn, Owned};
use rayon::prelude::*;

use super::differences::{self, Differences};
use super::factor::Factor;
pub use super::solution::{Ending, Solution};

/// What is to be made small: residuals already divided by their standard uncertainty.
pub trait Residuals: Sync {
    /// The number of residuals.
    fn len(&self) -> usize;

    fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// (model − reading)/u at `parameters`; `None`, or values that aren't finite, where the model can't be evaluated.
    fn residuals(&self, parameters: &[f64]) -> Option<Vec<f64>>;

    /// The size below which a parameter counts as zero when a difference step is chosen; 0 leaves it to its value.
    fn scale(&self, _index: usize) -> f64 {
        0.0
    }

    /// Derivatives, residuals × parameters; `at` holds the residuals at `parameters`.
    ///
    /// Differences unless the problem knows better.
    fn jacobian(
        &self,
        parameters: &[f64],
        at: &[f64],
        scheme: Differences,
    ) -> Option<DMatrix<f64>> {
        differences::jacobian(self, parameters, at, scheme)
    }
}

/// When to stop, and how derivatives are taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Trial points of one descent.
    pub max_evaluations: usize,
    /// Relative change of the sum of squares at which the descent ends.
    pub ftol: f64,
    /// Relative change of the parameters at which it ends.
    pub xtol: f64,
    /// Cosine between residuals and Jacobian columns at which it ends.
    pub gtol: f64,
    /// First step of each descent in multiples of the scaled parameters. The next is tried, from the start again,
    /// where a descent ended without converging or on ground that no longer feels a parameter.
    pub step_bounds: Vec<f64>,
    /// Derivatives on the way down.
    pub descent: Differences,
    /// Derivatives of the finish, of the covariance and of the Jacobian handed back.
    pub finish: Differences,
    /// Gauss–Newton steps of the finish at most.
    pub max_finish: usize,
    /// Relative offset (Bates and Watts) at which the finish ends: the share of a standard deviation that is left.
    pub offset: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            max_evaluations: 2000,
            ftol: 1e-12,
            xtol: 1e-12,
            gtol: 1e-12,
            step_bounds: vec![100.0, 1.0, 0.1],
            descent: Differences::Central,
            finish: Differences::Central,
            max_finish: 20,
            offset: 1e-8,
        }
    }
}

/// Fits from one start.
pub fn solve(problem: &impl Residuals, start: &[f64], options: &Options) -> Solution {
    if start.is_empty() || problem.len() < start.len() {
        return Point::nowhere(start).into_solution(problem.len(), Ending::Underdetermined, 0);
    }
    let Some(first) = Point::at(problem, start.to_vec()) else {
        return Point::nowhere(start).into_solution(problem.len(), Ending::StartNotEvaluable, 1);
    };
    let mut best: Option<Solution> = None;
    for &bound in &options.step_bounds {
        let found = finish(
            problem,
            descend(problem, first.clone(), bound, options),
            options,
        );
        let sound = found.ending.converged() && found.undetermined().is_empty();
        let evaluations = best.as_ref().map_or(0, |b| b.evaluations) + found.evaluations;
        if best
            .as_ref()
            .is_none_or(|b| found.sum_of_squares < b.sum_of_squares)
        {
            best = Some(found);
        }
        if let Some(best) = &mut best {
            best.evaluations = evaluations;
        }
        if sound {
            break;
        }
    }
    best.unwrap_or_else(|| first.into_solution(problem.len(), Ending::OutOfPatience, 1))
}

/// Fits from several starts, in parallel; the best comes first, equals in the order of their starts.
pub fn solve_from(
    problem: &impl Residuals,
    starts: &[Vec<f64>],
    options: &Options,
) -> Vec<Solution> {
    let mut found: Vec<Solution> = starts
        .par_iter()
        .map(|start| solve(problem, start, options))
        .collect();
    found.sort_by(|a, b| a.sum_of_squares.total_cmp(&b.sum_of_squares));
    found
}

/// Residuals that a fit can use: the right number of them, and a sum of squares far from overflow.
pub(super) fn evaluate<R: Residuals + ?Sized>(problem: &R, parameters: &[f64]) -> Option<Vec<f64>> {
    const LARGEST_SUM: f64 = 1e200;
    let residuals = problem.residuals(parameters)?;
    let usable = residuals.len() == problem.len() && sum_of_squares(&residuals) < LARGEST_SUM;
    usable.then_some(residuals)
}

fn sum_of_squares(residuals: &[f64]) -> f64 {
    residuals.iter().map(|r| r * r).sum()
}

/// A point whose residuals are known.
#[derive(Debug, Clone)]
struct Point {
    parameters: Vec<f64>,
    residuals: Vec<f64>,
    sum_of_squares: f64,
}

impl Point {
    fn at(problem: &impl Residuals, parameters: Vec<f64>) -> Option<Self> {
        let residuals = evaluate(problem, &parameters)?;
        let sum_of_squares = sum_of_squares(&residuals);
        Some(Self {
            parameters,
            residuals,
            sum_of_squares,
        })
    }

    fn nowhere(start: &[f64]) -> Self {
        Self {
            parameters: start.to_vec(),
            residuals: Vec::new(),
            sum_of_squares: f64::INFINITY,
        }
    }

    fn jacobian(&self, problem: &impl Residuals, scheme: Differences) -> Option<DMatrix<f64>> {
        let shape = (self.residuals.len(), self.parameters.len());
        problem
            .jacobian(&self.parameters, &self.residuals, scheme)
            .filter(|j| j.shape() == shape && j.iter().all(|value| value.is_finite()))
    }

    fn into_solution(self, residuals: usize, ending: Ending, evaluations: usize) -> Solution {
        Solution {
            jacobian: DMatrix::zeros(0, self.parameters.len()),
            degrees_of_freedom: residuals.saturating_sub(self.parameters.len()),
            parameters: self.parameters,
            residuals: self.residuals,
            sum_of_squares: self.sum_of_squares,
            ending,
            relative_offset: f64::INFINITY,
            evaluations,
        }
    }
}

/// The problem as the descent sees it: where it stands now, and the best point so far.
struct Descent<'a, R> {
    problem: &'a R,
    scheme: Differences,
    parameters: DVector<f64>,
    /// `None` where the model can't be evaluated.
    here: Option<Point>,
    best: Point,
    evaluations: usize,
}

impl<R: Residuals> LeastSquaresProblem<f64, Dyn, Dyn> for Descent<'_, R> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, parameters: &DVector<f64>) {
        self.parameters.copy_from(parameters);
        self.here = Point::at(self.problem, parameters.as_slice().to_vec());
        self.evaluations += 1;
        if let Some(here) = &self.here
            && here.sum_of_squares < self.best.sum_of_squares
        {
            self.best = here.clone();
        }
    }

    fn params(&self) -> DVector<f64> {
        self.parameters.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        // Nothing ends a descent sooner than a missing value, so a wall stands where the model ends: the step is
        // refused and a shorter one tried.
        const WALL: f64 = 1e120;
        Some(match &self.here {
            Some(point) => DVector::from_column_slice(&point.residuals),
            None => DVector::from_element(self.problem.len(), WALL),
        })
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        self.here.as_ref()?.jacobian(self.problem, self.scheme)
    }
}

/// One Levenberg–Marquardt descent: the best point, why it stopped, the trial points used.
fn descend(
    problem: &impl Residuals,
    start: Point,
    step_bound: f64,
    options: &Options,
) -> (Point, Ending, usize) {
    let patience = options
        .max_evaluations
        .div_ceil(start.parameters.len() + 1)
        .max(1);
    let method = LevenbergMarquardt::new()
        .with_ftol(options.ftol.max(0.0))
        .with_xtol(options.xtol.max(0.0))
        .with_gtol(options.gtol.max(0.0))
        .with_stepbound(step_bound.max(f64::EPSILON))
        .with_patience(patience);
    let descent = Descent {
        problem,
        scheme: options.descent,
        parameters: DVector::from_column_slice(&start.parameters),
        here: Some(start.clone()),
        best: start,
        evaluations: 1,
    };
    let (descent, report) = method.minimize(descent);
    (
        descent.best,
        ending_of(&report.termination),
        descent.evaluations,
    )
}

fn ending_of(reason: &TerminationReason) -> Ending {
    match reason {
        TerminationReason::ResidualsZero => Ending::ExactFit,
        TerminationReason::Orthogonal => Ending::Stationary,
        TerminationReason::Converged { .. } | TerminationReason::NoImprovementPossible(_) => {
            Ending::Settled
        }
        TerminationReason::LostPatience => Ending::OutOfPatience,
        TerminationReason::User(_)
        | TerminationReason::Numerical(_)
        | TerminationReason::WrongDimensions(_) => Ending::NotDifferentiable,
        TerminationReason::NoParameters | TerminationReason::NoResiduals => Ending::Underdetermined,
    }
}

/// Gauss–Newton steps from where the descent ended, as long as they bring the residuals squarer and no higher.
fn finish(
    problem: &impl Residuals,
    (start, ending, mut evaluations): (Point, Ending, usize),
    options: &Options,
) -> Solution {
    let len = problem.len();
    let Some(mut best) = Located::at(problem, start.clone(), options.finish) else {
        return start.into_solution(len, Ending::NotDifferentiable, evaluations);
    };
    for _ in 0..options.max_finish {
        if best.offset <= options.offset {
            break;
        }
        evaluations += 1;
        let next = Point::at(problem, best.next())
            .filter(|next| next.sum_of_squares <= best.point.sum_of_squares * (1.0 + ROUNDING))
            .and_then(|next| Located::at(problem, next, options.finish))
            .filter(|next| next.offset < best.offset);
        match next {
            Some(next) => best = next,
            None => break,
        }
    }
    let ending = match ending {
        Ending::ExactFit => Ending::ExactFit,
        _ if best.offset <= options.offset => Ending::Stationary,
        Ending::Stationary => Ending::Settled,
        other => other,
    };
    Solution {
        jacobian: best.jacobian,
        relative_offset: best.offset,
        ..best.point.into_solution(len, ending, evaluations)
    }
}

/// Relative error that a sum of squares may carry: readings cancel against a model that carries some 16 digits.
const ROUNDING: f64 = 1e-10;

/// A point with its derivatives.
struct Located {
    point: Point,
    jacobian: DMatrix<f64>,
    factor: Factor,
    offset: f64,
}

impl Located {
    fn at(problem: &impl Residuals, point: Point, scheme: Differences) -> Option<Self> {
        let jacobian = point.jacobian(problem, scheme)?;
        let factor = Factor::new(&jacobian)?;
        let offset = factor.relative_offset(&point.residuals);
        Some(Self {
            point,
            jacobian,
            factor,
            offset,
        })
    }

    fn next(&self) -> Vec<f64> {
        let step = self.factor.step(&self.point.residuals);
        self.point
            .parameters
            .iter()
            .zip(step)
            .map(|(p, s)| p + s)
            .collect()
    }
}
