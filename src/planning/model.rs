//! The model that a plan looks through: what pages show at a guess of the parameters, and how that follows each parameter.

use super::misfit::{self, Misfit};
use crate::project::{Page, Panel};
use crate::response::parameters::{Parameter, Scene, build, parameters};
use crate::response::{PagePlan, Response, Rung};
use nalgebra::DVector;

/// The richest rung that panels usually ask for.
pub const RUNG: Rung = Rung {
    store: true,
    window: true,
    independent_spread: false,
    vft: false,
};
/// Classes along the spread of mobility, and layers of rows of a patch: derivatives need no more.
const CLASSES: usize = 3;
const LAYERS: usize = 1;
/// Step of the differences, in standard deviations of the prior.
const STEP: f64 = 1e-4;

/// The parameters of the model with what the panel's description says of them.
#[derive(Debug, Clone)]
pub struct Model<'a> {
    pub panel: &'a Panel,
    pub parameters: Vec<Parameter>,
    /// Which of them is the crossing rate.
    rate: usize,
    misfit: Misfit,
}

/// A point of the prior with its neighbours, one a parameter.
#[derive(Debug, Clone)]
pub struct Guess {
    pub moved: Vec<f64>,
    pub response: Response,
    beside: Vec<Response>,
}

impl<'a> Model<'a> {
    pub fn of(panel: &'a Panel) -> Self {
        let parameters = parameters(RUNG, &scene(panel));
        let rate = parameters.iter().position(|p| p.symbol == "kappa_cross");
        Model {
            panel,
            rate: rate.unwrap_or(0),
            parameters,
            misfit: Misfit::new(),
        }
    }

    /// Of the derivatives: one for each parameter of the response, then those of the allowance for misfit.
    pub fn size(&self) -> usize {
        self.parameters.len() + misfit::SIZE
    }

    /// The guess so many standard deviations from the prior's middle; `None` where no response has these parameters.
    pub fn guess(&self, deviations: &[f64]) -> Option<Guess> {
        let at = |deviations: &[f64]| {
            let moved = self.parameters.iter().zip(deviations);
            moved
                .map(|(p, d)| p.scale.inward(p.prior) + d * p.prior_sigma)
                .collect::<Vec<f64>>()
        };
        let response = |moved: &[f64]| {
            let values = self.parameters.iter().zip(moved);
            let values: Vec<f64> = values.map(|(p, &x)| p.scale.outward(x)).collect();
            build(RUNG, &values, CLASSES)
        };
        let beside = (0..deviations.len()).map(|i| {
            let mut deviations = deviations.to_vec();
            deviations[i] += STEP;
            response(&at(&deviations))
        });
        let moved = at(deviations);
        Some(Guess {
            response: response(&moved)?,
            beside: beside.collect::<Option<_>>()?,
            moved,
        })
    }

    /// Lightness of the patches of a page.
    pub fn lstar(&self, response: &Response, page: &Page) -> Vec<f64> {
        let plan = PagePlan::new(page, self.panel.rows, LAYERS);
        plan.lstar(response, page, self.panel.drivers.field_settle_ms)
    }

    /// For each patch, how its lightness moves with every parameter, L* per standard deviation of the prior;
    /// [`Self::size`] numbers.
    pub fn slopes(&self, guess: &Guess, page: &Page) -> Vec<DVector<f64>> {
        let plan = PagePlan::new(page, self.panel.rows, LAYERS);
        let settle_ms = self.panel.drivers.field_settle_ms;
        let here = plan.lstar(&guess.response, page, settle_ms);
        let there: Vec<Vec<f64>> = guess
            .beside
            .iter()
            .map(|r| plan.lstar(r, page, settle_ms))
            .collect();
        let slope = |(patch, &here): (usize, &f64)| {
            let slopes = there.iter().map(|there| (there[patch] - here) / STEP);
            let rate_slope =
                (there[self.rate][patch] - here) / STEP / self.parameters[self.rate].prior_sigma;
            let missed = self
                .misfit
                .slopes(page, &page.patches[patch], here, rate_slope, guess);
            DVector::from_iterator(self.size(), slopes.chain(missed))
        };
        here.iter().enumerate().map(slope).collect()
    }
}

/// What the rails and the erases say of typical voltages and times.
fn scene(panel: &Panel) -> Scene {
    let drivers = &panel.drivers;
    let middle = |min: f64, max: f64| (min.max(0.1 * max) * max).sqrt();
    let data_v = middle(drivers.data_v.min, drivers.data_v.max);
    let erases = panel.erases.iter();
    let erase_s = erases
        .map(|e| e.strokes.iter().map(|s| s.ms * 1e-3).sum::<f64>())
        .fold(f64::INFINITY, f64::min);
    Scene {
        on_v: middle(drivers.select_v.min.abs(), drivers.select_v.max.abs()) + data_v,
        data_v,
        slot_s: 0.5 * panel.limits.refresh_s / panel.rows as f64,
        erase_s,
    }
}
