//! How well the levels of a finished band are known, and how many of them could be told apart.

use super::climate::BandClimate;
use super::plan::Planner;
use super::proof::Finished;
use crate::response::fit::Fit;
use crate::response::propagation::{COVERAGE_FACTOR, carried, slopes, standard_u_of_difference};
use nalgebra::DMatrix;
use serde::Serialize;

/// The uncertainty of a band's predicted levels, in the middle row at the design temperature.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Known {
    /// Of each level, L*.
    pub standard_u_lstar: Vec<f64>,
    /// The same times k = 2.
    pub expanded_u_lstar: Vec<f64>,
    /// Of each step from one level to the next lighter, one fewer than levels: what neighbours share has cancelled.
    pub step_standard_u_lstar: Vec<f64>,
    /// The same times k = 2.
    pub step_expanded_u_lstar: Vec<f64>,
    pub told_apart: ToldApart,
}

/// What tells two levels apart: a distance above the expanded uncertainty, k = 2, of their difference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ToldApart {
    /// Distance of two levels.
    pub step_lstar: f64,
    /// Distance that one reading of each level must show: k·√2·repeatability.
    pub reading_lstar: f64,
    /// Distance that the predictions of any two neighbours must have.
    pub predicted_lstar: f64,
    /// The most levels, of those asked, on the same span that keep both; the number asked where they do.
    pub levels: usize,
}

impl Known {
    /// From the covariance of the predicted levels, L*²: two levels or more, evenly over `span_lstar`; a reading carries
    /// `repeatability_lstar`, standard.
    pub fn of(covariance: &DMatrix<f64>, span_lstar: f64, repeatability_lstar: f64) -> Self {
        let variances = covariance.diagonal();
        let standard: Vec<f64> = variances.iter().map(|v| v.max(0.0).sqrt()).collect();
        let step: Vec<f64> = (1..covariance.nrows())
            .map(|level| standard_u_of_difference(covariance, level - 1, level))
            .collect();
        let expanded = |list: &[f64]| list.iter().map(|u| COVERAGE_FACTOR * u).collect();
        Known {
            expanded_u_lstar: expanded(&standard),
            standard_u_lstar: standard,
            step_expanded_u_lstar: expanded(&step),
            step_standard_u_lstar: step,
            told_apart: ToldApart::of(covariance, span_lstar, repeatability_lstar),
        }
    }
}

impl ToldApart {
    fn of(covariance: &DMatrix<f64>, span_lstar: f64, repeatability_lstar: f64) -> Self {
        let steps = covariance.nrows().saturating_sub(1).max(1);
        let apart = largest_expanded_u(covariance);
        let reading_lstar = COVERAGE_FACTOR * 2.0f64.sqrt() * repeatability_lstar;
        let told = |steps_kept: usize| {
            let wide = steps as f64 / steps_kept as f64;
            span_lstar / steps_kept as f64 > reading_lstar.max(between(&apart, wide))
        };
        ToldApart {
            step_lstar: span_lstar / steps as f64,
            reading_lstar,
            predicted_lstar: between(&apart, 1.0),
            levels: (1..=steps).rev().find(|&s| told(s)).unwrap_or(0) + 1,
        }
    }
}

/// Largest expanded uncertainty of the difference of two levels so many steps apart, from 0 steps on.
fn largest_expanded_u(covariance: &DMatrix<f64>) -> Vec<f64> {
    let levels = covariance.nrows();
    let largest = |apart: usize| {
        let pairs = 0..levels - apart;
        let u = pairs.map(|a| standard_u_of_difference(covariance, a, a + apart));
        COVERAGE_FACTOR * u.fold(0.0, f64::max)
    };
    (0..levels).map(largest).collect()
}

/// Linear between the entries of a list; beyond its end the last.
fn between(list: &[f64], place: f64) -> f64 {
    let low = list.get(place as usize).or(list.last());
    let high = list.get(place as usize + 1).or(list.last());
    let (low, high) = (low.copied().unwrap_or(0.0), high.copied().unwrap_or(0.0));
    low + place.fract() * (high - low)
}

impl Planner<'_> {
    /// How well the levels of a band are known: by the readings of the levels themselves where there are any, or by the
    /// response.
    pub(super) fn known(
        &self,
        climate: &BandClimate,
        finished: &Finished,
        span_lstar: f64,
    ) -> Known {
        let covariance = match finished.correction {
            Some(_) => read_covariance(climate, finished),
            None => self.response_covariance(climate, finished),
        };
        let repeatability_lstar = self.panel.instrument.repeatability_lstar;
        Known::of(&covariance, span_lstar, repeatability_lstar)
    }

    /// The parameters' covariance carried on to the levels, and what the model itself leaves on readings left out. The
    /// latter is taken as each level's own, which errs on the safe side for neighbours.
    fn response_covariance(&self, climate: &BandClimate, finished: &Finished) -> DMatrix<f64> {
        let fit = self.fit;
        let levels = finished.ticks.levels();
        let predict = |moved: &[f64]| -> Option<Vec<f64>> {
            let response = fit.response_at(moved)?;
            let moved = Finished {
                response: &response,
                ..finished.clone()
            };
            Some(moved.middle_lstar(climate.design()))
        };
        let slopes = slopes(&fit.moved, &fit.covariance, levels, predict);
        let model = fit.model_error_lstar(self.panel.instrument.repeatability_lstar);
        carried(&slopes, &fit.covariance)
            + DMatrix::from_diagonal_element(levels, levels, model * model)
    }
}

/// Covariance of what readings of the levels add, among neighbours dark and light in equal parts.
fn read_covariance(climate: &BandClimate, finished: &Finished) -> DMatrix<f64> {
    let Some(correction) = finished.correction else {
        let levels = finished.ticks.levels();
        return DMatrix::zeros(levels, levels);
    };
    let response_alone = Finished {
        correction: None,
        ..finished.clone()
    };
    let middle = finished.rows / 2;
    let lstar = response_alone.middle_lstar(climate.design());
    let places: Vec<_> = lstar
        .into_iter()
        .zip(finished.ticks.in_row(middle))
        .map(|(lstar, ticks)| {
            let terms = correction
                .frame
                .terms(middle as f64, 0.0, climate.design_c, ticks);
            (lstar, terms)
        })
        .collect();
    correction.covariance_lstar(&places)
}

impl Fit {
    /// What the model leaves on readings that were left out, beyond their own scatter, L*, standard.
    pub fn model_error_lstar(&self, repeatability_lstar: f64) -> f64 {
        let kept = self.ladder.iter().find(|r| r.rung == self.rung);
        let left_out = kept.map_or(0.0, |r| r.left_out_rms_lstar);
        (left_out.powi(2) - repeatability_lstar.powi(2))
            .max(0.0)
            .sqrt()
    }
}
