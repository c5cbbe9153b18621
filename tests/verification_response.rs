//! A planted response is found again in simulated readings of the shipped chart.

#[path = "small_panel/response.rs"]
mod planted;

use std::path::Path;
use std::sync::LazyLock;

use greyloom::project::{Measured, Panel, Project};
use greyloom::response::crossval::{LeftOut, by_page};
use greyloom::response::fit::{Fit, fit};
use greyloom::response::holdout::{errors, predict};
use greyloom::response::least_squares::{Options, Residuals, solve};
use greyloom::response::{Grain, PagePlan, ReadingProblem, Response};
use planted::{PLANTED, RUNG, response};

/// Standard deviations: one of 18 parameters passes 4 by chance once in 900 runs.
const PARAMETER_SIGMAS: f64 = 4.0;

/// χ² of 18 degrees of freedom lies between these with chance 0.998 (0.1 % and 99.9 %; tables, from memory).
const CHI_SQUARE_18: std::ops::Range<f64> = 4.90..42.31;

/// χ² per degree of freedom of some 340: 1 ± 4·√(2/340).
const REDUCED_CHI_SQUARE: std::ops::Range<f64> = 0.69..1.31;

/// L*, root mean square against the noiseless truth: readings carry 0.15.
const HOLDOUT_LSTAR: f64 = 0.05;

/// L*, root mean square: how far a stray may move predictions once it is named. A good reading left out moves them alike.
const STRAY_MOVES_LSTAR: f64 = 0.02;

/// Relative, on a page's sum of squares: the leave-out formula is exact for a linear model only.
const LEFT_OUT_SHARE: f64 = 0.02;

/// Leaving the page out must itself raise its sum of squares by more than the formula's tolerance.
const LEAST_EFFECT: f64 = 1.04;

const NOISE_LSTAR: f64 = 0.15;
const STRAY_LSTAR: f64 = 5.0;
const CLASSES: usize = 5;

/// Standard normal numbers from a seed: SplitMix64 (Steele, Lea & Flood 2014) and Box–Muller.
struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (2.0 * std::f64::consts::PI * self.uniform()).cos()
    }
}

fn truth() -> Response {
    response(RUNG, CLASSES)
}

/// The same chart with readings of `response`, every row of every patch seen, plus noise.
fn simulated(measured: &Measured, panel: &Panel, noise: Option<u64>) -> Measured {
    let mut noise = noise.map(Noise);
    let mut simulated = measured.clone();
    let clean = predict(&truth(), measured, panel);
    for (reading, (_, lstar)) in simulated.readings.iter_mut().zip(clean) {
        reading.lstar = lstar + noise.as_mut().map_or(0.0, |n| NOISE_LSTAR * n.normal());
    }
    simulated
}

fn shipped() -> Project {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    Project::read(&dir).expect("the shipped project")
}

/// The shipped project with simulated readings and no trains; held-out pages without noise.
static PLANT: LazyLock<Project> = LazyLock::new(|| {
    let mut project = shipped();
    assert_eq!(project.panel.instrument.repeatability_lstar, NOISE_LSTAR);
    project.measured = simulated(&project.measured, &project.panel, Some(20));
    project.holdout = project.holdout.map(|h| simulated(&h, &project.panel, None));
    project.trains.clear();
    project
});

static FOUND: LazyLock<Fit> = LazyLock::new(|| fit(&PLANT, &|_| ()).expect("a fit"));

fn holdout_rms(response: &Response) -> f64 {
    let holdout = PLANT.holdout.as_ref().expect("held-out pages");
    errors(&predict(response, holdout, &PLANT.panel)).0
}

#[test]
fn planted_parameters_are_found() {
    let found = &*FOUND;
    assert_eq!(found.rung, RUNG, "{:?}", found.ladder);
    assert!(found.ending.converged(), "{:?}", found.ending);
    assert!(found.strays.is_empty(), "{:?}", found.strays);
    assert!(
        REDUCED_CHI_SQUARE.contains(&found.reduced_chi_square),
        "{}",
        found.reduced_chi_square
    );
    for (i, (estimate, planted)) in found.estimates.iter().zip(PLANTED).enumerate() {
        let sigma = found.covariance[(i, i)].sqrt();
        let inward = found.moved[i] - estimate.parameter.scale.inward(planted);
        let symbol = estimate.parameter.symbol;
        assert!(
            inward.abs() <= PARAMETER_SIGMAS * sigma,
            "{symbol}: {} ± {}, planted {planted}",
            estimate.value,
            estimate.sigma
        );
        assert!(sigma < estimate.parameter.prior_sigma, "{symbol}");
    }
}

/// Over all parameters at once: the sum of squares at the truth less that at the fit (likelihood ratio; Wilks 1938, from memory) is
/// χ² of as many degrees of freedom. Unlike the quadratic form of the covariance it doesn't mind how the parameters are
/// scaled, nor the bend of the directions that the readings hardly determine (window, clear reflectance).
#[test]
fn planted_parameters_lie_in_the_joint_region() {
    let problem = problem(&PLANT, FINE);
    let sum = |moved: &[f64]| -> f64 {
        let residuals = problem.residuals(moved).expect("residuals");
        residuals.iter().map(|r| r * r).sum()
    };
    let scales = problem.parameters.iter().map(|p| p.scale);
    let planted: Vec<f64> = scales.zip(PLANTED).map(|(s, v)| s.inward(v)).collect();
    let ratio = sum(&planted) - sum(&FOUND.moved);
    assert!(CHI_SQUARE_18.contains(&ratio), "{ratio}");
}

#[test]
fn held_out_pages_are_predicted() {
    let rms = holdout_rms(&FOUND.response);
    assert!(rms <= HOLDOUT_LSTAR, "{rms}");
    assert!(holdout_rms(&truth()) == 0.0);
}

/// Every third page, to be quick.
fn third(project: &Project) -> Project {
    let mut part = project.clone();
    let pages = &mut part.measured.chart.pages;
    *pages = pages.iter().step_by(3).cloned().collect();
    part.measured.readings.retain(|r| r.page % 3 == 0);
    for reading in &mut part.measured.readings {
        reading.page /= 3;
    }
    part
}

/// Both predict the held-out pages as if nothing had been left out of either.
fn assert_predict_alike(a: &Fit, b: &Fit) {
    let holdout = PLANT.holdout.as_ref().expect("held-out pages");
    let of = |fit: &Fit| predict(&fit.response, holdout, &PLANT.panel);
    let both: Vec<(f64, f64)> = of(a).iter().zip(of(b)).map(|(a, b)| (a.1, b.1)).collect();
    let (rms, _) = errors(&both);
    assert!(rms <= STRAY_MOVES_LSTAR, "{rms}");
}

#[test]
fn a_stray_reading_is_named_and_moves_nothing() {
    let clean = third(&PLANT);
    let mut dirty = clean.clone();
    let index = 41;
    dirty.measured.readings[index].lstar += STRAY_LSTAR;
    let [clean, dirty] = [clean, dirty].map(|p| fit(&p, &|_| ()).expect("a fit"));
    let named: Vec<usize> = dirty.strays.iter().map(|s| s.index).collect();
    assert_eq!(named, [index], "{:?}", dirty.strays);
    assert!(dirty.residuals[index].stray);
    assert!(clean.strays.is_empty());
    assert_eq!(clean.rung, dirty.rung);
    assert_predict_alike(&clean, &dirty);
}

/// A page on which readings jump from patch to patch as no response makes them: as if it had not been read.
#[test]
fn a_page_that_no_model_follows_is_named_and_moves_nothing() {
    const ODD: usize = 4;
    const JUMP_LSTAR: f64 = 9.0;
    let mut dirty = third(&PLANT);
    let mut without = dirty.clone();
    for reading in dirty.measured.readings.iter_mut().filter(|r| r.page == ODD) {
        reading.lstar += if reading.patch % 2 == 0 {
            JUMP_LSTAR
        } else {
            -JUMP_LSTAR
        };
    }
    without.measured.readings.retain(|r| r.page != ODD);
    let [dirty, without] = [dirty, without].map(|p| fit(&p, &|_| ()).expect("a fit"));
    assert_eq!(dirty.odd_pages, [ODD]);
    assert!(dirty.strays.is_empty() && without.odd_pages.is_empty());
    assert_eq!(dirty.rung, without.rung);
    assert_predict_alike(&dirty, &without);
}

/// As the fit sees a page, and quicker.
const FINE: Grain = Grain {
    rows: 3,
    classes: CLASSES,
};
const ROUGH: Grain = Grain {
    rows: 1,
    classes: 3,
};

/// The rung that was found, against the readings of `project`.
fn problem(project: &Project, grain: Grain) -> ReadingProblem<'_> {
    let parameters = FOUND.estimates.iter().map(|e| e.parameter).collect();
    ReadingProblem::new(project, FOUND.rung, parameters, grain)
}

/// The formula for a page left out against a fit that never saw the page.
#[test]
fn left_out_pages_as_by_refitting() {
    let problem = problem(&PLANT, ROUGH);
    let whole = solve(&problem, &FOUND.moved, &Options::default());
    assert!(whole.ending.converged());
    let formula =
        LeftOut::of(&whole.jacobian, &whole.residuals).squares(by_page(problem.sources()));
    assert_eq!(formula.len(), PLANT.measured.chart.pages.len());
    for page in [6, 18] {
        let (rows, squares) = &formula[page];
        let of = |residuals: &[f64]| rows.iter().map(|&i| residuals[i].powi(2)).sum::<f64>();
        let seen = of(&problem
            .residuals(&fitted_without(page, &whole.parameters))
            .expect("residuals"));
        assert!(
            (squares / seen - 1.0).abs() <= LEFT_OUT_SHARE,
            "page {page}: {squares}, not {seen}"
        );
        let fitted = of(&whole.residuals);
        assert!(
            seen > LEAST_EFFECT * fitted,
            "page {page}: {seen} says nothing beside {fitted}"
        );
    }
}

fn fitted_without(page: usize, start: &[f64]) -> Vec<f64> {
    let mut without = PLANT.clone();
    without.measured.readings.retain(|r| r.page != page);
    let solution = solve(&problem(&without, ROUGH), start, &Options::default());
    assert!(solution.ending.converged());
    solution.parameters
}

/// The rows that stand for a patch in the fit give what all rows give.
#[test]
fn three_rows_stand_for_a_patch() {
    /// L*, a seventh of an instrument's repeatability at most.
    const STRATA_LSTAR: f64 = 0.02;
    let project = shipped();
    let response = truth();
    let settle_ms = project.panel.drivers.field_settle_ms;
    let mut worst: f64 = 0.0;
    for page in &project.measured.chart.pages {
        let of =
            |rows| PagePlan::new(page, project.panel.rows, rows).lstar(&response, page, settle_ms);
        for (few, all) in of(3).iter().zip(of(usize::MAX)) {
            worst = worst.max((few - all).abs());
        }
    }
    assert!(worst > 0.0 && worst < STRATA_LSTAR, "{worst}");
}

#[test]
fn without_derivatives_left_out_errors_are_infinite() {
    let none = nalgebra::DMatrix::zeros(0, 18);
    let squares = LeftOut::of(&none, &[]).squares(vec![vec![0, 1], vec![2]]);
    assert_eq!(
        squares,
        [(vec![0, 1], f64::INFINITY), (vec![2], f64::INFINITY)]
    );
}
