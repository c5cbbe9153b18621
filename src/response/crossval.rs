//! Cross-validation by leaving groups of readings out: a tenth of every page at a time, or a page or train.

use super::problem::Source;
use nalgebra::{DMatrix, DVector};

/// What the readings of a whole fit say of each other, ready for leaving groups of them out.
pub struct LeftOut<'a> {
    /// Orthonormal columns that span the Jacobian's range.
    basis: Option<DMatrix<f64>>,
    residuals: &'a [f64],
}

impl<'a> LeftOut<'a> {
    /// `jacobian` and `residuals` are those of the whole fit, priors included.
    pub fn of(jacobian: &DMatrix<f64>, residuals: &'a [f64]) -> Self {
        LeftOut {
            basis: range_basis(jacobian),
            residuals,
        }
    }

    /// Sum of squared prediction errors of each group of rows when it is left out; see [`Self::errors`].
    pub fn squares(&self, groups: Vec<Vec<usize>>) -> Vec<(Vec<usize>, f64)> {
        let squared =
            |(rows, errors): (Vec<usize>, Vec<f64>)| (rows, errors.iter().map(|e| e * e).sum());
        self.errors(groups).into_iter().map(squared).collect()
    }

    /// Prediction errors of each group of rows when it is left out, in units of the readings' uncertainty.
    ///
    /// Uses r₋ = (I − H)⁻¹·r for the rows of a group, H its block of the hat matrix: exact for a linear model, and here,
    /// where leaving a page out moves the parameters by less than their spread, good to second order.
    /// Source: Cook & Weisberg, Residuals and Influence in Regression, 1982, §2.2 (from memory). Infinite where the model's
    /// derivatives are not to be had: nothing speaks for it.
    pub fn errors(&self, groups: Vec<Vec<usize>>) -> Vec<(Vec<usize>, Vec<f64>)> {
        let unknown = |rows: Vec<usize>| {
            let errors = vec![f64::INFINITY; rows.len()];
            (rows, errors)
        };
        let Some(basis) = &self.basis else {
            return groups.into_iter().map(unknown).collect();
        };
        groups
            .into_iter()
            .map(|rows| {
                let part = basis.select_rows(&rows);
                let spared = DMatrix::identity(rows.len(), rows.len()) - &part * part.transpose();
                let r = DVector::from_iterator(rows.len(), rows.iter().map(|&i| self.residuals[i]));
                match spared.lu().solve(&r) {
                    Some(errors) => (rows, errors.as_slice().to_vec()),
                    None => unknown(rows),
                }
            })
            .collect()
    }
}

/// Orthonormal columns that span the Jacobian's range; `None` where there is none.
fn range_basis(jacobian: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    // A descent that could not be evaluated leaves a Jacobian without rows.
    if jacobian.is_empty() {
        return None;
    }
    let norms: Vec<f64> = jacobian.column_iter().map(|c| c.norm()).collect();
    let scaled = DMatrix::from_fn(jacobian.nrows(), jacobian.ncols(), |i, j| {
        jacobian[(i, j)] / norms[j].max(f64::MIN_POSITIVE)
    });
    let svd = scaled.svd(true, false);
    let largest = svd.singular_values.max();
    let kept: Vec<usize> = (0..svd.singular_values.len())
        .filter(|&i| svd.singular_values[i] > 1e-10 * largest)
        .collect();
    svd.u.map(|u| u.select_columns(&kept))
}

/// Groups by which models are judged.
const FOLDS: usize = 10;

/// Every tenth patch of every page and every tenth train, all their readings together, in ten groups.
///
/// A planned chart has pages that nothing else replaces: leaving one of those out whole would judge the plan and not the
/// model. What is used later lies among the pages and not beyond them.
pub fn folds(sources: &[Source]) -> Vec<Vec<usize>> {
    let fold = |source: &Source| match *source {
        Source::Patch { page, patch, .. } => (page + patch) % FOLDS,
        Source::Train { train, .. } => train % FOLDS,
    };
    let mut folds = vec![Vec::new(); FOLDS];
    for (row, source) in sources.iter().enumerate() {
        folds[fold(source)].push(row);
    }
    folds.retain(|f| !f.is_empty());
    folds
}

/// Rows that belong together: all readings of a page; all repeats of a train.
pub fn by_page(sources: &[Source]) -> Vec<Vec<usize>> {
    let key = |source: &Source| match *source {
        Source::Patch { page, .. } => (0, page),
        Source::Train { train, .. } => (1, train),
    };
    let mut by_key: std::collections::BTreeMap<(usize, usize), Vec<usize>> = Default::default();
    for (row, source) in sources.iter().enumerate() {
        by_key.entry(key(source)).or_default().push(row);
    }
    by_key.into_values().collect()
}

/// Left-out squares of each fold, over the readings that both of two rungs use.
pub fn shared(a: &[Vec<Option<f64>>], b: &[Vec<Option<f64>>]) -> (Vec<f64>, Vec<f64>) {
    let fold = |(a, b): (&Vec<Option<f64>>, &Vec<Option<f64>>)| {
        let both = a.iter().zip(b).filter_map(|(a, b)| a.zip(*b));
        both.fold((0.0, 0.0), |sum, (a, b)| (sum.0 + a, sum.1 + b))
    };
    a.iter().zip(b).map(fold).unzip()
}

/// Whether the richer rung predicts left-out groups better by more than the standard error of the difference.
pub fn clearly_better(richer: &[f64], simpler: &[f64]) -> bool {
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
