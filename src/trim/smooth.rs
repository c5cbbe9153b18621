//! The smooth difference between readings and response: its size and smoothness by evidence, its curves by regression.

use crate::design::correction::{Bumps, Correction, Frame, TERMS, Terms};
use argmin::core::{CostFunction, Executor, State};
use argmin::solver::neldermead::NelderMead;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// One patch as a difference sees it; repeats are merged.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// What the response predicts, L*.
    pub predicted_lstar: f64,
    pub terms: Terms,
    /// Reading less prediction, L*.
    pub difference_lstar: f64,
    /// Standard uncertainty of the reading, L*.
    pub u_lstar: f64,
}

/// What is not known before the readings, all > 0; moved in their logarithms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Character {
    /// Standard deviation of each term's curve, L*.
    pub scales: Terms,
    /// Lightness over which a curve forgets, L*.
    pub length_lstar: f64,
    /// What readings scatter beyond their own uncertainty, L*.
    pub rough_lstar: f64,
}

/// Where the search for the character starts, and how far from it, as a factor, evidence has to argue.
const START: Character = Character {
    scales: [0.1, 0.05, 0.05, 0.05, 0.03, 0.08, 0.08, 0.08, 0.08, 0.08],
    length_lstar: 12.0,
    rough_lstar: 0.03,
};
const LN_SPREAD: f64 = 1.0;
/// A length is not much changed by evidence: shorter ones would follow the noise of single levels.
const LN_SPREAD_LENGTH: f64 = 0.5;
const PARAMETERS: usize = TERMS + 2;
const ITERATIONS: u64 = 600;

/// The difference that the samples bear out, with the character that they make most likely. `None` where there are no samples
/// or the numbers are not finite.
pub fn smooth(frame: Frame, samples: &[Sample]) -> Option<(Correction, Character)> {
    if samples.is_empty() {
        return None;
    }
    let evidence = Evidence { samples };
    let origin = vec![0.0; PARAMETERS];
    let corner = |i: usize| {
        let mut at = origin.clone();
        at[i] = 0.6;
        at
    };
    let simplex = std::iter::once(origin.clone()).chain((0..PARAMETERS).map(corner));
    let solver = NelderMead::new(simplex.collect())
        .with_sd_tolerance(1e-4)
        .ok()?;
    let run = Executor::new(evidence, solver)
        .configure(|state| state.max_iters(ITERATIONS))
        .run();
    let best = run.ok()?.state.get_best_param()?.clone();
    let character = character(&best);
    smooth_with(frame, samples, &character).map(|correction| (correction, character))
}

/// The difference that the samples bear out, its character given.
pub fn smooth_with(frame: Frame, samples: &[Sample], character: &Character) -> Option<Correction> {
    let solved = Solved::new(samples, character)?;
    let weights = solved.factor.solve(&solved.pull);
    let covariance = solved.factor.inverse();
    let scales = character.scales;
    Some(Correction::new(
        frame,
        solved.bumps,
        scales,
        &weights,
        covariance,
        samples
            .iter()
            .map(|s| (s.predicted_lstar, s.terms))
            .collect(),
    ))
}

impl Sample {
    fn variance(&self, rough_lstar: f64) -> f64 {
        self.u_lstar.powi(2) + rough_lstar.powi(2)
    }
}

fn character(moved: &[f64]) -> Character {
    let times = |value: f64, i: usize| value * moved[i].exp();
    Character {
        scales: std::array::from_fn(|j| times(START.scales[j], j)),
        length_lstar: times(START.length_lstar, TERMS),
        rough_lstar: times(START.rough_lstar, TERMS + 1),
    }
}

/// The normal equations of the weights: factor of 1 + XᵀV⁻¹X, and XᵀV⁻¹y.
struct Solved {
    bumps: Bumps,
    factor: Cholesky<f64, Dyn>,
    pull: DVector<f64>,
    /// yᵀV⁻¹y and ln|V|.
    squares: f64,
    ln_variances: f64,
}

impl Solved {
    fn new(samples: &[Sample], character: &Character) -> Option<Self> {
        let lightness = samples.iter().map(|s| s.predicted_lstar);
        let low = lightness.clone().fold(f64::INFINITY, f64::min);
        let high = lightness.fold(f64::NEG_INFINITY, f64::max);
        let bumps = Bumps::over(low, high, character.length_lstar);
        let size = TERMS * bumps.count;
        let mut x = DMatrix::zeros(samples.len(), size);
        let mut y = DVector::zeros(samples.len());
        let (mut squares, mut ln_variances) = (0.0, 0.0);
        for (i, s) in samples.iter().enumerate() {
            let variance = s.variance(character.rough_lstar);
            let weight = 1.0 / variance.sqrt();
            let row =
                Correction::regressors(&bumps, &character.scales, s.predicted_lstar, &s.terms);
            x.set_row(i, &(row * weight).transpose());
            y[i] = s.difference_lstar * weight;
            squares += y[i] * y[i];
            ln_variances += variance.ln();
        }
        let normal = x.tr_mul(&x) + DMatrix::identity(size, size);
        Some(Solved {
            factor: Cholesky::new(normal)?,
            pull: x.tr_mul(&y),
            bumps,
            squares,
            ln_variances,
        })
    }

    /// −2 ln of the likelihood of the readings, the weights integrated out (Rasmussen & Williams 2006, eq. 2.30, in the
    /// space of weights), less a constant.
    fn minus_two_ln_evidence(&self) -> f64 {
        let fitted = self.pull.dot(&self.factor.solve(&self.pull));
        let ln_determinant: f64 = 2.0
            * self
                .factor
                .l()
                .diagonal()
                .iter()
                .map(|d| d.ln())
                .sum::<f64>();
        self.squares - fitted + ln_determinant + self.ln_variances
    }
}

/// What the search makes small: −2 ln of evidence times prior.
struct Evidence<'a> {
    samples: &'a [Sample],
}

impl CostFunction for Evidence<'_> {
    type Param = Vec<f64>;
    type Output = f64;

    fn cost(&self, moved: &Self::Param) -> Result<f64, argmin::core::Error> {
        let spread = |i: usize| {
            if i == TERMS {
                LN_SPREAD_LENGTH
            } else {
                LN_SPREAD
            }
        };
        let prior: f64 = moved
            .iter()
            .enumerate()
            .map(|(i, x)| (x / spread(i)).powi(2))
            .sum();
        let solved = Solved::new(self.samples, &character(moved));
        Ok(solved.map_or(f64::INFINITY, |s| s.minus_two_ln_evidence()) + prior)
    }
}
