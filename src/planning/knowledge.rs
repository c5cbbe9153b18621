//! What trials teach of parameters, and which to choose: the mathematics of optimal experiments, of no particular model.

use nalgebra::{DMatrix, DVector, DVectorView};

/// What is to be known well.
#[derive(Debug, Clone, PartialEq)]
pub enum Aim {
    /// All parameters together: the smallest determinant of their covariance (D-optimal).
    Determinant,
    /// Predictions: the smallest mean squared error over uses.
    Uses(Uses),
}

/// Mean of h·hᵀ over uses, h the derivatives of a prediction: by the parameters first, then by what the model misses.
#[derive(Debug, Clone, PartialEq)]
pub struct Uses {
    /// Parameters × parameters.
    own: DMatrix<f64>,
    /// Parameters × what is missed.
    cross: DMatrix<f64>,
    /// Mean square of what is missed itself.
    missed: f64,
}

impl Uses {
    /// Of the derivatives of each use, the first `parameters` of them by parameters.
    pub fn of(uses: &[DVector<f64>], parameters: usize) -> Self {
        let size = uses.first().map_or(parameters, |u| u.len());
        let mut all = DMatrix::zeros(size, size);
        for h in uses {
            all.ger(1.0 / uses.len() as f64, h, h, 1.0);
        }
        Uses {
            own: all.view((0, 0), (parameters, parameters)).into_owned(),
            cross: all
                .view((0, parameters), (parameters, size - parameters))
                .into_owned(),
            missed: (parameters..size).map(|i| all[(i, i)]).sum(),
        }
    }
}

/// What least squares will know of parameters after some trials, for one guess at their values.
///
/// A trial is the derivative of its reading, over the reading's standard deviation: by the parameters, of which the covariance
/// comes (Fedorov, Theory of Optimal Experiments, 1972); then by what the model misses, each of variance 1, which pulls the
/// estimates away from the truth. Variance and squared bias together are the error that counts (Box & Draper, J. Am. Stat.
/// Assoc. 54, 622, 1959).
#[derive(Debug, Clone, PartialEq)]
pub struct Knowledge {
    covariance: DMatrix<f64>,
    /// How far each thing missed pulls each estimate.
    pull: DMatrix<f64>,
    /// For uses, own·pull − cross, and the mean squared error.
    strain: DMatrix<f64>,
    error: f64,
    aim: Aim,
}

impl Knowledge {
    /// Before any trial: independent standard deviations.
    pub fn before(sigmas: &[f64], aim: Aim) -> Self {
        let variances = DVector::from_iterator(sigmas.len(), sigmas.iter().map(|s| s * s));
        let missed = match &aim {
            Aim::Determinant => 0,
            Aim::Uses(uses) => uses.cross.ncols(),
        };
        let mut knowledge = Knowledge {
            covariance: DMatrix::from_diagonal(&variances),
            pull: DMatrix::zeros(sigmas.len(), missed),
            strain: DMatrix::zeros(sigmas.len(), missed),
            error: f64::NAN,
            aim,
        };
        knowledge.take_stock();
        knowledge
    }

    pub fn covariance(&self) -> &DMatrix<f64> {
        &self.covariance
    }

    /// Mean squared error of a parameter: variance and squared bias.
    pub fn squared_error(&self, parameter: usize) -> f64 {
        self.covariance[(parameter, parameter)] + self.pull.row(parameter).norm_squared()
    }

    /// Mean squared error over the uses; NaN where none are asked for.
    pub fn mean_squared_error(&self) -> f64 {
        self.error
    }

    fn take_stock(&mut self) {
        if let Aim::Uses(uses) = &self.aim {
            let felt = &uses.own * &self.pull;
            let bias = self.pull.dot(&felt) - 2.0 * self.pull.dot(&uses.cross) + uses.missed;
            self.error = self.covariance.dot(&uses.own) + bias;
            self.strain = felt - &uses.cross;
        }
    }

    /// A trial's part by the parameters and by what is missed.
    fn parts<'a>(&self, trial: &'a DVector<f64>) -> (DVectorView<'a, f64>, DVectorView<'a, f64>) {
        let own = self.covariance.nrows();
        (trial.rows(0, own), trial.rows(own, self.pull.ncols()))
    }

    /// What a trial shows beside what the estimates are already pulled to.
    fn news(&self, trial: &DVector<f64>) -> DVector<f64> {
        let (own, missed) = self.parts(trial);
        missed - self.pull.tr_mul(&own)
    }

    /// By how much a trial lowers the aim: ln of the determinant, 0 or more; or ln of the mean squared error.
    pub fn gain(&self, trial: &DVector<f64>) -> f64 {
        let (own, _) = self.parts(trial);
        let felt = &self.covariance * own;
        let told = own.dot(&felt);
        match &self.aim {
            Aim::Determinant => told.ln_1p(),
            Aim::Uses(uses) => {
                let seen = felt.dot(&(&uses.own * &felt));
                let less = 1.0 / (1.0 + told);
                let mut change = -seen * less;
                if self.pull.ncols() > 0 {
                    let news = self.news(trial);
                    change += 2.0 * less * felt.dot(&(&self.strain * &news));
                    change += less * less * seen * news.norm_squared();
                }
                -(change / self.error).max(1e-12 - 1.0).ln_1p()
            }
        }
    }

    /// Takes a trial in: the formula of Sherman and Morrison (Ann. Math. Stat. 21, 124, 1950).
    pub fn add(&mut self, trial: &DVector<f64>) {
        let (own, _) = self.parts(trial);
        let felt = &self.covariance * own;
        let less = 1.0 / (1.0 + own.dot(&felt));
        let news = self.news(trial);
        self.pull.ger(less, &felt, &news, 1.0);
        self.covariance.ger(-less, &felt, &felt, 1.0);
        self.take_stock();
    }

    /// Takes out a trial that was taken in.
    pub fn remove(&mut self, trial: &DVector<f64>) {
        let (own, _) = self.parts(trial);
        let felt = &self.covariance * own;
        let more = 1.0 / (1.0 - own.dot(&felt)).max(1e-12);
        let news = self.news(trial);
        self.pull.ger(-more, &felt, &news, 1.0);
        self.covariance.ger(more, &felt, &felt, 1.0);
        self.take_stock();
    }
}

/// Gains below this end an exchange.
const LEAST_GAIN: f64 = 1e-10;
const ROUNDS: usize = 100;

/// The `count` trials, by index into `candidates`, that serve the aim of `before` best: greedy first, then each exchanged for
/// a better one until none is (Fedorov's exchange, one place at a time). A candidate may be chosen more than once.
pub fn exchange(before: &Knowledge, candidates: &[DVector<f64>], count: usize) -> Vec<usize> {
    let mut knowledge = before.clone();
    let best = |knowledge: &Knowledge| {
        let gains: Vec<f64> = candidates.iter().map(|c| knowledge.gain(c)).collect();
        (0..gains.len()).reduce(|best, i| if gains[i] > gains[best] { i } else { best })
    };
    let mut chosen = Vec::with_capacity(count);
    for _ in 0..count {
        let Some(next) = best(&knowledge) else { break };
        knowledge.add(&candidates[next]);
        chosen.push(next);
    }
    for _ in 0..ROUNDS {
        let mut changed = false;
        for place in &mut chosen {
            knowledge.remove(&candidates[*place]);
            let better = best(&knowledge).filter(|&b| {
                knowledge.gain(&candidates[b]) > knowledge.gain(&candidates[*place]) + LEAST_GAIN
            });
            if let Some(better) = better {
                *place = better;
                changed = true;
            }
            knowledge.add(&candidates[*place]);
        }
        if !changed {
            break;
        }
    }
    chosen
}
