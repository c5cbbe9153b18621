//! Readings as residuals of a response: what the least-squares code sees.

use super::least_squares::Residuals;
use super::model::Response;
use super::pages::PagePlan;
use super::parameters::{Parameter, build};
use super::rung::Rung;
use crate::drive::Stroke;
use crate::project::{Page, Project};
use rayon::prelude::*;

/// One reading as the fit sees it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// Index of the page, the patch on it, and the reading.
    Patch {
        page: usize,
        patch: usize,
        reading: usize,
    },
    /// Index of the train and of the repeat.
    Train { train: usize, repeat: usize },
}

/// How finely a page is predicted: rows that stand for a patch, classes along the spread of mobility.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Grain {
    pub rows: usize,
    pub classes: usize,
}

/// A response of one rung against every reading of a project, priors as further residuals.
pub struct ReadingProblem<'a> {
    pub rung: Rung,
    pub parameters: Vec<Parameter>,
    project: &'a Project,
    plans: Vec<PagePlan>,
    sources: Vec<Source>,
    grain: Grain,
}

impl<'a> ReadingProblem<'a> {
    pub fn new(project: &'a Project, rung: Rung, parameters: Vec<Parameter>, grain: Grain) -> Self {
        let rows = project.panel.rows;
        let plans = project.measured.chart.pages.iter();
        let plans = plans
            .map(|page| PagePlan::new(page, rows, grain.rows))
            .collect();
        ReadingProblem {
            rung,
            parameters,
            project,
            plans,
            sources: sources(project),
            grain,
        }
    }

    /// The readings in the order of their residuals; the priors' residuals follow.
    pub fn sources(&self) -> &[Source] {
        &self.sources
    }

    /// What was read, L*.
    pub fn measured_lstar(&self, source: Source) -> f64 {
        match source {
            Source::Patch { reading, .. } => self.project.measured.readings[reading].lstar,
            Source::Train { train, repeat } => self.project.trains[train].readings_lstar[repeat],
        }
    }

    /// Its standard uncertainty, L*: the one that it states, otherwise the instrument's repeatability.
    pub fn sigma_lstar(&self, source: Source) -> f64 {
        let stated = match source {
            Source::Patch { reading, .. } => self.project.measured.readings[reading].u_lstar,
            Source::Train { .. } => None,
        };
        stated.unwrap_or(self.project.panel.instrument.repeatability_lstar)
    }

    /// The standard uncertainty that stands for all readings, L*: the instrument's repeatability, or the rms of those that
    /// the readings state.
    pub fn usual_sigma_lstar(&self) -> f64 {
        let stated = self.project.measured.stated_u_lstar();
        stated.unwrap_or(self.project.panel.instrument.repeatability_lstar)
    }

    /// Values of the parameters from what the fit moves.
    pub fn values(&self, moved: &[f64]) -> Vec<f64> {
        self.parameters
            .iter()
            .zip(moved)
            .map(|(p, &x)| p.scale.outward(x))
            .collect()
    }

    /// The response with its parameters at `moved`; `None` where no curve has them.
    pub fn response(&self, moved: &[f64]) -> Option<Response> {
        build(self.rung, &self.values(moved), self.grain.classes)
    }

    /// The most likely point before any reading, as the fit moves it.
    pub fn prior(&self) -> Vec<f64> {
        self.parameters
            .iter()
            .map(|p| p.scale.inward(p.prior))
            .collect()
    }

    /// Lightness of every reading, in the order of [`Self::sources`].
    pub fn predicted_lstar(&self, response: &Response) -> Vec<f64> {
        let settle_ms = self.project.panel.drivers.field_settle_ms;
        let pages: &[Page] = &self.project.measured.chart.pages;
        let patches: Vec<Vec<f64>> = (0..pages.len())
            .into_par_iter()
            .map(|i| self.plans[i].lstar(response, &pages[i], settle_ms))
            .collect();
        let trains = self.trains_lstar(response);
        let of = |source: &Source| match *source {
            Source::Patch { page, patch, .. } => patches[page][patch],
            Source::Train { train, .. } => trains[train],
        };
        self.sources.iter().map(of).collect()
    }

    /// Lightness of every train, the trains of one temperature together.
    fn trains_lstar(&self, response: &Response) -> Vec<f64> {
        let trains = &self.project.trains;
        let mut temperatures: Vec<f64> = trains.iter().map(|t| t.temperature_c).collect();
        temperatures.sort_by(f64::total_cmp);
        temperatures.dedup();
        let together = |&temperature_c: &f64| {
            let at: Vec<usize> = (0..trains.len())
                .filter(|&i| trains[i].temperature_c == temperature_c)
                .collect();
            let steps: Vec<&[Stroke]> = at.iter().map(|&i| trains[i].steps.as_slice()).collect();
            at.into_iter()
                .zip(response.lstar_after_trains(temperature_c, &steps))
                .collect::<Vec<_>>()
        };
        let mut lstar = vec![0.0; trains.len()];
        for (i, value) in temperatures
            .par_iter()
            .map(together)
            .collect::<Vec<_>>()
            .into_iter()
            .flatten()
        {
            lstar[i] = value;
        }
        lstar
    }
}

impl Residuals for ReadingProblem<'_> {
    fn len(&self) -> usize {
        self.sources.len() + self.parameters.len()
    }

    fn residuals(&self, moved: &[f64]) -> Option<Vec<f64>> {
        let predicted = self.predicted_lstar(&self.response(moved)?);
        let of = |(&source, predicted): (&Source, f64)| {
            (predicted - self.measured_lstar(source)) / self.sigma_lstar(source)
        };
        let mut residuals: Vec<f64> = self.sources.iter().zip(predicted).map(of).collect();
        let prior = self.prior();
        let pulls = self.parameters.iter().zip(moved).zip(&prior);
        residuals.extend(pulls.map(|((p, x), prior)| (x - prior) / p.prior_sigma));
        Some(residuals)
    }

    fn scale(&self, index: usize) -> f64 {
        self.parameters[index].prior_sigma
    }
}

fn sources(project: &Project) -> Vec<Source> {
    let patches = project
        .measured
        .readings
        .iter()
        .enumerate()
        .map(|(reading, r)| Source::Patch {
            page: r.page,
            patch: r.patch,
            reading,
        });
    let trains = project.trains.iter().enumerate().flat_map(|(train, t)| {
        (0..t.readings_lstar.len()).map(move |repeat| Source::Train { train, repeat })
    });
    patches.chain(trains).collect()
}
