//! The panels that benches try, and projects that are read on them.

use greyloom::design::pins::Pins;
use greyloom::design::{LadderShare, Request};
use greyloom::error::Result;
use greyloom::project::{Chart, Measured, Panel, Project};
use greyloom::rehearsal::{Instrument, Start, TestPanel};
use std::path::PathBuf;

pub const PANEL: &str = "calibration/harbour-tile/panel.toml";
/// Threshold shift, V, and factor on the speed.
pub type Make = (f64, f64);
const MAKES: [Make; 5] = [(0.0, 1.0), (1.5, 1.0), (-1.5, 1.0), (0.0, 0.6), (0.0, 1.6)];

pub const REQUEST: Request = Request {
    levels: 32,
    budget_s: 12.0,
    tolerance_steps: 0.25,
    share: LadderShare::Common,
    temperature_c: None,
    pins: Pins::NONE,
    contrast: None,
};

pub fn quiet(_: &str) {}

/// The arguments of a bench: a count, or `count` where there is none; then a panel, or all of them.
pub fn asked(count: u64) -> (u64, Vec<Make>) {
    let numbers: Vec<f64> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let makes = match numbers.get(1..3) {
        Some(&[shift_v, speed]) => vec![(shift_v, speed)],
        _ => MAKES.to_vec(),
    };
    (numbers.first().map_or(count, |&n| n as u64), makes)
}

pub fn test_panel((shift_v, speed): Make) -> Result<TestPanel> {
    Ok(TestPanel::shipped()?
        .with_threshold_shift_v(shift_v)
        .with_speed_factor(speed))
}

/// A chart as the instrument reads it on a test panel.
pub fn read(
    panel: &Panel,
    test_panel: &TestPanel,
    chart: &Chart,
    (seed, repeats): (u64, u32),
) -> Measured {
    let lstar = test_panel.lstar(panel, chart, Start::Dark, &|_| ());
    let instrument = Instrument {
        repeatability_lstar: panel.instrument.repeatability_lstar,
        seed,
        repeats,
    };
    Measured {
        readings: instrument.read(&lstar),
        chart: chart.clone(),
    }
}

/// A project of these readings alone.
pub fn project(panel: &Panel, measured: Measured) -> Project {
    Project {
        folder: PathBuf::new(),
        panel: panel.clone(),
        measured,
        holdout: None,
        trains: Vec::new(),
        unread: Vec::new(),
    }
}
