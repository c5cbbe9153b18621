//! What the readings say of the panel, as numbers: the content of `response.json`.

use super::by_input::{ByInput, by_input};
use super::compared::{Compared, fitted, held_out};
use super::words::significant;
use crate::draw::{FitPoint, PointKind};
use crate::project::{Project, Train, Unread};
use crate::response::fit::{Estimate, Fit, RungFit};
use crate::response::least_squares::Ending;
use crate::response::parameters::Scale;
use crate::response::robust::Stray;
use crate::response::{FORMAT, Response, Source, VERSION, holdout};
use nalgebra::DMatrix;
use serde::Serialize;

/// Correlations beyond this, of either sign, are worth a warning: the pair is known better together than apart.
pub const STRONG_CORRELATION: f64 = 0.95;
const DIGITS: usize = 6;

/// A page that no model follows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OddPage {
    pub page: String,
    pub readings: usize,
    /// Root mean square of reading less prediction.
    pub rms_lstar: f64,
}

/// What was read and used.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingCount {
    pub pages: usize,
    pub patches: usize,
    pub patch_readings: usize,
    pub trains: usize,
    pub train_readings: usize,
    pub strays: usize,
    pub temperatures_c: Vec<f64>,
    /// `page/patch` of every patch that no reading speaks of, held-out pages included.
    pub patches_without_reading: Vec<String>,
    /// What a reading is unsure by, L*: the instrument's repeatability, or the rms of what the readings state.
    pub repeatability_lstar: f64,
}

/// The scale on which the fit moves a parameter, and on which the covariance stands.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Moved {
    Value,
    Logarithm,
    /// ln((x − low)/(high − x)).
    Logit {
        low: f64,
        high: f64,
    },
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ParameterReport {
    pub symbol: &'static str,
    pub meaning: &'static str,
    pub unit: &'static str,
    pub value: f64,
    /// In the parameter's unit.
    pub standard_deviation: f64,
    /// The readings don't determine it: it stands near what was assumed before them.
    pub held_at_prior: bool,
    pub prior: f64,
    pub moved_as: Moved,
    pub moved: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Correlation {
    pub of: &'static str,
    pub with: &'static str,
    pub correlation: f64,
}

/// A rung of the ladder of models.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RungReport {
    pub name: String,
    pub parameters: usize,
    pub rms_lstar: f64,
    pub left_out_rms_lstar: f64,
    /// On mirrored pages alone, where there are any.
    pub left_out_mirrored_rms_lstar: Option<f64>,
    pub reduced_chi_square: f64,
    pub ending: &'static str,
    pub kept: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StrayReport {
    /// `page/patch`, or the train.
    pub reading: String,
    /// File and line where it stands.
    pub file: &'static str,
    pub line: usize,
    pub measured_lstar: f64,
    pub predicted_lstar: f64,
    /// In units of the readings' spread, beside the bound that it passed.
    pub standardised: f64,
    pub bound: f64,
}

/// Errors of prediction over some readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Errors {
    pub readings: usize,
    pub rms_lstar: f64,
    pub max_lstar: f64,
}

/// How the fitted readings of one kind follow the response, strays left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct KindReport {
    pub kind: &'static str,
    pub errors: Errors,
}

/// Prediction errors on readings that were never fitted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HoldoutReport {
    pub pages: usize,
    pub all: Errors,
    /// Pages without and with a mirrored field; none where there is no such page.
    pub plain: Option<Errors>,
    pub mirrored: Option<Errors>,
    /// `page/patch` of the largest error.
    pub worst: String,
}

/// Everything that the fit tells.
#[derive(Debug, Clone, Serialize)]
pub struct ResponseReport {
    pub format: &'static str,
    pub version: u32,
    pub panel: String,
    pub readings: ReadingCount,
    pub model: String,
    /// Why the fit stopped.
    pub ending: &'static str,
    pub converged: bool,
    pub reduced_chi_square: f64,
    pub degrees_of_freedom: usize,
    pub rms_lstar: f64,
    pub holdout: Option<HoldoutReport>,
    pub parameters: Vec<ParameterReport>,
    pub strong_correlations: Vec<Correlation>,
    pub models: Vec<RungReport>,
    /// Pages that no model follows, left out whole.
    pub odd_pages: Vec<OddPage>,
    pub strays: Vec<StrayReport>,
    pub kinds: Vec<KindReport>,
    pub residuals: Vec<ByInput>,
    /// In the order of `parameters`.
    pub correlations: Vec<Vec<f64>>,
    /// Of the parameters as the fit moves them, in the order of `parameters`.
    pub covariance: Vec<Vec<f64>>,
    pub response: Response,
    /// Every reading beside its prediction, those held out last.
    #[serde(skip)]
    pub points: Vec<FitPoint>,
}

impl ResponseReport {
    pub fn of(project: &Project, fit: &Fit) -> Self {
        let (fitted, held_out) = (fitted(project, fit), held_out(project, &fit.response));
        let correlations = correlations(&fit.covariance);
        let rung = fit.ladder.iter().find(|r| r.rung == fit.rung);
        ResponseReport {
            format: FORMAT,
            version: VERSION,
            panel: project.panel.name.clone(),
            readings: reading_count(project, fit),
            model: fit.rung.name(),
            ending: ending_in_words(fit.ending),
            converged: fit.ending.converged(),
            reduced_chi_square: significant(fit.reduced_chi_square, DIGITS),
            degrees_of_freedom: fit.degrees_of_freedom,
            rms_lstar: significant(rung.map_or(f64::NAN, |r| r.rms_lstar), DIGITS),
            holdout: holdout_report(project, &held_out),
            parameters: fit
                .estimates
                .iter()
                .zip(&fit.moved)
                .map(parameter)
                .collect(),
            strong_correlations: strong(&fit.estimates, &correlations),
            models: fit.ladder.iter().map(|r| rung_report(r, fit)).collect(),
            odd_pages: odd_pages(project, fit),
            strays: stray_reports(project, fit, &fitted),
            kinds: kinds(&fitted),
            residuals: by_input(&fitted),
            correlations: rows(&correlations),
            covariance: rows(&fit.covariance),
            response: fit.response.clone(),
            points: fitted
                .into_iter()
                .chain(held_out)
                .map(|c| c.point)
                .collect(),
        }
    }

    /// The content of `response.json`, newline at the end.
    pub fn to_json(&self) -> String {
        super::to_json(self)
    }
}

fn reading_count(project: &Project, fit: &Fit) -> ReadingCount {
    let pages = &project.measured.chart.pages;
    let trains = &project.trains;
    let of_pages = pages.iter().map(|p| p.temperature_c);
    let mut temperatures_c: Vec<f64> = of_pages
        .chain(trains.iter().map(|t| t.temperature_c))
        .collect();
    temperatures_c.sort_by(f64::total_cmp);
    temperatures_c.dedup();
    let name = |u: &Unread| format!("{}/{}", u.page, u.patch);
    ReadingCount {
        pages: pages.len(),
        patches: pages.iter().map(|p| p.patches.len()).sum(),
        patch_readings: project.measured.readings.len(),
        trains: trains.len(),
        train_readings: trains.iter().map(|t: &Train| t.readings_lstar.len()).sum(),
        strays: fit.strays.len(),
        temperatures_c,
        patches_without_reading: project.unread.iter().map(name).collect(),
        repeatability_lstar: (project.measured.stated_u_lstar())
            .unwrap_or(project.panel.instrument.repeatability_lstar),
    }
}

fn parameter((estimate, &moved): (&Estimate, &f64)) -> ParameterReport {
    let p = &estimate.parameter;
    ParameterReport {
        symbol: p.symbol,
        meaning: p.meaning,
        unit: p.unit,
        value: significant(estimate.value, DIGITS),
        standard_deviation: significant(estimate.sigma, DIGITS),
        held_at_prior: estimate.undetermined,
        prior: significant(p.prior, DIGITS),
        moved_as: match p.scale {
            Scale::Linear => Moved::Value,
            Scale::Log => Moved::Logarithm,
            Scale::Between { low, high } => Moved::Logit { low, high },
        },
        moved,
    }
}

/// 0 beside a parameter without a finite spread.
fn correlations(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    let spread = covariance.diagonal().map(f64::sqrt);
    DMatrix::from_fn(spread.len(), spread.len(), |i, j| {
        let r = covariance[(i, j)] / (spread[i] * spread[j]);
        if i == j {
            1.0
        } else if r.is_finite() {
            r
        } else {
            0.0
        }
    })
}

fn strong(estimates: &[Estimate], correlations: &DMatrix<f64>) -> Vec<Correlation> {
    let symbol = |i: usize| estimates[i].parameter.symbol;
    let pairs = (0..estimates.len()).flat_map(|i| (0..i).map(move |j| (j, i)));
    pairs
        .filter(|&at| correlations[at].abs() > STRONG_CORRELATION)
        .map(|(i, j)| Correlation {
            of: symbol(i),
            with: symbol(j),
            correlation: significant(correlations[(i, j)], 4),
        })
        .collect()
}

fn rung_report(rung: &RungFit, fit: &Fit) -> RungReport {
    RungReport {
        name: rung.rung.name(),
        parameters: rung.parameters,
        rms_lstar: significant(rung.rms_lstar, DIGITS),
        left_out_rms_lstar: significant(rung.left_out_rms_lstar, DIGITS),
        left_out_mirrored_rms_lstar: rung
            .left_out_mirrored_rms_lstar
            .map(|rms| significant(rms, DIGITS)),
        reduced_chi_square: significant(rung.reduced_chi_square, DIGITS),
        ending: ending_in_words(rung.ending),
        kept: rung.rung == fit.rung,
    }
}

fn stray_reports(project: &Project, fit: &Fit, fitted: &[Compared]) -> Vec<StrayReport> {
    let report = |stray: &Stray| {
        let point = &fitted.get(stray.index)?.point;
        let (file, line) = match fit.residuals.get(stray.index)?.source {
            Source::Patch { reading, .. } => {
                ("scans.csv", project.measured.readings.get(reading)?.line)
            }
            Source::Train { train, .. } => ("cell.csv", project.trains.get(train)?.line),
        };
        Some(StrayReport {
            reading: point.name.clone(),
            file,
            line,
            measured_lstar: significant(point.measured_lstar, DIGITS),
            predicted_lstar: significant(point.predicted_lstar, DIGITS),
            standardised: significant(stray.standardised.abs(), 4),
            bound: significant(stray.bound, 4),
        })
    };
    fit.strays.iter().filter_map(report).collect()
}

fn odd_pages(project: &Project, fit: &Fit) -> Vec<OddPage> {
    let report = |&index: &usize| {
        let here = fit
            .residuals
            .iter()
            .filter(|r| matches!(r.source, Source::Patch { page, .. } if page == index));
        let squares: Vec<f64> = here
            .map(|r| (r.measured_lstar - r.predicted_lstar).powi(2))
            .collect();
        let mean = squares.iter().sum::<f64>() / squares.len().max(1) as f64;
        OddPage {
            page: project.measured.chart.pages[index].name.clone(),
            readings: squares.len(),
            rms_lstar: significant(mean.sqrt(), 3),
        }
    };
    fit.odd_pages.iter().map(report).collect()
}

fn kinds(fitted: &[Compared]) -> Vec<KindReport> {
    let of = |(kind, which): (&'static str, PointKind)| {
        let errors = errors(fitted, |c| c.point.kind == which && !c.point.stray)?;
        Some(KindReport { kind, errors })
    };
    [
        ("plain pages", PointKind::Page),
        ("mirrored pages", PointKind::Mirrored),
        ("test cell", PointKind::Cell),
    ]
    .into_iter()
    .filter_map(of)
    .collect()
}

fn holdout_report(project: &Project, held_out: &[Compared]) -> Option<HoldoutReport> {
    let measured = project.holdout.as_ref()?;
    let size = |c: &&Compared| c.point.residual_lstar().abs();
    let worst = held_out.iter().max_by(|a, b| size(a).total_cmp(&size(b)))?;
    Some(HoldoutReport {
        pages: measured.chart.pages.len(),
        all: errors(held_out, |_| true)?,
        plain: errors(held_out, |c| !c.mirrored),
        mirrored: errors(held_out, |c| c.mirrored),
        worst: worst.point.name.clone(),
    })
}

fn errors(compared: &[Compared], which: impl Fn(&Compared) -> bool) -> Option<Errors> {
    let these = compared.iter().filter(|c| which(c));
    let pairs: Vec<(f64, f64)> = these
        .map(|c| (c.point.measured_lstar, c.point.predicted_lstar))
        .collect();
    let (rms, max) = holdout::errors(&pairs);
    (!pairs.is_empty()).then(|| Errors {
        readings: pairs.len(),
        rms_lstar: significant(rms, DIGITS),
        max_lstar: significant(max, DIGITS),
    })
}

fn rows(matrix: &DMatrix<f64>) -> Vec<Vec<f64>> {
    let row = |i: usize| {
        let row = matrix.row(i);
        row.iter().map(|&x| significant(x, DIGITS)).collect()
    };
    (0..matrix.nrows()).map(row).collect()
}

fn ending_in_words(ending: Ending) -> &'static str {
    match ending {
        Ending::Stationary => "converged: no parameter lowers the residuals further",
        Ending::Settled => "converged: residuals and parameters stopped changing",
        Ending::ExactFit => "converged: the residuals are zero",
        Ending::OutOfPatience => "stopped before it converged: the evaluations were used up",
        Ending::StartNotEvaluable => "not fitted: the model has no value at the start",
        Ending::NotDifferentiable => {
            "stopped before it converged: the model has no derivatives here"
        }
        Ending::Underdetermined => "not fitted: fewer readings than parameters",
    }
}
