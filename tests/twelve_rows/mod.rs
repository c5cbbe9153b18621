//! The shipped project cut down to twelve rows with coarse drivers, and a response known beyond doubt.

#[path = "../small_panel/response.rs"]
mod response;

use greyloom::project::{Project, Rail};
use greyloom::response::fit::Fit;
use greyloom::response::least_squares::Ending;
use nalgebra::DMatrix;
use response::{RUNG, response};
use std::path::Path;

pub const ROWS: usize = 12;
const CLASSES: usize = 2;

/// The shipped panel's longer erase and limits on a panel of twelve rows with coarse drivers.
pub fn project() -> Project {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    let mut project = Project::read(&dir).expect("the shipped project");
    let panel = &mut project.panel;
    (panel.rows, panel.columns) = (ROWS, 10);
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

/// A response known beyond doubt.
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
