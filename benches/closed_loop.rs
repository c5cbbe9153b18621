//! The closed loop on the test panel: a planned chart, rehearsed; fit and design; the levels read; trim; all judged without
//! noise. One line a panel and seed, the worst of all at the end.
//!
//! `cargo bench --bench closed_loop [-- SEEDS [SHIFT_V SPEED]]`; without SEEDS one seed; without a panel the shipped one, threshold
//! ±1.5 V, speed × 0.6 and × 1.6.

mod judge;

use greyloom::design::{LadderShare, Request, design};
use greyloom::error::Result;
use greyloom::planning::{Grid, PlanRequest, Planning};
use greyloom::project::{Chart, Measured, Panel, Project, read_panel};
use greyloom::rehearsal::{Instrument, Start, TestPanel};
use greyloom::response::fit::fit;
use greyloom::trim::{Verification, trim, verification_chart};
use greyloom::waveforms::Waveforms;
use judge::{Judged, judge};
use std::path::{Path, PathBuf};
use std::time::Instant;

const PANEL: &str = "calibration/harbour-tile/panel.toml";
/// Threshold shift, V, and factor on the speed.
const PANELS: [(f64, f64); 5] = [(0.0, 1.0), (1.5, 1.0), (-1.5, 1.0), (0.0, 0.6), (0.0, 1.6)];
/// Readings of each patch of the chart that verifies.
const REPEATS: u32 = 3;
const PATCHES: usize = 160;
const PAGES: usize = 16;
const TEMPERATURES_C: [f64; 5] = [5.0, 14.0, 23.0, 32.0, 40.0];
const LEVELS: usize = 32;
const BUDGET_S: f64 = 12.0;
const TOLERANCE_STEPS: f64 = 0.25;

fn main() {
    let numbers: Vec<f64> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let seeds = numbers.first().map_or(1, |&n| n as u64);
    let panels = match numbers.get(1..3) {
        Some(&[shift_v, speed]) => vec![(shift_v, speed)],
        _ => PANELS.to_vec(),
    };
    if let Err(e) = run(seeds, &panels) {
        eprintln!("{e}");
    }
}

fn run(seeds: u64, panels: &[(f64, f64)]) -> Result<()> {
    let panel = read_panel(Path::new(PANEL))?;
    let chart = planned(&panel)?;
    let patches: usize = chart.pages.iter().map(|p| p.patches.len()).sum();
    println!(
        "{patches} patches on {} pages; {REPEATS} readings of each verifying patch; unevenness in steps, mixed content, middle row",
        chart.pages.len()
    );
    println!(
        "shift, V  speed  seed  bands  step, L*  first: design  limits  worst  trimmed: design  limits  worst       s"
    );
    let mut all = [0.0f64; 6];
    for seed in 1..=seeds {
        for &(shift_v, speed) in panels {
            let begun = Instant::now();
            let found = closed(&panel, &chart, (shift_v, speed), seed)?;
            let worst = [found.0.summary(), found.1.summary()].concat();
            println!(
                "{shift_v:8.1}  {speed:5.1}  {seed:4}  {:5}  {:8.3}  {:13.3}  {:6.3}  {:5.3}  {:15.3}  {:6.3}  {:5.3}  {:6.1}",
                found.0.0.len(),
                found.1.0[0].step_lstar,
                worst[0],
                worst[1],
                worst[2],
                worst[3],
                worst[4],
                worst[5],
                begun.elapsed().as_secs_f64()
            );
            for (a, w) in all.iter_mut().zip(worst) {
                *a = a.max(w);
            }
        }
    }
    println!(
        "worst of all                           {:13.3}  {:6.3}  {:5.3}  {:15.3}  {:6.3}  {:5.3}",
        all[0], all[1], all[2], all[3], all[4], all[5]
    );
    Ok(())
}

/// Every band of a set.
struct Bands(Vec<Judged>);

impl Bands {
    /// The worst band: at design temperatures, at limits, over contents and rows.
    fn summary(&self) -> [f64; 3] {
        let worst = |of: fn(&Judged) -> f64| self.0.iter().map(of).fold(0.0, f64::max);
        [
            worst(|j| j.uneven_design),
            worst(Judged::at_limits),
            worst(|j| j.worst),
        ]
    }
}

fn closed(panel: &Panel, chart: &Chart, make: (f64, f64), seed: u64) -> Result<(Bands, Bands)> {
    let test_panel = TestPanel::shipped()?
        .with_threshold_shift_v(make.0)
        .with_speed_factor(make.1);
    let read = |chart: &Chart, seed: u64, repeats: u32| {
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
    };
    let project = Project {
        folder: PathBuf::new(),
        panel: panel.clone(),
        measured: read(chart, seed, 1),
        holdout: None,
        trains: Vec::new(),
        unread: Vec::new(),
    };
    let request = Request {
        levels: LEVELS,
        budget_s: BUDGET_S,
        tolerance_steps: TOLERANCE_STEPS,
        share: LadderShare::Common,
        temperature_c: None,
    };
    let quiet = |_: &str| ();
    let set: Waveforms = design(&project, &fit(&project, &quiet)?, &request, &quiet)?.set;
    let first = Bands(judge(&test_panel, panel, &set));
    let verifying = verification_chart(&set, panel, Grid::new(panel, Path::new(PANEL))?);
    let verification = Verification {
        measured: read(&verifying, seed + 1000, REPEATS),
        chart_file: "verify.csv".into(),
        scans_file: "verify-scans.csv".into(),
    };
    let trimmed = trim(&project, &set, &verification, &request, true, &quiet)?;
    Ok((first, Bands(judge(&test_panel, panel, &trimmed.design.set))))
}

fn planned(panel: &Panel) -> Result<Chart> {
    let request = PlanRequest {
        patches: PATCHES,
        pages: PAGES,
        temperatures_c: TEMPERATURES_C.to_vec(),
    };
    let grid = Grid::new(panel, Path::new(PANEL))?;
    let quiet = |_: &str| ();
    let planning = Planning::new(panel, grid, &request, &quiet)?;
    Ok(planning.plan(&quiet).chart)
}
