//! Readings that don't belong: weights that hold them back, and the rule by which one is named a stray.

use nalgebra::DMatrix;

use super::differences::Differences;
use super::least_squares::Residuals;

/// Huber's constant for 95 % efficiency on normal errors, in standard deviations.
///
/// Source: P. W. Holland, R. E. Welsch, Commun. Statist. A6 (1977) 813–827 (from memory).
pub const HUBER_K: f64 = 1.345;

/// Chance that a whole set of good readings names one of them a stray.
pub const FALSE_ALARM: f64 = 0.05;

/// Median of |r| of a normal variable times this is its standard deviation: 1/Φ⁻¹(3/4).
const NORMAL_PER_MEDIAN: f64 = 1.482_602_218_505_602;

/// A reading that its model and its fellows don't bear out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stray {
    /// Place in the residuals.
    pub index: usize,
    /// The residual in units of its standard deviation, the larger of the stated and the seen.
    pub standardised: f64,
    /// The bound that it passed, same units.
    pub bound: f64,
}

/// Huber's weights, one a residual, 1 up to `k` standard deviations and k/|r| past it.
///
/// `standardised` holds residuals in units of their standard deviation. A residual that isn't a number gets weight 0.
/// Each weight multiplies a squared residual.
pub fn huber_weights(standardised: &[f64], k: f64) -> Vec<f64> {
    let weight = |r: &f64| match r.abs() {
        size if size.is_nan() => 0.0,
        size if size <= k => 1.0,
        size => k / size,
    };
    standardised.iter().map(weight).collect()
}

/// How much wider the residuals spread than their uncertainty says: 1.4826 times the median of |r|, at least 1.
///
/// It keeps a model that is a little wrong everywhere from calling many good readings strays.
pub fn spread(standardised: &[f64]) -> f64 {
    let mut sizes: Vec<f64> = standardised.iter().map(|r| r.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    (NORMAL_PER_MEDIAN * median(&sizes)).max(1.0)
}

/// Middle of sorted values; NaN where there are none.
pub fn median(sorted: &[f64]) -> f64 {
    match sorted.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => sorted[n / 2],
        n => 0.5 * (sorted[n / 2 - 1] + sorted[n / 2]),
    }
}

/// The residuals past the bound that the largest of as many normal ones passes with chance [`FALSE_ALARM`].
///
/// In the order of the residuals; one that isn't a number is a stray. Residuals of a plain fit are a little smaller
/// than 1 because the fit follows them; the rule errs on the side of naming too few.
pub fn strays(standardised: &[f64]) -> Vec<Stray> {
    let spread = spread(standardised);
    let bound = normal_bound(0.5 * FALSE_ALARM / standardised.len().max(1) as f64);
    let stray = |(index, r): (usize, &f64)| {
        let standardised = r / spread;
        let fits = standardised.abs() <= bound;
        (!fits).then_some(Stray {
            index,
            standardised,
            bound,
        })
    };
    standardised.iter().enumerate().filter_map(stray).collect()
}

/// A group of readings whose residuals spread this many times as widely as those of the middle group, or as the readings'
/// own uncertainty where that is larger, is odd.
const ODD: f64 = 4.0;

/// The groups, each a list of places in the residuals, that the model follows far worse than the others: by the median of
/// their residuals' sizes, so that a stray or two don't make a group odd.
pub fn odd_groups(standardised: &[f64], groups: &[Vec<usize>]) -> Vec<usize> {
    let of_group = |rows: &Vec<usize>| {
        let residuals: Vec<f64> = rows.iter().map(|&i| standardised[i]).collect();
        spread(&residuals)
    };
    let spreads: Vec<f64> = groups.iter().map(of_group).collect();
    let mut sorted = spreads.clone();
    sorted.sort_by(f64::total_cmp);
    let Some(middle) = sorted.get((sorted.len().max(1) - 1) / 2) else {
        return Vec::new();
    };
    (0..groups.len())
        .filter(|&g| spreads[g] > ODD * middle)
        .collect()
}

/// A problem in which no group of residuals can pull without bound: the sum over its n residuals of mean square s counts
/// n·c²·ln(1 + s/c²). Groups that a model follows decide, those that it can't follow hardly do (Lorentzian loss; Black &
/// Rangarajan, Int. J. Comput. Vision 19 (1996) 57, from memory).
pub struct Lenient<'a, R> {
    problem: &'a R,
    groups: &'a [Vec<usize>],
    c: f64,
}

impl<'a, R: Residuals> Lenient<'a, R> {
    /// `c` is the rms residual, in standard deviations, from which a group begins to lose its pull.
    pub fn new(problem: &'a R, groups: &'a [Vec<usize>], c: f64) -> Self {
        Self { problem, groups, c }
    }
}

impl<R: Residuals> Residuals for Lenient<'_, R> {
    fn len(&self) -> usize {
        self.problem.len()
    }

    fn residuals(&self, parameters: &[f64]) -> Option<Vec<f64>> {
        let mut residuals = self.problem.residuals(parameters)?;
        let c2 = self.c * self.c;
        for rows in self.groups {
            let squares: f64 = rows.iter().map(|&i| residuals[i].powi(2)).sum();
            let mean = squares / rows.len().max(1) as f64;
            let kept = c2 * (mean / c2).ln_1p() / mean.max(f64::MIN_POSITIVE);
            for &i in rows {
                residuals[i] *= kept.sqrt();
            }
        }
        Some(residuals)
    }

    fn scale(&self, index: usize) -> f64 {
        self.problem.scale(index)
    }
}

/// The z that a standard normal variable passes with chance `tail`, 0 < `tail` ≤ 0.025.
///
/// Bisection on Laplace's continued fraction of the tail, Q(z) = φ(z)/(z + 1/(z + 2/(z + 3/…))).
/// Source: Abramowitz & Stegun 26.2.14 (from memory).
pub fn normal_bound(tail: f64) -> f64 {
    let (mut low, mut high) = (1.5, 40.0);
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if normal_tail(middle) > tail {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

fn normal_tail(z: f64) -> f64 {
    const TERMS: u32 = 100;
    let fraction = (1..=TERMS)
        .rev()
        .fold(z, |inner, k| z + f64::from(k) / inner);
    (-0.5 * z * z).exp() / ((2.0 * std::f64::consts::PI).sqrt() * fraction)
}

/// A problem with a weight on every squared residual, such as those of [`huber_weights`].
pub struct Weighted<'a, R> {
    problem: &'a R,
    roots: Vec<f64>,
}

impl<'a, R: Residuals> Weighted<'a, R> {
    /// `None` unless there is one weight, finite and not negative, for each residual.
    pub fn new(problem: &'a R, weights: &[f64]) -> Option<Self> {
        let usable = weights.len() == problem.len()
            && weights
                .iter()
                .all(|weight| weight.is_finite() && *weight >= 0.0);
        let roots = weights.iter().map(|weight| weight.sqrt()).collect();
        usable.then_some(Self { problem, roots })
    }
}

impl<R: Residuals> Residuals for Weighted<'_, R> {
    fn len(&self) -> usize {
        self.roots.len()
    }

    fn residuals(&self, parameters: &[f64]) -> Option<Vec<f64>> {
        let plain = self.problem.residuals(parameters)?;
        // A weight of 0 also silences a residual that isn't a number.
        let weighted = |(r, root): (&f64, &f64)| if *root > 0.0 { r * root } else { 0.0 };
        (plain.len() == self.len()).then(|| plain.iter().zip(&self.roots).map(weighted).collect())
    }

    fn scale(&self, index: usize) -> f64 {
        self.problem.scale(index)
    }

    fn jacobian(
        &self,
        parameters: &[f64],
        at: &[f64],
        scheme: Differences,
    ) -> Option<DMatrix<f64>> {
        let plain = |(r, root): (&f64, &f64)| if *root > 0.0 { r / root } else { 0.0 };
        let at: Vec<f64> = at.iter().zip(&self.roots).map(plain).collect();
        let mut jacobian = self.problem.jacobian(parameters, &at, scheme)?;
        for (mut row, root) in jacobian.row_iter_mut().zip(&self.roots) {
            if *root > 0.0 {
                row *= *root;
            } else {
                row.fill(0.0);
            }
        }
        Some(jacobian)
    }
}
