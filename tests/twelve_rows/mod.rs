//! The shipped panel's primed erase and limits on a panel of twelve rows with coarse drivers, its response known beyond doubt.

use crate::small_panel::{RUNG, response};
use greyloom::design::pins::Pins;
use greyloom::design::{LadderShare, Request};
use greyloom::project::{Project, Rail};
use greyloom::response::fit::Fit;
use greyloom::response::least_squares::Ending;
use nalgebra::DMatrix;
use std::path::Path;

const CLASSES: usize = 2;

pub fn project() -> Project {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    let mut project = Project::read(&dir).expect("the shipped project");
    let panel = &mut project.panel;
    (panel.rows, panel.columns) = (12, 10);
    let rail = |min, max, step| Rail {
        min,
        max,
        step: Some(step),
    };
    panel.drivers.select_v = rail(6.0, 10.0, 1.0);
    panel.drivers.data_v = rail(2.0, 3.0, 0.5);
    panel.drivers.tick_us = vec![2000];
    panel.drivers.slot_ticks_max = 40;
    panel.drivers.guard_ticks_max = 4;
    panel.erases.retain(|e| e.name == "primed");
    project
}

pub fn known() -> Fit {
    Fit {
        rung: RUNG,
        response: response(RUNG, CLASSES),
        estimates: Vec::new(),
        covariance: DMatrix::zeros(0, 0),
        moved: Vec::new(),
        residuals: Vec::new(),
        odd_pages: Vec::new(),
        strays: Vec::new(),
        reduced_chi_square: 1.0,
        degrees_of_freedom: 1,
        ending: Ending::Settled,
        ladder: Vec::new(),
    }
}

/// Eight levels in 3.5 s at 23 °C.
pub fn at_23() -> Request {
    Request {
        levels: 8,
        budget_s: 3.5,
        tolerance_steps: 0.25,
        share: LadderShare::Common,
        temperature_c: Some(23.0),
        pins: Pins::NONE,
    }
}
